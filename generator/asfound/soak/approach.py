"""What was left of an approach at the end: all tenable approaches weighed by how they fit, not the best one trusted.

The reading after a step is a + b·f(t) with noise. f is one exponential, or one with a slow second term; how fast, how
slow and how much slow are not known, so that the left −b·f at the readings is averaged over all of them, each weighed
by its marginal likelihood (JCGM 101:2008 asks for the distribution of what is known; Hoeting et al. 1999, Statistical
Science 14, 382, for the averaging of models). What no window can see, a slow term that has hardly begun, keeps the
weight that it had before: a one-sided allowance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from asfound.soak.blocks import Blocks, blocks_of, quantisation_variance
from asfound.soak.shapes import COARSE, FINE, SLOW_TERM, Shapes, Weighed
from asfound.statistics.exponentials import first_order

MODEL_DOUBT = 0.1
"""How far from a sum of exponentials an approach is at its start, as a share of it, falling with the square of what
remains: diffusion and fittings that fill up matter early (our choice; tests/benchmarks/soak_coverage.py shows what it
gives)."""
DOUBT_OF_LEFT = 0.05
"""standard uncertainty of what is left from the shape of the approach, as a share of it (our choice)"""
LARGEST_SHARE_OF_STEP = 1.2
"""The approach begins within this multiple of the step (our choice: the errors before and after it differ)."""
LEAST_ODDS = 3.0
"""The readings speak for a slow term where it is this much more probable after them than before ("positive" evidence:
Kass and Raftery 1995, J. Am. Stat. Assoc. 90, 773). It names the model; the numbers weigh both."""
LEAST_NOISE = 0.05
"""noise of a block that a display may hide, as a share of its last digit (our choice)"""
LEAST_BLOCKS = 5
NEGLIGIBLE = 0.01
"""A correlation of the noise that is less probable than the best one by this factor is left out (our choice)."""
OPPOSITE = 6.0
"""An approach against the step by this many times its noise is of something else than the step (our choice)."""
FIRST_ORDER, WITH_SLOW_TERM, NOT_KNOWN = "first order", "with a slow second term", "not known"


@dataclass(frozen=True, kw_only=True)
class Approach:
    """What an approach came to. Numbers in the unit of the readings, times in minutes."""

    model: str
    """the model that the readings speak for, or that nothing is known"""
    reason: str
    """why nothing is known; else nothing"""
    time_constants_min: tuple[float, ...]
    """of the most probable approach"""
    slow_term: float
    """probability of a slow second term"""
    mean: float
    """of the readings in the window"""
    u_mean: float
    """standard uncertainty of that mean from the noise, correlated as it is"""
    nu_mean: float
    """degrees of freedom of u_mean: of as many independent readings"""
    left: float
    """what the readings in the window had still to change, signed: settled = mean + left"""
    u_left: float
    """standard uncertainty of it, doubt of the model included"""
    nu: float
    """degrees of freedom of u_left, by Welch and Satterthwaite: the doubt of the model has infinitely many"""

    @property
    def asymptote(self) -> float:
        """The reading when nothing is left."""
        return self.mean + self.left


def approach(
    t_s: np.ndarray,
    y: np.ndarray,
    *,
    window_s: tuple[float, float] | None = None,
    step: float | None = None,
    drift_per_s: float = 0.0,
    resolution: float = 0.0,
) -> Approach:
    """What was left of an approach in the window at its end.

    `t_s`: seconds, 0 where the reference began to stand, shape (n,); `y`: the error or the reading, nan where there is
    none; `window_s`: from, until (default: the last twelfth); `step`: by how much the reference had moved before,
    signed, where it is known; `drift_per_s`: slope of the reference since; `resolution`: last digit of y.
    """
    known = np.isfinite(y)
    t, y = np.asarray(t_s, float)[known], np.asarray(y, float)[known]
    if window_s is None:
        window_s = (float(t[-1]) * 11.0 / 12.0, float(t[-1])) if len(t) else (0.0, 0.0)
    inside = (t >= window_s[0]) & (t <= window_s[1])
    if not inside.any():
        return not_known("no reading in the window", step=step)
    mean = float(y[inside].mean())
    blocks = blocks_of(t, y, window_s)
    if len(blocks.y) < LEAST_BLOCKS:
        return not_known(f"{len(y)} readings are too few for a fit", mean=mean, step=step)
    rough = _rough(blocks, resolution)
    bounds = _bounds(blocks, rough, step)
    if float(np.ptp(blocks.y)) == 0.0 and resolution == 0.0:
        return not_known("the readings do not vary at all", mean=mean, step=step)
    stuck = quantisation_variance(blocks, resolution)
    doubt = (MODEL_DOUBT * rough.amplitude) ** 2 * np.outer(rough.remaining, rough.remaining) ** 2
    doubt *= np.exp(-np.abs(blocks.apart_s) / rough.tau_s)
    return _averaged(*_weighed(blocks, rough, doubt + stuck, bounds, drift_per_s), blocks, mean)


def _weighed(
    blocks: Blocks, rough: _Rough, fixed: np.ndarray, bounds: tuple[float, float], drift_per_s: float
) -> tuple[list[Weighed], Shapes]:
    """All approaches under every correlation of the noise that is tenable; `fixed`: the covariance that is no noise."""
    coarse, tried = Shapes.of(blocks, COARSE), []
    for correlation in blocks.correlations():
        sigma2 = rough.sigma2
        for _ in range(3):
            found = coarse.weigh(correlation + fixed / sigma2, bounds, drift_per_s, rough.least_sigma2)
            sigma2 = found.sigma2
        tried.append((float(np.logaddexp.reduce(found.log_weight)), correlation, sigma2))
    best = max(evidence for evidence, _, _ in tried)
    fine = Shapes.of(blocks, FINE)
    kept = [(correlation, sigma2) for evidence, correlation, sigma2 in tried if evidence > best + math.log(NEGLIGIBLE)]
    return [
        fine.weigh(correlation + fixed / sigma2, bounds, drift_per_s, rough.least_sigma2).with_noise(correlation)
        for correlation, sigma2 in kept
    ], fine


def not_known(reason: str, *, mean: float = math.nan, step: float | None = None) -> Approach:
    """Nothing could be fitted: what is left lies somewhere between nothing and the step, where that is known."""
    half = step / 2.0 if step is not None else math.nan
    return Approach(
        model=NOT_KNOWN,
        reason=reason,
        time_constants_min=(),
        slow_term=math.nan,
        mean=mean,
        u_mean=math.nan,
        nu_mean=math.nan,
        left=half,
        u_left=abs(half) / math.sqrt(3.0),
        nu=math.inf,
    )


@dataclass(frozen=True)
class _Rough:
    """A first look: one exponential by least squares."""

    tau_s: float
    amplitude: float
    remaining: np.ndarray
    """share of the amplitude, by block"""
    sigma2: float
    least_sigma2: float


def _rough(blocks: Blocks, resolution: float) -> _Rough:
    """Least squares from the best of some starts; the share that remains is 1 at the first block."""
    t, y, span = blocks.t_s - blocks.t_s[0], blocks.y, float(blocks.t_s[-1] - blocks.t_s[0])
    starts = span / np.array([1.0, 3.0, 9.0, 30.0])
    shapes = np.exp(-t / starts[:, None])
    shapes -= shapes.mean(axis=1, keepdims=True)
    explained = (shapes @ y) ** 2 / np.maximum((shapes**2).sum(axis=1), 1e-300)
    fit = first_order(t, y, float(starts[int(np.argmax(explained))]))
    tau = float(np.clip(fit.constants[0], span / 100.0, 2.0 * span))
    amplitude = float(np.clip(fit.amplitudes[1], -1.5 * np.ptp(y), 1.5 * np.ptp(y)))
    scale = float(np.ptp(y)) or 1e-9
    differences = float(np.mean(np.diff(y, 2) ** 2)) / 6.0 if len(y) > 2 else 0.0
    least = max(1e-12 * scale**2, (LEAST_NOISE * resolution) ** 2)
    return _Rough(tau, amplitude, np.exp(-t / tau), max(differences, least), least)


def _bounds(blocks: Blocks, rough: _Rough, step: float | None) -> tuple[float, float]:
    """Between what the amplitude b lies: of the step's sign where it is known, else within what was seen, doubled."""
    against = rough.amplitude * (step or 0.0) > 0.0 and abs(rough.amplitude) > OPPOSITE * math.sqrt(rough.sigma2)
    if step and not against:
        ends = (0.0, -LARGEST_SHARE_OF_STEP * step)
    else:
        seen = 2.0 * float(np.ptp(blocks.y))
        ends = (-seen, seen)
    return min(ends), max(ends)


