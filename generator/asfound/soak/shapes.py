"""All approaches that are tenable before the data are looked at, and what the data make of each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import log_ndtr, ndtr

from asfound.soak.blocks import Blocks

SLOW_TERM = 0.6
"""probability of a slow second term before the data (our choice: tests/benchmarks/soak_coverage.py)"""
SLOWER = (3.5, 6.0, 9.0, 13.0, 18.0, 24.0)
"""by how much the slow term is slower, as probable each (our choice)"""
LARGEST_SHARE, POWER_OF_SHARES = 0.25, 2.0
"""The slow term's shares of the approach go with k² up to the largest, as probable each: small ones are likelier
(our choice)."""
COARSE, FINE = 6, 18
"""shares to look at the noise with, and to average over"""
NEVER = 40.0
"""Half of the χ² by which an approach that has no weight fits worse than the best."""
_SPACING = 1.06
_FASTEST, _SLOWEST = 1.0 / 150.0, 6.0
"""first time constant, as a multiple of the time that was seen"""


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """Approaches with their weights; arrays of one shape."""

    number: np.ndarray
    """which of the approaches; the others fit so badly that they have no weight"""
    log_weight: np.ndarray
    left: np.ndarray
    left_variance: np.ndarray
    sigma2: float
    """variance of a block's noise, under the approach that fits best"""
    mean_variance: float = 0.0
    independent: float = 0.0
    """how many independent readings the blocks are worth"""
    window: np.ndarray

    def with_noise(self, correlation: np.ndarray) -> Weighed:
        """The same with what the noise's own correlation says."""
        one = np.ones(len(correlation))
        return replace(
            self,
            mean_variance=self.sigma2 * float(self.window @ correlation @ self.window),
            independent=float(one @ np.linalg.solve(correlation, one)),
        )


