"""The line through an instrument's history: a level for each point of each segment and the rates of its element.

error = level(segment, point) + [zero drift + span drift · (h − h̄)] · years, by generalised least squares with the
covariance of the named sources plus σ² for what all results of one visit share; h̄ is the mean reference value of the
open segment's points. Span drift is fitted wherever it can be told, so that no interval rests on a test made before it;
that zero and span drift apart is said only where the data ask for it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property

import numpy as np
from scipy.special import stdtr

from asfound.assessment.history.epochs import Epoch, VisitHistory, aimed_at, epochs_of
from asfound.records.models import Channel
from asfound.statistics.least_squares import Contrasts, Estimate, aitken, contrasts, effective_freedom
from asfound.uncertainty.budgets import Budgets
from asfound.uncertainty.sources import coverage_factor

REJECTED = 0.01
"""A line is rejected where so large a χ² has less than this probability (our choice; ISO/TS 28037, 6.3, from memory,
tests at 5 %: a facility has many sensors)."""
LEAST_VISITS = 3
SPAN_ASKED_FOR = 0.01
"""Zero and span are said to drift apart where so large a t of the span's rate has less than this probability (our
choice)."""
MOVES_OTHERWISE = 0.05
"""The open segment is fitted alone where so large a difference of its rate from that of the segments before has less
than this probability (our choice)."""
SPAN_SPREAD_RH = 20.0
"""Span drift can be told where the points that recur are at least so far apart, %RH (our choice)."""
MANY = 1e12
"""Degrees of freedom that stand for infinitely many where Student's t is asked."""


@dataclass(frozen=True, kw_only=True)
class Expected:
    """The true error that the line expects on one day, one entry a point of the open segment."""

    day: date
    targets: tuple[float, ...]
    directions: tuple[str, ...]
    reference_values: np.ndarray
    """mean reference value of each point"""
    errors: np.ndarray
    covariance: np.ndarray
    """of the true errors: levels and rates, with all that the references lent them; no visit-to-visit component, no new
    measurement"""
    shared: np.ndarray
    """d error / d (what each visit shares), shape (points, q)"""
    between: float
    """visit-to-visit standard deviation in use"""
    information: float
    """1/Var of its square"""
    nu: float
    """effective degrees of freedom of the rate"""

    def spread(self, point: int, *, visit: float = 0.0, own: float = 0.0) -> tuple[float, float]:
        """(u, ν) of one point's error; `visit`: how many visits' own shifts are added, `own`: further variance."""
        variance = float(self.covariance[point, point]) + visit * self.between**2 + own
        sensitivity = float(np.sum(self.shared[point] ** 2)) + visit
        return math.sqrt(variance), float(effective_freedom(variance, sensitivity, self.information))


@dataclass(frozen=True, kw_only=True)
class Rate:
    """A rate per year, in the channel's unit."""

    rate: float
    u: float
    nu: float

    @cached_property
    def U(self) -> float:
        """k·u, k from ν."""
        return float(coverage_factor(self.nu)) * self.u

    @property
    def p_value(self) -> float:
        """Probability of so large a |rate| / u where nothing drifts (Student's t, two-sided)."""
        if self.u == 0.0:
            return float(self.rate == 0.0)
        return 2.0 * float(stdtr(min(self.nu, MANY), -abs(self.rate) / self.u))


