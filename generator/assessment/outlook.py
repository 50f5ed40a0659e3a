"""What the line of an instrument expects of each of its points: today, when next due, and when it leaves the tolerance.

Three uncertainties are kept apart. The crossing day is that of the expected true error: levels and rates. The error
today adds what a visit shifts by. The prediction at the next due day adds one measurement's own uncertainty, with
references that share nothing with those before, since by then they may have been calibrated anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr, stdtr

from generator.assessment.history import DAYS_A_YEAR
from generator.assessment.line import MANY, Fit
from generator.rounding import expanded
from generator.uncertainty.sources import coverage_factor

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
    direction: str
    temperature_c: float
    """of the newest result: points of one target may be read at several temperatures"""
    reference_value: float
    rate: float
    U_rate: float
    error_today: float
    """true error expected on the day of the assessment"""
    U_today: float
    """the line's and what a visit shifts by, in the conditions of the calibrations: neither the air's temperature in
    use nor the hysteresis of how it came to a humidity"""
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


def outlooks(
    fit: Fit, today: date, due: date | None, tolerance_at: Callable[[float], float]
) -> tuple[PointOutlook, ...]:
    """One outlook for each point of the open segment; `tolerance_at`: the tolerance in force at a reference value."""
    now = fit.expected(today)
    then = fit.expected(due) if due is not None else None
    found = []
    for i, level in enumerate(fit.epoch.open_levels):
        newest = fit.epoch.newest(level)
        reference_value = float(now.reference_values[i])
        rate = fit.rate_at(reference_value)
        u_today, nu_today = now.spread(i, visit=1.0)
        error_due = U_due = math.nan
        if then is not None:
            u_due, nu_due = then.spread(i, visit=1.0, own=newest.u**2)
            error_due, U_due = float(then.errors[i]), float(coverage_factor(nu_due)) * u_due
        tolerance = tolerance_at(reference_value)
        found.append(
            PointOutlook(
                target=now.targets[i],
                direction=now.directions[i],
                temperature_c=newest.temperature_c,
                reference_value=reference_value,
                rate=rate.rate,
                U_rate=rate.U,
                error_today=float(now.errors[i]),
                U_today=float(coverage_factor(nu_today)) * u_today,
                due=due,
                error_due=error_due,
                U_due=U_due,
                tolerance=tolerance,
                limit=tolerance - newest.U,
                leaves=_leaves(fit, level, tolerance, newest.U, newest.unit),
            )
        )
    return tuple(found)


def _leaves(fit: Fit, level: int, tolerance: float, U: float, unit: str) -> Leaves | None:
    if math.isnan(tolerance):
        return None
    limit = f"{tolerance:.3g} {unit}"
    if tolerance <= U:
        said = f"cannot be decided with this U: ± {expanded(U)} {unit} is not below the tolerance of {limit}"
        return Leaves(median=None, earliest=None, latest=None, sentence=said)
    start = fit.epoch.days[-1]
    days = crossing_days(fit, level, start, tolerance - U, (EARLIEST, MEDIAN, LATEST))
    return Leaves(earliest=days[0], median=days[1], latest=days[2], sentence=_in_words(days, start, f"± {limit}"))


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


def crossing_days(fit: Fit, level: int, start: date, limit: float, probabilities: Sequence[float]) -> list[date | None]:
    """For each probability the first day from `start` on which |true error| > limit has it; None: not in the horizon.

    The error of a day is a t distribution scaled to the line's uncertainty about the line.
    """
    last = round(HORIZON_YEARS * DAYS_A_YEAR)
    coarse = np.arange(0, last + STEP_DAYS, STEP_DAYS)
    outside = _outside(fit, level, start, coarse, limit)
    found: list[date | None] = []
    for wanted in probabilities:
        there = np.flatnonzero(outside >= wanted)
        if not len(there):
            found.append(None)
            continue
        end = int(coarse[there[0]])
        fine = np.arange(max(end - STEP_DAYS, -1) + 1, end + 1)
        day = int(fine[np.flatnonzero(_outside(fit, level, start, fine, limit) >= wanted)[0]])
        found.append(start + timedelta(days=day) if day <= last else None)
    return found


def _outside(fit: Fit, level: int, start: date, days: np.ndarray, limit: float) -> np.ndarray:
    """P(|true error| > limit) on each day, counted from `start`."""
    error, u, nu = fit.course(level, fit.epoch.years_at(start) + days / DAYS_A_YEAR)
    if np.all(np.isinf(nu)):
        return ndtr((-limit - error) / u) + ndtr((error - limit) / u)
    many = np.minimum(nu, MANY)
    return stdtr(many, (-limit - error) / u) + stdtr(many, (error - limit) / u)
