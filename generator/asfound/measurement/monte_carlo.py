"""Propagation of distributions (JCGM 101:2008): where the linear answer does not serve, and as its check.

Every source of a budget that counts is drawn from its own distribution, the small ones together; the reference
method's full model is evaluated on the drawn inputs, so nothing of them is linearised. The seed comes from the result's
identity: the same records, the same answer. More is drawn until the ends of the coverage interval stand to two digits
of U (7.9, adaptive; from memory).
"""

from __future__ import annotations

import contextlib
import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from asfound.humidity.domains import OutsideRange
from asfound.measurement.cell_sources import Part
from asfound.measurement.evaluation import MethodGroup
from asfound.measurement.lines import Measurement
from asfound.records.models import Channel
from asfound.uncertainty.budgets import Budgets
from asfound.uncertainty.duals import differentiate
from asfound.uncertainty.sources import COVERAGE, DIVISORS, Distribution, Source
from asfound.uncertainty.terms import Terms

TRIALS = 100_000
"""Errors that are drawn at first, and again as often as the answer is not stable."""
MOST_TRIALS = 1_000_000
"""No more are drawn, whatever is still not stable (our choice)."""
DIGITS = 2
"""Significant digits of U that are stable, and printed."""
_BLOCKS_OF_TRIALS = 10
"""Into so many blocks the first draws are parted, whose ends say how far those of all are good."""
RECTANGULAR_SHARE = 0.5
"""A budget in which one rectangular source makes this share of the variance is decided by Monte Carlo."""
NEAR_SATURATION = 98.0
"""%RH above which (with 3u) the limit at saturation makes the distribution one-sided."""
SATURATION = 100.0
SMALL_SHARE = 1e-3
"""Sources below this share of the variance are drawn together, as one normal."""
_GRID = np.linspace(0.0, 1.0, 4001)


@dataclass(frozen=True, kw_only=True)
class Answer:
    """A distribution of the error: its estimate, expanded uncertainty, and quantiles of the deviation from it."""

    estimate: float
    u: float
    U: float
    """the larger side of the probabilistically symmetric 95.45 % interval about the estimate"""
    low: float
    high: float
    quantiles: np.ndarray
    seed: int
    trials: int

    def outside(self, tolerance: float, *, centred: bool = False) -> float:
        """P(|true error| > tolerance); `centred`: as if the estimate were zero."""
        centre = 0.0 if centred else self.estimate
        return float(
            np.interp(-tolerance - centre, self.quantiles, _GRID, left=0.0, right=1.0)
            + 1.0
            - np.interp(tolerance - centre, self.quantiles, _GRID, left=0.0, right=1.0)
        )


def draw(source: Source, rng: np.random.Generator, trials: int) -> np.ndarray:
    """Draws of a source about zero, shape (trials,): normal, scaled t for finite ν (6.4.9), or between limits.

    Rectangular (6.4.2), triangular (6.4.5), U-shaped (6.4.6); clauses from memory.
    """
    half_width = source.u * DIVISORS.get(source.distribution, 0.0)
    match source.distribution:
        case Distribution.RECTANGULAR:
            return rng.uniform(-half_width, half_width, trials)
        case Distribution.TRIANGULAR:
            return rng.triangular(-half_width, 0.0, half_width, trials)
        case Distribution.U_SHAPED:
            return half_width * np.sin(rng.uniform(-np.pi, np.pi, trials))
    if np.isfinite(source.nu):
        return source.u * rng.standard_t(source.nu, trials)
    return source.u * rng.standard_normal(trials)


def propagate(model: Callable[..., Any], inputs: Sequence[np.ndarray]) -> np.ndarray:
    """The model on drawn inputs, each of shape (trials,): draws of the output; nan where the formulas do not reach."""
    with contextlib.suppress(OutsideRange):
        return np.asarray(model(*inputs), float)
    drawn = np.broadcast_arrays(*inputs)
    output, at = np.full(drawn[0].shape, np.nan), np.arange(drawn[0].size)
    while len(at):
        try:
            output[at] = model(*(one[at] for one in drawn))
            break
        except OutsideRange as problem:
            at = at[~problem.where]
    return output


