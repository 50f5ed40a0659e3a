"""How the error of one sensor went through a window of time, and when it crossed its limit.

Where a drift line stands through the window and foretold what was found, by the line. Else straight from how each visit
left the sensor to how the next found it: the world may have stepped instead, so what a step on any day would have meant
is computed beside it. Where nothing is known of the start, the error found is taken for the whole window.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum

import numpy as np

from asfound.assessment.findings.error_curve import (
    ErrorCurve,
    between_curves,
    curve_between,
    curve_of,
    curve_of_line,
    points_in_use,
)
from asfound.assessment.history.line import Expected, Fit
from asfound.assessment.history.outlook import EARLIEST, LATEST, MEDIAN
from asfound.assessment.results.conformity import probability_outside
from asfound.assessment.results.table import Result
from asfound.uncertainty.budgets import Budgets
from asfound.uncertainty.sources import coverage_factor

KNOT_DAYS = 30
"""Between curves so far apart on a line the variance is taken as straight (the error is)."""
SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)
SIGNIFICANT = 0.05
"""A line tells when only where its rate differs from zero with this probability of error."""


class Basis(StrEnum):
    """What the error within a window is taken from."""

    LINE = "drift line"
    BETWEEN = "straight between visits"
    HELD = "as found throughout"


@dataclass(frozen=True, kw_only=True)
class Leg:
    """A stretch of time in which nothing was changed: curves at rising times (seconds UTC)."""

    times: tuple[int, ...]
    curves: tuple[ErrorCurve, ...]

    def on(self, time: float) -> ErrorCurve:
        """The curve at a time; held beyond the ends."""
        late = bisect_right(self.times, time)
        if late == 0 or late == len(self.times):
            return self.curves[max(late - 1, 0)]
        start, end = self.times[late - 1 : late + 1]
        return between_curves(self.curves[late - 1], self.curves[late], (time - start) / (end - start))

    @property
    def before(self) -> ErrorCurve:
        """The curve before a step: how the sensor was left; where that is not known, no error beside its loop."""
        found = self.curves[-1]
        nothing = replace(found, errors=np.zeros_like(found.errors), covariance=np.zeros_like(found.covariance))
        return self.curves[0] if len(self.curves) > 1 else nothing

    @property
    def after(self) -> ErrorCurve:
        """The curve after a step: how the sensor was found."""
        return self.curves[-1]


@dataclass(frozen=True, kw_only=True)
class ErrorPath:
    """Legs in order of time."""

    basis: Basis
    legs: tuple[Leg, ...]

    @property
    def invertible(self) -> bool:
        """Whether every indication of every day belongs to one reference value."""
        return all(curve.invertible for leg in self.legs for curve in leg.curves)

    def on(self, time: float) -> ErrorCurve:
        """The curve at a time, seconds UTC."""
        number = bisect_right([leg.times[0] for leg in self.legs], time) - 1
        return self.legs[max(number, 0)].on(time)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """How one visit found and left the sensor, and when (seconds UTC)."""

    time: int
    found: tuple[Result, ...]
    left: tuple[Result, ...]
    adjusted: bool


def path_of_line(fit: Fit, start: int, end: int) -> ErrorPath:
    """The path by a drift line from one time to another."""
    first, last = _day(start), _day(end)
    count = max(math.ceil((last - first).days / KNOT_DAYS), 1)
    days = [first + timedelta(days=round(i * (last - first).days / count)) for i in range(count + 1)]
    days = sorted(set(days))
    newest, curves = [fit.epoch.results[i] for i in fit.newest], []
    for day in days:
        expected = fit.expected(day)
        points = points_in_use(expected.first, newest, expected.reference_values, expected.errors)
        curves.append(curve_of_line(points, expected.covariance, fit.scales.between, fit.rate.nu))
    return ErrorPath(basis=Basis.LINE, legs=(Leg(times=tuple(map(_seconds, days)), curves=tuple(curves)),))


def path_between(
    start: int, left: Sequence[Result], readings: Sequence[Reading], budgets: Budgets, between: float
) -> ErrorPath:
    """The path through the readings after `start`, the last of which is what was found; `left`: known at the start."""
    legs, known = [], True
    for reading in readings:
        if reading.found:
            if left:
                curves = tuple(curve_between(left, reading.found, budgets, between, share) for share in SHARES)
                times = tuple(round(start + share * (reading.time - start)) for share in SHARES)
            else:
                known = False
                curves, times = (curve_of(reading.found, budgets, between),), (start,)
            legs.append(Leg(times=times, curves=curves))
            start, left = reading.time, reading.found
        if reading.adjusted:
            start, left = reading.time, reading.left
        elif reading.left:
            left = reading.left
    return ErrorPath(basis=Basis.BETWEEN if known else Basis.HELD, legs=tuple(legs))


@dataclass(frozen=True, kw_only=True)
class Crossed:
    """When the true error left the limit at the worst point, by the drift line: 95 % bounds about the median."""

    median: date
    earliest: date
    latest: date | None
    """None: not surely before it was found"""
    before: bool
    """whether `earliest` is the first day of the window"""


def crossed(fit: Fit, worst: Result, limit: Callable[[date], float], first: date, last: date) -> Crossed | None:
    """When the worst result's error crossed its limit of the day, by a line that explains what was found.

    None where the line does not: it has no such point, its rate there is not significant, or on the day found it is as
    likely as not within the limit. What was found is then no drift along the line.
    """
    expected = fit.expected(last)
    point = _point(expected, worst)
    if point is None or fit.rate_at(float(expected.reference_values[point])).p_value > SIGNIFICANT:
        return None

    def chance(day: date) -> float:
        """P(|e| > T) of the true error on a day, by Student's t."""
        on_day = fit.expected(day)
        u, nu = on_day.true()
        return float(probability_outside(on_day.errors[point], u[point], nu[point], limit(day)))

    if chance(last) < MEDIAN:
        return None
    earliest = _first_day(chance, EARLIEST, first, last) or last
    return Crossed(
        median=_first_day(chance, MEDIAN, first, last) or last,
        earliest=earliest,
        latest=_first_day(chance, LATEST, first, last),
        before=earliest == first,
    )


def foretold(earlier: Fit | None, worst: Result) -> bool:
    """Whether the line of the visits before reaches what was found, within its prediction interval.

    A step is no drift, even where a line through it is not rejected, and of two visits before nobody can tell.
    """
    if earlier is None:
        return False
    expected = earlier.expected(worst.day)
    point = _point(expected, worst)
    if point is None:
        return False
    u, nu = expected.measured()
    return abs(worst.error - float(expected.errors[point])) <= float(coverage_factor(nu[point]) * u[point])


def _first_day(chance: Callable[[date], float], level: float, first: date, last: date) -> date | None:
    """The first day with so large a chance: the first month's end that has it, then halved."""
    before: date | None = None
    day = first
    while chance(day) < level:
        if day == last:
            return None
        before, day = day, min(day + timedelta(days=KNOT_DAYS), last)
    while before is not None and (day - before).days > 1:
        middle = before + (day - before) // 2
        if chance(middle) < level:
            before = middle
        else:
            day = middle
    return day


def _point(expected: Expected, worst: Result) -> int | None:
    """Which of the points expected was read as the worst result was; else one of the same point, if any."""
    near = [i for i, first in enumerate(expected.first) if first.at_point_of(worst)]
    near.sort(key=lambda i: expected.directions[i] != worst.direction)
    return near[0] if near else None


def _day(seconds: int) -> date:
    return datetime.fromtimestamp(seconds, UTC).date()


def _seconds(day: date) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp())
