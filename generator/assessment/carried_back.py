"""What the calibration of a reference found, carried back to the visits since the calibration before.

Between two calibrations a reference is held to have wandered evenly from what the earlier one said to what the later
one found. Each visit between them is measured again with its share of that change. No calibration alters what was
published before it: this says what it would have changed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from generator.assessment.assess import Assessment
from generator.assessment.retrace import Retrace, Retracer
from generator.records.models import Channel
from generator.records.references import Calibration, Reference, TablePoint
from generator.uncertainty.calibrations import interpolation
from generator.uncertainty.shifts import Shift
from generator.uncertainty.visit_curves import errors_seen

_CHANNELS = {"reference_humidity": Channel.HUMIDITY, "reference_temperature": Channel.TEMPERATURE}


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Errors of a quantity by its reading, with their U; shapes (points,), canonical unit."""

    at: np.ndarray
    error: np.ndarray
    U: np.ndarray

    def of(self, values: np.ndarray, reading: np.ndarray) -> np.ndarray:
        """`error` or `U` at readings, straight between points, held at the ends: as a table is applied."""
        left, weight, _ = interpolation(self.at, reading)
        right = np.minimum(left + 1, len(self.at) - 1)
        return np.asarray(values[left] * (1.0 - weight) + values[right] * weight)


@dataclass(frozen=True, kw_only=True)
class Change:
    """What one calibration found of one quantity against the calibration before: where it is largest."""

    quantity: str
    earlier: date
    later: date
    reading: float
    change: float
    """found − as known before, canonical unit"""
    U: float
    """of the change: root of the sum of squares of the two, as if they were independent"""

    @property
    def significant(self) -> bool:
        """Whether it is larger than its U."""
        return abs(self.change) > self.U


@dataclass(frozen=True, kw_only=True)
class CarriedBack:
    """One calibration of a reference, carried back."""

    reference: str
    day: date
    changes: tuple[Change, ...]
    """one for each quantity that was calibrated that day and before"""
    retrace: Retrace


def carried_back(assessment: Assessment) -> Mapping[str, tuple[CarriedBack, ...]]:
    """By reference, each of its calibrations but the first, newest first; only those that leave nothing unknown.

    Each is carried back by itself, so that no cause hides behind another.
    """
    retracer = Retracer(assessment)
    found: dict[str, tuple[CarriedBack, ...]] = {}
    for name, reference in sorted(assessment.records.references.items()):
        by_day: dict[date, list[tuple[Change, Shift]]] = {}
        for change, shift in _changes(assessment, reference):
            by_day.setdefault(change.later, []).append((change, shift))
        if by_day:
            found[name] = tuple(
                CarriedBack(
                    reference=name,
                    day=day,
                    changes=tuple(change for change, _ in here),
                    retrace=retracer.retrace([shift for _, shift in here]),
                )
                for day, here in sorted(by_day.items(), reverse=True)
            )
    return found


def _changes(assessment: Assessment, reference: Reference) -> Iterator[tuple[Change, Shift]]:
    for quantity, known in reference.quantities.items():
        past = [c for c in known.calibrations if c.date <= assessment.day]
        for earlier, later in pairwise(past):
            before, after = (
                _left(assessment, reference, quantity, earlier),
                _found(assessment, reference, quantity, later),
            )
            if before is not None and after is not None:
                yield (
                    _largest(quantity, earlier, later, before, after),
                    _shift(reference.id, quantity, earlier, later, before, after),
                )


def _left(assessment: Assessment, reference: Reference, quantity: str, calibration: Calibration) -> Curve | None:
    """How a calibration left the quantity: what visits were measured with."""
    if calibration.from_visit:
        return _by_visit(assessment, reference, quantity, calibration.from_visit, ("as_left", "as_found"))
    return _table(calibration, calibration.points)


def _found(assessment: Assessment, reference: Reference, quantity: str, calibration: Calibration) -> Curve | None:
    """How a calibration found the quantity: as found where it says so; else as left, for nothing was adjusted."""
    if not calibration.from_visit:
        return _table(calibration, calibration.as_found or calibration.points)
    adjusted = any(
        summary.adjusted
        for summary in assessment.summaries
        if (summary.sensor_visit.sensor, summary.sensor_visit.visit.id) == (reference.id, calibration.from_visit)
    )
    phases = ("as_found",) if adjusted else ("as_found", "as_left")
    return _by_visit(assessment, reference, quantity, calibration.from_visit, phases)


def _table(calibration: Calibration, points: tuple[TablePoint, ...]) -> Curve:
    sign = 1.0 if calibration.declared == "error" else -1.0
    return Curve(
        at=np.array([point.at.value for point in points]),
        error=sign * np.array([point.value.value for point in points]),
        U=np.array([point.U.value for point in points]),
    )


def _by_visit(
    assessment: Assessment, reference: Reference, quantity: str, visit: str, phases: tuple[str, ...]
) -> Curve | None:
    channel = _CHANNELS.get(quantity)
    seen = errors_seen(assessment.measurement, reference.id, visit, channel, phases) if channel else None
    return Curve(at=seen[0], error=seen[1], U=seen[2]) if seen else None


def _largest(quantity: str, earlier: Calibration, later: Calibration, before: Curve, after: Curve) -> Change:
    """The change where it is largest, at the points of the later calibration."""
    changes = after.error - before.of(before.error, after.at)
    at = int(np.argmax(np.abs(changes)))
    U = float(np.hypot(after.U[at], before.of(before.U, after.at)[at]))
    return Change(
        quantity=quantity,
        earlier=earlier.date,
        later=later.date,
        reading=float(after.at[at]),
        change=float(changes[at]),
        U=U,
    )


def _shift(
    reference: str, quantity: str, earlier: Calibration, later: Calibration, before: Curve, after: Curve
) -> Shift:
    return Shift(
        reference=reference,
        quantity=quantity,
        since=earlier.date,
        until=later.date - timedelta(days=1),
        value=_growing(earlier.date, later.date, before, after),
    )


def _growing(start: date, end: date, before: Curve, after: Curve) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """The change found, at each reading, growing evenly from nothing on the first day to all of it on the last."""
    first, days = np.datetime64(start, "D"), float((end - start).days)

    def value(reading: np.ndarray, day: np.ndarray) -> np.ndarray:
        change = after.of(after.error, reading) - before.of(before.error, reading)
        return np.asarray(change * (day - first).astype(float) / days)

    return value
