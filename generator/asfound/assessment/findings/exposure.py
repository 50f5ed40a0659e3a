"""What an out-of-tolerance error meant for the air: the trend of the building system, corrected, against its limits.

The sensor showed I where the air was at R: R + E(R) = I, solved for every value of the trend with the error of its day.
E's uncertainty is common to the whole window, so that the hours outside are counted anew with the corrected humidity
moved by parts of it: the least and the most of them bound the hours at 95 %. On which side of its loop the sensor was
changes with the air: outside for certain is what lies there on both sides, outside at most what does on either. Where
no drift line tells how the error came about, the same is done for a step on every day between two visits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from asfound.assessment.findings.error_curve import ErrorCurve
from asfound.assessment.findings.error_path import Basis, Crossed, ErrorPath
from asfound.records.models import ProcessLimits
from asfound.records.trends.exports import Trend

MOVED = np.linspace(-1.0, 1.0, 9)
"""Parts of the uncertainty of the loop's middle by which the corrected humidity is moved."""
HOUR_S = 3600.0

Span = tuple[int, int]
"""from and until, seconds UTC"""


@dataclass(frozen=True, kw_only=True)
class Size:
    """How large the error was where the sensor works."""

    at: float
    """working humidity (or temperature)"""
    error: float
    U: float
    held: bool
    """whether the working point lies outside the points read, so that the outermost one's error is taken"""
    true_when_shown: float
    """what the air was when the sensor showed the working humidity: R + E(R) = shown"""


@dataclass(frozen=True, kw_only=True)
class Day:
    """The corrected humidity of one local day: mean, extremes, and U of the mean."""

    day: date
    lowest: float
    mean: float
    highest: float
    U: float


@dataclass(frozen=True, kw_only=True)
class Hours:
    """Hours of the corrected humidity outside the process limits."""

    best: float
    least: float
    most: float
    dry: float
    """of the best, below the lower limit"""
    damp: float
    """of the best, above the upper limit"""


@dataclass(frozen=True, kw_only=True)
class TrendExposure:
    """What the trend of a window says."""

    window: float
    """hours of the window, visits left out"""
    covered: float
    """of them, hours with a value"""
    visits: float
    """hours left out, in which the sensor was being calibrated"""
    left_out: int
    """values that were no humidity of the air"""
    unplaced: tuple[Span, ...]
    """hours that clocks repeated, with values of which nothing tells in which pass they were recorded"""
    stuck: tuple[tuple[int, int, float], ...]
    """(from, until, value) where it did not move for more than a day"""
    beyond: float
    """hours in which the corrected humidity lay outside the points that were read, by less than which is not known"""
    shown: float | None
    """hours outside as shown; None without process limits"""
    hours: Hours | None
    stepped: tuple[float, float] | None
    """(least, most) hours outside had the error come in one step between visits, on whichever day; None where a drift
    line tells"""
    days: tuple[Day, ...]
    files: tuple[tuple[str, str], ...]
    """(path, SHA-256) of the exports"""


@dataclass(frozen=True, kw_only=True)
class Neighbour:
    """Another sensor of the place: how it was left before the day, how it was next found, and what it showed."""

    sensor: str
    left: tuple[date, str] | None
    """(day, worst verdict) of the newest visit before"""
    found: tuple[date, str] | None
    """(day, worst verdict) of the next visit, or of the same day"""
    difference: float | None
    """mean of its trend less this sensor's, as shown, in the days before"""
    hours: float
    """of the comparison"""


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """Everything about the time in which a sensor may have been out of tolerance."""

    start: int
    """seconds UTC"""
    end: int
    opened: str
    """what the window begins with, in words"""
    basis: Basis
    crossed: Crossed | None
    size: Size | None
    trend: TrendExposure | None
    no_trend: str
    """why there is no exposure from a trend; blank where there is one"""
    neighbours: tuple[Neighbour, ...]


