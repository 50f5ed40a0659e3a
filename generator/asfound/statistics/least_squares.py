"""Least squares with a known covariance.

Aitken's estimator is ordinary least squares after whitening by the Cholesky root of the covariance; nothing is inverted
but the triangle that is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

TRACE = 1e-12
"""Part of the largest variance that every result has for itself: results without any source of their own hang together
wholly, and a trace keeps each apart."""
LEAST = 1e-18
"""The trace where nothing varies at all: a standard deviation of a billionth of a unit."""
SAME = 1e-12
"""A parameter whose column leaves less than this part of itself beside the others cannot be told from them."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Estimate:
    """p parameters from n results."""

    values: np.ndarray
    """shape (p,)"""
    covariance: np.ndarray
    """shape (p, p)"""
    chi_squared: float
    freedom: int


def aitken(design: np.ndarray, values: np.ndarray, covariance: np.ndarray) -> Estimate:
    """Generalised least squares for values = design · β (Aitken 1936; JCGM 107 and ISO/TS 28037 use the same).

    Raises LinAlgError where the design has no full rank.
    """
    n, p = design.shape
    whitened = solve_triangular(_root(covariance), np.column_stack([design, values]), lower=True)
    x, y = whitened[:, :p], whitened[:, p]
    q, r = np.linalg.qr(x)
    if n < p or np.any(np.abs(np.diag(r)) <= SAME * np.linalg.norm(r, axis=0)):
        raise np.linalg.LinAlgError("the parameters cannot be told apart")
    solved = solve_triangular(r, np.column_stack([q.T @ y, np.eye(p)]))
    residual = y - x @ solved[:, 0]
    inverse = solved[:, 1 : p + 1]
    return Estimate(
        values=solved[:, 0],
        covariance=inverse @ inverse.T,
        chi_squared=float(residual @ residual),
        freedom=n - p,
    )


def generalised_least_squares(
    design: np.ndarray, values: np.ndarray, covariance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Estimates and their covariance for values = design · β with a known covariance."""
    found = aitken(design, values, covariance)
    return found.values, found.covariance


def chi_squared(residuals: np.ndarray, covariance: np.ndarray) -> float:
    """rᵀ V⁻¹ r: about the number of results less the number of parameters where the model and V are right."""
    scaled = solve_triangular(_root(covariance), residuals, lower=True)
    return float(scaled @ scaled)


def _root(covariance: np.ndarray) -> np.ndarray:
    """Lower triangular root of the covariance."""
    trace = max(TRACE * float(np.max(np.diag(covariance))), LEAST)
    return np.linalg.cholesky(covariance + trace * np.eye(len(covariance)))
