"""Control charts: Shewhart's individuals and the exponentially weighted moving average, with their limits.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals) and 6.3.2.4 (EWMA).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

D2 = 2.0 / math.sqrt(math.pi)
"""Mean range of two values of a normal distribution in standard deviations, 1.128 (e-Handbook 6.3.2.2)."""
WIDTH = 3.0
"""Half-width of limits in standard deviations."""
WEIGHT = 0.2
"""Weight of the newest value in a moving average (e-Handbook 6.3.2.4: 0.2 to 0.3 is usual)."""
LEAST_VALUES = 4
"""Fewer values have no limits of their own (our choice)."""
FIRM_VALUES = 10
"""Limits of fewer values are provisional (our choice: a moving range of nine differences is known to about 25 %)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Individuals:
    """Single values with centre and limits, in their unit."""

    values: np.ndarray
    centre: float
    lower: float
    upper: float
    signals: tuple[int, ...]
    """numbers of the values beyond the limits"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ewma:
    """The moving average after each value, with its limits at each, in the values' unit."""

    values: np.ndarray
    centre: float
    lower: np.ndarray
    upper: np.ndarray
    signals: tuple[int, ...]
    """numbers of the averages beyond the limits"""


def moving_range_sigma(values: Sequence[float] | np.ndarray) -> float:
    """Standard deviation by the mean moving range, MR̄/d2 (e-Handbook 6.3.2.2); needs two values or more.

    A slow drift hardly widens it, where it would widen the plain standard deviation.
    """
    x = np.asarray(values, float)
    if len(x) < 2:
        raise ValueError("a moving range needs two values or more")
    return float(np.mean(np.abs(np.diff(x)))) / D2


def individuals(
    values: Sequence[float] | np.ndarray, centre: float | None = None, sigma: float | None = None
) -> Individuals:
    """Centre ± 3σ; without a given centre the mean, without a given σ that of the moving range."""
    x = np.asarray(values, float)
    middle = float(np.mean(x)) if centre is None else centre
    reach = WIDTH * (moving_range_sigma(x) if sigma is None else sigma)
    lower, upper = middle - reach, middle + reach
    return Individuals(values=x, centre=middle, lower=lower, upper=upper, signals=_beyond(x, lower, upper))


def ewma(
    values: Sequence[float] | np.ndarray, centre: float, sigma: float, weight: float = WEIGHT, width: float = WIDTH
) -> Ewma:
    """Z = weight·x + (1 − weight)·z from z = centre on, with the exact limits of so many values."""
    x = np.asarray(values, float)
    averages = np.empty(len(x))
    average = centre
    for number, value in enumerate(x):
        average = weight * value + (1.0 - weight) * average
        averages[number] = average
    reach = ewma_half_width(np.arange(1, len(x) + 1), sigma, weight, width)
    lower, upper = centre - reach, centre + reach
    signals = _beyond(averages, lower, upper)
    return Ewma(values=averages, centre=centre, lower=lower, upper=upper, signals=signals)


def ewma_half_width(
    number: np.ndarray | float, sigma: float, weight: float = WEIGHT, width: float = WIDTH
) -> np.ndarray:
    """Half-width of the limits after `number` values; for an infinite number that of the e-Handbook, 6.3.2.4.

    width·σ·√(λ/(2 − λ)·(1 − (1 − λ)^(2·number))): the variance of a sum of so many terms.
    """
    settled = weight / (2.0 - weight)
    return width * sigma * np.sqrt(settled * (1.0 - (1.0 - weight) ** (2.0 * np.asarray(number, float))))


def _beyond(values: np.ndarray, lower: np.ndarray | float, upper: np.ndarray | float) -> tuple[int, ...]:
    """Numbers of the values outside; rounding in the last binary digits does not move one out."""
    slack = 1e-9 * np.maximum(np.abs(lower), np.abs(upper))
    return tuple(int(i) for i in np.flatnonzero((values < lower - slack) | (values > upper + slack)))
