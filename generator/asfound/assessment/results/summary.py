"""One sensor at one visit: its results and what follows from them at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from asfound.assessment.results.adjustment import Advice, Hysteresis, advice, hysteresis
from asfound.assessment.results.table import NO_RESULTS, Results
from asfound.measurement.lines import Measurement
from asfound.records.load import Records
from asfound.records.settings_in_force import SettingsOn
from asfound.records.visits.rows import SensorVisit


@dataclass(frozen=True, kw_only=True)
class SensorVisitSummary:
    """One sensor at one visit: its results and what follows from them at once."""

    sensor_visit: SensorVisit
    results: Results
    advice: Advice | None
    hysteresis: tuple[Hysteresis, ...]
    points: tuple[float, ...] = ()
    """set points in force on its day, %RH"""

    @property
    def adjusted(self) -> bool:
        """Whether the instrument was changed."""
        return self.last_change is not None

    @cached_property
    def last_change(self) -> int | None:
        """When the instrument was last changed here, seconds UTC."""
        return max((event.time_utc for event in self.sensor_visit.changes), default=None)


def summary_of(
    records: Records,
    measurement: Measurement,
    sv: SensorVisit,
    by_visit: Mapping[tuple[str, str], Results],
    *,
    advised: bool = True,
) -> SensorVisitSummary:
    """One sensor at one visit; `by_visit`: results by (visit, sensor). `advised`: with advice and hysteresis."""
    found = NO_RESULTS if sv.withdrawn else by_visit.get((sv.visit.id, sv.sensor), NO_RESULTS)
    sensor = records.sensors.get(sv.sensor)
    settings = SettingsOn(records, sensor, sv.visit.day) if sensor is not None else None
    points = settings.dated("points") if settings else None
    budgets, changed = measurement.whole(), bool(sv.changes)
    return SensorVisitSummary(
        sensor_visit=sv,
        results=found,
        advice=advice(found, settings, budgets, adjusted=changed) if advised and settings and found else None,
        hysteresis=hysteresis(found, budgets) if advised else (),
        points=tuple(points.humidity) if points else (),
    )