def size_at(curve: ErrorCurve, working: float) -> Size:
    """The error where the sensor works."""
    return Size(
        at=working,
        error=float(curve.error(working)),
        U=float(curve.U(working)),
        held=not curve.lowest <= working <= curve.highest,
        true_when_shown=float(curve.reference_values(working)) if curve.invertible else float("nan"),
    )


def trend_exposure(
    trend: Trend,
    path: ErrorPath,
    limits: ProcessLimits | None,
    window: Span,
    visits: Sequence[Span],
    zone: ZoneInfo,
) -> TrendExposure:
    """What the trend says of a window; `visits`: when the sensor was calibrated.

    Raises ValueError where the path is not invertible.
    """
    part = trend.within(*window)
    held_h = np.minimum(part.held_s(), window[1] - part.time_utc) / HOUR_S
    shown = part.readings["humidity"]
    calibrating = np.zeros(len(shown), bool)
    for start, end in visits:
        calibrating |= (part.time_utc >= start) & (part.time_utc < end)
    used = np.isfinite(shown) & ~calibrating
    time, shown, held_h = part.time_utc[used], shown[used], held_h[used]
    edges, days = _days(window, zone)
    corrected, beyond = _corrected(time, shown, path, edges)
    out_of_use = _covered_s(visits, window) / HOUR_S
    return TrendExposure(
        window=(window[1] - window[0]) / HOUR_S - out_of_use,
        covered=float(held_h.sum()),
        visits=out_of_use,
        left_out=part.left_out,
        unplaced=part.unplaced,
        stuck=tuple(part.stuck()),
        beyond=float(held_h[beyond].sum()),
        shown=float(held_h[_outside(shown, limits)].sum()) if limits else None,
        hours=_hours(corrected, held_h, limits) if limits else None,
        stepped=_stepped(time, shown, held_h, path, limits) if limits and path.basis is not Basis.LINE else None,
        days=_by_day(time, corrected, edges, days),
        files=part.files,
    )


def _covered_s(spans: Sequence[Span], window: Span) -> int:
    """Seconds of a window that lie in any of the spans: two visits of one day may overlap."""
    total, reached = 0, window[0]
    for start, end in sorted(spans):
        total += max(min(end, window[1]) - max(start, reached), 0)
        reached = max(reached, end)
    return total


def _days(window: Span, zone: ZoneInfo) -> tuple[np.ndarray, list[date]]:
    """First seconds (UTC) of the local days of a window, and the days."""
    first, last = (datetime.fromtimestamp(end, UTC).astimezone(zone).date() for end in window)
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    return np.array([datetime(d.year, d.month, d.day, tzinfo=zone).timestamp() for d in days]), days


class _Corrected(NamedTuple):
    """Corrected humidity, shape (values,)."""

    humidity: np.ndarray
    """by the middle of the loop"""
    spread: np.ndarray
    """expanded uncertainty of it"""
    half: np.ndarray
    """by how much either side of the loop lies from it"""

    def outside(self, limits: ProcessLimits) -> tuple[np.ndarray, np.ndarray]:
        """(whether it is outside on both sides of the loop, whether on either), each for MOVED, shape (9, values)."""
        moved = self.humidity + MOVED[:, None] * self.spread
        certain = (moved + self.half < limits.lowest) | (moved - self.half > limits.highest)
        return certain, (moved - self.half < limits.lowest) | (moved + self.half > limits.highest)


def _corrected(
    time: np.ndarray, shown: np.ndarray, path: ErrorPath, edges: np.ndarray
) -> tuple[_Corrected, np.ndarray]:
    """(corrected humidity, whether it lies outside the points read), each day by the curve of its noon."""
    found, beyond = _Corrected(*np.zeros((3, len(time)))), np.zeros(len(time), bool)
    cuts = np.searchsorted(time, np.append(edges, np.inf))
    for number, edge in enumerate(edges):
        part = slice(cuts[number], cuts[number + 1])
        if part.start == part.stop:
            continue
        curve = path.on(edge + 43200.0)
        for column, values in zip(found, _by_curve(shown[part], curve), strict=True):
            column[part] = values
        beyond[part] = (found.humidity[part] < curve.lowest) | (found.humidity[part] > curve.highest)
    return found, beyond


