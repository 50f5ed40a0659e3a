"""Drift of an instrument: what changed since it was last left, and a line through its open segment.

A level for each target, one common rate, fitted by generalised least squares with the covariance of the results'
named sources plus a declared visit-to-visit component: references shared by two visits cancel in their difference,
recalibrated ones do not. As found without adjustment is as left, counted once; an adjustment or a change of element
opens a segment with the as-left results of that visit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from generator.assessment.result import Result
from generator.records.models import Channel, Policy
from generator.rounding import expanded, value_with
from generator.uncertainty.budgets import Budgets
from generator.uncertainty.covariance import contributions, expanded_of_combination
from generator.uncertainty.sources import coverage_factor

DAYS_A_YEAR = 365.25
SAME_TARGET_RH = 1.0
"""Plateaus whose targets differ by less than this are one point of the history, %RH."""
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
    segment = _open_segment(history)
    points = [(day, result) for day, results in segment for result in results]
    days = sorted({day for day, _ in points})
    if len(days) < LEAST_VISITS:
        sentence = f"{len(days)} visit{'s' if len(days) != 1 else ''} since the last adjustment: too few for a rate"
        return _no_rate(channel, sentence + _jump(changes), len(days), changes)
    _, level = _levels(points)
    if len({(number, day) for number, (day, _) in zip(level, points, strict=True)}) == len(set(level)):
        sentence = f"{len(days)} visits since the last adjustment, none with a target of another: no rate"
        return _no_rate(channel, sentence + _jump(changes), len(days), changes)
    fit = fit_line(points, budgets, between)
    per = f"{channel.unit} per year"
    significant = abs(fit.rate) > fit.U
    tolerance = min((r.tolerance for _, results in segment for r in results if r.tolerance > 0), default=math.inf)
    used = abs(fit.rate) * (months or 12) / 12.0
    drifting = significant and used >= MATTERS * tolerance
    size = f"{value_with(fit.rate, fit.U, sign=True)} ± {expanded(fit.U)} {per} over {len(days)} visits"
    jump = _jump(changes)
    if drifting:
        sentence = f"{size}: {100 * used / tolerance:.0f} % of the tolerance within one interval"
    elif significant:
        sentence = f"{size}: significant, but less than {100 * MATTERS:.0f} % of the tolerance within one interval"
    else:
        sentence = f"{size}: not significant"
    return Drift(
        channel=channel,
        state="drifting" if drifting else "watch" if significant or jump else "steady",
        sentence=sentence + jump,
        rate=fit.rate,
        U=fit.U,
        visits=len(days),
        first=days[0],
        last=days[-1],
        levels=tuple(zip(fit.targets, fit.levels, strict=True)),
        changes=changes,
    )


def _jump(changes: Sequence[Change]) -> str:
    """Says so where at least half of the points moved by more than the U of the difference since last left."""
    moved = [change for change in changes if change.significant]
    if not moved or 2 * len(moved) < len(changes):
        return ""
    points = ", ".join(f"{change.target:g}" for change in moved)
    return f"; the newest change stands out of its U at {points} %RH"


def _no_rate(channel: Channel, sentence: str, visits: int, changes: tuple[Change, ...]) -> Drift:
    return Drift(
        channel=channel,
        state="too few visits",
        sentence=sentence,
        rate=math.nan,
        U=math.nan,
        visits=visits,
        first=None,
        last=None,
        levels=(),
        changes=changes,
    )


def _open_segment(history: Sequence[VisitHistory]) -> list[tuple[date, tuple[Result, ...]]]:
    """Results since the last adjustment: the as left that opens it, then each as found, measured ones only."""
    segment: list[tuple[date, tuple[Result, ...]]] = []
    for visit in history:
        if visit.adjusted:
            segment = [(visit.day, visit.as_left)]
        else:
            segment.append((visit.day, visit.as_found or visit.as_left))
    measured = [(day, tuple(r for r in results if r.line is not None)) for day, results in segment]
    return [(day, results) for day, results in measured if results]


def last_changes(history: Sequence[VisitHistory], budgets: Budgets, between: float) -> tuple[Change, ...]:
    """Newest as found minus what the visit before left, by target and direction where both have it."""
    if len(history) < 2:
        return ()
    before, now = history[-2].left, history[-1].as_found
    found = []
    for result in now:
        same = [r for r in before if abs(r.target - result.target) < SAME_TARGET_RH]
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
    """A common rate with a level for each target."""

    rate: float
    U: float
    targets: tuple[float, ...]
    levels: tuple[float, ...]


def fit_line(points: Sequence[tuple[date, Result]], budgets: Budgets, between: float) -> Fit:
    """Generalised least squares: error = level(target) + rate · years since the first day.

    The covariance is known, so U = 2·u to within its own uncertainty (k of the normal distribution).
    """
    days = [day for day, _ in points]
    start = min(days)
    years = np.array([(day - start).days / DAYS_A_YEAR for day in days])
    errors = np.array([result.error for _, result in points])
    targets, which = _levels(points)
    design = np.zeros((len(points), len(targets) + 1))
    design[np.arange(len(points)), which] = 1.0
    design[:, -1] = years
    matrix, _ = contributions(budgets, [int(result.line) for _, result in points if result.line is not None])
    visit = np.array([[a == b for b in days] for a in days], float)
    covariance = matrix @ matrix.T + between**2 * visit
    estimate, spread = generalised_least_squares(design, errors, covariance)
    u = math.sqrt(spread[-1, -1])
    order = np.argsort(targets)
    return Fit(
        rate=float(estimate[-1]),
        U=float(coverage_factor(math.inf)) * u,
        targets=tuple(float(targets[i]) for i in order),
        levels=tuple(float(estimate[i]) for i in order),
    )


def _levels(points: Sequence[tuple[date, Result]]) -> tuple[list[float], list[int]]:
    """The targets of the points, and for each point the number of its target."""
    targets: list[float] = []
    which = []
    for _, result in points:
        near = [i for i, target in enumerate(targets) if abs(target - result.target) < SAME_TARGET_RH]
        if not near:
            targets.append(result.target)
        which.append(near[0] if near else len(targets) - 1)
    return targets, which


def generalised_least_squares(
    design: np.ndarray, values: np.ndarray, covariance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Estimates and their covariance for values = design · β with a known covariance (Aitken's estimator).

    Results without any source of their own hang together wholly: a trace of variance of its own keeps each apart.
    """
    trace = max(1e-12 * float(np.max(np.diag(covariance))), 1e-300)
    factor = np.linalg.cholesky(covariance + trace * np.eye(len(covariance)))
    x, y = np.linalg.solve(factor, design), np.linalg.solve(factor, values)
    q, r = np.linalg.qr(x)
    inverse = np.linalg.inv(r)
    return inverse @ (q.T @ y), inverse @ inverse.T
