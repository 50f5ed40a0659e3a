"""What each calibration of a reference found, against the calibration that was in use before.

A reference conforms where the error that was found (before adjustment, or after it where nothing was adjusted) agrees
with the table in use within the expanded uncertainty of the difference: both calibrations' own, and the drift allowance
of the time between as a rectangular distribution.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from scipy.special import ndtri

from asfound.measurement.calibration_tables import interpolation
from asfound.measurement.calibrations import DAYS_A_YEAR
from asfound.measurement.lines import Measurement
from asfound.measurement.visit_curves import CALIBRATED_HERE, half_loops, means, points_of, to_the_middle
from asfound.records.load import Records
from asfound.records.models import Reference
from asfound.records.models.references import Calibration, TablePoint
from asfound.uncertainty.covariance import expanded_of_combination
from asfound.uncertainty.sources import RECTANGULAR_DIVISOR, coverage_factor, freedom_from_k

DOUBTED = 0.01
"""Probability with which a day's calibrations put a healthy reference in doubt, over all its quantities (our choice):
U alone, at 95.45 % for each, would do so every few years."""
TINY = 1e-300
"""Stands for no uncertainty at all where a change is divided by it: two visits may share every source."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ErrorTable:
    """Errors of a reference at its readings: from a certificate, or from plateaus read here (`lines`)."""

    at: np.ndarray
    error: np.ndarray
    u: np.ndarray
    nu: np.ndarray
    lines: tuple[tuple[tuple[int, float], ...], ...]
    """for each point numbers of lines and their weights; empty for a certificate's"""

    def error_at(self, reading: np.ndarray) -> np.ndarray:
        """Errors at readings, straight between points, held at the ends: as a table is applied; shape (n,)."""
        left, share, _ = interpolation(self.at, reading)
        right = np.minimum(left + 1, len(self.at) - 1)
        return np.asarray(self.error[left] * (1.0 - share) + self.error[right] * share)


@dataclass(frozen=True, kw_only=True)
class Recalibration:
    """One quantity at the point that stands out most; numbers in the quantity's canonical unit."""

    reference: str
    quantity: str
    before: date
    """day of the calibration in use until then"""
    day: date
    name: str
    """the certificate's number, or the visit's id"""
    at: float
    """reading of the reference"""
    change: float
    """error that was found, less the error by the table in use"""
    U: float
    """of the change, drift allowance included"""
    allowance: float
    """what the drift declared allows in the time between, ± this; nan where none is declared"""
    in_use: ErrorTable = field(compare=False)
    """what the calibration before gave for use"""
    found: ErrorTable = field(compare=False)
    """what this one found"""

    @property
    def conforms(self) -> bool:
        """Whether the change is no larger than its expanded uncertainty."""
        return abs(self.change) <= self.U

    def doubtful(self, quantities: int) -> bool:
        """Whether the change is beyond what chance allows to a reference with so many quantities."""
        k = float(coverage_factor(math.inf))
        return abs(self.change) > self.U * float(ndtri(1.0 - DOUBTED / (2.0 * quantities))) / k


def recalibrations(records: Records, measurement: Measurement, day: date | None = None) -> list[Recalibration]:
    """All pairs of successive calibrations up to a day that can be compared, by reference, quantity and day."""
    found = []
    for reference in records.references.values():
        for quantity, known in reference.quantities.items():
            for before, now in itertools.pairwise(known.calibrations):
                if day is None or now.date <= day:
                    worst = _compared(measurement, reference, quantity, before, now)
                    if worst is not None:
                        found.append(worst)
    return found


def _compared(
    measurement: Measurement, reference: Reference, quantity: str, before: Calibration, now: Calibration
) -> Recalibration | None:
    in_use = _in_use(measurement, reference, quantity, before)
    as_found = _as_found(measurement, reference, quantity, now)
    if in_use is None or as_found is None:
        return None
    years = (now.date - before.date).days / DAYS_A_YEAR
    allowance = before.drift.value * years if before.drift else math.nan
    drift = allowance / RECTANGULAR_DIVISOR if before.drift else 0.0
    points = _differences(measurement, in_use, as_found, drift)
    at, change, U = max(points, key=lambda point: abs(point[1]) / max(point[2], TINY), default=(math.nan,) * 3)
    if math.isnan(at):
        return None
    return Recalibration(
        reference=reference.id,
        quantity=quantity,
        before=before.date,
        day=now.date,
        name=now.certificate or now.from_visit or "",
        at=at,
        change=change,
        U=U,
        allowance=allowance,
        in_use=in_use,
        found=as_found,
    )


