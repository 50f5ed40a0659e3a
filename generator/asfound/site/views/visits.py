"""The Visits list and one page for each visit: who, with what, in what room; results, budgets, rows as committed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from asfound.assessment.references.checks import bracket
from asfound.assessment.results.adjustment import Hysteresis
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.certificates.traceability import Link as TraceLink
from asfound.certificates.traceability import Traceability
from asfound.certificates.wording import KINDS
from asfound.records.methods import kind_of
from asfound.records.settings_in_force import SettingsOn
from asfound.records.visits.visit_files import Visit
from asfound.rounding import NOTHING
from asfound.site.charts.axes import visit_chart
from asfound.site.lookup.lookup import Lookup, reference_link, visit_link
from asfound.site.views.approvals import VisitApproval, approval_chip, visit_approval, visit_state
from asfound.site.views.history_events import event_in_words
from asfound.site.views.issued import CertificateLine, Certificates, disagreement_line
from asfound.site.views.logs import LogView, log_views
from asfound.site.views.results import BudgetView, ResultTable, budget, result_table
from asfound.site.views.sensors import phase_chips
from asfound.wording import words
from asfound.wording.words import Chip, Fact, Link


@dataclass(frozen=True, kw_only=True)
class VisitRow:
    """One line of the list."""

    link: Link
    day: str
    sensors: tuple[tuple[Link, tuple[Chip, ...]], ...]
    references: tuple[Link, ...]
    technicians: str
    review: Chip
    remark: str


@dataclass(frozen=True, kw_only=True)
class LoopRow:
    """Where an error comes from: the sensor, the loop, both."""

    plateau: str
    phase: str
    point: str
    sensor: str
    loop: str
    total: str


@dataclass(frozen=True, kw_only=True)
class ChannelResults:
    """Results of one channel of one sensor at the visit."""

    anchor: str
    channel: str
    table: ResultTable
    chart: str | None
    loop: tuple[LoopRow, ...]


@dataclass(frozen=True, kw_only=True)
class SensorPart:
    """One sensor (or reference) at the visit."""

    anchor: str
    link: Link
    name: str
    chips: tuple[Chip, ...]
    facts: tuple[Fact, ...]
    withdrawn: str
    channels: tuple[ChannelResults, ...]
    advice: str
    hysteresis: tuple[str, ...]
    budgets: tuple[BudgetView, ...]
    logs: tuple[LogView, ...]
    certificates: tuple[CertificateLine, ...]
    """the one that counts first"""
    disagreement: Link | None
    """that the issued certificate no longer agrees, and where that is told"""


@dataclass(frozen=True, kw_only=True)
class TraceRow:
    """One calibration that the visit's results lean on."""

    reference: Link
    quantity: str
    serves: str
    source: str
    visit: Link | None
    day: str
    valid_until: str
    U: str


@dataclass(frozen=True, kw_only=True)
class RawFile:
    """One revision as it was committed."""

    anchor: str
    revision: int
    title: str
    of: str
    """what it holds"""
    reason: str
    download: Link
    sha256: str
    header: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]


@dataclass(frozen=True, kw_only=True)
class VisitView:
    """Everything on a visit's page."""

    id: str
    day: str
    approval: VisitApproval
    facts: tuple[Fact, ...]
    references: tuple[tuple[Link, str], ...]
    parts: tuple[SensorPart, ...]
    trace: tuple[TraceRow, ...]
    files: tuple[RawFile, ...]

    @property
    def has_charts(self) -> bool:
        """Whether the page draws."""
        return any(channel.chart for part in self.parts for channel in part.channels) or any(
            part.logs for part in self.parts
        )


def visit_rows(lookup: Lookup) -> tuple[VisitRow, ...]:
    """All visits, newest first."""
    return tuple(_row(lookup, name, parts) for name, parts in reversed(list(lookup.visits.items())))


def _row(lookup: Lookup, name: str, parts: Sequence[SensorVisitSummary]) -> VisitRow:
    revisions = len(lookup.revisions[name])
    withdrawn = [s.sensor_visit.sensor for s in parts if s.sensor_visit.withdrawn]
    said = [f"{revisions} revisions"] if revisions > 1 else []
    said += [f"{words.listed(withdrawn)} withdrawn"] if withdrawn else []
    return VisitRow(
        link=visit_link(name),
        day=str(parts[0].sensor_visit.visit.day),
        sensors=tuple((lookup.item(s.sensor_visit.sensor), _chips(s)) for s in parts),
        references=tuple(reference_link(r) for r in _words_of(parts, "reference")),
        technicians=_technicians(lookup, parts),
        review=approval_chip(visit_state(lookup, parts)),
        remark=", ".join(said),
    )


