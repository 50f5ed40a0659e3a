"""Drift of an instrument: what changed since it was last left, the rate of its element, and what that means.

A level for each point of each segment, one rate (zero and span apart where the data ask for it), fitted by
generalised least squares with the covariance of the results' named sources plus what visits shift by, each kind of
effect scaled as the family's data say: references shared by two visits cancel in their difference, recalibrated ones do
not. A rate is claimed only where the test of the line lets it stand.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from asfound.assessment.history.changes import Change, last_changes
from asfound.assessment.history.design import LEAST_VISITS
from asfound.assessment.history.epochs import Epoch, VisitHistory
from asfound.assessment.history.lasting import Lasting
from asfound.assessment.history.line import Fit, Rate, line_through
from asfound.assessment.history.outlook import PointOutlook, outlooks
from asfound.assessment.history.scales import Scales
from asfound.records.models import Channel
from asfound.rounding import expanded, value_with

MATTERS = 0.1
"""A significant rate is called drifting when it uses this part of the tolerance within one interval (our choice)."""


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


def drift(
    history: Sequence[VisitHistory],
    epoch: Epoch | None,
    lasting: Lasting | None,
    channel: Channel,
    scales: Scales,
    ahead: Ahead,
) -> Drift:
    """Drift of one instrument's present element; `epoch`: the newest of its history (visits in order of days)."""
    changes = last_changes(history, lasting, scales)
    days = epoch.days if epoch is not None else ()
    told = f"{len(days)} visit{'s' if len(days) != 1 else ''}{_since(history)}"
    if epoch is None or len(days) < LEAST_VISITS:
        return _no_rate(channel, f"{told}: too few for a rate{_jump(changes)}", epoch, changes, scales)
    if not epoch.recurs:
        sentence = f"{told}, none with a point of another: no rate{_jump(changes)}"
        return _no_rate(channel, sentence, epoch, changes, scales)
    fit = line_through(epoch, channel, scales)
    naive = naive_sentence(fit, channel)
    if fit.rejected:
        why = f"the errors do not lie on a line ({fit.goodness})"
        if fit.stepped is not None:
            why += f": they step before {fit.stepped}"
        if fit.contradicted:
            why = "since the last adjustment the errors move otherwise than before, over too few visits for a rate"
        said = f"no single rate: {why}{_step(changes, channel)}"
        return _no_rate(channel, said, epoch, changes, scales, fit=fit, naive=naive)
    found = outlooks(fit, ahead.today, ahead.due, ahead.tolerance_at)
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
        between=scales.between,
        between_basis=scales.basis,
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
    scales: Scales,
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
        between=scales.between,
        between_basis=scales.basis,
        naive=naive,
        outlooks=(),
        fit=None,
    )
