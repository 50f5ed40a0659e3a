"""Least squares with a known covariance, and the one variance in it that has to be estimated.

Aitken's estimator is ordinary least squares after whitening by the Cholesky root of the covariance; nothing is inverted
but the triangle that is left. The variance that all results of one visit share is estimated by restricted maximum
likelihood: of whitened results only the contrasts that no parameter explains speak of it, and after a singular value
decomposition each contrast does so alone, with variance 1 + σ²·λ (Harville 1977, J. Am. Stat. Assoc. 72, 320–338; from
memory). So many instruments are pooled at the price of one sum.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import chdtrc, fdtrc

TRACE = 1e-12
"""Part of the largest variance that every result has for itself: results without any source of their own hang together
wholly, and a trace keeps each apart."""
LEAST = 1e-18
"""The trace where nothing varies at all: a standard deviation of a billionth of a unit."""
SAME = 1e-12
"""A parameter whose column leaves less than this part of itself beside the others cannot be told from them."""
ALIKE = 1e-9
"""A contrast whose λ is less than this part of the largest says nothing of the shared variance."""
STARTS = 60
"""Places where the maximum of a restricted likelihood is looked for before it is closed in."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Estimate:
    """p parameters from n results."""

    values: np.ndarray
    """shape (p,)"""
    covariance: np.ndarray
    """shape (p, p)"""
    shared: np.ndarray
    """d parameter / d (what each of q visits shares), shape (p, q): its square is what one σ² adds to a variance"""
    chi_squared: float
    freedom: int

    @property
    def p_value(self) -> float:
        """Probability of so large a χ² where model and covariance are right; 1 where nothing is left to test."""
        return float(chdtrc(self.freedom, self.chi_squared)) if self.freedom else 1.0


def aitken(design: np.ndarray, values: np.ndarray, covariance: np.ndarray, shared: np.ndarray) -> Estimate:
    """Generalised least squares for values = design · β (Aitken 1936; JCGM 107 and ISO/TS 28037 use the same).

    `shared` (n, q): what the results of a visit share. Raises LinAlgError where the design has no full rank.
    """
    n, p = design.shape
    whitened = solve_triangular(_root(covariance), np.column_stack([design, values, shared]), lower=True)
    x, y, z = whitened[:, :p], whitened[:, p], whitened[:, p + 1 :]
    q, r = np.linalg.qr(x)
    if n < p or np.any(np.abs(np.diag(r)) <= SAME * np.linalg.norm(r, axis=0)):
        raise np.linalg.LinAlgError("the parameters cannot be told apart")
    solved = solve_triangular(r, np.column_stack([q.T @ y, np.eye(p), q.T @ z]))
    residual = y - x @ solved[:, 0]
    inverse = solved[:, 1 : p + 1]
    return Estimate(
        values=solved[:, 0],
        covariance=inverse @ inverse.T,
        shared=solved[:, p + 1 :],
        chi_squared=float(residual @ residual),
        freedom=n - p,
    )


