"""What the line of an instrument expects of each of its points: today, when next due, and when it leaves the tolerance.

Two uncertainties are kept apart. The true error, today and on the day of leaving, is that of levels and rates, with
what a visit shifts by and the part of what was declared that proved constant and hides in the levels; in use the whole
loop of the declared hysteresis comes in. The prediction at the next due day is of a measurement: its own uncertainty as
the family varies, with references that share nothing with those before, since by then they may have been calibrated
anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from asfound.assessment.history.line import Fit
from asfound.assessment.results.conformity import probability_outside
from asfound.assessment.results.table import Result
from asfound.measurement.calibrations import DAYS_A_YEAR
from asfound.rounding import expanded
from asfound.uncertainty.sources import coverage_factor

HORIZON_YEARS = 10
"""How far ahead a line is followed (our choice)."""
STEP_DAYS = 30
"""First stride in the search for a crossing; the day itself is then found within it."""
EARLIEST, MEDIAN, LATEST = 0.025, 0.5, 0.975
"""Probabilities of having left the tolerance, of the day's bounds and its median."""


@dataclass(frozen=True, kw_only=True)
class Leaves:
    """When |error| + U leaves the tolerance; a day is None where it is not within HORIZON_YEARS of the last visit."""

    median: date | None
    earliest: date | None
    latest: date | None
    sentence: str


@dataclass(frozen=True, kw_only=True)
class PointOutlook:
    """What is expected of one point of the open segment, in the channel's unit and per year."""

    target: float
    """the point, %RH"""
    reach: float
    """of the point, %RH"""
    direction: str
    temperature_c: float
    """of the newest result: points of one target may be read at several temperatures"""
    reference_value: float
    rate: float
    U_rate: float
    error_today: float
    """true error expected on the day of the assessment, in use: in the middle of the declared loop, where one way was
    read"""
    U_today: float
    """of the true error, in use: either way of the declared loop"""
    due: date | None
    error_due: float
    """expected at the next due day; nan without one"""
    U_due: float
    """half of the interval for what a measurement will show then"""
    tolerance: float
    """in force at this point"""
    limit: float
    """tolerance − U of a measurement (newest U of the point)"""
    leaves: Leaves | None

    @property
    def share_today(self) -> float:
        """What |error| + U of today use of the tolerance; 0 without one."""
        return (abs(self.error_today) + self.U_today) / self.tolerance if self.tolerance > 0 else 0.0


def outlooks(
    fit: Fit, today: date, due: date | None, tolerance_at: Callable[[float], float]
) -> tuple[PointOutlook, ...]:
    """One outlook for each point of the open segment. `tolerance_at`: the tolerance in force at a reference value."""
    points = [fit.epoch.newest(level) for level in fit.epoch.open_levels]
    now = fit.expected(today)
    values = now.reference_values.tolist()
    rates = [fit.rate_at(value) for value in values]
    U_rate = [rate.U for rate in rates]
    U_today = _expanded(*now.true(in_use=True))
    errors_due = U_due = [math.nan] * len(points)
    if due is not None:
        then = fit.expected(due)
        errors_due, U_due = then.errors.tolist(), _expanded(*then.measured())
    tolerances = [tolerance_at(value) for value in values]
    leaves = _leaves(fit, points, tolerances)
    return tuple(
        PointOutlook(
            target=now.targets[i],
            reach=now.first[i].reach,
            direction=now.directions[i],
            temperature_c=newest.temperature_c,
            reference_value=values[i],
            rate=rates[i].rate,
            U_rate=U_rate[i],
            error_today=float(now.errors[i] + fit.to_the_middle[i]),
            U_today=U_today[i],
            due=due,
            error_due=errors_due[i],
            U_due=U_due[i],
            tolerance=tolerances[i],
            limit=tolerances[i] - newest.U,
            leaves=leaves[i],
        )
        for i, newest in enumerate(points)
    )


