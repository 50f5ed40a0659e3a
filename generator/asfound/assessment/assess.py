"""The whole assessment of a set of records on one day: what every page, certificate and command shows."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from asfound.assessment.findings.cases import Case, find_cases
from asfound.assessment.findings.investigation import Trends, with_exposures
from asfound.assessment.history.instruments import Instruments, instruments_of
from asfound.assessment.history.reliability import Reliability, reliabilities
from asfound.assessment.references.checks import CheckChart, check_charts
from asfound.assessment.references.doubt import Doubt, doubts, with_doubts
from asfound.assessment.results.assembly import make_results
from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.plausibility import mix_ups
from asfound.assessment.results.summary import SensorVisitSummary, summary_of
from asfound.assessment.results.table import Results
from asfound.assessment.standing import Standing, standing_of
from asfound.faults import Fault, RecordsRefused, Severity
from asfound.measurement.calibrations import NO_CURVE
from asfound.measurement.cell_sources import Part
from asfound.measurement.lines import Line, Measurement
from asfound.measurement.measure import NO_REPEATABILITY, measure
from asfound.measurement.monte_carlo import Answer, monte_carlo, needs_monte_carlo
from asfound.records.issued import check_issued
from asfound.records.load import Records
from asfound.records.settings_in_force import SettingsOn
from asfound.records.snapshot import Snapshot
from asfound.records.trends.exports import check_trends
from asfound.records.visits.rows import SensorVisit, sensor_visits, without_lines
from asfound.records.visits.visit_files import Visit
from asfound.soak.checking_with_logs import check as check_records

Approvals = Callable[[Records], Collection[tuple[str, str]] | None]
"""Who is approved, asked of the records: path of the visit and sensor. None: there is no history to tell it by."""


@dataclass(frozen=True, kw_only=True)
class Assessment:
    """Everything that is known on `day`."""

    records: Records
    day: date
    measurement: Measurement
    answers: Mapping[int, Answer]
    results: Results
    summaries: tuple[SensorVisitSummary, ...]
    """every sensor's part of every visit that stands (withdrawn ones too), in order of days"""
    standings: Mapping[str, Standing]
    cases: tuple[Case, ...]
    instruments: Instruments
    """every instrument's history, wherever it served"""
    reliabilities: tuple[Reliability, ...]
    """how often each model was in tolerance as found, everywhere and by place"""
    check_charts: Mapping[str, CheckChart]
    """by reference: its checks between calibrations"""
    doubts: tuple[Doubt, ...]
    """days on which a reference is in doubt, which its results carry as reservations"""
    reservations: tuple[Fault, ...]
    """reservations of the records themselves (those of results stand with the results)"""
    approved: Collection[tuple[str, str]] | None = None
    """what may enter pools, by path of the visit and sensor; None: everything, for no history tells"""


def check(files: Snapshot, approvals: Approvals | None = None) -> list[Fault]:
    """All faults that the records, the rules across records and physics find: errors and reservations.

    `approvals`: as `assess` is given them, for a single reading may have nothing but a pool to tell its scatter.
    """
    records, faults = check_records(files)
    if records is None:
        return faults
    visits = sensor_visits(without_faulty_rows(records, faults))
    measurement = measure(records, visits, approved=approvals(records) if approvals else None)
    faults = [*faults, *_not_follow_on(faults, [*measurement.faults, *mix_ups(measurement)])]
    faults += check_trends(files, records.sensors, records.zone)
    faults += check_issued(records.issued)
    if any(fault.rule.severity is Severity.ERROR for fault in faults):
        return faults
    # Linear answers do: no reservation depends on a percent of U.
    results = make_results(records, visits, measurement, {}, faults)
    results = with_doubts(records, measurement, results, doubts(records, measurement, results))
    return list(dict.fromkeys([*faults, *(fault for result in results for fault in result.reservations)]))


def _not_follow_on(known: Sequence[Fault], found: Sequence[Fault]) -> list[Fault]:
    """What physics finds beyond what the records' own faults may have caused."""
    broken = {fault.place.path for fault in known if fault.rule.severity is Severity.ERROR}
    return [fault for fault in found if fault.place.path not in broken and not (broken and fault.rule is NO_CURVE)]


def assess(files: Snapshot, day: date, approvals: Approvals | None = None) -> Assessment:
    """The assessment on a day. Raises RecordsRefused with all faults where there are errors.

    Everything counts in states and due dates, only what `approvals` holds in pools (left out: everything).
    """
    records, faults = check_records(files)
    if records is None:
        raise RecordsRefused(faults)
    approved = approvals(records) if approvals else None
    visits = [sv for sv in sensor_visits(without_faulty_rows(records, faults)) if sv.visit.day <= day]
    measurement = measure(records, visits, approved=approved)
    faults += _not_follow_on(faults, [*measurement.faults, *mix_ups(measurement)])
    if any(f.rule.severity is Severity.ERROR for f in faults):
        raise RecordsRefused(faults)
    answers = monte_carlo_answers(records, measurement)
    results = make_results(records, visits, measurement, answers, faults)
    trends = Trends(files, records)
    assessment = assemble(records, day, visits, measurement, answers, results, faults, trends, approved)
    if trends.faults:
        raise RecordsRefused([*faults, *trends.faults])
    return assessment


