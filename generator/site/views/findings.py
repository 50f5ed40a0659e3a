"""Findings: what an out-of-tolerance result meant, who has it, what was decided, when it was closed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from generator.assessment.findings import Case
from generator.records.models import Channel
from generator.records.settings import SettingsOn
from generator.rounding import fixed
from generator.site import words
from generator.site.views.lookup import Lookup, finding_link, sensor_link, visit_link
from generator.site.words import Chip, Fact, Link

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
    owner: str
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
    facts: tuple[Fact, ...]
    told: tuple[Fact, ...]
    path: str
    on_file: bool


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
        size=f"{words.error_with_u(worst)} {words.unit(worst.unit)} at {words.point(worst)}",
        owner=lookup.person(record.owner) if record else "nobody yet",
        deviation=(record.deviation or "") if record else "",
        closed=str(record.closed) if record and record.closed else "",
    )


def case_view(lookup: Lookup, case: Case) -> CaseView:
    """One finding's page."""
    record = case.record
    then = SettingsOn(lookup.records, lookup.records.sensors[case.sensor], case.day)
    return CaseView(
        row=case_row(lookup, case),
        place=lookup.place(then.place.place),
        result=words.result_sentence(case.worst),
        rule=words.shown(case.worst.rule),
        meaning=_meaning(lookup, case),
        facts=tuple(_facts(lookup, case)),
        told=tuple(Fact(name=str(t.day), value=t.whom) for t in record.told) if record else (),
        path=f"findings/{case.sensor}/{case.visit}.yml",
        on_file=record is not None,
    )


def _meaning(lookup: Lookup, case: Case) -> str:
    """What the error meant for the air and for the goods, as far as the records tell."""
    sensor, worst = lookup.records.sensors[case.sensor], case.worst
    size = f"{fixed(abs(worst.error), 1)} {words.unit(worst.unit)}"
    said = f"At {words.point(worst)} {case.direction}, by about {size}."
    if sensor.controls:
        said += " The sensor drives the plant, so the room itself was moved by its error."
    else:
        said += " The sensor is watched and drives nothing: its error moved the record, not the room."
    limits = sensor.process_limits
    if limits is not None and worst.channel is Channel.HUMIDITY:
        low, high = (words.amount(limit, "humidity") for limit in (limits.lowest, limits.highest))
        said += f" The goods may see {low} to {high}."
    return said


def _facts(lookup: Lookup, case: Case) -> Iterator[Fact]:
    good = str(case.last_good) if case.last_good else "not on record for this instrument"
    yield Fact(name="Last known good", value=good)
    yield Fact(name="Found", value=str(case.day), link=visit_link(case.visit))
    yield Fact(name="Worst result", value=words.result_sentence(case.worst))
    yield Fact(name="Direction", value=case.direction)
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
