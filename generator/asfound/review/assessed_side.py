"""One side of a change assessed, as far as the change bears on it: results, states, due dates, cases."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from asfound.assessment.due import Due, due
from asfound.assessment.findings.cases import Case, find_cases
from asfound.assessment.pipeline import (
    Approved,
    Assessment,
    Judged,
    Measured,
    doubted,
    judged,
    measured,
    monte_carlo_answers,
    standing_visits,
    summaries,
    summarised,
)
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result, Results
from asfound.assessment.standing import State, state_of
from asfound.faults import Fault, Severity
from asfound.measurement.lines import LineKey, Measurement
from asfound.records.load import Records
from asfound.records.settings_in_force import instrument_on
from asfound.records.visits.rows import sensor_visits
from asfound.review.concern import Concern

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
    judged: Judged

    @property
    def errors(self) -> tuple[Fault, ...]:
        """What blocks."""
        return tuple(fault for fault in self.faults if fault.rule.severity is Severity.ERROR)

    def assessment(self, positions: Collection[str], day: date) -> Assessment:
        """Everything about some sensors alone; what a family's visits say of rates and reliability is not in it."""
        found = self.judged.measured
        mine = {name: sensor for name, sensor in self.records.sensors.items() if name in positions}
        parts = tuple(sv for sv in found.parts if sv.sensor in mine or sv.sensor in self.records.references)
        results = Results.of(
            r for r in self.results.values() if r.sensor in mine or r.sensor in self.records.references
        )
        alone = replace(found, records=replace(self.records, sensors=mine), parts=parts)
        whole = summarised(replace(self.judged, measured=alone, results=results), day)
        return replace(whole, records=self.records)


def measured_side(
    records: Records | None, faults: Sequence[Fault], concern: Concern, approved: Approved, day: date
) -> Measured | None:
    """The records of one side measured; None where there is no facility to speak of.

    Every part that the change bears on, and those whose pools they lean on. Visits that hold errors are left out whole.
    """
    if records is None:
        return None
    broken = {fault.place.path for fault in faults if fault.rule.severity is Severity.ERROR}
    sound = tuple(v for v in records.visits if v.id in concern.visits and v.path not in broken and v.day <= day)
    records = replace(records, visits=sound)
    parts = (sv for sv in sensor_visits(records) if concern.holds(records, sv.visit, sv.sensor))
    return measured(records, parts, faults, approved=approved)


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


def judged_side(side: Measured, positions: Collection[str], day: date) -> Side:
    """A measured side judged on a day, as far as some sensors go."""
    records, cells = side.records, side.measurement.cells
    wanted = [sv for sv in side.parts if sv.sensor in positions or sv.sensor in records.references]
    here = {i for i, cell in enumerate(cells) if cell.sensor_visit.sensor in positions}
    found = doubted(judged(side, monte_carlo_answers(side, here), wanted), day)
    visits = standing_visits(summaries(found, (sv for sv in wanted if sv.sensor in records.sensors), advised=False))
    return Side(
        records=records,
        faults=(*side.faults, *side.physics),
        results={result.key: result for result in found.results},
        standings={
            name: _standing(records, name, visits.get(name, ()), day)
            for name in sorted(positions & records.sensors.keys())
        },
        cases={(case.visit, case.sensor): case for case in find_cases(visits, records.findings)},
        judged=found,
    )


def _standing(records: Records, name: str, visits: Sequence[SensorVisitSummary], day: date) -> Standing:
    """State and due day of the instrument that serves on a day."""
    sensor = records.sensors[name]
    instrument = instrument_on(sensor, day)
    present = [v for v in visits if instrument and v.results and v.results[0].serial == instrument.serial]
    return Standing(
        state=state_of(present)[0],
        due=due(records, sensor, [(v.results, v.adjusted) for v in present], day),
    )
