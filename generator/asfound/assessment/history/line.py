"""The line through an instrument's history: a level for each point of each segment and the rates of its element.

error = level(segment, point) + [zero drift + span drift · (h − h̄)] · years, by generalised least squares with the
covariance of the named sources and of what whole visits shift by, each kind of effect scaled as the family's data say;
h̄ is the mean reference value of the open segment's points. Span drift is fitted wherever it can be told, so that no
interval rests on a test made before it; that zero and span drift apart is said only where the data ask for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property

import numpy as np
from scipy.special import stdtr

from asfound.assessment.history.design import centre_of, design_of, steps_of, tells_a_rate
from asfound.assessment.history.epochs import Epoch, VisitHistory, epochs_of
from asfound.assessment.history.lasting import KINDS, Kind, Lasting
from asfound.assessment.history.scales import Scales
from asfound.assessment.results.table import Result
from asfound.records.models import Channel
from asfound.statistics.scale_factors import MANY, Estimate, estimate, exactly, spread_of
from asfound.uncertainty.sources import coverage_factor

REJECTED = 0.01
"""A line is rejected where so large a χ² has less than this probability (our choice; ISO/TS 28037, 6.3, from memory,
tests at 5 %: a facility has many sensors)."""
STEPPED = 0.02
"""A line is rejected where so large a step at any of its visits has less than this probability, all visits together.
The test is careful: of healthy lines it takes fewer than one in a hundred (our choice)."""
SPAN_ASKED_FOR = 0.01
"""Zero and span are said to drift apart where so large a t of the span's rate has less than this probability (our
choice)."""
MOVES_OTHERWISE = 0.05
"""The open segment is fitted alone where so large a difference of its rate from that of the segments before has less
than this probability (our choice)."""


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
class Expected:
    """The error that the line expects on one day, one entry a point of the open segment."""

    day: date
    first: tuple[Result, ...]
    """the first result of each point"""
    reference_values: np.ndarray
    """mean reference value of each point"""
    errors: np.ndarray
    covariance: np.ndarray
    """of levels and rates, with all that the references lent them; no further shift, no new measurement"""
    fit: Fit = field(repr=False)
    rows: np.ndarray = field(repr=False)
    """of the parameters, shape (points, p)"""

    @property
    def targets(self) -> tuple[float, ...]:
        """Where the points lie, %RH."""
        return tuple(first.point for first in self.first)

    @property
    def directions(self) -> tuple[str, ...]:
        """The way in which the points were approached."""
        return tuple(first.direction for first in self.first)

    def measured(self) -> tuple[np.ndarray, np.ndarray]:
        """(u, ν) of what a measurement like the newest of each point will show, shapes (points,)."""
        further, beside = self.fit.new_measurement
        return self.fit.estimate.spread(self.rows, further, beside - self.fit.shared_with_new(self.rows))

    def true(self, *, in_use: bool = False) -> tuple[np.ndarray, np.ndarray]:
        """(u, ν) of true errors, shapes (points,): as approached, or in use, about the middle of the declared loop."""
        further = np.zeros((KINDS, len(self.rows)))
        further[Kind.SHIFT] = self.fit.scales.shift**2
        return self.fit.estimate.spread(self.rows, further, self.fit.hidden(in_use=in_use))


@dataclass(frozen=True, eq=False, kw_only=True)
class Fit:
    """Levels and rates of one epoch, and how well the line fits."""

    epoch: Epoch = field(repr=False)
    estimate: Estimate = field(repr=False)
    """levels, then the rate at h̄, then where it can be told the span's"""
    centre: float
    """h̄"""
    scales: Scales = field(repr=False)
    declared: Estimate | None = field(repr=False)
    """the same with everything as declared, exactly; None where instruments enough say how much varies"""
    contradicted: bool = False
    """whether the open segment moves otherwise than those before, and is too short for a rate of its own"""
    alone: bool = False
    """whether the segments before are left out, because they moved otherwise"""

    @property
    def _off_as_declared(self) -> bool:
        """Whether what is declared alone refuses the line, where too few instruments show more."""
        return self.declared is not None and self.declared.p_value < REJECTED

    @property
    def chi_squared(self) -> float:
        """Of the residuals about the line, with the covariance of the fit; or as declared where that refuses it."""
        judged = self.declared if self.declared is not None and self._off_as_declared else self.estimate
        return judged.chi_squared

    @property
    def freedom(self) -> int:
        """Results less parameters: what χ² has to be compared with."""
        return self.estimate.freedom

    @property
    def rejected(self) -> bool:
        """Whether one rate contradicts the segments, or the errors scatter too much about the line.

        By F against what the family shows; where few instruments show it, by χ² against what is declared, too.
        """
        off = self._off_as_declared or self.estimate.p_value < REJECTED
        return self.contradicted or off or self.stepped is not None

    @cached_property
    def stepped(self) -> date | None:
        """The day of the visit before which the errors stepped, where that is what refuses the line."""
        p_values = self.estimate.step_p_values
        if not len(p_values) or np.min(p_values) >= STEPPED:
            return None
        visit = np.unique(self.epoch.visit)[1 + int(np.argmin(p_values))]
        return self.epoch.results[int(np.argmax(self.epoch.visit == visit))].day

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
        """The errors that the line expects on a day, before or after the newest visit."""
        epoch = self.epoch
        years, levels = epoch.years_at(day), epoch.open_levels
        rows = [self._row(i, years, years * (epoch.reference_values[i] - self.centre)) for i in levels]
        matrix = np.array(rows).reshape(len(rows), len(self.estimate.values))
        return Expected(
            day=day,
            first=tuple(epoch.levels[i].first for i in levels),
            reference_values=epoch.reference_values[list(levels)],
            errors=matrix @ self.estimate.values,
            covariance=matrix @ self.estimate.covariance @ matrix.T,
            fit=self,
            rows=matrix,
        )

    @cached_property
    def newest(self) -> np.ndarray:
        """Position of the newest result of each point of the open segment, shape (points,)."""
        return np.array([np.flatnonzero(self.epoch.level == i)[-1] for i in self.epoch.open_levels], np.int64)

    @cached_property
    def loops(self) -> np.ndarray:
        """Standard uncertainty in use for either side of the declared loop, shape (points,); 0 where both were read."""
        return np.array([self.epoch.results[i].in_use for i in self.newest])

    @cached_property
    def to_the_middle(self) -> np.ndarray:
        """From the error of each point as approached to the middle of the declared loop, shape (points,)."""
        return np.array([self.epoch.results[i].to_the_middle for i in self.newest])

    @cached_property
    def new_measurement(self) -> tuple[np.ndarray, np.ndarray]:
        """What a measurement like the newest of each point varies by, as declared: (by kind (K, points), beside)."""
        parts, at = self.epoch.parts, self.newest
        kinds = np.zeros((KINDS, len(at)))
        kinds[Kind.OWN] = (parts.reading + parts.own)[at]
        kinds[Kind.VISIT], kinds[Kind.PERIOD] = parts.visit[at, at], parts.period[at, at]
        kinds[Kind.SHIFT] = self.scales.shift**2
        return kinds, parts.rounding[at]

    def shared_with_new(self, rows: np.ndarray) -> np.ndarray:
        """What a new measurement of each point shares with its prediction, not their difference; shape (points,).

        What lasts longer than a calibration is in both: 2·aᵀV₀·e − eᵀV₀·e, e the newest result of the point.
        """
        constant, at = self.epoch.parts.constant, self.newest
        weights = rows @ self.estimate.gain
        return 2.0 * np.sum(weights * constant[at], axis=1) - constant[at, at]

    def hidden(self, *, in_use: bool = False) -> np.ndarray:
        """Variance of the part of what was declared that proved constant and hides in the levels, shape (points,).

        What is declared and not seen to vary is still there. In use either side of a loop that was read one way comes
        in, two-valued.
        """
        parts, at, theta = self.epoch.parts, self.newest, self.scales.factors.theta
        constant = np.maximum(1.0 - theta, 0.0)
        loops = self.loops if in_use else np.zeros(len(at))
        return (
            constant[Kind.OWN] * parts.own[at]
            + parts.rounding[at]
            + constant[Kind.VISIT] * parts.visit[at, at]
            + constant[Kind.PERIOD] * parts.period[at, at]
            + loops**2
        )

    def course(
        self, levels: Sequence[int] | np.ndarray, years: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(error, u, ν) of the true error at some open levels over the years since the epoch opened.

        `levels`: places in `epoch.open_levels`; `years` has the shape (levels, years): errors are straight in them,
        variances square.
        """
        found, places = self.estimate, levels
        numbers = np.array(self.epoch.open_levels, np.int64)[places]
        moving = [self._row(None, 1.0, self.epoch.reference_values[level] - self.centre) for level in numbers]
        rates = np.reshape(moving, (len(numbers), len(found.values)))

        def variance(matrix: np.ndarray) -> np.ndarray:
            """Of the errors by a covariance of the parameters, by Horner's scheme."""
            level = matrix[numbers, numbers]
            mixed = 2.0 * np.sum(rates * matrix[numbers], axis=1)
            square = np.sum((rates @ matrix) * rates, axis=1)
            return (square[:, None] * years + mixed[:, None]) * years + level[:, None]

        kinds = np.array([variance(matrix) for matrix in found.by_kind])
        fixed = np.maximum(variance(found.covariance - found.by_kind.sum(axis=0)), 0.0)
        kinds[Kind.SHIFT] += self.scales.between**2
        error = found.values[numbers][:, None] + (rates @ found.values)[:, None] * years
        u, nu = spread_of(kinds, fixed + self.hidden()[places][:, None], self.scales.factors)
        return error, u, nu

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
        u, nu = self.estimate.spread(row[None])
        return Rate(rate=float(row @ self.estimate.values), u=float(u[0]), nu=float(nu[0]))


def fit_line(epoch: Epoch, channel: Channel, scales: Scales) -> Fit:
    """The line of one epoch, which must have a level that recurs."""
    design = design_of(epoch, channel)
    kinds, fixed = scales.covariances(epoch.parts)
    found = estimate(design, epoch.errors, kinds, fixed, scales.factors, steps_of(epoch))
    declared = estimate(design, epoch.errors, kinds, fixed, exactly(KINDS)) if scales.few else None
    return Fit(epoch=epoch, estimate=found, centre=centre_of(epoch), scales=scales, declared=declared)


def line_through(epoch: Epoch, channel: Channel, scales: Scales) -> Fit:
    """The line through all segments; where the open one moves otherwise, or no line fits all, through that alone.

    A mishap that an adjustment made good must not pass for a drift that goes on. The epoch as `fit_line`.
    """
    whole = fit_line(epoch, channel, scales)
    alone = epoch.open_segment_alone()
    if alone is None:
        return whole
    contradicted = _moves_otherwise(whole, channel)
    if not (contradicted or whole.rejected):
        return whole
    if tells_a_rate(alone):
        return replace(fit_line(alone, channel, scales), alone=True)
    return replace(whole, contradicted=contradicted)


def _moves_otherwise(whole: Fit, channel: Channel) -> bool:
    """Whether the open segment's rate differs from that of the segments before by more than chance allows."""
    epoch = whole.epoch
    own = epoch.years * np.isin(epoch.level, epoch.open_levels)
    design = np.column_stack([design_of(epoch, channel), own])
    try:
        found = estimate(design, epoch.errors, *whole.scales.covariances(epoch.parts), whole.scales.factors)
    except np.linalg.LinAlgError:  # one of the two tells no rate
        return False
    u, nu = found.spread(np.eye(len(found.values))[-1:])
    return Rate(rate=float(found.values[-1]), u=float(u[0]), nu=float(nu[0])).p_value < MOVES_OTHERWISE


def drift_to(history: Sequence[VisitHistory], lasting: Lasting, channel: Channel, scales: Scales) -> Fit | None:
    """The line through a history, however truncated; None where no line can be told or where it is rejected.

    `lasting`: of the history or of one that it is a part of.
    """
    epoch = epochs_of(history, lasting)[-1]
    if epoch is None or not tells_a_rate(epoch):
        return None
    fit = line_through(epoch, channel, scales)
    return None if fit.rejected else fit
