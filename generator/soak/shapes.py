"""All approaches that are tenable before the data are looked at, and what the data make of each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import log_ndtr, ndtr

from generator.soak.blocks import Blocks

SLOW_TERM = 0.65
"""probability of a slow second term before the data (our choice: tests/benchmarks/soak_coverage.py)"""
SLOWER = (4.0, 8.0, 12.0, 16.0, 20.0)
"""by how much the slow term is slower, as probable each (our choice)"""
SHARES = (0.01, 0.02, 0.04, 0.08, 0.12, 0.18, 0.25)
"""the slow term's share of the approach, as probable each (our choice)"""
_SPACING = 1.05
_FASTEST, _SLOWEST = 1.0 / 150.0, 6.0
"""first time constant, as a multiple of the time that was seen"""


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """Every approach with its weight; arrays of shape (approaches,)."""

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
    log_prior: np.ndarray

    @classmethod
    def of(cls, blocks: Blocks) -> Shapes:
        """The grid for these blocks."""
        span = float(blocks.samples_s[-1] - blocks.samples_s[0]) + blocks.length_s
        fast = int(np.ceil(np.log(_SLOWEST / _FASTEST) / np.log(_SPACING))) + 1
        further = [round(np.log(times) / np.log(_SPACING)) for times in SLOWER]
        tau = span * _FASTEST * _SPACING ** np.arange(fast + further[-1])
        values = np.exp(-blocks.samples_s[None, :] / tau[:, None])
        inside = blocks.in_window / blocks.in_window.sum()
        first, second, share = (part.ravel() for part in np.meshgrid(np.arange(fast), further, SHARES, indexing="ij"))
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
        white = np.linalg.solve(root, columns)
        gram = white.T @ white
        keep, other = 1.0 - self.share, self.share
        i, j = self.first + 2, self.second + 2
        s11, s1y, syy = gram[0, 0], gram[0, 1], gram[1, 1]
        s1f = keep * gram[0, i] + other * gram[0, j]
        syf = keep * gram[1, i] + other * gram[1, j]
        sff = keep**2 * gram[i, i] + 2.0 * keep * other * gram[i, j] + other**2 * gram[j, j]
        sxx = np.maximum(sff - s1f**2 / s11, 1e-14 * sff + 1e-300)
        sxy = syf - s1f * s1y / s11
        total = syy - s1y**2 / s11
        amplitude = sxy / sxx
        free = np.maximum(total - amplitude * sxy, (n - 2) * least_sigma2)
        nearest = np.clip(amplitude, *bounds)
        rest = free + (nearest - amplitude) ** 2 * sxx  # with the amplitude kept within its bounds
        sigma2 = max(float(rest.min()) / (n - 2), least_sigma2)
        spread = np.sqrt(sigma2 / sxx)
        inside, centre, variance = truncated(amplitude, spread, bounds)
        log_weight = (
            self.log_prior
            + inside
            - 0.5 * np.log(sxx)
            - 0.5 * np.log(s11)
            - np.log(np.diag(root)).sum()
            - 0.5 * (n - 2) * np.log(free)
        )
        fraction = keep * self.in_window[self.first] + other * self.in_window[self.second]
        lag = keep * self.tau_s[self.first] + other * self.tau_s[self.second]
        lag = np.minimum(lag, self.tau_s[0] / _FASTEST / 2.0)
        return Weighed(
            log_weight=log_weight,
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
