"""Findings: what an out-of-tolerance result meant, who has it, what was decided, when it was closed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from asfound.assessment.findings.cases import Case, direction_of
from asfound.assessment.results.table import Result
from asfound.records.models import Channel
from asfound.records.settings_in_force import SettingsOn
from asfound.rounding import fixed
from asfound.site.lookup.lookup import Lookup, finding_link, sensor_link, visit_link
from asfound.site.views.exposure import ExposureView, days_of, exposure_view, hours_outside
from asfound.wording import words
from asfound.wording.words import Chip, Fact, Link

_ORDER = ("nobody has it yet", "open", "closed")


@dataclass(frozen=True, kw_only=True)
class CaseRow:
    """One line of the list."""

    link: Link
    sensor: Link
    name: str
    visit: Link
    day: str
    chip: Chip
    window: str
    direction: str
    size: str
    rule: str
    days: str
    """length of the window"""
    hours: str
    """outside the process limits, by the trend"""
    owner: str
    """empty where nobody has it yet: the chip says so"""
    deviation: str
    closed: str


@dataclass(frozen=True, kw_only=True)
class CaseView:
    """Everything on a finding's page."""

    row: CaseRow
    place: str
    result: str
    rule: str
    meaning: str
    known: tuple[Fact, ...]
    """what was measured"""
    filed: tuple[Fact, ...]
    """what its file says"""
    told: tuple[Fact, ...]
    exposure: ExposureView | None
    form: Link | None
    path: str
    on_file: bool

    @property
    def has_charts(self) -> bool:
        """Whether a chart is drawn."""
        return self.exposure is not None and self.exposure.chart is not None


def case_rows(lookup: Lookup) -> tuple[CaseRow, ...]:
    """All cases: those that nobody has first, then open ones, then closed ones; newest first."""
    newest_first = sorted(lookup.assessment.cases, key=lambda c: (c.day, c.sensor), reverse=True)
    return tuple(case_row(lookup, c) for c in sorted(newest_first, key=lambda c: _ORDER.index(c.state)))


def case_row(lookup: Lookup, case: Case) -> CaseRow:
    """One line of the list, on the sensor's page too."""
    record, worst = case.record, case.worst
    return CaseRow(
        link=finding_link(case),
        sensor=sensor_link(case.sensor),
        name=lookup.records.sensors[case.sensor].name,
        visit=visit_link(case.visit),
        day=str(case.day),
        chip=words.case_chip(case.state),
        window=f"{case.last_good or 'no good visit on record'} to {case.day}",
        direction=case.direction,
        size="; worst ".join(_error(r) for r in _told(lookup, case)),
        rule=words.shown(worst.rule),
        days=days_of(lookup, case),
        hours=hours_outside(case) or "not known",
        owner=lookup.person(record.owner) if record else "",
        deviation=(record.deviation or "") if record else "",
        closed=str(record.closed) if record and record.closed else "",
    )


def case_view(lookup: Lookup, case: Case, form: str | None = None) -> CaseView:
    """One finding's page; `form`: where its form to print lies in the site."""
    record = case.record
    then = SettingsOn(lookup.records, lookup.records.sensors[case.sensor], case.day)
    return CaseView(
        row=case_row(lookup, case),
        place=lookup.place(then.place.place),
        result=words.result_sentence(case.worst, _at(case.worst)),
        rule=words.shown(case.worst.rule),
        meaning=_meaning(lookup, case),
        known=tuple(_known(lookup, case)),
        filed=tuple(_filed(lookup, case)),
        told=tuple(Fact(name=str(t.day), value=t.whom) for t in record.told) if record else (),
        exposure=exposure_view(lookup, case),
        form=Link(text="Form to print, sign and attach (PDF)", path=form) if form else None,
        path=f"findings/{case.sensor}/{case.visit}.yml",
        on_file=record is not None,
    )


def _told(lookup: Lookup, case: Case) -> list[Result]:
    """The result nearest the working point, where one is set, then the worst; one where they are the same."""
    sensor, worst = lookup.records.sensors[case.sensor], case.worst
    working = sensor.working(worst.channel)
    if working is None:
        return [worst]
    # Settings of one point differ by their noise: of those that read alike the one with the largest error.
    near = min(case.found, key=lambda r: (abs(round(r.reference_value, 1) - working), -abs(r.error)))
    return [near] if near is worst else [near, worst]


def _at(r: Result) -> str:
    """Where it was found: at its set point, where the channel has none at its reference value."""
    one = r.channel.declaration
    return words.point(r) if one.aimed_at else f"{fixed(r.reference_value, 1)} {one.symbol}"


def _error(r: Result) -> str:
    return f"{words.error_with_u(r)} {words.unit(r.unit)} at {_at(r)}"


def _meaning(lookup: Lookup, case: Case) -> str:
    """What the error meant for the air and for the goods, as far as the records tell."""
    sensor, worst = lookup.records.sensors[case.sensor], case.worst
    lead, *more = _told(lookup, case)
    said = f"At {_at(lead)} {direction_of(lead)}, by about {_size(lead)}."
    for result in more:
        said += f" At worst, at {_at(result)}, {direction_of(result)}, by about {_size(result)}."
    if sensor.controls:
        said += " The sensor drives the plant, so the room itself was moved by its error."
    else:
        said += " The sensor is watched and drives nothing: its error moved the record, not the room."
    limits = sensor.process_limits
    if limits is not None and worst.channel is Channel.HUMIDITY:
        low, high = (words.amount(limit, "humidity") for limit in (limits.lowest, limits.highest))
        said += f" The goods may see {low} to {high}."
    return said


def _size(r: Result) -> str:
    return f"{fixed(abs(r.error), 1)} {words.unit(r.unit)}"


def _known(lookup: Lookup, case: Case) -> Iterator[Fact]:
    good = str(case.last_good) if case.last_good else "not on record for this instrument"
    yield Fact(name="Last known good", value=good)
    yield Fact(name="Found", value=str(case.day), link=visit_link(case.visit))
    for result in _told(lookup, case):
        label = "Worst result" if result is case.worst else "Result nearest the working point"
        yield Fact(name=label, value=words.result_sentence(result, _at(result)))
    yield Fact(name="Direction", value=case.direction)


def _filed(lookup: Lookup, case: Case) -> Iterator[Fact]:
    record = case.record
    if record is None:
        return
    yield Fact(name="Owner", value=lookup.person(record.owner))
    if record.deviation:
        yield Fact(name="Deviation number", value=record.deviation)
    if record.done:
        yield Fact(name="Done", value=record.done)
    yield Fact(name="Decision", value=record.decision or "none yet")
    if record.closed and record.closed_by:
        yield Fact(name="Closed", value=f"{record.closed} by {lookup.person(record.closed_by)}")
