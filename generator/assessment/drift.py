"""Drift of an instrument: what changed since it was last left, and a line through its open segment.

A level for each point (target, direction and temperature), one common rate, fitted by generalised least squares with
the covariance of the results' named sources plus a declared visit-to-visit component: references shared by two visits
cancel in their difference, recalibrated ones do not. A rate is claimed only where the χ² test lets the line stand. As
found without adjustment is as left, counted once; an adjustment or a change of element opens a segment with the as-left
results of that visit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import chdtrc

from generator.assessment.result import Result
from generator.records.models import Channel, Policy
from generator.rounding import expanded, value_with
from generator.uncertainty.budgets import Budgets
from generator.uncertainty.covariance import contributions, expanded_of_combination
from generator.uncertainty.sources import coverage_factor

DAYS_A_YEAR = 365.25
SAME_TARGET_RH = 1.0
"""Plateaus whose targets differ by less than this are one point of the history, %RH."""
SAME_TEMPERATURE_K = 5.0
"""Plateaus whose temperatures differ by more than this are different points of the history (our choice)."""
REJECTED = 0.01
"""A line is rejected where so large a χ² has less than this probability (our choice; ISO/TS 28037, 6.3, from memory,
tests at 5 %: a facility has many sensors)."""
MATTERS = 0.1
"""A significant rate is called drifting when it uses this part of the tolerance within one interval (our choice)."""
LEAST_VISITS = 3


@dataclass(frozen=True, kw_only=True)
class Change:
    """As found now minus last as left, at one target."""

    target: float
    before: Result
    now: Result
    change: float
    U: float

    @property
    def significant(self) -> bool:
        """Whether the change is larger than the expanded uncertainty of the difference."""
        return abs(self.change) > self.U


@dataclass(frozen=True, kw_only=True)
class Drift:
    """Rate of one channel of one instrument over its open segment; per year, in the channel's unit."""

    channel: Channel
    state: str
    """too few visits, steady, watch, or drifting"""
    sentence: str
    rate: float
    U: float
    chi_squared: float
    """of the residuals about the line, with the covariance of the fit; nan without a rate"""
    freedom: int
    """results less parameters: what χ² has to be compared with"""
    visits: int
    first: date | None
    last: date | None
    levels: tuple[tuple[float, float], ...]
    """(target, fitted error on the day `first`)"""
    changes: tuple[Change, ...]
    """newest visit against what was left before"""


@dataclass(frozen=True, kw_only=True)
class VisitHistory:
    """One visit's results of one channel of one instrument, and whether it was adjusted there."""

    day: date
    as_found: tuple[Result, ...]
    as_left: tuple[Result, ...]
    adjusted: bool

    @property
    def left(self) -> tuple[Result, ...]:
        """How the visit left the instrument: as left; without adjustment as found."""
        return self.as_left or (() if self.adjusted else self.as_found)


def drift(
    history: Sequence[VisitHistory], budgets: Budgets, channel: Channel, policy: Policy, months: int | None
) -> Drift:
    """Drift over the open segment of one instrument's history (visits in order of days)."""
    between = policy.visit_to_visit if channel is Channel.HUMIDITY else policy.visit_to_visit_temperature
    changes = last_changes(history, budgets, between)
    points = _open_segment(history)
    days = sorted({day for day, _ in points})
    since = f"{len(days)} visit{'s' if len(days) != 1 else ''} since the last adjustment"
    if len(days) < LEAST_VISITS:
        return _no_rate(channel, f"{since}: too few for a rate{_jump(changes)}", len(days), changes)
    if not _recurs(points):
        return _no_rate(channel, f"{since}, none with a point of another: no rate{_jump(changes)}", len(days), changes)
    fit = fit_line(points, budgets, between)
    state, sentence = _judged(fit, points, changes, channel, months or 12)
    return Drift(
        channel=channel,
        state=state,
        sentence=sentence,
        rate=fit.rate,
        U=fit.U,
        chi_squared=fit.chi_squared,
        freedom=fit.freedom,
        visits=len(days),
        first=days[0],
        last=days[-1],
        levels=tuple(zip(fit.targets, fit.levels, strict=True)),
        changes=changes,
    )