def _chips(summary: SensorVisitSummary) -> tuple[Chip, ...]:
    if summary.sensor_visit.withdrawn:
        return (words.WITHDRAWN,)
    if not summary.results:
        return (Chip(word="nothing read", kind="none"),)
    if all(math.isnan(r.tolerance) and r.status == "done" for r in summary.results):  # a reference
        return (Chip(word="calibrated here", kind="none"),)
    return phase_chips(summary)


def _words_of(parts: Sequence[SensorVisitSummary], column: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(word for s in parts for word in s.sensor_visit.words(column)))


def _technicians(lookup: Lookup, parts: Sequence[SensorVisitSummary]) -> str:
    return words.listed(lookup.person(name) for name in _words_of(parts, "technician"))


def visit_view(lookup: Lookup, name: str, trace: Traceability, certificates: Certificates) -> VisitView:
    """One visit's page."""
    parts = lookup.visits[name]
    results = [r for s in parts for r in s.results]
    return VisitView(
        id=name,
        day=str(parts[0].sensor_visit.visit.day),
        approval=visit_approval(lookup, name),
        facts=tuple(_facts(lookup, name, parts)),
        references=tuple(_references(lookup, parts)),
        parts=tuple(_part(lookup, summary, certificates) for summary in parts),
        trace=tuple(_trace_row(lookup, link) for link in trace.links(results)),
        files=tuple(_raw(visit) for visit in reversed(lookup.revisions[name])),
    )


def _facts(lookup: Lookup, name: str, parts: Sequence[SensorVisitSummary]) -> Iterator[Fact]:
    yield Fact(name="Technician", value=_technicians(lookup, parts) or NOTHING)
    places = list(dict.fromkeys(_places(lookup, parts)))
    if places:
        yield Fact(name="Place" if len(places) == 1 else "Places", value=words.listed(places))
    room = _room(parts)
    if room:
        yield Fact(name="Room", value=room)


def _places(lookup: Lookup, parts: Sequence[SensorVisitSummary]) -> Iterator[str]:
    for summary in parts:
        sv = summary.sensor_visit
        sensor = lookup.records.sensors.get(sv.sensor)
        if sensor is not None:
            yield lookup.place(SettingsOn(lookup.records, sensor, sv.visit.day).place.place)


def _room(parts: Sequence[SensorVisitSummary]) -> str:
    """Conditions of the room as they were read."""
    visits = {s.sensor_visit.visit.path: s.sensor_visit.visit for s in parts}.values()
    said = []
    for column, scale, places, symbol in (
        ("room_temperature", 1.0, 1, "°C"),
        ("room_humidity", 1.0, 0, "%RH"),
        ("ambient_pressure", 1e-3, 1, "kPa"),
    ):
        values = [float(value) * scale for visit in visits for value in visit.number[column]]
        said.append(words.spread(values, places, symbol))
    return ", ".join(text for text in said if text)


def _references(lookup: Lookup, parts: Sequence[SensorVisitSummary]) -> Iterator[tuple[Link, str]]:
    for column in ("reference", "loop_meter", "barometer"):
        for name in _words_of(parts, column):
            known = lookup.records.references.get(name)
            kind = f"{KINDS[known.kind]}, serial {known.serial}" if known else ""
            yield reference_link(name), kind + _bracketed(lookup, name, parts[0].sensor_visit.visit.day)


def _bracketed(lookup: Lookup, reference: str, day: date) -> str:
    """Between which days on which the reference was known to be good the visit lies."""
    before, after = bracket(lookup.good_days.get(reference, ()), day)
    if before is None:
        return ""
    return f"; calibrated or checked as good on {before} and " + (f"next on {after}" if after else "not again since")


def _part(lookup: Lookup, summary: SensorVisitSummary, certificates: Certificates) -> SensorPart:
    sv = summary.sensor_visit
    sensor = lookup.records.sensors.get(sv.sensor)
    known = sensor or lookup.records.references.get(sv.sensor)
    budgets = [budget(lookup, r) for r in summary.results]
    return SensorPart(
        anchor=sv.sensor,
        link=lookup.item(sv.sensor),
        name=known.name if known else "",
        chips=_chips(summary),
        facts=tuple(_part_facts(lookup, summary)),
        withdrawn=sv.reason if sv.withdrawn else "",
        channels=tuple(_channels(lookup, summary)),
        advice=words.shown(summary.advice.sentence) if summary.advice and summary.advice.action != "none" else "",
        hysteresis=tuple(_width(h) for h in summary.hysteresis),
        budgets=tuple(b for b in budgets if b is not None),
        logs=log_views(lookup, summary),
        certificates=certificates(sv.sensor, sv.visit.id),
        disagreement=disagreement_line(lookup, sv.sensor, sv.visit.id),
    )