def _differences(
    measurement: Measurement, in_use: ErrorTable, found: ErrorTable, drift: float
) -> Iterator[tuple[float, float, float]]:
    """(reading, change, U of the change) at every point found that the table in use reaches."""
    left, share, outside = interpolation(in_use.at, found.at)
    right = np.minimum(left + 1, len(in_use.at) - 1)
    for i in np.flatnonzero(~outside):
        parts = ((int(left[i]), 1.0 - float(share[i])), (int(right[i]), float(share[i])))
        expected = sum(weight * float(in_use.error[p]) for p, weight in parts)
        lines = [*found.lines[i]]
        lines += [(line, -weight * own) for p, weight in parts if weight for line, own in in_use.lines[p]]
        sources = [(float(found.u[i]), float(found.nu[i])), (drift, math.inf)]
        u = sum(weight * float(in_use.u[p]) for p, weight in parts)
        sources.append((u, min(float(in_use.nu[p]) for p, weight in parts if weight)))
        if lines:
            u, k, _ = expanded_of_combination(
                measurement.whole(), [line for line, _ in lines], [weight for _, weight in lines]
            )
            sources.append((u, freedom_from_k(k)))
        yield float(found.at[i]), float(found.error[i]) - expected, _expanded(sources)


def _expanded(sources: Sequence[tuple[float, float]]) -> float:
    """U of independent sources (u, ν) by Welch–Satterthwaite (JCGM 100:2008, eq. G.2b)."""
    variance = sum(u * u for u, _ in sources)
    spread = sum(u**4 / nu for u, nu in sources)
    return float(coverage_factor(variance**2 / spread if spread else math.inf)) * math.sqrt(variance)


def _in_use(
    measurement: Measurement, reference: Reference, quantity: str, calibration: Calibration
) -> ErrorTable | None:
    """The errors that a calibration gave for use."""
    if calibration.from_visit:
        return _read_here(measurement, reference, quantity, calibration, ("as_left", "as_found"))
    return _certified(reference, quantity, calibration, calibration.points)


def _as_found(
    measurement: Measurement, reference: Reference, quantity: str, calibration: Calibration
) -> ErrorTable | None:
    """The errors that a calibration found: as found where that is on record, else nothing was adjusted."""
    if calibration.from_visit is None:
        return _certified(reference, quantity, calibration, calibration.as_found or calibration.points)
    adjusted = any(
        measurement.cells[measurement.lines[number].cell].sensor_visit.changes
        for number in measurement.lines_of(reference.id, calibration.from_visit)
    )
    phases = ("as_found",) if adjusted else ("as_found", "as_left")
    return _read_here(measurement, reference, quantity, calibration, phases)


def _certified(
    reference: Reference, quantity: str, calibration: Calibration, points: Sequence[TablePoint]
) -> ErrorTable:
    """A certificate's table; what its calibrations share stands in a common component, and belongs to each."""
    sign = 1.0 if calibration.declared == "error" else -1.0
    shared = [c.u.value for c in reference.common if quantity in c.quantities and c.date == calibration.date]
    return ErrorTable(
        at=np.array([p.at.value for p in points]),
        error=sign * np.array([p.value.value for p in points]),
        u=np.array([math.hypot(p.U.value / calibration.k_of(p), *shared) for p in points]),
        nu=np.array([freedom_from_k(calibration.k_of(p)) for p in points]),
        lines=((),) * len(points),
    )


def _read_here(
    measurement: Measurement, reference: Reference, quantity: str, calibration: Calibration, phases: tuple[str, ...]
) -> ErrorTable | None:
    """What a visit here read of the reference; its lines keep what two visits share from counting twice."""
    channel = CALIBRATED_HERE.get(quantity)
    if channel is None:
        return None
    points = points_of(measurement, reference.id, str(calibration.from_visit), channel, phases)
    if not points:
        return None
    half = half_loops(measurement, points, reference, channel, calibration.date)
    middle, unknown = to_the_middle(measurement, points, half)
    return ErrorTable(
        at=means(points, "indication"),
        error=means(points, "error") + middle,
        u=unknown * half,
        nu=np.full(len(points), math.inf),
        lines=tuple(tuple((number, weight) for number, _, weight in point) for point in points),
    )