def _judged(
    fit: Fit, points: Sequence[tuple[date, Result]], changes: Sequence[Change], channel: Channel, months: int
) -> tuple[str, str]:
    """State and sentence: no rate is claimed where the line is rejected."""
    if fit.rejected:
        return "watch", f"no single rate: the errors do not lie on a line ({fit.goodness}){_step(changes, channel)}"
    significant = abs(fit.rate) > fit.U
    tolerance = min((r.tolerance for _, r in points if r.tolerance > 0), default=math.inf)
    used = abs(fit.rate) * months / 12.0
    drifting = significant and used >= MATTERS * tolerance
    jump = _jump(changes)
    if drifting:
        meaning = f"{100 * used / tolerance:.0f} % of the tolerance within one interval"
    elif significant:
        meaning = f"significant, but less than {100 * MATTERS:.0f} % of the tolerance within one interval"
    else:
        meaning = "not significant"
    visits = len({day for day, _ in points})
    size = f"{value_with(fit.rate, fit.U, sign=True)} ± {expanded(fit.U)} {channel.unit} per year over {visits} visits"
    line = f"the errors lie on a line ({fit.goodness})" if fit.freedom else "too few results to test the line"
    state = "drifting" if drifting else "watch" if significant or jump else "steady"
    return state, f"{size}: {meaning}; {line}{jump}"


def _moved(changes: Sequence[Change]) -> list[Change]:
    """What moved by more than the U of the difference since last left, where that is at least half of the points."""
    moved = [change for change in changes if change.significant]
    return moved if 2 * len(moved) >= len(changes) else []


def _jump(changes: Sequence[Change]) -> str:
    """Says so where the newest change stands out."""
    moved = _moved(changes)
    return f"; the newest change stands out of its U at {_targets(moved)} %RH" if moved else ""


def _step(changes: Sequence[Change], channel: Channel) -> str:
    """What the newest change amounts to where it stands out of its U: its size, and between which days."""
    moved = sorted(_moved(changes), key=lambda change: change.change)
    if not moved:
        return ""
    sizes = dict.fromkeys(value_with(change.change, change.U, sign=True) for change in (moved[0], moved[-1]))
    days = f"{moved[0].before.day} and {moved[0].now.day}"
    return f"; a step of {' to '.join(sizes)} {channel.unit} between {days}"


def _targets(changes: Sequence[Change]) -> str:
    return ", ".join(dict.fromkeys(f"{change.target:g}" for change in changes))


def _no_rate(channel: Channel, sentence: str, visits: int, changes: tuple[Change, ...]) -> Drift:
    return Drift(
        channel=channel,
        state="too few visits",
        sentence=sentence,
        rate=math.nan,
        U=math.nan,
        chi_squared=math.nan,
        freedom=0,
        visits=visits,
        first=None,
        last=None,
        levels=(),
        changes=changes,
    )


def _open_segment(history: Sequence[VisitHistory]) -> list[tuple[date, Result]]:
    """Results since the last adjustment: the as left that opens it, then each as found, measured ones only."""
    segment: list[tuple[date, tuple[Result, ...]]] = []
    for visit in history:
        if visit.adjusted:
            segment = [(visit.day, visit.as_left)]
        else:
            segment.append((visit.day, visit.as_found or visit.as_left))
    return [(day, result) for day, results in segment for result in results if result.line is not None]


def last_changes(history: Sequence[VisitHistory], budgets: Budgets, between: float) -> tuple[Change, ...]:
    """Newest as found minus what the visit before left: same target and temperature, same direction where it has it."""
    if len(history) < 2:
        return ()
    before, now = history[-2].left, history[-1].as_found
    found = []
    for result in now:
        same = [r for r in before if _same_condition(r, result)]
        same.sort(key=lambda r: r.direction != result.direction)
        if same:
            found.append(_change(same[0], result, budgets, between))
    return tuple(found)


