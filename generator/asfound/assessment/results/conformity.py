"""Statements of conformity by plateau and channel, on unrounded values.

Simple acceptance and guard bands as in ILAC-G8:09/2019 (JCGM 106:2012, 8.2 and 8.3); the specific-risk rule bounds
the probability that the true error lies outside the tolerance, by the measurement alone, with a uniform prior.
An edge is inside: a value exactly on a limit passes. Clause numbers are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from scipy.special import ndtr, stdtr

from asfound.records.models import Band, Limits, MeasuringRange, Policy, Tolerance

Values = Any
"""one number, or an array of them"""

EDGE = 1e-9
"""Relative slack that keeps rounding in the last binary digits from moving a value across its edge."""
SMALLEST_P = 1e-6
"""A probability is published no smaller: sources' tails are not known so far out, and no trial lies there."""


class Verdict(StrEnum):
    """What is said of one result (ILAC-G8 words), or why nothing is said."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    UNDECIDED = "U too large"
    NONE = "no verdict"


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """A verdict with the limit and the rule behind it."""

    verdict: Verdict
    tolerance: float
    p_outside: float
    tur: float
    """test uncertainty ratio T/U"""


def tolerance_at(tolerance: Tolerance, reference_value: float, span: MeasuringRange | None) -> float:
    """± limit at a reference value, in the channel's unit; nan where a share of an unknown range is asked for.

    A limit of zero, as a share of the reading has it at 0 degC, is none: nan.

    Bands include their edges; where two meet, the upper one rules.
    """
    chosen: Limits = tolerance
    for band in sorted(tolerance.bands, key=_lower_edge):
        if band.lowest.value <= reference_value <= band.highest.value:
            chosen = band
    parts = []
    if chosen.absolute is not None:
        parts.append(chosen.absolute.value)
    if chosen.of_reading is not None:
        parts.append(chosen.of_reading * abs(reference_value))
    if chosen.of_range is not None:
        parts.append(chosen.of_range * (span.highest.value - span.lowest.value) if span else math.nan)
    if not parts:
        return math.nan
    if any(map(math.isnan, parts)):  # the largest of unknown parts is unknown, whatever their order
        return math.nan
    limit = math.fsum(parts) if chosen.combine == "sum" else max(parts)
    return limit if limit > 0.0 else math.nan


def _lower_edge(band: Band) -> float:
    return band.lowest.value


def probability_outside(error: Values, u: Values, nu: Values, tolerance: Values) -> np.ndarray:
    """P(|true error| > T): two tails of a t distribution scaled to u about the error (uniform prior).

    Of one result or of many, shape as given; nan where nothing is known.
    """
    error, u, nu, tolerance = np.broadcast_arrays(error, u, nu, tolerance)
    with np.errstate(all="ignore"):
        below, above = (-tolerance - error) / u, (error - tolerance) / u
        normal = np.isinf(nu)
        p = np.where(normal, ndtr(below) + ndtr(above), np.nan)
        if not normal.all():
            p = np.where(normal, p, stdtr(nu, below) + stdtr(nu, above))
        return np.where(u <= 0.0, np.abs(error) > tolerance * (1.0 + EDGE), p)


def stated_probability(p: float) -> float:
    """A probability as data and certificates hold it: never 0, since none is."""
    return max(p, SMALLEST_P)


def judge(policy: Policy, error: float, u: float, nu: float, U: float, tolerance: float) -> Judgement:
    """The verdict of the policy's rule on an error with its uncertainty."""
    verdicts, p, tur = judge_all(policy, *(np.array(value) for value in (error, u, nu, U, tolerance)))
    return Judgement(verdict=verdicts.item(), tolerance=tolerance, p_outside=float(p), tur=float(tur))


def judge_all(
    policy: Policy, error: np.ndarray, u: np.ndarray, nu: np.ndarray, U: np.ndarray, tolerance: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Verdicts, P(outside) and T/U of many errors under one policy, each of the shape given."""
    p = probability_outside(error, u, nu, tolerance)
    at_best = probability_outside(0.0, u, nu, tolerance) if policy.rule == "specific_risk" else p
    with np.errstate(divide="ignore", invalid="ignore"):
        tur = np.where(U == 0.0, np.inf, tolerance / U)
    return np.asarray(verdict_by_rule(policy, error, U, tolerance, p, at_best), object), p, tur


def verdict_by_rule(
    policy: Policy, error: Values, U: Values, tolerance: Values, p_outside: Values, p_outside_at_best: Values
) -> Any:
    """The verdict (or array of verdicts) from |E|, T, U and P(outside).

    `p_outside_at_best`: what P would be with zero error; only the rule of specific risk asks for it.
    """
    unknown = np.isnan(error) | np.isnan(tolerance) | np.isnan(U)
    size, slack = abs(error), EDGE * tolerance
    inside = size <= tolerance + slack
    if policy.rule == "simple_acceptance":
        too_large = policy.largest_u_over_t * tolerance * (1.0 + EDGE) < U
        hidden = too_large & (size <= tolerance + U + slack)
        return _first([(unknown, Verdict.NONE), (hidden, Verdict.UNDECIDED), (inside, Verdict.PASS)], Verdict.FAIL)
    if policy.rule == "guard_band":
        w = policy.guard_band * U
        certain_pass = size <= tolerance - w + slack
        certain_fail = size > tolerance + w + slack
        hopeless = tolerance - w < 0.0
    else:
        certain_pass = p_outside <= policy.largest_risk
        certain_fail = p_outside >= 1.0 - policy.largest_risk
        hopeless = p_outside_at_best > policy.largest_risk
    cases = [
        (unknown, Verdict.NONE),
        (certain_fail, Verdict.FAIL),
        (hopeless, Verdict.UNDECIDED),
        (certain_pass, Verdict.PASS),
        (inside, Verdict.CONDITIONAL_PASS),
    ]
    return _first(cases, Verdict.CONDITIONAL_FAIL)


def _first(cases: Sequence[tuple[Any, Verdict]], otherwise: Verdict) -> Any:
    """The verdict of the first case that holds."""
    verdicts = np.array([verdict for _, verdict in cases] + [otherwise], object)
    return verdicts[np.select([case for case, _ in cases], range(len(cases)), len(cases))]


def rule_in_words(policy: Policy) -> str:
    """The decision rule, with the risk that it leaves, as it is printed wherever a verdict is."""
    if policy.rule == "simple_acceptance":
        share = f"{policy.largest_u_over_t:g}·" if policy.largest_u_over_t != 1.0 else ""
        return (
            f"simple acceptance: pass where |error| ≤ T, fail where |error| > T, as long as U (95.45 %) is at most "
            f"{share}T; with a larger U nothing is decided but |error| > T + U, which fails; "
            "at the limit a statement is wrong with a probability of up to 50 %"
        )
    if policy.rule == "guard_band":
        r = f"{policy.guard_band:g}·" if policy.guard_band != 1.0 else ""
        risk = f"{100.0 * float(ndtr(-2.0 * policy.guard_band)):.2g} %"  # U = 2·u
        return (
            f"guard band w = {r}U: pass where |error| ≤ T − w, fail where |error| > T + w, conditional between; "
            f"a pass or fail at its limit is wrong with a probability of about {risk} (one-sided, normal)"
        )
    low, high = f"{100 * policy.largest_risk:g} %", f"{100 - 100 * policy.largest_risk:g} %"
    return (
        f"specific risk: pass where the probability of |true error| > T is at most {low}, "
        f"fail where it is at least {high}"
    )