@dataclass(frozen=True, kw_only=True)
class Shapes:
    """A grid of approaches: f = (1 − share)·exp(−t/τ₁) + share·exp(−t/τ₂)."""

    blocks: Blocks
    tau_s: np.ndarray
    """time constants, shape (constants,)"""
    at_blocks: np.ndarray
    """exp(−t/τ) by block, shape (blocks, constants)"""
    in_window: np.ndarray
    """mean of exp(−t/τ) over the window, shape (constants,)"""
    first: np.ndarray
    """number of τ₁, shape (approaches,)"""
    second: np.ndarray
    share: np.ndarray
    span_s: float
    """the time that was seen"""
    log_prior: np.ndarray

    @classmethod
    def of(cls, blocks: Blocks, shares: int) -> Shapes:
        """The grid for these blocks, with so many shares of the slow term."""
        span = float(blocks.samples_s[-1] - blocks.samples_s[0]) + blocks.length_s
        fast = int(np.ceil(np.log(_SLOWEST / _FASTEST) / np.log(_SPACING))) + 1
        further = [round(np.log(times) / np.log(_SPACING)) for times in SLOWER]
        tau = span * _FASTEST * _SPACING ** np.arange(fast + further[-1])
        values = np.exp(-blocks.samples_s[None, :] / tau[:, None])
        inside = blocks.in_window / blocks.in_window.sum()
        some = LARGEST_SHARE * (np.arange(1, shares + 1) / shares) ** POWER_OF_SHARES
        first, second, share = (part.ravel() for part in np.meshgrid(np.arange(fast), further, some, indexing="ij"))
        one = np.arange(fast)
        slow = np.full(len(first), np.log(SLOW_TERM / len(first)))
        return cls(
            blocks=blocks,
            tau_s=tau,
            at_blocks=blocks.means(values).T,
            in_window=values @ inside,
            first=np.concatenate([one, first]),
            second=np.concatenate([one, first + second]),
            share=np.concatenate([np.zeros(fast), share]),
            span_s=span,
            log_prior=np.concatenate([np.full(fast, np.log((1.0 - SLOW_TERM) / fast)), slow]),
        )

    def weigh(
        self, covariance: np.ndarray, bounds: tuple[float, float], drift_per_s: float, least_sigma2: float
    ) -> Weighed:
        """The weight of each approach under noise of this covariance (times an unknown σ²), amplitude within bounds.

        Amplitude and asymptote are integrated out with flat priors, σ² as 1/σ²; a block's σ² is `least_sigma2` or more.
        """
        blocks, n = self.blocks, len(self.blocks.y)
        root = np.linalg.cholesky(covariance)
        columns = np.column_stack([np.ones(n), blocks.y - blocks.y[-1], self.at_blocks])
        white = solve_triangular(root, columns, lower=True, check_finite=False)
        gram = white.T @ white
        s11, s1y, syy = gram[0, 0], gram[0, 1], gram[1, 1]
        # Of every single exponential, what is left beside a constant: sums with itself, its slower ones and y.
        centred = gram[2:, 2:] - np.outer(gram[0, 2:], gram[0, 2:]) / s11
        with_y = gram[1, 2:] - gram[0, 2:] * s1y / s11
        i, j, keep, other = self.first, self.second, 1.0 - self.share, self.share
        own = np.diag(centred)
        sxx = keep * keep * own[i] + 2.0 * keep * other * centred[i, j] + other * other * own[j]
        sxx = np.maximum(sxx, 1e-14 * s11)
        sxy = keep * with_y[i] + other * with_y[j]
        amplitude = sxy / sxx
        free = np.maximum(syy - s1y**2 / s11 - amplitude * sxy, (n - 2) * least_sigma2)
        # with the amplitude kept within its bounds
        rest = free + (np.clip(amplitude, *bounds) - amplitude) ** 2 * sxx
        sigma2 = max(float(rest.min()) / (n - 2), least_sigma2)
        log_weight = self.log_prior - 0.5 * np.log(sxx) - 0.5 * (n - 2) * np.log(free)
        at = np.flatnonzero((rest - rest.min()) / sigma2 < 2.0 * NEVER)
        inside, centre, variance = truncated(amplitude[at], np.sqrt(sigma2 / sxx[at]), bounds)
        fraction = keep[at] * self.in_window[i[at]] + other[at] * self.in_window[j[at]]
        lag = np.minimum(keep[at] * self.tau_s[i[at]] + other[at] * self.tau_s[j[at]], self.span_s / 2.0)
        return Weighed(
            number=at,
            log_weight=log_weight[at] + inside - 0.5 * np.log(s11) - float(np.log(np.diag(root)).sum()),
            left=-centre * fraction + drift_per_s * lag,
            left_variance=variance * fraction**2,
            sigma2=sigma2,
            window=blocks.window_weights,
        )


def truncated(
    centre: np.ndarray, spread: np.ndarray, bounds: tuple[float, float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Normal distributions cut off at bounds: logarithm of what lies inside, mean and variance of that."""
    low, high = (bounds[0] - centre) / spread, (bounds[1] - centre) / spread
    flip = low > 0.0  # keep to the tail in which differences of probabilities hold digits
    low, high = np.where(flip, -high, low), np.where(flip, -low, high)
    log_high, log_low = log_ndtr(high), log_ndtr(low)
    inside = log_high + np.log1p(-np.exp(np.minimum(log_low - log_high, -1e-16)))
    pdf_low, pdf_high = (np.exp(-0.5 * x**2 - 0.5 * np.log(2.0 * np.pi) - inside) for x in (low, high))
    shift = pdf_low - pdf_high
    with np.errstate(invalid="ignore"):
        edge = np.where(np.isfinite(low), low * pdf_low, 0.0) - np.where(np.isfinite(high), high * pdf_high, 0.0)
    mean = np.where(flip, -shift, shift)
    variance = np.clip(1.0 + edge - shift**2, 0.0, None)
    far = ndtr(high) < 1e-250  # nothing inside: all of it at the nearer bound
    nearest = np.clip(centre, *bounds)
    return (
        inside,
        np.where(far, nearest, np.clip(centre + spread * mean, *bounds)),
        np.where(far, 0.0, spread**2 * variance),
    )