def coverage_interval(draws: np.ndarray, coverage: float = COVERAGE) -> tuple[float, float]:
    """Ends of the probabilistically symmetric coverage interval (7.7)."""
    tail = (1.0 - coverage) / 2.0
    low, high = np.quantile(draws, [tail, 1.0 - tail])
    return float(low), float(high)


def shortest_interval(draws: np.ndarray, coverage: float = COVERAGE) -> tuple[float, float]:
    """Ends of the shortest coverage interval (7.7.4, from memory)."""
    ordered = np.sort(draws)
    inside = int(np.ceil(coverage * len(ordered)))
    widths = ordered[inside - 1 :] - ordered[: len(ordered) - inside + 1]
    at = int(np.argmin(widths))
    return float(ordered[at]), float(ordered[at + inside - 1])


def needs_monte_carlo(measurement: Measurement, lines: Sequence[int]) -> list[int]:
    """Of these lines, those that the linear answer does not serve: rectangular-dominated, or at saturation."""
    budgets = measurement.whole()
    terms, catalogue = budgets.terms, budgets.catalogue
    limited = np.flatnonzero(catalogue.flat()[terms.source])
    variance = (terms.weight[limited] * catalogue.standard_uncertainties()[terms.source[limited]]) ** 2
    largest = np.zeros(len(budgets.u))
    np.maximum.at(largest, terms.row[limited], variance)
    of_humidity = np.array([line.channel is Channel.HUMIDITY for line in measurement.lines], bool)
    value = np.array([line.reference_value for line in measurement.lines], float)
    wet = of_humidity & (value + 3.0 * budgets.u > NEAR_SATURATION)
    needed = wet | (largest >= RECTANGULAR_SHARE * budgets.u**2)
    return [number for number in lines if needed[number]]


def monte_carlo(measurement: Measurement, number: int, trials: int = TRIALS, most_trials: int = MOST_TRIALS) -> Answer:
    """The distribution of one line's error by drawing its sources through the full model.

    As often `trials` at a time as it takes until it is stable, at most `most_trials`.
    """
    line = measurement.lines[number]
    name = f"{measurement.cells[line.cell].name}/{line.channel}/{line.part}"
    seed = int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big")
    rng = np.random.Generator(np.random.PCG64(seed))
    draws = [_deviations(measurement, number, rng, trials)]
    ends = block_ends(draws[0])
    while (len(draws) + 1) * trials <= most_trials and not stable(ends):
        draws.append(_deviations(measurement, number, rng, trials))
        ends = np.concatenate([ends, block_ends(draws[-1])])
    deviation = np.concatenate(draws)
    trials = len(deviation)
    deviation.sort()
    low, high = coverage_interval(deviation)
    return Answer(
        estimate=line.error,
        u=float(measurement.whole().u[number]),
        U=max(-low, high),
        low=line.error + low,
        high=line.error + high,
        quantiles=np.interp(_GRID * (trials - 1), np.arange(trials), deviation),
        seed=seed,
        trials=trials,
    )


def block_ends(draws: np.ndarray) -> np.ndarray:
    """Ends of the coverage interval by block of the draws, shape (blocks, 2)."""
    tail = (1.0 - COVERAGE) / 2.0
    return np.quantile(draws.reshape(_BLOCKS_OF_TRIALS, -1), [tail, 1.0 - tail], axis=1).T


def stable(ends: np.ndarray) -> bool:
    """Whether both ends of the coverage interval, as blocks of draws have them, stand to DIGITS digits of U.

    By the standard deviation of their mean: twice that is at most the numerical tolerance δ = ½·10^l, where U, the
    larger side, is c·10^l with c an integer of DIGITS digits (7.9.2 and 7.9.4, from memory).
    """
    U = float(np.abs(ends.mean(axis=0)).max())
    if not U > 0.0:
        return True
    tolerance = 0.5 * 10.0 ** (math.floor(math.log10(U)) - DIGITS + 1)
    return bool(np.all(2.0 * ends.std(axis=0, ddof=1) / math.sqrt(len(ends)) <= tolerance))


