"""The Sensors list and one page for each sensor: state, history, drift, results, settings, where it has been."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from asfound.assessment.due import DueState, points_met
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.standing import Standing, State
from asfound.site.charts.axes import ChartEvent, history_chart
from asfound.site.lookup.lookup import Lookup, sensor_link, visit_link
from asfound.site.views.approvals import unapproved
from asfound.site.views.findings import CaseRow, case_row
from asfound.site.views.history_events import event_in_words, history_events
from asfound.site.views.issued import CertificateLine, Certificates
from asfound.site.views.results import ResultTable, result_table, worst
from asfound.site.views.sensor_drift import DriftView, ProposalView, drift_views, proposal_view
from asfound.site.views.sensor_settings import settings_facts
from asfound.site.views.standing import Matter, chips, deciding_sentence, matters, no_verdict, since_when
from asfound.wording import words
from asfound.wording.words import Chip, Fact, Link


@dataclass(frozen=True, kw_only=True)
class SensorRow:
    """One line of the list."""

    link: Link
    name: str
    place: str
    criticality: str
    chips: tuple[Chip, ...]
    due: str
    last: Link | None


@dataclass(frozen=True, kw_only=True)
class VisitLine:
    """One visit of the sensor: day, instrument, what was done, its certificate."""

    visit: Link
    serial: str
    chips: tuple[Chip, ...]
    technicians: str
    done: str
    certificate: CertificateLine | None
    """the one that counts"""


@dataclass(frozen=True, kw_only=True)
class ChannelHistory:
    """Chart and all results of one channel, newest visit first."""

    channel: str
    chart: str | None
    table: ResultTable


@dataclass(frozen=True, kw_only=True)
class SensorView:
    """Everything on a sensor's page."""

    id: str
    name: str
    place: str
    chips: tuple[Chip, ...]
    lead: str
    verdict: str
    rule: str
    due: str
    matters: tuple[Matter, ...]
    notes: tuple[str, ...]
    histories: tuple[ChannelHistory, ...]
    drifts: tuple[DriftView, ...]
    proposal: ProposalView | None
    visits: tuple[VisitLine, ...]
    cases: tuple[CaseRow, ...]
    instruments: tuple[Fact, ...]
    places: tuple[Fact, ...]
    settings: tuple[Fact, ...]
    path: str

    @property
    def has_charts(self) -> bool:
        """Whether the page draws."""
        return any(history.chart for history in self.histories) or any(drift.control.chart for drift in self.drifts)


def sensor_rows(lookup: Lookup) -> tuple[SensorRow, ...]:
    """All sensors by id."""
    return tuple(_row(lookup, standing) for standing in lookup.assessment.standings.values())


def _row(lookup: Lookup, standing: Standing) -> SensorRow:
    last = standing.visits[-1].sensor_visit.visit if standing.visits else None
    return SensorRow(
        link=sensor_link(standing.sensor.id),
        name=standing.sensor.name,
        place=lookup.place(standing.settings.place.place),
        criticality=standing.sensor.criticality,
        chips=chips(standing),
        due=str(standing.due.day or ""),
        last=visit_link(last.id, str(last.day)) if last else None,
    )


def sensor_view(lookup: Lookup, standing: Standing, certificates: Certificates) -> SensorView:
    """One sensor's page."""
    sensor, settings = standing.sensor, standing.settings
    found = matters(lookup, standing)
    events = history_events(lookup, standing)
    return SensorView(
        id=sensor.id,
        name=sensor.name,
        place=_place(lookup, settings.place.place, settings.place.position),
        chips=chips(standing),
        lead=chips(standing)[0].kind,
        verdict=_verdict(standing),
        rule=standing.deciding[0].rule if standing.deciding else "",
        due=_due(standing),
        matters=tuple(matter for matter in found if not matter.told_by_state),
        notes=tuple(_notes(standing)),
        histories=tuple(_histories(lookup, standing, events)),
        drifts=drift_views(standing, events),
        proposal=proposal_view(standing.proposal),
        visits=tuple(_visit_lines(lookup, standing, certificates)),
        cases=tuple(case_row(lookup, case) for case in reversed(standing.cases)),
        instruments=tuple(_instruments(lookup, standing)),
        places=tuple(
            Fact(name=_place(lookup, p.place, p.position), value=words.since(p.from_) or "always")
            for p in reversed(sensor.place)
        ),
        settings=settings_facts(settings),
        path=f"sensors/{sensor.id}.yml",
    )


