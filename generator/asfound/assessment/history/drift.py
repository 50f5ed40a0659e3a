"""Drift of an instrument: what changed since it was last left, the rate of its element, and what that means.

A level for each point of each segment, one rate (zero and span apart where the data ask for it), fitted by
generalised least squares with the covariance of the results' named sources plus a visit-to-visit component: references
shared by two visits cancel in their difference, recalibrated ones do not. A rate is claimed only where the χ² test lets
the line stand.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from asfound.assessment.history.epochs import Epoch, VisitHistory, condition_of, same_condition
from asfound.assessment.history.line import LEAST_VISITS, REJECTED, Fit, Rate, line_through
from asfound.assessment.history.outlook import PointOutlook, outlooks
from asfound.assessment.history.visit_to_visit import VisitToVisit
from asfound.assessment.results.table import Result
from asfound.records.models import Channel
from asfound.rounding import expanded, value_with
from asfound.uncertainty.budgets import Budgets
from asfound.uncertainty.covariance import expanded_of_combinations
from asfound.uncertainty.sources import coverage_factor

MATTERS = 0.1
"""A significant rate is called drifting when it uses this part of the tolerance within one interval (our choice)."""

Pairs = Sequence[tuple[Result, Result]]
"""(as left before, as found now), one a point"""


@dataclass(frozen=True, kw_only=True)
class Change:
    """As found now minus last as left, at one target."""

    target: float
    before: Result
    now: Result
    change: float
    U: float
    """of the difference: sources that both share cancel, each visit shifts by its own"""

    @property
    def significant(self) -> bool:
        """Whether the change is larger than the expanded uncertainty of the difference."""
        return abs(self.change) > self.U

    @property
    def e_n(self) -> float:
        """E_n: the change over its U (ISO 13528:2022, 9.7; ISO/IEC 17043:2010, B.3.1.3 e; from memory).

        The standards divide by the root sum of two independent U; here what both results share has cancelled.
        """
        return self.change / self.U if self.U else math.copysign(math.inf, self.change) if self.change else 0.0


@dataclass(frozen=True, kw_only=True)
class Drift:
    """Rate of one channel of one instrument since its element was put in; per year, in the channel's unit."""

    channel: Channel
    state: str
    """too few visits, steady, watch, or drifting"""
    sentence: str
    rate: float
    """at the mean of the points; where zero and span drift apart, of the point that drifts most; nan: none claimed"""
    U: float
    nu: float
    """effective degrees of freedom of the rate"""
    p_value: float
    """probability of so large a rate where nothing drifts; nan without a rate"""
    chi_squared: float
    """of the residuals about the line, with the covariance of the fit; nan where no line was fitted"""
    freedom: int
    """results less parameters: what χ² has to be compared with"""
    span: bool
    """whether zero and span drift apart"""
    segments: int
    """how many segments the results were read in"""
    visits: int
    """days with results"""
    first: date | None
    """first and last day of the open segment"""
    last: date | None
    levels: tuple[tuple[float, float], ...]
    """(target, fitted error on the day `first`) of the open segment"""
    changes: tuple[Change, ...]
    """newest visit against what was left before"""
    between: float
    """visit-to-visit standard deviation in use"""
    between_basis: str
    naive: str
    """what ordinary least squares without covariance says; empty where no line was fitted"""
    outlooks: tuple[PointOutlook, ...]
    """one for each point of the open segment; none without a rate"""
    fit: Fit | None
    """None without a rate"""


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """What a line is read against: days and limits."""

    today: date
    due: date | None
    """next due day"""
    months: int | None
    """interval"""
    tolerance_at: Callable[[float], float]
    """tolerance in force at a reference value; nan where there is none"""
    hysteresis: float = 0.0
    """declared full width, in the channel's unit"""


