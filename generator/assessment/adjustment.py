"""Advice from as-found results: whether and how to adjust, how wide the hysteresis is. Never inside the noise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from generator.assessment.conformity import Verdict, tolerance_at
from generator.assessment.drift import generalised_least_squares
from generator.assessment.result import Result
from generator.records.models import Channel
from generator.records.settings import SettingsOn
from generator.rounding import expanded, value_with
from generator.uncertainty.budgets import Budgets
from generator.uncertainty.covariance import contributions, expanded_of_combination
from generator.uncertainty.sources import coverage_factor


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What to do with the instrument, and why, in words with numbers."""

    action: str
    """leave, zero, zero and span, or none"""
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Hysteresis:
    """Falling minus rising error at one target, with the U of the difference."""

    target: float
    width: float
    U: float
    unit: str


def hysteresis(results: Sequence[Result], budgets: Budgets) -> tuple[Hysteresis, ...]:
    """Where a visit went through a target both ways in one phase."""
    found = []
    for rising in results:
        for falling in results:
            same = (rising.target, rising.phase, rising.channel) == (falling.target, falling.phase, falling.channel)
            ways = (rising.direction, falling.direction) == ("rising", "falling")
            if same and ways and rising.line is not None and falling.line is not None:
                _, _, U = expanded_of_combination(budgets, (falling.line, rising.line), (1.0, -1.0))
                width = falling.error - rising.error
                found.append(Hysteresis(target=rising.target, width=width, U=U, unit=rising.unit))
    return tuple(found)


def advice(results: Sequence[Result], settings: SettingsOn, budgets: Budgets) -> Advice:
    """Advice from one visit's as-found humidity results of one sensor."""
    usable = [
        r
        for r in results
        if r.phase == "as_found"
        and r.channel is Channel.HUMIDITY
        and r.status == "done"
        and r.line is not None
        and not any(f.rule.withholds_verdict for f in r.reservations)
    ]
    if len({r.target for r in usable}) < 2:
        return Advice(action="none", sentence="no advice from fewer than two settled points")
    beyond = [r for r in usable if abs(r.error) > _limit(r, settings)]
    if not beyond:
        return Advice(action="leave", sentence="all errors lie within the adjustment limit: leave it as it is")
    zero, span = _line(usable, budgets)
    worst = max(beyond, key=lambda r: abs(r.error) - _limit(r, settings))
    error = value_with(worst.error, worst.U, sign=True)
    limit = value_with(_limit(worst, settings), worst.U)
    why = f"error {error} {worst.unit} at {worst.target:g} %RH is beyond {limit}"
    if abs(span.value) > span.U:
        sentence = (
            f"{why}: adjust zero and span (error {value_with(zero.value, zero.U, sign=True)} %RH at {zero.at:.0f} %RH, "
            f"{value_with(span.value, span.U, sign=True)} %RH per %RH, U {expanded(span.U)})"
        )
        return Advice(action="zero and span", sentence=sentence)
    if abs(zero.value) > zero.U:
        shift = value_with(-zero.value, zero.U, sign=True)
        sentence = f"{why}: adjust zero by {shift} %RH (U {expanded(zero.U)}); span is sound"
        return Advice(action="zero", sentence=sentence)
    return Advice(action="leave", sentence=f"{why}, but no shift stands out of its uncertainty: leave it")


def _limit(result: Result, settings: SettingsOn) -> float:
    """The adjustment limit where one is set; else what the verdict leaves: a pass is left alone."""
    own = settings.dated("adjustment_limit")
    if own is not None:
        return tolerance_at(own, result.reference_value, settings.range(result.channel))
    return math.inf if result.verdict is Verdict.PASS else max(result.tolerance - result.U, 0.0)


@dataclass(frozen=True, kw_only=True)
class _Coefficient:
    value: float
    U: float
    at: float


def _line(results: Sequence[Result], budgets: Budgets) -> tuple[_Coefficient, _Coefficient]:
    """Error as a straight line over the reference value about its mean, with full covariance.

    The ways through one target are averaged first: how wide the hysteresis is says nothing about the span.
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
    """Weights, shape (targets, results): each target's directions weigh alike, and in a direction its plateaus."""
    targets = list(dict.fromkeys(r.target for r in results))
    weights = np.zeros((len(targets), len(results)))
    for row, target in enumerate(targets):
        ways = [r.direction if r.target == target else None for r in results]
        for column, way in enumerate(ways):
            if way is not None:
                weights[row, column] = 1.0 / (ways.count(way) * len(set(ways) - {None}))
    return weights
