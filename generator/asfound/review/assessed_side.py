"""One side of a change assessed, as far as the change bears on it: results, states, due dates, cases."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from asfound.assessment.assess import Assessment, assemble, monte_carlo_answers
from asfound.assessment.due import Due, due
from asfound.assessment.findings.cases import Case, find_cases
from asfound.assessment.references.doubt import doubts, with_doubts
from asfound.assessment.results.assembly import make_results
from asfound.assessment.results.plausibility import mix_ups
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import NO_RESULTS, Result, Results
from asfound.assessment.standing import State, state_of
from asfound.faults import Fault, Severity
from asfound.measurement.lines import LineKey, Measurement
from asfound.measurement.measure import measure
from asfound.measurement.monte_carlo import Answer
from asfound.records.load import Records
from asfound.records.settings_in_force import SettingsOn, instrument_on
from asfound.records.visits.rows import SensorVisit, sensor_visits
from asfound.review.concern import Concern

Approved = Collection[tuple[str, str]] | None
"""(path of the visit, sensor) that count in pools; None: all do"""
Key = tuple[str, str, str, int]
"""visit, sensor, channel, plateau"""
LEAST_SHARE = 1e-6
"""of U, below which a number is the same"""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where a sensor stands, as far as visits say."""

    state: State
    due: Due


@dataclass(frozen=True, kw_only=True)
class Side:
    """What the records of one commit say of what the change bears on."""

    records: Records
    faults: tuple[Fault, ...]
    """errors and reservations: all that the records hold, and those of physics where it was assessed"""
    results: Mapping[Key, Result]
    """of affected sensors, in order of day, visit, sensor, channel and plateau"""
    standings: Mapping[str, Standing]
    cases: Mapping[tuple[str, str], Case]
    """by (visit, sensor)"""
    parts: tuple[SensorVisit, ...]
    measurement: Measurement
    answers: Mapping[int, Answer]

    @property
    def errors(self) -> tuple[Fault, ...]:
        """What blocks."""
        return tuple(fault for fault in self.faults if fault.rule.severity is Severity.ERROR)

    def assessment(self, positions: Collection[str], day: date) -> Assessment:
        """Everything about some sensors alone; what a family's visits say of rates and reliability is not in it."""
        mine = {name: sensor for name, sensor in self.records.sensors.items() if name in positions}
        parts = [sv for sv in self.parts if sv.sensor in mine or sv.sensor in self.records.references]
        records = replace(self.records, sensors=mine)
        results = Results.of(r for r in self.results.values() if r.sensor in mine or r.sensor in records.references)
        whole = assemble(records, day, parts, self.measurement, self.answers, results, self.faults)
        return replace(whole, records=self.records)


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One side measured: every part that the change bears on, and those whose pools they lean on; not judged yet."""

    records: Records
    faults: tuple[Fault, ...]
    parts: tuple[SensorVisit, ...]
    measurement: Measurement


def measured(
    records: Records | None, faults: Sequence[Fault], concern: Concern, approved: Approved, day: date
) -> Measured | None:
    """The records of one side measured; None where there is no facility to speak of.

    Visits that hold errors are left out whole.
    """
    if records is None:
        return None
    broken = {fault.place.path for fault in faults if fault.rule.severity is Severity.ERROR}
    sound = tuple(v for v in records.visits if v.id in concern.visits and v.path not in broken and v.day <= day)
    records = replace(records, visits=sound)
    parts = tuple(sv for sv in sensor_visits(records) if concern.holds(records, sv.visit, sv.sensor))
    measurement = measure(records, parts, approved=approved)
    found = (*faults, *measurement.faults, *mix_ups(measurement))
    return Measured(records=records, faults=found, parts=parts, measurement=measurement)


def moved_by_pools(concern: Concern, before: Measured | None, after: Measured) -> frozenset[str]:
    """Of the sensors that a change may reach through pools alone, those of which a number is other."""
    if before is None:
        return concern.by_pools
    was, now = (_numbers(side.measurement, concern.by_pools) for side in (before, after))
    return frozenset(key[1] for key in {*was, *now} if _moved(was.get(key), now.get(key)))


def _moved(was: tuple[float, float] | None, now: tuple[float, float] | None) -> bool:
    """Whether error or U of a line is other."""
    if was is None or now is None:
        return True
    return max(abs(now[0] - was[0]), abs(now[1] - was[1])) > LEAST_SHARE * was[1]


def _numbers(measurement: Measurement, sensors: Collection[str]) -> dict[LineKey, tuple[float, float]]:
    """Error and U of every line of some sensors."""
    U = measurement.whole().U.tolist()
    return {
        measurement.key(line): (line.error, U[number])
        for number, line in enumerate(measurement.lines)
        if measurement.cells[line.cell].sensor_visit.sensor in sensors
    }


def judged(side: Measured, positions: Collection[str], day: date) -> Side:
    """A measured side judged on a day, as far as some sensors go."""
    records, measurement = side.records, side.measurement
    wanted = tuple(sv for sv in side.parts if sv.sensor in positions or sv.sensor in records.references)
    cells = {i for i, cell in enumerate(measurement.cells) if cell.sensor_visit.sensor in positions}
    answers = monte_carlo_answers(records, measurement, cells)
    results = make_results(records, wanted, measurement, answers, side.faults)
    results = with_doubts(records, measurement, results, doubts(records, measurement, results, day))
    summaries = _summaries(records, wanted, results)
    return Side(
        records=records,
        faults=side.faults,
        results={result.key: result for result in results},
        standings={
            name: _standing(records, name, summaries.get(name, ()), day)
            for name in sorted(positions & records.sensors.keys())
        },
        cases={(case.visit, case.sensor): case for case in find_cases(summaries, records.findings)},
        parts=side.parts,
        measurement=measurement,
        answers=answers,
    )


def _summaries(records: Records, parts: Sequence[SensorVisit], results: Results) -> dict[str, list[SensorVisitSummary]]:
    """By sensor, its visits that stand with their results and the set points of their days."""
    by_visit = results.by_visit()
    found: dict[str, list[SensorVisitSummary]] = {}
    for sv in parts:
        sensor = records.sensors.get(sv.sensor)
        if sensor is None or sv.withdrawn:
            continue
        points = SettingsOn(records, sensor, sv.visit.day).dated("points")
        summary = SensorVisitSummary(
            sensor_visit=sv,
            results=by_visit.get((sv.visit.id, sv.sensor), NO_RESULTS),
            advice=None,
            hysteresis=(),
            points=tuple(points.humidity) if points else (),
        )
        found.setdefault(sv.sensor, []).append(summary)
    return found


def _standing(records: Records, name: str, visits: Sequence[SensorVisitSummary], day: date) -> Standing:
    """State and due day of the instrument that serves on a day."""
    sensor = records.sensors[name]
    instrument = instrument_on(sensor, day)
    present = [v for v in visits if instrument and v.results and v.results[0].serial == instrument.serial]
    return Standing(
        state=state_of(present)[0],
        due=due(records, sensor, [(v.results, v.adjusted) for v in present], day),
    )