def _part_facts(lookup: Lookup, summary: SensorVisitSummary) -> Iterator[Fact]:
    sv, results = summary.sensor_visit, summary.results
    if results and results[0].serial:
        yield Fact(name="Instrument", value=f"{results[0].serial} ({results[0].model.replace('_', ' ')})")
    seen = sv.word("serial")
    if seen and results and seen != results[0].serial:
        yield Fact(name="Serial as seen", value=seen)
    if sv.word("condition"):
        yield Fact(name="Condition as found", value=sv.word("condition"))
    methods = dict.fromkeys(_method(r) for r in results if r.method)
    if methods:
        yield Fact(name="Method", value=words.listed(methods))
    for event in sv.events:
        note = f"{sv.visit.time_local[event.row]}" + (f", {event.note}" if event.note else "")
        yield Fact(name="Adjustment", value=event_in_words(event), note=note)
    if sv.visit.revision > 1 and not sv.withdrawn:
        yield Fact(name="From revision", value=f"{sv.visit.revision}: {sv.reason}")


def _method(r: Result) -> str:
    """`chilled-mirror hygrometer (frost)`, `transfer probe in air`; `in the chamber` goes without saying."""
    kind, _, detail = r.method.partition(" ")
    return f"{KINDS.get(kind, 'stated by another laboratory')} {detail}".strip()


def _channels(lookup: Lookup, summary: SensorVisitSummary) -> Iterator[ChannelResults]:
    sensor = lookup.records.sensors.get(summary.sensor_visit.sensor)
    for channel, group in groupby(summary.results, key=lambda r: r.channel):
        results = list(group)
        yield ChannelResults(
            anchor=f"{summary.sensor_visit.sensor}-{channel}",
            channel=str(channel),
            table=result_table(results),
            chart=visit_chart(sensor, results),
            loop=tuple(_loop(lookup, r) for r in results if math.isfinite(r.error_loop)),
        )


def _loop(lookup: Lookup, r: Result) -> LoopRow:
    return LoopRow(
        plateau=str(r.plateau),
        phase=words.phase(r.phase),
        point=words.point(r),
        sensor=words.difference(r.error_sensor, r.U_sensor),
        loop=words.difference(r.error_loop, r.U_loop),
        total=_total(lookup, r),
    )


def _total(lookup: Lookup, r: Result) -> str:
    """Far end against reference, whichever of the two errors the verdict is on."""
    measurement = lookup.assessment.measurement
    number = lookup.totals.get((measurement.lines[r.line].cell, r.channel)) if r.line is not None else None
    if number is None:
        return NOTHING
    answer = lookup.assessment.answers.get(number)  # the U of the verdict, where a simulation gave it
    U = answer.U if answer is not None else float(measurement.whole().U[number])
    return words.difference(measurement.lines[number].error, U)


def _width(h: Hysteresis) -> str:
    return f"{words.difference(h.width, h.U)} {words.unit(h.unit)} at {words.target(h.target)}"


def _trace_row(lookup: Lookup, link: TraceLink) -> TraceRow:
    calibration = link.calibration
    serves = f"calibrated {link.serves}" if link.serves else ""
    return TraceRow(
        reference=reference_link(link.reference.id),
        quantity=link.quantity.replace("_", " "),
        serves=serves,
        source=f"{calibration.calibrated_by}, {calibration.certificate}" if calibration.laboratory else "",
        visit=lookup.visit(calibration.from_visit),
        day=str(calibration.date),
        valid_until=str(calibration.valid_until),
        U=words.expanded_range(link.lowest_U, link.highest_U, kind_of(link.quantity)),
    )


def _raw(visit: Visit) -> RawFile:
    held = words.listed(dict.fromkeys(word for word in visit.text["sensor"] if word))
    return RawFile(
        anchor=f"rows-r{visit.revision}",
        revision=visit.revision,
        title=f"records/{visit.path}",
        of=f"First record of {held}" if visit.revision == 1 else f"Revision {visit.revision} of {held}",
        reason=next((text for text in visit.text["reason"] if text), ""),
        download=Link(text=f"{visit.name}.csv", path=raw_path(visit)),
        sha256=visit.sha256,
        header=visit.header,
        lines=tuple(zip(visit.lines, visit.raw_rows, strict=True)),
    )


def raw_path(visit: Visit) -> str:
    """Where the site publishes a visit's file, byte for byte."""
    return f"data/{visit.path}"