def _outside(humidity: np.ndarray, limits: ProcessLimits) -> np.ndarray:
    return (humidity < limits.lowest) | (humidity > limits.highest)


def _hours(corrected: _Corrected, held_h: np.ndarray, limits: ProcessLimits) -> Hours:
    certain, either = ((outside * held_h).sum(axis=1) for outside in corrected.outside(limits))
    dry = float(held_h[corrected.humidity < limits.lowest].sum())
    damp = float(held_h[corrected.humidity > limits.highest].sum())
    return Hours(best=dry + damp, least=float(certain.min()), most=float(either.max()), dry=dry, damp=damp)


def _stepped(
    time: np.ndarray, shown: np.ndarray, held_h: np.ndarray, path: ErrorPath, limits: ProcessLimits
) -> tuple[float, float]:
    """The least and the most hours outside with one step in each leg, after whichever value."""
    cuts = np.searchsorted(time, [leg.times[0] for leg in path.legs[1:]])
    ends = [0, *cuts.tolist(), len(time)]
    least, most = np.zeros(len(MOVED)), np.zeros(len(MOVED))
    for leg, first, last in zip(path.legs, ends[:-1], ends[1:], strict=True):
        before, after = (_by_curve(shown[first:last], curve).outside(limits) for curve in (leg.before, leg.after))
        certain, either = (
            _stepping(early * held_h[first:last], late * held_h[first:last])
            for early, late in zip(before, after, strict=True)
        )
        least, most = least + certain.min(axis=1), most + either.max(axis=1)
    return max(float(least.min()), 0.0), float(most.max())


def _stepping(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Hours with a step after each value, shape (parts, values + 1): by `before` until then, by `after` since."""
    none = np.zeros((len(before), 1))
    until = np.hstack([none, np.cumsum(before, axis=1)])
    return until + after.sum(axis=1, keepdims=True) - np.hstack([none, np.cumsum(after, axis=1)])


def _by_curve(shown: np.ndarray, curve: ErrorCurve) -> _Corrected:
    """Corrected by one curve."""
    corrected = curve.reference_values(shown)
    return _Corrected(corrected, curve.spread(corrected), curve.half_loop(corrected))


def _by_day(time: np.ndarray, corrected: _Corrected, edges: np.ndarray, days: Sequence[date]) -> tuple[Day, ...]:
    cuts = np.searchsorted(time, np.append(edges, np.inf))
    found = []
    for number, day in enumerate(days):
        part = slice(cuts[number], cuts[number + 1])
        if part.start < part.stop:
            values, U = corrected.humidity[part], (corrected.spread + corrected.half)[part]
            found.append(
                Day(
                    day=day,
                    lowest=float(values.min()),
                    mean=float(values.mean()),
                    highest=float(values.max()),
                    U=float(U.mean()),
                )
            )
    return tuple(found)


def mean_difference(trend: Trend, other: Trend, start: int, end: int) -> tuple[float | None, float]:
    """(mean of the other trend less this one, as shown; hours of it) within a span.

    Each value of this one is compared with the newest of the other, unless that is older than it stands for.
    """
    part = trend.within(start, end)
    if not len(part.time_utc) or not len(other.time_utc):
        return None, 0.0
    newest = np.searchsorted(other.time_utc, part.time_utc, side="right") - 1
    known = newest >= 0
    newest = np.maximum(newest, 0)
    known &= part.time_utc - other.time_utc[newest] < np.maximum(other.held_s()[newest], 1.0)
    difference = other.readings["humidity"][newest] - part.readings["humidity"]
    known &= np.isfinite(difference)
    if not known.any():
        return None, 0.0
    hours = part.held_s()[known] / HOUR_S
    return float(np.average(difference[known], weights=np.maximum(hours, 1e-9))), float(hours.sum())