def _place(lookup: Lookup, place: str, position: str | None) -> str:
    return f"{lookup.place(place)}, {position}" if position else lookup.place(place)


def _verdict(standing: Standing) -> str:
    if not standing.deciding:
        adjusted = standing.state is State.NONE and standing.state_since is not None
        said = no_verdict(standing) if adjusted else str(standing.state)
        return f"{said[0].upper()}{said[1:]}."
    since = f", since {since_when(standing)}" if since_when(standing) != standing.state_since else ""
    return f"{str(standing.state).capitalize()}{since}: {deciding_sentence(standing)}."


def _due(standing: Standing) -> str:
    due = standing.due
    if due.state is DueState.NEVER or due.day is None:
        return f"{str(due.state).capitalize()}: {due.reason}."
    return f"{str(due.state).capitalize()}, due {due.day}: {due.reason}."


def _notes(standing: Standing) -> Iterator[str]:
    sensor = standing.sensor
    if sensor.note:
        yield sensor.note
    for period in reversed(sensor.out_of_service):
        yield f"Out of service {period.from_} to {period.until or 'further notice'}: {period.reason}"
    if sensor.deferred_until is not None:
        yield f"Calibration deferred to {sensor.deferred_until}: {sensor.deferred_reason}"


def _histories(lookup: Lookup, standing: Standing, events: Sequence[ChartEvent]) -> Iterator[ChannelHistory]:
    for channel in standing.settings.channels:
        newest_first = [r for visit in reversed(standing.visits) for r in visit.results if r.channel is channel]
        if not newest_first:
            continue
        drift = next((d for d in standing.drifts if d.channel is channel), None)
        chart = history_chart(lookup, standing, channel, events, drift)
        yield ChannelHistory(channel=str(channel), chart=chart, table=result_table(newest_first))


def _visit_lines(lookup: Lookup, standing: Standing, certificates: Certificates) -> Iterator[VisitLine]:
    withdrawn = lookup.withdrawn.get(standing.sensor.id, ())
    both = sorted([*standing.visits, *withdrawn], key=lambda s: (s.sensor_visit.visit.day, s.sensor_visit.visit.id))
    for summary in reversed(both):
        sv = summary.sensor_visit
        done = [event_in_words(event) for event in sv.changes]
        yield VisitLine(
            visit=visit_link(sv.visit.id),
            serial=summary.results[0].serial if summary.results else "",
            chips=(*(phase_chips(summary) if not sv.withdrawn else (words.WITHDRAWN,)), *unapproved(lookup, summary)),
            technicians=words.listed(lookup.person(name) for name in sv.words("technician")),
            done=sv.reason if sv.withdrawn else "; ".join(done),
            certificate=next(iter(certificates(standing.sensor.id, sv.visit.id)), None),
        )


def phase_chips(summary: SensorVisitSummary) -> tuple[Chip, ...]:
    """The gravest verdict of each phase: `as found: fail`, `as left: pass at 1 of 3 points`."""
    found = []
    results, points = summary.results, summary.points
    for phase in ("as_found", "as_left", "check"):
        judged = [r for r in results if r.phase == phase and r.has_verdict]
        if judged:
            verdict = words.verdict_chip(worst(judged).verdict)
            channels = {r.channel for r in judged}
            met = min(points_met([r for r in judged if r.channel is channel], points) for channel in channels)
            part = f" at {met} of {words.counted(len(points), 'point')}" if met < len(points) else ""
            found.append(Chip(word=f"{words.phase(phase)}: {verdict.word}{part}", kind=verdict.kind))
    if found:
        return tuple(found)
    statuses = dict.fromkeys(r.status for r in results if r.status in ("not done", "unsettled"))
    chips = [Chip(word=status, kind="reserved" if status == "unsettled" else "none") for status in statuses]
    return tuple(chips) if chips else (Chip(word="no verdict", kind="none"),)


def _instruments(lookup: Lookup, standing: Standing) -> Iterator[Fact]:
    for installed in reversed(standing.sensor.installed):
        family = lookup.records.families.get(installed.family)
        until = f" to {installed.until}" if installed.until else " on"
        yield Fact(
            name=installed.serial,
            value=f"{family.name if family else installed.family} ({installed.family})",
            note=f"from {installed.from_}{until}",
        )
