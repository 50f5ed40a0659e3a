"""Least squares of a sum of shapes whose amplitudes enter linearly: variable projection (Golub and Pereyra 1973).

For each trial of the shapes' constants the amplitudes are solved for exactly, so only the constants are searched.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

Shapes = Callable[[np.ndarray], np.ndarray]
"""The constants → the shapes at the readings, shape (readings, amplitudes)."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A least-squares fit."""

    constants: np.ndarray
    amplitudes: np.ndarray
    residuals: np.ndarray
    """reading minus fit"""

    @property
    def sum_of_squares(self) -> float:
        """Residual sum of squares."""
        return float(self.residuals @ self.residuals)


def separable_fit(y: np.ndarray, shapes: Shapes, start: Sequence[float]) -> Fit:
    """The fit nearest to `start`; the constants are positive, and searched by their logarithms."""

    def solved(logs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        columns = shapes(np.exp(logs))
        amplitudes = np.linalg.lstsq(columns, y, rcond=None)[0]
        return amplitudes, y - columns @ amplitudes

    from scipy.optimize import least_squares  # takes longer to load than most commands, of which few fit a log

    scale = float(np.std(y)) or 1.0
    found = least_squares(
        lambda logs: solved(logs)[1] / scale,
        np.log(np.asarray(start, float)),
        jac="3-point",
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
        max_nfev=400,
    )
    amplitudes, residuals = solved(found.x)
    return Fit(constants=np.exp(found.x), amplitudes=amplitudes, residuals=residuals)


def first_order(t: np.ndarray, y: np.ndarray, start: float) -> Fit:
    """A + b·exp(−t/τ): constants (τ,), amplitudes (a, b)."""
    return separable_fit(y, lambda tau: np.column_stack([np.ones_like(t), np.exp(-t / tau[0])]), (start,))