def drift(
    history: Sequence[VisitHistory],
    epoch: Epoch | None,
    budgets: Budgets,
    channel: Channel,
    component: VisitToVisit,
    ahead: Ahead,
) -> Drift:
    """Drift of one instrument's present element; `epoch`: the newest of its history (visits in order of days)."""
    changes = last_changes(history, budgets, component.sigma)
    days = epoch.days if epoch is not None else ()
    told = f"{len(days)} visit{'s' if len(days) != 1 else ''}{_since(history)}"
    if epoch is None or len(days) < LEAST_VISITS:
        return _no_rate(channel, f"{told}: too few for a rate{_jump(changes)}", epoch, changes, component)
    if not epoch.recurs:
        sentence = f"{told}, none with a point of another: no rate{_jump(changes)}"
        return _no_rate(channel, sentence, epoch, changes, component)
    fit = line_through(epoch, channel, component.sigma, component.information)
    naive = naive_sentence(fit, channel)
    if fit.rejected:
        why = f"the errors do not lie on a line ({fit.goodness})"
        if fit.contradicted:
            why = "since the last adjustment the errors move otherwise than before, over too few visits for a rate"
        said = f"no single rate: {why}{_step(changes, channel)}"
        return _no_rate(channel, said, epoch, changes, component, fit=fit, naive=naive)
    found = outlooks(fit, ahead.today, ahead.due, ahead.tolerance_at, ahead.hysteresis)
    point, rate = _headline(fit, found)
    state, sentence = _judged(fit, point, rate, found, changes, channel, ahead.months or 12)
    first, last, levels = _drawn(fit)
    return Drift(
        channel=channel,
        state=state,
        sentence=sentence,
        rate=rate.rate,
        U=rate.U,
        nu=rate.nu,
        p_value=rate.p_value,
        chi_squared=fit.chi_squared,
        freedom=fit.freedom,
        span=fit.span,
        segments=fit.epoch.segments,
        visits=len(fit.epoch.days),
        first=first,
        last=last,
        levels=levels,
        changes=changes,
        between=component.sigma,
        between_basis=component.basis,
        naive=naive,
        outlooks=found,
        fit=fit,
    )


def _headline(fit: Fit, found: Sequence[PointOutlook]) -> tuple[PointOutlook | None, Rate]:
    """The rate that speaks for the instrument; where span drifts apart, that of the point that drifts most."""
    if not fit.span or not found:
        return None, fit.rate
    point = max(found, key=lambda outlook: abs(outlook.rate))
    return point, fit.rate_at(point.reference_value)


def _drawn(fit: Fit) -> tuple[date, date, tuple[tuple[float, float], ...]]:
    """First and last day of the open segment, and the levels on the first."""
    epoch = fit.epoch
    days = [r.day for r, i in zip(epoch.results, epoch.level, strict=True) if int(i) in epoch.open_levels]
    first, last = (min(days), max(days)) if days else (epoch.days[-1], epoch.days[-1])
    expected = fit.expected(first)
    return first, last, tuple(zip(expected.targets, (float(e) for e in expected.errors), strict=True))


def _judged(
    fit: Fit,
    point: PointOutlook | None,
    rate: Rate,
    found: Sequence[PointOutlook],
    changes: Sequence[Change],
    channel: Channel,
    months: int,
) -> tuple[str, str]:
    """State and sentence of a line that stands."""
    significant = abs(rate.rate) > rate.U
    limited = [o.tolerance for o in ([point] if point else found) if o.tolerance > 0]
    used = abs(rate.rate) * months / 12.0 / min(limited, default=math.inf)
    drifting = significant and used >= MATTERS
    jump = _jump(changes)
    if drifting:
        meaning = f"{100 * used:.0f} % of the tolerance within one interval"
    elif significant:
        meaning = f"significant, but less than {100 * MATTERS:.0f} % of the tolerance within one interval"
    else:
        meaning = "not significant"
    size = f"{_shown(rate)} {channel.unit} per year"
    if point is not None:
        least = min(found, key=lambda o: abs(o.reference_value - (2.0 * fit.centre - point.reference_value)))
        size += (
            f" at {point.target:g} %RH and {_shown(fit.rate_at(least.reference_value))} at {least.target:g} %RH "
            "(zero and span drift apart)"
        )
    visits = len(fit.epoch.days)
    size += f" over {visits} visits"
    if fit.alone:
        size += f" since {fit.epoch.opened}, before which the errors moved otherwise"
    elif fit.epoch.segments > 1:
        size += f" in {fit.epoch.segments} segments"
    line = f"the errors lie on a line ({fit.goodness})" if fit.freedom else "too few results to test the line"
    if fit.freedom and fit.estimate.p_value > 1.0 - REJECTED:
        line = f"the errors lie closer to a line than their U lets expect ({fit.goodness}): U is careful"
    state = "drifting" if drifting else "watch" if significant or jump else "steady"
    return state, f"{size}: {meaning}; {line}{jump}"


def _shown(rate: Rate) -> str:
    return f"{value_with(rate.rate, rate.U, sign=True)} ± {expanded(rate.U)}"