def generalised_least_squares(
    design: np.ndarray, values: np.ndarray, covariance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Estimates and their covariance for values = design · β with a known covariance."""
    found = aitken(design, values, covariance, np.zeros((len(values), 0)))
    return found.values, found.covariance


def chi_squared(residuals: np.ndarray, covariance: np.ndarray) -> float:
    """rᵀ V⁻¹ r: about the number of results less the number of parameters where the model and V are right."""
    scaled = solve_triangular(_root(covariance), residuals, lower=True)
    return float(scaled @ scaled)


def effective_freedom(variance: np.ndarray | float, sensitivity: np.ndarray | float, information: float) -> np.ndarray:
    """ν of a variance that holds an estimated one: 2·Var²/((dVar/dσ²)²·Var(σ̂²)) (Satterthwaite 1946), no less than 1.

    `sensitivity`: dVar/dσ²; `information` = 1/Var(σ̂²), infinite where σ² is declared. Shape of the variance.
    """
    variance, sensitivity = np.asarray(variance, float), np.asarray(sensitivity, float)
    if math.isinf(information):
        return np.full(variance.shape, math.inf)
    moved = sensitivity > 0.0
    nu = 2.0 * variance**2 * information / np.where(moved, sensitivity, 1.0) ** 2
    return np.where(moved, np.maximum(nu, 1.0), math.inf)


@dataclass(frozen=True, eq=False, kw_only=True)
class Contrasts:
    """What one or several independent instruments say of the shared variance: m contrasts, each of 1 + σ²·λ."""

    weights: np.ndarray
    """λ, shape (m,)"""
    squares: np.ndarray
    """the contrasts squared, shape (m,)"""


def contrasts(design: np.ndarray, values: np.ndarray, covariance: np.ndarray, shared: np.ndarray) -> Contrasts:
    """Contrasts of the whitened values that the design leaves free and that visits move.

    `covariance` (n, n) without the shared variance; `shared` (n, q): 1 where a result is of a visit.
    """
    p = design.shape[1]
    whitened = solve_triangular(_root(covariance), np.column_stack([design, values, shared]), lower=True)
    q, _ = np.linalg.qr(whitened[:, :p])
    free = whitened[:, p:] - q @ (q.T @ whitened[:, p:])
    u, s, _ = np.linalg.svd(free[:, 1:], full_matrices=False)
    scale = float(np.max(np.sum(whitened[:, p + 1 :] ** 2, axis=0), initial=0.0))
    kept = s**2 > ALIKE * scale
    return Contrasts(weights=s[kept] ** 2, squares=(u[:, kept].T @ free[:, 0]) ** 2)


def pooled(parts: Sequence[Contrasts]) -> Contrasts:
    """The contrasts of independent instruments together: their restricted likelihoods multiply."""
    return Contrasts(
        weights=np.concatenate([part.weights for part in parts] or [np.zeros(0)]),
        squares=np.concatenate([part.squares for part in parts] or [np.zeros(0)]),
    )


def log_likelihood(found: Contrasts, variance: float) -> float:
    """Restricted log-likelihood of a shared variance, up to a constant."""
    spread = 1.0 + variance * found.weights
    return -0.5 * float(np.sum(np.log(spread) + found.squares / spread))


def score(found: Contrasts, variance: float) -> float:
    """Its derivative."""
    spread = 1.0 + variance * found.weights
    return 0.5 * float(np.sum((found.squares / spread - 1.0) * found.weights / spread))


def information(found: Contrasts, variance: float) -> float:
    """Expected information: 1/Var(σ̂²) for many contrasts."""
    return 0.5 * float(np.sum((found.weights / (1.0 + variance * found.weights)) ** 2))


def scatter_p_value(found: Contrasts, others: Contrasts, variance: float) -> float:
    """Probability of contrasts that scatter so much more than others, by F; 1 where either has none.

    `variance`: the shared one by the others, whose number is what is known of it (exact where it dominates).
    """
    m, n = len(found.weights), len(others.weights)
    ratio = np.sum(found.squares / (1.0 + variance * found.weights)) / max(m, 1)
    return float(fdtrc(m, n, ratio)) if m and n else 1.0


def restricted_maximum(found: Contrasts) -> float:
    """σ² ≥ 0 of the largest restricted likelihood.

    Each contrast's own maximum is at (w² − 1)/λ: beyond the largest of them the likelihood only falls.
    """
    top = float(np.max((found.squares - 1.0) / found.weights, initial=0.0))
    if top <= 0.0:
        return 0.0
    places = [0.0, *(top * np.geomspace(1e-8, 1.0, STARTS))]
    best = int(np.argmax([log_likelihood(found, place) for place in places]))
    low, high = places[max(best - 1, 0)], places[min(best + 1, STARTS)]
    if score(found, low) <= 0.0:
        return low
    if score(found, high) >= 0.0:
        return high
    from scipy.optimize import brentq  # takes longer to load than most commands

    return float(brentq(lambda variance: score(found, variance), low, high, xtol=1e-14 * top, rtol=1e-12))


def _root(covariance: np.ndarray) -> np.ndarray:
    """Lower triangular root of the covariance."""
    trace = max(TRACE * float(np.max(np.diag(covariance))), LEAST)
    return np.linalg.cholesky(covariance + trace * np.eye(len(covariance)))
