"""Advice from as-found results: whether and how to adjust, how wide the hysteresis is. Never inside the noise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asfound.assessment.results.conformity import Verdict, tolerance_at
from asfound.assessment.results.table import Result
from asfound.measurement.points import together
from asfound.records.models import Channel
from asfound.records.settings_in_force import SettingsOn
from asfound.rounding import expanded, value_with
from asfound.statistics.least_squares import generalised_least_squares
from asfound.uncertainty.budgets import Budgets
from asfound.uncertainty.covariance import contributions, expanded_of_combination
from asfound.uncertainty.sources import coverage_factor

NO_RESPONSE = -0.5
"""%RH per %RH: an error that falls so fast means that the reading hardly follows the humidity (our choice)."""


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What to do with the instrument, and why, in words with numbers."""

    action: str
    """leave, zero, zero and span, temperature, loop, repair, or none"""
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Hysteresis:
    """Falling minus rising error at one point, with the U of the difference."""

    target: float
    width: float
    U: float
    unit: str


def hysteresis(results: Sequence[Result], budgets: Budgets) -> tuple[Hysteresis, ...]:
    """Where a visit went through a point both ways in one phase."""
    found = []
    measured = [r for r in results if r.line is not None]
    ways = {way: [r for r in measured if r.direction == way] for way in ("rising", "falling")}
    for rising in ways["rising"]:
        for falling in ways["falling"]:
            same = (rising.phase, rising.channel) == (falling.phase, falling.channel) and rising.at_point_of(falling)
            if same and rising.line is not None and falling.line is not None:
                _, _, U = expanded_of_combination(budgets, (falling.line, rising.line), (1.0, -1.0))
                width = falling.error - rising.error
                found.append(Hysteresis(target=rising.target, width=width, U=U, unit=rising.unit))
    return tuple(found)


def advice(results: Sequence[Result], settings: SettingsOn, budgets: Budgets, *, adjusted: bool = False) -> Advice:
    """Advice from one visit's results of one sensor: from its as left where it was adjusted, else from its as found.

    Every amount is what to do to the reading: the correction, not the error.
    """
    left = [r for r in results if r.phase == "as_left" and r.has_verdict]
    if adjusted and not left:
        return Advice(action="none", sentence="adjusted, and not yet read as left: read every point again")
    found = left or [r for r in results if r.phase == "as_found" and r.has_verdict]
    humidity = _of_humidity(found, settings, budgets)
    if adjusted and all(r.verdict is Verdict.PASS for r in left):
        return Advice(action="leave", sentence="adjusted, and the as left passes: done")
    unfinished = "the as left does not pass yet: " if adjusted else ""
    failing = {
        channel: sentence
        for channel in Channel
        if channel is not Channel.HUMIDITY and (sentence := _fails_by(found, channel))
    }
    if not failing:
        return Advice(action=humidity.action, sentence=unfinished + humidity.sentence)
    sentence = "; ".join(failing.values())
    if humidity.action not in ("leave", "none"):
        return Advice(action=humidity.action, sentence=f"{unfinished}{humidity.sentence}; {sentence}")
    return Advice(action=" and ".join(failing), sentence=unfinished + sentence)


def _fails_by(found: Sequence[Result], channel: Channel) -> str:
    """The worst failure of a channel that is not adjusted at points; nothing where none fails."""
    failing = [r for r in found if r.channel is channel and r.verdict is Verdict.FAIL]
    if not failing:
        return ""
    worst = max(failing, key=lambda r: r.badness)
    size = f"{value_with(worst.error, worst.U, sign=True)} {channel.declaration.symbol}"
    return f"the {channel} channel fails by {size}: adjust or replace it"


def _of_humidity(found: Sequence[Result], settings: SettingsOn, budgets: Budgets) -> Advice:
    """Advice on the humidity channel, never inside the noise, never from one point."""
    usable = [r for r in found if r.channel is Channel.HUMIDITY and r.status == "done" and r.line is not None]
    if len(_points(usable)) < 2:
        return Advice(action="none", sentence="no advice from fewer than two settled points")
    beyond = [r for r in usable if abs(r.error) > _limit(r, settings)]
    if not beyond:
        limit = "the adjustment limit" if settings.dated("adjustment_limit") else "what the rule passes"
        return Advice(action="leave", sentence=f"all errors lie within {limit}: leave it as it is")
    worst = max(beyond, key=lambda r: r.badness)
    error = value_with(worst.error, worst.U, sign=True)
    own, passes = _limits(worst, settings)
    limit = f"±{value_with(min(own, passes), worst.U)} {worst.unit}"
    named = "the adjustment limit" if own <= passes else "what the rule passes"
    why = f"error {error} {worst.unit} at {worst.target:g} %RH is beyond {limit}, {named}"
    if abs(worst.error_loop) > worst.U_loop and abs(worst.error_sensor) <= _limit(worst, settings):
        loop = value_with(worst.error_loop, worst.U_loop, sign=True)
        sentence = f"{why}, and {loop} of it is the loop's: correct the far end's scaling or input, leave the sensor"
        return Advice(action="loop", sentence=sentence)
    return _adjustment(why, usable, budgets)