def _expanded(u: np.ndarray, nu: np.ndarray) -> list[float]:
    """k·u of each."""
    return (coverage_factor(nu) * u).tolist()


def _leaves(fit: Fit, points: Sequence[Result], tolerances: Sequence[float]) -> list[Leaves | None]:
    """When each point leaves its tolerance, by the U of its newest result; None without a tolerance."""
    start = fit.epoch.days[-1]
    decided = [i for i, newest in enumerate(points) if tolerances[i] > newest.U]
    limits = [tolerances[i] - points[i].U for i in decided]
    crossed = crossing_days(fit, decided, start, limits, (EARLIEST, MEDIAN, LATEST))
    days = dict(zip(decided, crossed, strict=True))
    found: list[Leaves | None] = []
    for i, newest in enumerate(points):
        limit = f"{tolerances[i]:.3g} {newest.unit}"
        if i in days:
            earliest, median, latest = days[i]
            said = _in_words(days[i], start, f"± {limit}")
            found.append(Leaves(earliest=earliest, median=median, latest=latest, sentence=said))
        elif math.isnan(tolerances[i]):
            found.append(None)
        else:
            own = f"± {expanded(newest.U)} {newest.unit}"
            said = f"cannot be decided with this U: {own} is not below the tolerance of {limit}"
            found.append(Leaves(median=None, earliest=None, latest=None, sentence=said))
    return found


def _in_words(days: Sequence[date | None], start: date, tolerance: str) -> str:
    earliest, median, latest = days
    beyond = f"not within {HORIZON_YEARS} years"
    if latest == start:
        return f"|error| + U is beyond {tolerance} since the last visit, {start}, or before"
    if earliest is None:
        return f"|error| + U leaves {tolerance} {beyond}"
    from_day = f"{earliest}" if earliest != start else f"the last visit ({start})"
    if median is None:
        return f"|error| + U may leave {tolerance} from {from_day} on, more likely {beyond}"
    likely = f"about {median}" if median != start else f"more likely than not by the last visit, {start}"
    return f"|error| + U leaves {tolerance} {likely} (95 %: from {from_day} to {latest or beyond})"


def crossing_days(
    fit: Fit, levels: Sequence[int], start: date, limits: Sequence[float], probabilities: Sequence[float]
) -> list[list[date | None]]:
    """For each open level, by place, and probability the first day from `start` on which |true error| > limit has it.

    None: not in the horizon. The error of a day is a t distribution scaled to the line's uncertainty about the line.
    """
    last, wanted = round(HORIZON_YEARS * DAYS_A_YEAR), np.array(probabilities)
    of_level, limit = np.array(levels, int), np.array(limits, float)
    coarse = np.arange(0, last + STEP_DAYS, STEP_DAYS)
    outside = _outside(fit, of_level, start, np.tile(coarse, (len(levels), 1)), limit)
    there = outside[:, None, :] >= wanted[:, None]
    found: list[list[date | None]] = [[None] * len(probabilities) for _ in levels]
    # Within the stride that ends on the first of the coarse days: one day of it is the day.
    at, which = np.nonzero(there.any(axis=2))
    fine = np.maximum(coarse[there[at, which].argmax(axis=1)][:, None] + np.arange(1 - STEP_DAYS, 1), 0)
    outside = _outside(fit, of_level[at], start, fine, limit[at])
    days = fine[range(len(at)), (outside >= wanted[which][:, None]).argmax(axis=1)]
    for i, number, day in zip(at.tolist(), which.tolist(), days.tolist(), strict=True):
        found[i][number] = start + timedelta(days=day) if day <= last else None
    return found


def _outside(fit: Fit, levels: np.ndarray, start: date, days: np.ndarray, limits: np.ndarray) -> np.ndarray:
    """P(|true error| > limit) of each level on its days, counted from `start`; shape (levels, days)."""
    error, u, nu = fit.course(levels, fit.epoch.years_at(start) + days / DAYS_A_YEAR)
    return probability_outside(error, u, nu, limits[:, None])