def assess_visit(
    files: Snapshot, path: str, approvals: Approvals | None = None
) -> tuple[Assessment | None, list[Fault]]:
    """What can be said of one visit now, however unfinished: its faulty rows are left out and their faults given.

    Nothing else is held against it: faults elsewhere only leave their own rows out.
    """
    records, faults = check_records(files)
    mine = [f for f in faults if f.place.path == path or not f.place.path.startswith("visits/")]
    if records is None:
        return None, mine
    visit = next((v for v in records.visits if v.path == path), None)
    if visit is None:
        return None, mine
    approved = approvals(records) if approvals else None
    visits = _bearing_on(records, visit, sensor_visits(without_faulty_rows(records, faults)))
    measurement = measure(records, visits, approved=approved)
    physics = [f for f in (*measurement.faults, *mix_ups(measurement)) if f.place.path == path]
    mine += _not_follow_on_rows(mine, physics)
    here = {i for i, cell in enumerate(measurement.cells) if cell.sensor_visit.visit.path == path}
    answers = monte_carlo_answers(records, measurement, here)
    results = make_results(records, visits, measurement, answers, faults)
    if physics:  # what a reading means is in doubt: nothing is said of it
        of_visit = results.column("visit") == visit.id
        results = results.replaced(verdict=np.where(of_visit, Verdict.NONE, results.column("verdict")))
    return assemble(records, visit.day, visits, measurement, answers, results, faults, approved=approved), mine


def _not_follow_on_rows(known: Sequence[Fault], found: Sequence[Fault]) -> list[Fault]:
    """Of what physics finds in a visit, not the repeatability that rows left out for their own faults would give."""
    broken = any(fault.rule.severity is Severity.ERROR for fault in known)
    return [fault for fault in found if not (broken and fault.rule is NO_REPEATABILITY)]


def _bearing_on(records: Records, visit: Visit, everything: Sequence[SensorVisit]) -> list[SensorVisit]:
    """What one visit depends on: itself, earlier visits of its families (pools), references calibrated here."""

    def model(sv: SensorVisit) -> str:
        sensor = records.sensors.get(sv.sensor)
        return SettingsOn(records, sensor, sv.visit.day).model if sensor else ""

    models = {model(sv) for sv in everything if sv.visit.path == visit.path}
    return [
        sv
        for sv in everything
        if sv.visit.path == visit.path
        or (sv.visit.day <= visit.day and (sv.sensor in records.references or model(sv) in models))
    ]


def without_faulty_rows(records: Records, faults: Sequence[Fault]) -> Records:
    """The records without the visits' rows that hold an error."""
    lines: dict[str, set[int]] = {}
    for fault in faults:
        if fault.rule.severity is Severity.ERROR:
            lines.setdefault(fault.place.path, set()).add(fault.place.line)
    visits = tuple(without_lines(v, lines[v.path]) if v.path in lines else v for v in records.visits)
    return replace(records, visits=visits)


def monte_carlo_answers(
    records: Records, measurement: Measurement, cells: Collection[int] | None = None
) -> dict[int, Answer]:
    """Monte Carlo answers for the judged lines (of these cells) that the linear answer does not serve."""
    totals = {(line.cell, line.channel) for line in measurement.lines if line.part is Part.TOTAL}

    def judged(line: Line) -> bool:
        if line.part is Part.LOOP or (cells is not None and line.cell not in cells):
            return False
        if (line.cell, line.channel) not in totals:
            return True
        sv = measurement.cells[line.cell].sensor_visit
        sensor = records.sensors.get(sv.sensor)
        at_sensor = sensor is not None and SettingsOn(records, sensor, sv.visit.day).whole("judged_at") == "sensor"
        return (line.part is Part.SENSOR) == at_sensor

    lines = [number for number, line in enumerate(measurement.lines) if judged(line)]
    chosen = needs_monte_carlo(measurement, lines)
    # Each answer has its own seed, so threads change nothing but the time: numpy draws and sorts outside the lock.
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        return dict(zip(chosen, pool.map(lambda number: monte_carlo(measurement, number), chosen), strict=True))


def assemble(
    records: Records,
    day: date,
    visits: Sequence[SensorVisit],
    measurement: Measurement,
    answers: Mapping[int, Answer],
    results: Results,
    faults: Sequence[Fault],
    trends: Trends | None = None,
    approved: Collection[tuple[str, str]] | None = None,
) -> Assessment:
    """Summaries by visit, standings by sensor and cases from the results; `trends`: cases with what surrounds them."""
    in_doubt = doubts(records, measurement, results, day)
    results = with_doubts(records, measurement, results, in_doubt)
    by_visit = results.by_visit()
    summaries = tuple(summary_of(records, measurement, sv, by_visit) for sv in visits)
    by_sensor: dict[str, list[SensorVisitSummary]] = {}
    for summary in summaries:
        if not summary.sensor_visit.withdrawn:
            by_sensor.setdefault(summary.sensor_visit.sensor, []).append(summary)
    instruments = instruments_of(records, by_sensor, measurement.whole(), approved)
    cases = find_cases(by_sensor, records.findings)
    if trends is not None:
        cases = with_exposures(cases, records, measurement.whole(), by_sensor, instruments, trends)
    cases_of: dict[str, list[Case]] = {}
    for case in cases:
        cases_of.setdefault(case.sensor, []).append(case)
    standings = {
        name: standing_of(
            records, measurement, sensor, by_sensor.get(name, []), cases_of.get(name, []), instruments, day
        )
        for name, sensor in sorted(records.sensors.items())
    }
    return Assessment(
        records=records,
        day=day,
        measurement=measurement,
        answers=answers,
        results=results,
        summaries=summaries,
        standings=standings,
        cases=cases,
        instruments=instruments,
        reliabilities=reliabilities(records, results, _target_reliability(records, day)),
        check_charts=check_charts(records, results),
        doubts=in_doubt,
        reservations=tuple(f for f in faults if f.rule.severity is Severity.RESERVATION),
        approved=approved,
    )


def _target_reliability(records: Records, day: date) -> float | None:
    """The share of sensors that the policy wants in tolerance as found; None where it says nothing of intervals."""
    policy = records.facility.policy_on(day)
    return policy.intervals.target_reliability if policy.intervals else None