def _deviations(measurement: Measurement, number: int, rng: np.random.Generator, trials: int) -> np.ndarray:
    """Draws of the deviation of a line's error from its estimate, shape (trials,)."""
    line = measurement.lines[number]
    drawn, deviation = _linear(measurement.whole(), number, rng, trials)
    if line.channel is Channel.HUMIDITY and line.part is not Part.LOOP:
        deviation = deviation - _beyond_linear(measurement, number, drawn, line.reference_value)
    return deviation


def _linear(
    budgets: Budgets, number: int, rng: np.random.Generator, trials: int
) -> tuple[dict[int, np.ndarray], np.ndarray]:
    """Draws of every source of the line, and the deviation of its error as far as it is linear in them."""
    drawn: dict[int, np.ndarray] = {}
    deviation = np.zeros(trials)
    small = 0.0
    entries = budgets.entries(number)
    variance = float(budgets.u[number]) ** 2
    numbered = zip(budgets.terms.source[entries], budgets.terms.weight[entries], strict=True)
    # In order of identity: the numbers of sources depend on what else is on record, the answer must not.
    for source_number, weight in sorted(numbered, key=lambda pair: budgets.catalogue[int(pair[0])].identity):
        source = budgets.catalogue[int(source_number)]
        part = (float(weight) * source.u) ** 2
        if part < SMALL_SHARE * variance:
            small += part
            continue
        drawn[int(source_number)] = draw(source, rng, trials)
        deviation += weight * drawn[int(source_number)]
    if small:
        deviation += np.sqrt(small) * rng.standard_normal(trials)
    return drawn, deviation


def _beyond_linear(
    measurement: Measurement, number: int, drawn: dict[int, np.ndarray], reference_value: float
) -> np.ndarray:
    """Reference humidity on the drawn inputs, held at saturation, minus its linear part."""
    group, at = _group_of(measurement, number)
    if group is None:
        return np.zeros(1)
    one_row = np.full(len(group.rows), -1, np.int64)
    one_row[at] = 0
    share = np.full(len(group.rows), 1.0 / len(at))
    centre = [np.array([float(np.mean(m.value[at]))]) for m in group.measured]
    moves = [_moves(m.terms.moved(one_row, share).summed(), drawn) for m in group.measured]
    at_centre, gradient = differentiate(group.model, *centre)
    linear = sum(slope[0] * move for slope, move in zip(gradient, moves, strict=True))
    full = propagate(group.model, [c + move for c, move in zip(centre, moves, strict=True)]) - at_centre[0]
    full = np.where(np.isnan(full), linear, full)  # draws of long tails beyond where the formulas were fitted
    other = _moves(group.other.moved(one_row, share).summed(), drawn)
    # Where a value over ice claims supersaturation (it is shown in doubt), saturation is no limit to it.
    most = SATURATION if reference_value - float(measurement.whole().U[number]) <= SATURATION else np.inf
    held = np.minimum(reference_value + full + other, most) - reference_value
    return np.asarray(held - linear - other)


def _moves(terms: Terms, drawn: dict[int, np.ndarray]) -> np.ndarray:
    """Deviation of an input by its drawn sources; a single zero where none of them was drawn."""
    total = np.zeros(1)
    for source, weight in zip(terms.source, terms.weight, strict=True):
        if int(source) in drawn:
            total = total + weight * drawn[int(source)]
    return total


def _group_of(measurement: Measurement, number: int) -> tuple[MethodGroup | None, np.ndarray]:
    """The method group that holds the line's rows, and their positions in it."""
    cell = measurement.lines[number].cell
    for first, table, reference in measurement.stages:
        if not first <= cell < first + len(table.cells):
            continue
        rows = np.flatnonzero(table.cell == cell - first)
        for group in reference.groups:
            at = np.flatnonzero(np.isin(group.rows, rows))
            at = at[np.all([np.isfinite(m.value[at]) for m in group.measured], axis=0)] if len(at) else at
            if len(at):
                return group, at
    return None, np.zeros(0, np.int64)
