"""How rows become what is known of sensors: measured, judged, doubted, summarised, each a function of the one before.

Whoever computes results goes through these four, and says only what is otherwise: which parts of visits, what is
approved, a supposed error, the scatter that is known already, linear answers in place of Monte Carlo, no doubts.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from types import MappingProxyType

from asfound.assessment.findings.cases import Case, find_cases
from asfound.assessment.findings.investigation import Trends, with_exposures
from asfound.assessment.history.instruments import Instruments, instruments_of
from asfound.assessment.history.reliability import Reliability, reliabilities
from asfound.assessment.references.checks import CheckChart, check_charts
from asfound.assessment.references.doubt import Doubt, doubts, with_doubts
from asfound.assessment.results.assembly import make_results
from asfound.assessment.results.plausibility import mix_ups
from asfound.assessment.results.saturation import beyond_saturation
from asfound.assessment.results.summary import SensorVisitSummary, summary_of
from asfound.assessment.results.table import Results
from asfound.assessment.standing import Standing, standing_of
from asfound.faults import Fault, Severity
from asfound.measurement.cell_sources import Part
from asfound.measurement.lines import Line, LineKey, Measurement
from asfound.measurement.measure import measure
from asfound.measurement.monte_carlo import Answer, monte_carlo, needs_monte_carlo
from asfound.measurement.repeatability import Repeatability
from asfound.measurement.shifts import Shift
from asfound.records.load import Records
from asfound.records.settings_in_force import SettingsOn
from asfound.records.visits.rows import SensorVisit

Approved = Collection[tuple[str, str]] | None
"""(path of the visit, sensor) of what may enter pools; None: everything, for no history tells"""
LINEAR: Mapping[int, Answer] = MappingProxyType({})
"""In place of Monte Carlo answers: the linear ones do."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Parts of visits measured; nothing is judged yet."""

    records: Records
    parts: tuple[SensorVisit, ...]
    faults: tuple[Fault, ...]
    """of the records: a reservation in a sensor's rows goes with that sensor's results"""
    approved: Approved
    measurement: Measurement

    @cached_property
    def physics(self) -> tuple[Fault, ...]:
        """What measuring found: readings that contradict physics or were written in another unit, each row once."""
        found = (*self.measurement.faults, *mix_ups(self.measurement))
        told = {(fault.place.path, fault.place.line) for fault in found}
        beyond = beyond_saturation(self.records, self.measurement)
        return (*found, *(fault for fault in beyond if (fault.place.path, fault.place.line) not in told))


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What was measured with its verdicts."""

    measured: Measured
    answers: Mapping[int, Answer]
    """of Monte Carlo, by number of the line"""
    results: Results
    """in order of day, visit, sensor, channel and plateau"""
    doubts: tuple[Doubt, ...] = ()
    """days on which a reference is in doubt, which its results carry as reservations"""


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
    approved: Approved = None


def measured(
    records: Records,
    parts: Iterable[SensorVisit],
    faults: Iterable[Fault] = (),
    *,
    approved: Approved = None,
    shifts: Sequence[Shift] = (),
    known: Mapping[LineKey, Repeatability] | None = None,
) -> Measured:
    """Parts of visits measured together. `faults`: of the records; `shifts` and `known`: as `measure` takes them."""
    parts = tuple(parts)
    measurement = measure(records, parts, shifts=shifts, known=known, approved=approved)
    return Measured(records=records, parts=parts, faults=tuple(faults), approved=approved, measurement=measurement)


def judged(
    found: Measured, answers: Mapping[int, Answer] | None = None, parts: Iterable[SensorVisit] | None = None
) -> Judged:
    """Results of what was measured, or of some of its parts. `answers` None: Monte Carlo's where the linear do not."""
    answers = monte_carlo_answers(found) if answers is None else answers
    wanted = found.parts if parts is None else tuple(parts)
    results = make_results(found.records, wanted, found.measurement, answers, found.faults)
    return Judged(measured=found, answers=answers, results=results)


def doubted(found: Judged, day: date | None = None) -> Judged:
    """With the doubts that checks and calibrations of references up to a day raise (None: all on record)."""
    records, measurement = found.measured.records, found.measured.measurement
    raised = doubts(records, measurement, found.results, day)
    return replace(found, results=with_doubts(records, measurement, found.results, raised), doubts=raised)


def summaries(
    found: Judged, parts: Iterable[SensorVisit] | None = None, *, advised: bool = True
) -> list[SensorVisitSummary]:
    """One for each part (None: all that were measured); `advised`: with advice on adjustment and with hysteresis."""
    by_visit = found.results.by_visit()
    wanted = found.measured.parts if parts is None else parts
    records, measurement = found.measured.records, found.measured.measurement
    return [summary_of(records, measurement, part, by_visit, advised=advised) for part in wanted]


def standing_visits(found: Iterable[SensorVisitSummary]) -> dict[str, list[SensorVisitSummary]]:
    """By sensor or reference, its visits that were not withdrawn."""
    by_sensor: dict[str, list[SensorVisitSummary]] = {}
    for summary in found:
        if not summary.sensor_visit.withdrawn:
            by_sensor.setdefault(summary.sensor_visit.sensor, []).append(summary)
    return by_sensor


def summarised(found: Judged, day: date, trends: Trends | None = None) -> Assessment:
    """Summaries by visit, standings by sensor and cases from the results; `trends`: cases with what surrounds them."""
    records, measurement, approved = found.measured.records, found.measured.measurement, found.measured.approved
    by_part = tuple(summaries(found))
    by_sensor = standing_visits(by_part)
    instruments = instruments_of(records, by_sensor, measurement.whole(), day, approved)
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
        answers=found.answers,
        results=found.results,
        summaries=by_part,
        standings=standings,
        cases=cases,
        instruments=instruments,
        reliabilities=reliabilities(records, found.results, _target_reliability(records, day)),
        check_charts=check_charts(records, found.results),
        doubts=found.doubts,
        reservations=tuple(f for f in found.measured.faults if f.rule.severity is Severity.RESERVATION),
        approved=approved,
    )


def monte_carlo_answers(found: Measured, cells: Collection[int] | None = None) -> dict[int, Answer]:
    """Monte Carlo answers for the judged lines (of these cells) that the linear answer does not serve."""
    records, measurement = found.records, found.measurement
    totals = {(line.cell, line.channel) for line in measurement.lines if line.part is Part.TOTAL}

    def is_judged(line: Line) -> bool:
        if line.part is Part.LOOP or (cells is not None and line.cell not in cells):
            return False
        if (line.cell, line.channel) not in totals:
            return True
        sv = measurement.cells[line.cell].sensor_visit
        sensor = records.sensors.get(sv.sensor)
        at_sensor = sensor is not None and SettingsOn(records, sensor, sv.visit.day).whole("judged_at") == "sensor"
        return (line.part is Part.SENSOR) == at_sensor

    lines = [number for number, line in enumerate(measurement.lines) if is_judged(line)]
    chosen = needs_monte_carlo(measurement, lines)
    # Each answer has its own seed, so threads change nothing but the time: numpy draws and sorts outside the lock.
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        return dict(zip(chosen, pool.map(lambda number: monte_carlo(measurement, number), chosen), strict=True))


def _target_reliability(records: Records, day: date) -> float | None:
    """The share of sensors that the policy wants in tolerance as found; None where it says nothing of intervals."""
    policy = records.facility.policy_on(day)
    return policy.intervals.target_reliability if policy.intervals else None