def _adjustment(why: str, usable: Sequence[Result], budgets: Budgets) -> Advice:
    """Zero, zero and span, or neither, by what would remain at each point."""
    zero, span = _line(usable, budgets)
    if span.value <= NO_RESPONSE:
        sentence = f"{why}; the reading hardly follows the humidity: check wiring, element and the numbers typed"
        return Advice(action="repair", sentence=sentence)
    shift = value_with(-zero.value, zero.U, sign=True)
    if abs(span.value) > span.U:
        turn = value_with(-span.value, span.U, sign=True)
        action, tilt = "zero and span", span.value
        how = f"adjust zero and span: {shift} %RH at {zero.at:.0f} %RH (U {expanded(zero.U)}), slope {turn} %RH per %RH"
    elif abs(zero.value) > zero.U:
        action, tilt = "zero", 0.0
        how = f"adjust zero by {shift} %RH (U {expanded(zero.U)}); span is sound"
    else:
        return Advice(action="leave", sentence=f"{why}, but no shift stands out of its uncertainty: leave it")
    remains = [(r, r.error - zero.value - tilt * (r.reference_value - zero.at)) for r in usable]
    bad = [(r, rest) for r, rest in remains if abs(rest) > r.tolerance]
    if bad:
        result, rest = max(bad, key=lambda pair: abs(pair[1]))
        left = f"{value_with(rest, result.U, sign=True)} %RH would remain at {result.target:g} %RH"
        sentence = f"{why}; no zero and span cures it ({left}): correct by a table, change the element, or repair"
        return Advice(action="repair", sentence=sentence)
    return Advice(action=action, sentence=f"{why}: {how}")


def _limit(result: Result, settings: SettingsOn) -> float:
    """The adjustment limit where one is set, never above what the rule passes; a pass is else left alone."""
    return min(_limits(result, settings))


def _limits(result: Result, settings: SettingsOn) -> tuple[float, float]:
    """The adjustment limit, infinite where none is set; what the rule passes, infinite after a pass."""
    passes = math.inf if result.verdict is Verdict.PASS else max(result.tolerance - result.U, 0.0)
    own = settings.dated("adjustment_limit")
    if own is None:
        return math.inf, passes
    return tolerance_at(own, result.reference_value, settings.range(result.channel)), passes


@dataclass(frozen=True, kw_only=True)
class _Coefficient:
    value: float
    U: float
    at: float


def _line(results: Sequence[Result], budgets: Budgets) -> tuple[_Coefficient, _Coefficient]:
    """Error as a straight line over the reference value about its mean, with full covariance.

    The ways through one point are averaged first: how wide the hysteresis is says nothing about the span.
    """
    mean = _means_of_ways(results)
    reference = mean @ np.array([r.reference_value for r in results])
    errors = mean @ np.array([r.error for r in results])
    centre = float(reference.mean())
    design = np.column_stack([np.ones(len(mean)), reference - centre])
    matrix, _ = contributions(budgets, [int(r.line) for r in results if r.line is not None])
    matrix = mean @ matrix
    estimate, spread = generalised_least_squares(design, errors, matrix @ matrix.T)
    k = float(coverage_factor(math.inf))
    zero, span = (_Coefficient(value=float(estimate[i]), U=k * math.sqrt(spread[i, i]), at=centre) for i in range(2))
    return zero, span


def _means_of_ways(results: Sequence[Result]) -> np.ndarray:
    """Weights, shape (points, results): each point's directions weigh alike, and in a direction its plateaus."""
    points = _points(results)
    weights = np.zeros((len(points), len(results)))
    for row, numbers in enumerate(points):
        ways = [results[number].direction for number in numbers]
        for column, way in zip(numbers, ways, strict=True):
            weights[row, column] = 1.0 / (ways.count(way) * len(set(ways)))
    return weights


def _points(results: Sequence[Result]) -> list[list[int]]:
    """The positions of what was read at each point."""
    return together([r.point for r in results], [r.reach for r in results])