def _change(before: Result, now: Result, budgets: Budgets, between: float) -> Change:
    if before.line is not None and now.line is not None:
        u, k, _ = expanded_of_combination(budgets, (before.line, now.line), (-1.0, 1.0))
    else:
        u, k = math.hypot(before.u, now.u), float(coverage_factor(min(before.nu_eff, now.nu_eff)))
    u = math.sqrt(u * u + 2.0 * between * between)
    return Change(target=now.target, before=before, now=now, change=now.error - before.error, U=k * u)


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A common rate with a level for each point, and how well the line fits."""

    rate: float
    U: float
    targets: tuple[float, ...]
    levels: tuple[float, ...]
    chi_squared: float
    freedom: int

    @property
    def rejected(self) -> bool:
        """Whether the errors scatter about the line by more than their covariance allows (χ² test, one-sided)."""
        return self.freedom > 0 and float(chdtrc(self.freedom, self.chi_squared)) < REJECTED

    @property
    def goodness(self) -> str:
        """χ² and its degrees of freedom, in words."""
        size = f"{self.chi_squared:.{0 if self.chi_squared >= 10.0 else 1}f}"
        return f"χ² {size} for {self.freedom} degree{'s' if self.freedom != 1 else ''} of freedom"


def fit_line(points: Sequence[tuple[date, Result]], budgets: Budgets, between: float) -> Fit:
    """Generalised least squares: error = level(point) + rate · years since the first day.

    The covariance is known, so U = 2·u to within its own uncertainty (k of the normal distribution).
    """
    days = [day for day, _ in points]
    start = min(days)
    years = np.array([(day - start).days / DAYS_A_YEAR for day in days])
    errors = np.array([result.error for _, result in points])
    firsts, which = _levels(points)
    targets = [result.target for result in firsts]
    design = np.zeros((len(points), len(targets) + 1))
    design[np.arange(len(points)), which] = 1.0
    design[:, -1] = years
    matrix, _ = contributions(budgets, [int(result.line) for _, result in points if result.line is not None])
    visit = np.array([[a == b for b in days] for a in days], float)
    covariance = matrix @ matrix.T + between**2 * visit
    estimate, spread = generalised_least_squares(design, errors, covariance)
    u = math.sqrt(spread[-1, -1])
    order = np.argsort(targets, kind="stable")
    return Fit(
        rate=float(estimate[-1]),
        U=float(coverage_factor(math.inf)) * u,
        targets=tuple(float(targets[i]) for i in order),
        levels=tuple(float(estimate[i]) for i in order),
        chi_squared=chi_squared(errors - design @ estimate, covariance),
        freedom=len(points) - design.shape[1],
    )


def _levels(points: Sequence[tuple[date, Result]]) -> tuple[list[Result], list[int]]:
    """The first result of each level, and for each point the number of its level.

    Hysteresis sets rising and falling apart at one target, and the first plateau of a visit (start) from both.
    """
    firsts: list[Result] = []
    which = []
    for _, result in points:
        near = [i for i, first in enumerate(firsts) if _same_point(first, result)]
        if not near:
            firsts.append(result)
        which.append(near[0] if near else len(firsts) - 1)
    return firsts, which


def _same_point(one: Result, other: Result) -> bool:
    return one.direction == other.direction and _same_condition(one, other)


def _same_condition(one: Result, other: Result) -> bool:
    """Same target and temperature; another laboratory's result has no temperature on record and is let pass."""
    apart = abs(one.temperature_c - other.temperature_c) > SAME_TEMPERATURE_K
    return abs(one.target - other.target) < SAME_TARGET_RH and not apart


def _recurs(points: Sequence[tuple[date, Result]]) -> bool:
    """Whether a level was seen on two days: without that, levels alone explain all and no rate can be told."""
    _, which = _levels(points)
    return len({(number, day) for number, (day, _) in zip(which, points, strict=True)}) > len(set(which))


def generalised_least_squares(
    design: np.ndarray, values: np.ndarray, covariance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Estimates and their covariance for values = design · β with a known covariance (Aitken's estimator)."""
    factor = _root(covariance)
    x, y = np.linalg.solve(factor, design), np.linalg.solve(factor, values)
    q, r = np.linalg.qr(x)
    inverse = np.linalg.inv(r)
    return inverse @ (q.T @ y), inverse @ inverse.T


def chi_squared(residuals: np.ndarray, covariance: np.ndarray) -> float:
    """rᵀ V⁻¹ r: about the number of results less the number of parameters where the model and V are right."""
    scaled = np.linalg.solve(_root(covariance), residuals)
    return float(scaled @ scaled)


def _root(covariance: np.ndarray) -> np.ndarray:
    """Lower triangular root of the covariance.

    Results without any source of their own hang together wholly: a trace of variance of its own keeps each apart.
    """
    trace = max(1e-12 * float(np.max(np.diag(covariance))), 1e-300)
    return np.linalg.cholesky(covariance + trace * np.eye(len(covariance)))