@dataclass(frozen=True, eq=False, kw_only=True)
class Fit:
    """Levels and rates of one epoch, and how well the line fits."""

    epoch: Epoch = field(repr=False)
    estimate: Estimate = field(repr=False)
    """levels, then the rate at h̄, then where it can be told the span's"""
    centre: float
    """h̄"""
    between: float
    information: float
    contradicted: bool = False
    """whether the open segment moves otherwise than those before, and is too short for a rate of its own"""
    alone: bool = False
    """whether the segments before are left out, because they moved otherwise"""

    @property
    def chi_squared(self) -> float:
        """Of the residuals about the line, with the covariance of the fit."""
        return self.estimate.chi_squared

    @property
    def freedom(self) -> int:
        """Results less parameters: what χ² has to be compared with."""
        return self.estimate.freedom

    @property
    def rejected(self) -> bool:
        """Whether one rate contradicts the segments, or the errors scatter too much about the line (χ², one-sided)."""
        return self.contradicted or self.estimate.p_value < REJECTED

    @property
    def goodness(self) -> str:
        """χ² and its degrees of freedom, in words."""
        size = f"{self.chi_squared:.{0 if self.chi_squared >= 10.0 else 1}f}"
        return f"χ² {size} for {self.freedom} degree{'s' if self.freedom != 1 else ''} of freedom"

    @property
    def span(self) -> bool:
        """Whether zero and span drift apart."""
        return self.span_rate.p_value < SPAN_ASKED_FOR

    @cached_property
    def rate(self) -> Rate:
        """The rate at h̄."""
        return self.rate_at(self.centre)

    @cached_property
    def span_rate(self) -> Rate:
        """What the rate changes by for each unit of the reference value; 0 with certainty where it cannot be told."""
        return self._combination(self._row(None, 0.0, 1.0))

    def rate_at(self, reference_value: float) -> Rate:
        """The rate of a point."""
        return self._combination(self._row(None, 1.0, reference_value - self.centre))

    def expected(self, day: date) -> Expected:
        """The true errors that the line expects on a day, before or after the newest visit."""
        epoch = self.epoch
        years, levels = epoch.years_at(day), epoch.open_levels
        rows = [self._row(i, years, years * (epoch.reference_values[i] - self.centre)) for i in levels]
        matrix = np.array(rows).reshape(len(rows), len(self.estimate.values))
        return Expected(
            day=day,
            targets=tuple(aimed_at(epoch.levels[i].first) for i in levels),
            directions=tuple(epoch.levels[i].first.direction for i in levels),
            reference_values=epoch.reference_values[list(levels)],
            errors=matrix @ self.estimate.values,
            covariance=matrix @ self.estimate.covariance @ matrix.T,
            shared=matrix @ self.estimate.shared,
            between=self.between,
            information=self.information,
            nu=self.rate.nu,
        )

    def course(self, levels: np.ndarray, years: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(true error, u, ν) of each level (by number) over the years since the epoch opened, shape (levels, years).

        `years` has that shape: errors are straight in them, variances square.
        """
        found = self.estimate
        moving = [self._row(None, 1.0, self.epoch.reference_values[level] - self.centre) for level in levels]
        rates = np.reshape(moving, (len(levels), len(found.values)))
        tied, shared, moved = found.covariance[levels], found.shared[levels], rates @ found.shared

        def along(*powers: np.ndarray) -> np.ndarray:
            """Horner's scheme."""
            total = np.zeros(years.shape)
            for factor in reversed(powers):
                total = total * years + factor[:, None]
            return total

        variance = along(
            tied[np.arange(len(levels)), levels],
            2.0 * np.sum(rates * tied, axis=1),
            np.sum((rates @ found.covariance) * rates, axis=1),
        )
        sensitivity = along(np.sum(shared**2, axis=1), 2.0 * np.sum(shared * moved, axis=1), np.sum(moved**2, axis=1))
        error = along(found.values[levels], rates @ found.values)
        return error, np.sqrt(variance), effective_freedom(variance, sensitivity, self.information)

    def _row(self, level: int | None, zero: float, span: float) -> np.ndarray:
        """Coefficients of the parameters for what is asked."""
        row = np.zeros(len(self.estimate.values))
        if level is not None:
            row[level] = 1.0
        rates = len(self.epoch.levels)
        row[rates] = zero
        row[rates + 1 :] = span
        return row

    def _combination(self, row: np.ndarray) -> Rate:
        variance = float(row @ self.estimate.covariance @ row)
        sensitivity = float(np.sum((row @ self.estimate.shared) ** 2))
        return Rate(
            rate=float(row @ self.estimate.values),
            u=math.sqrt(variance),
            nu=float(effective_freedom(variance, sensitivity, self.information)),
        )


def fit_line(epoch: Epoch, channel: Channel, between: float, information: float = math.inf) -> Fit:
    """The line of one epoch, which must have a level that recurs.

    `between`: the visit-to-visit standard deviation; `information`: 1/Var of its square, infinite where it is declared.
    """
    return Fit(
        epoch=epoch,
        estimate=aitken(_design(epoch, channel), epoch.errors, _covariance(epoch, between), epoch.visits),
        centre=_centre(epoch),
        between=between,
        information=information,
    )


def line_through(epoch: Epoch, channel: Channel, between: float, information: float = math.inf) -> Fit:
    """The line through all segments; where the open one moves otherwise, or no line fits all, through that alone.

    A mishap that an adjustment made good must not pass for a drift that goes on. The epoch and the rest as `fit_line`.
    """
    whole = fit_line(epoch, channel, between, information)
    alone = epoch.open_segment_alone()
    if alone is None:
        return whole
    contradicted = _moves_otherwise(whole, channel)
    if not (contradicted or whole.rejected):
        return whole
    if tells_a_rate(alone):
        return replace(fit_line(alone, channel, between, information), alone=True)
    return replace(whole, contradicted=contradicted)


def _moves_otherwise(whole: Fit, channel: Channel) -> bool:
    """Whether the open segment's rate differs from that of the segments before by more than chance allows."""
    epoch = whole.epoch
    own = epoch.years * np.isin(epoch.level, epoch.open_levels)
    design, covariance = np.column_stack([_design(epoch, channel), own]), _covariance(epoch, whole.between)
    try:
        found = aitken(design, epoch.errors, covariance, epoch.visits)
    except np.linalg.LinAlgError:  # one of the two tells no rate
        return False
    variance, sensitivity = float(found.covariance[-1, -1]), float(np.sum(found.shared[-1] ** 2))
    nu = float(effective_freedom(variance, sensitivity, whole.information))
    return Rate(rate=float(found.values[-1]), u=math.sqrt(variance), nu=nu).p_value < MOVES_OTHERWISE


def drift_to(
    history: Sequence[VisitHistory],
    budgets: Budgets,
    channel: Channel,
    between: float,
    information: float = math.inf,
) -> Fit | None:
    """The line through a history, however truncated; None where no line can be told or where it is rejected."""
    epoch = epochs_of(history, budgets)[-1]
    if epoch is None or not tells_a_rate(epoch):
        return None
    fit = line_through(epoch, channel, between, information)
    return None if fit.rejected else fit


def tells_a_rate(epoch: Epoch) -> bool:
    """Whether there are visits enough, and a point that recurs."""
    return len(epoch.days) >= LEAST_VISITS and epoch.recurs


def contrasts_of(epoch: Epoch, channel: Channel) -> Contrasts:
    """What an epoch says of the visit-to-visit component, whatever its levels and rates."""
    return contrasts(_design(epoch, channel), epoch.errors, epoch.covariance, epoch.visits)


def _covariance(epoch: Epoch, between: float) -> np.ndarray:
    """By the named sources, and what all results of one visit share, shape (n, n)."""
    return epoch.covariance + between**2 * (epoch.visits @ epoch.visits.T)


def _centre(epoch: Epoch) -> float:
    levels = epoch.open_levels or range(len(epoch.levels))
    return float(np.mean(epoch.reference_values[list(levels)]))


def _design(epoch: Epoch, channel: Channel) -> np.ndarray:
    """A column for each level, the years, and where span drift can be told the years times h − h̄; shape (n, p)."""
    levels = np.eye(len(epoch.levels))[epoch.level]
    columns = [levels, epoch.years]
    if _span_can_be_told(epoch, channel):
        columns.append(epoch.years * (epoch.reference_values - _centre(epoch))[epoch.level])
    return np.column_stack(columns)


def _span_can_be_told(epoch: Epoch, channel: Channel) -> bool:
    """Whether levels that recur are far enough apart, on visits enough."""
    if channel is not Channel.HUMIDITY or len(epoch.days) < LEAST_VISITS:
        return False
    recurring = epoch.reference_values[epoch.days_seen > 1]
    return len(recurring) > 1 and float(np.ptp(recurring)) >= SPAN_SPREAD_RH
