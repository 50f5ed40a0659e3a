"""Readings as means over short blocks, and how the noise of these hangs together: correlated samples are not many."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

MOST_BLOCKS = 90
_MOST_SAMPLES = 1800
CORRELATION_BLOCKS = (1.0, 3.0, 8.0, 20.0)
"""Correlation times that are tried, in blocks."""
WHITE_SHARES = (0.0, 0.6)
"""Shares of the noise that are not correlated."""


@dataclass(frozen=True, kw_only=True)
class Blocks:
    """Means over blocks of equal duration; a block without a reading is none."""

    samples_s: np.ndarray
    """times of the samples (of many: of short means), shape (samples,)"""
    starts: np.ndarray
    """the first sample of each block"""
    t_s: np.ndarray
    """mean time of each block, shape (blocks,)"""
    y: np.ndarray
    counts: np.ndarray
    length_s: float
    in_window: np.ndarray
    """which samples lie in the window, shape (samples,)"""
    scatter: float
    """standard deviation of a reading from its neighbours'"""

    @cached_property
    def apart_s(self) -> np.ndarray:
        """Time from block to block, shape (blocks, blocks)."""
        return self.t_s[:, None] - self.t_s[None, :]

    @cached_property
    def window_weights(self) -> np.ndarray:
        """The window's mean as weights of the blocks."""
        inside = np.add.reduceat(self.in_window.astype(float), self.starts)
        return inside / inside.sum()

    def means(self, values: np.ndarray) -> np.ndarray:
        """Block means of values at the samples, shape (…, samples) → (…, blocks)."""
        return np.add.reduceat(values, self.starts, axis=-1) / self.counts

    def correlations(self) -> Iterator[np.ndarray]:
        """Correlations of the noise that are tenable: none, and first-order ones with a white part or without."""
        white = np.diag(self.counts.mean() / self.counts)
        yield white
        for blocks in CORRELATION_BLOCKS:
            together = np.exp(-np.abs(self.apart_s) / (blocks * self.length_s))
            for share in WHITE_SHARES:
                yield (1.0 - share) * together + share * white


def blocks_of(t: np.ndarray, y: np.ndarray, window_s: tuple[float, float]) -> Blocks:
    """The blocks of readings at rising times."""
    scatter = float(np.sqrt(np.mean(np.diff(y) ** 2) / 2.0)) if len(y) > 1 else 0.0
    inside = ((t >= window_s[0]) & (t <= window_s[1])).astype(float)
    if len(t) > _MOST_SAMPLES:
        first = _starts(t, _MOST_SAMPLES)
        count = np.diff([*first, len(t)])
        t, y, inside = (np.add.reduceat(values, first) / count for values in (t, y, inside))
    starts = _starts(t, MOST_BLOCKS)
    counts = np.diff([*starts, len(t)]).astype(float)
    return Blocks(
        samples_s=t,
        starts=starts,
        t_s=np.add.reduceat(t, starts) / counts,
        y=np.add.reduceat(y, starts) / counts,
        counts=counts,
        length_s=max(float(np.median(np.diff(t[starts]))) if len(starts) > 1 else 1.0, 1e-9),
        in_window=inside,
        scatter=scatter,
    )


def _starts(t: np.ndarray, most: int) -> np.ndarray:
    """The first reading of each of at most so many equal spans that holds one."""
    span = float(t[-1] - t[0])
    number = np.minimum((t - t[0]) * most / span, most - 1).astype(int) if span > 0.0 else np.zeros(len(t), int)
    return np.unique(number, return_index=True)[1]


def quantisation_variance(blocks: Blocks, resolution: float) -> np.ndarray:
    """Covariance of what a display's steps add: noise larger than a step averages it out, else it stays as it is.

    The error of the mean falls as exp(−2π²s²/q²) with noise s and step q (Widrow, Kollár and Liu 1996, IEEE Trans.
    Instrum. Meas. 45, 353: the first term of the characteristic function).
    """
    if resolution <= 0.0:
        return np.zeros_like(blocks.apart_s)
    averaged = np.exp(-4.0 * np.pi**2 * (blocks.scatter / resolution) ** 2)
    span = float(blocks.t_s[-1] - blocks.t_s[0])
    together = np.exp(-np.abs(blocks.apart_s) / max(span / 6.0, blocks.length_s))
    return resolution**2 / 12.0 * averaged * together