def _averaged(weighed: list[Weighed], shapes: Shapes, blocks: Blocks, mean: float) -> Approach:
    logs = np.concatenate([one.log_weight for one in weighed])
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    left = np.concatenate([one.left for one in weighed])
    variance = np.concatenate([one.left_variance for one in weighed]) + (DOUBT_OF_LEFT * left) ** 2
    centre = float(weight @ left)
    within = float(weight @ variance)
    u_left = math.sqrt(within + float(weight @ (left - centre) ** 2))
    number = np.concatenate([one.number for one in weighed])
    of_shape = np.bincount(number, weight, minlength=len(shapes.first))
    slow = float(of_shape[shapes.share > 0.0].sum())
    slow_fits = slow * (1.0 - SLOW_TERM) >= LEAST_ODDS * (1.0 - slow) * SLOW_TERM
    of_model = np.where((shapes.share > 0.0) == slow_fits, of_shape, -1.0)
    best = int(np.argmax(of_model))
    taus = (shapes.tau_s[shapes.first[best]], *([shapes.tau_s[shapes.second[best]]] if slow_fits else []))
    which = np.repeat(np.arange(len(weighed)), [len(one.number) for one in weighed])
    noise = np.bincount(which, weight, minlength=len(weighed))
    nu = max(1.0, float(sum(w * one.independent for w, one in zip(noise, weighed, strict=True))) - 3.0)
    return Approach(
        model=WITH_SLOW_TERM if slow_fits else FIRST_ORDER,
        reason="",
        time_constants_min=tuple(float(tau) / 60.0 for tau in taus),
        slow_term=slow,
        mean=mean,
        u_mean=math.sqrt(float(sum(w * one.mean_variance for w, one in zip(noise, weighed, strict=True)))),
        nu_mean=nu,
        left=centre,
        u_left=u_left,
        nu=nu * (u_left**2 / within) ** 2 if within > 0.0 else math.inf,
    )