def naive_sentence(fit: Fit, channel: Channel) -> str:
    """What ordinary least squares says of the same errors: levels and one rate, each result as if independent.

    With a level for each point the rate is that of what is left of years and errors about their means there.
    """
    epoch = fit.epoch
    counts = np.bincount(epoch.level)
    years, errors = (v - (np.bincount(epoch.level, v) / counts)[epoch.level] for v in (epoch.years, epoch.errors))
    freedom = len(years) - len(counts) - 1
    if freedom == 0:
        return "Ordinary least squares has no residual left to judge a rate by."
    squares = float(years @ years)
    slope = float(years @ errors) / squares
    left = errors - slope * years
    rate = Rate(rate=slope, u=math.sqrt(float(left @ left) / freedom / squares), nu=freedom)
    verdict = "significant" if abs(rate.rate) > rate.U else "not significant"
    ours = fit.rate
    said = (
        f"Ordinary least squares without covariance says {_shown(rate)} {channel.unit} per year (ν = {freedom}): "
        f"{verdict}"
    )
    if fit.rejected:
        return f"{said}, where the line is rejected."
    if (abs(rate.rate) > rate.U) != (abs(ours.rate) > ours.U):
        whole = "is not" if verdict == "significant" else "is"
        return f"{said}, where with the covariance of the results it {whole}."
    return f"{said}, as with it."


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
    coarser = max(moved[0].U, moved[-1].U)
    sizes = dict.fromkeys(value_with(change.change, coarser, sign=True) for change in (moved[0], moved[-1]))
    days = f"{moved[0].before.day} and {moved[0].now.day}"
    return f"; a step of {' to '.join(sizes)} {channel.unit} between {days}"


def _targets(changes: Sequence[Change]) -> str:
    return ", ".join(dict.fromkeys(f"{change.target:g}" for change in changes))


def _since(history: Sequence[VisitHistory]) -> str:
    changed = [visit.day for visit in history if visit.adjusted and visit.element]
    return f" since the element was changed on {changed[-1]}" if changed else " on record"


def _no_rate(
    channel: Channel,
    sentence: str,
    epoch: Epoch | None,
    changes: tuple[Change, ...],
    component: VisitToVisit,
    fit: Fit | None = None,
    naive: str = "",
) -> Drift:
    """Too few visits; with a fit, one that was rejected."""
    return Drift(
        channel=channel,
        state="watch" if fit is not None else "too few visits",
        sentence=sentence,
        rate=math.nan,
        U=math.nan,
        nu=math.nan,
        p_value=math.nan,
        chi_squared=fit.chi_squared if fit is not None else math.nan,
        freedom=fit.freedom if fit is not None else 0,
        span=False,
        segments=epoch.segments if epoch is not None else 0,
        visits=len(epoch.days) if epoch is not None else 0,
        first=None,
        last=None,
        levels=(),
        changes=changes,
        between=component.sigma,
        between_basis=component.basis,
        naive=naive,
        outlooks=(),
        fit=None,
    )


def last_changes(history: Sequence[VisitHistory], budgets: Budgets, between: float) -> tuple[Change, ...]:
    """What the newest visit found against what the visit before left."""
    return changes_between(history[-2], history[-1], budgets, between) if len(history) > 1 else ()


def changes_between(before: VisitHistory, now: VisitHistory, budgets: Budgets, between: float) -> tuple[Change, ...]:
    """As found now minus as left before, at every point that both hold."""
    pairs = pairs_between(before, now)
    return tuple(
        Change(target=found.target, before=left, now=found, change=found.error - left.error, U=U)
        for (left, found), U in zip(
            pairs, expanded_of_changes([[pair] for pair in pairs], budgets, between), strict=True
        )
    )


def pairs_between(before: VisitHistory, now: VisitHistory) -> list[tuple[Result, Result]]:
    """(as left before, as found now): same target and temperature, same direction where it has it.

    At another position the loop is another: there is nothing to compare.
    """
    if before.position != now.position:
        return []
    found = []
    for result in now.as_found:
        best, condition = None, condition_of(result)
        for left in before.left:
            fits = same_condition(condition_of(left), condition)
            if fits and (best is None or left.direction == result.direction):
                best = left
                if left.direction == result.direction:
                    break
        if best is not None:
            found.append((best, result))
    return found


def expanded_of_changes(changes: Sequence[Pairs], budgets: Budgets, between: float) -> tuple[float, ...]:
    """U of each change, the mean over its pairs (one or more): what both visits lean on cancels.

    Another laboratory's results are independent of ours, and share their u at one visit.
    """
    sums, lines, weights = [], [], []
    own = np.full(len(changes), 2.0 * between**2)
    k = np.zeros(len(changes))
    for number, pairs in enumerate(changes):
        for sign, results in zip((-1.0, 1.0), zip(*pairs, strict=True), strict=True):
            stated = [r for r in results if r.line is None]
            measured = [r.line for r in results if r.line is not None]
            sums += [number] * len(measured)
            lines += measured
            weights += [sign / len(pairs)] * len(measured)
            if stated:
                own[number] += (math.fsum(r.u for r in stated) / len(pairs)) ** 2
                k[number] = max(k[number], float(coverage_factor(min(r.nu_eff for r in stated))))
    if lines:
        u, k_lines, _ = expanded_of_combinations(budgets, sums, lines, weights)
        own[: len(u)] += u**2
        k[: len(u)] = np.maximum(k[: len(u)], k_lines)
    return tuple((k * np.sqrt(own)).tolist())
