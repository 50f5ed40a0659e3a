"""Least squares with several kinds of effect, of each of which data tell how far it varies against what was declared.

The covariance of a line's n values is F + Σ θ_k·V_k: what varies as fixed, and K kinds of effect as declared, each
times a factor. The factors are common to many lines and are found by restricted maximum likelihood (Patterson and
Thompson 1971; Fisher scoring as in Harville 1977, J. Am. Stat. Assoc. 72, 320–338; from memory) with a weak prior about
1: t on ln θ, scale TAU, NU0 degrees of freedom. So few lines leave what was declared, and many overrule it. Every
variance that is made of such kinds knows by Satterthwaite (1946; from memory) how surely it is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import lapack
from scipy.special import chdtrc, fdtrc, stdtr

from asfound.statistics.least_squares import SAME

TAU, NU0 = 1.0, 4.0
"""A factor of e or 1/e is no surprise, one of 10 seldom (our choice, tried by simulation)."""
LOWEST, HIGHEST = -14.0, 7.0
"""Bounds of ln θ: beyond them nothing changes any more."""
DONE = 0.005
"""The search ends where no ln θ moves by more."""
MOST_STEPS = 60
MANY = 1e12
"""Degrees of freedom that stand for infinitely many where Student's t is asked."""
SURE = 1e-9
"""A relative variance of a variance below which it is known."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Factors:
    """K factors and how surely they are known."""

    log: np.ndarray
    """ln θ, shape (K,)"""
    covariance: np.ndarray
    """of ln θ, shape (K, K)"""

    @property
    def theta(self) -> np.ndarray:
        """The factors, shape (K,)."""
        return np.exp(self.log)

    @property
    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """About 95 % of what each may be: exp(ln θ ± 2 u), shapes (K,)."""
        u = 2.0 * np.sqrt(np.diag(self.covariance))
        return np.exp(self.log - u), np.exp(self.log + u)

    def freedom(self, shares: np.ndarray) -> np.ndarray:
        """ν of variances of which the kinds have these shares, 0…1, shape (K, …) → (…), no less than 1."""
        spread = np.sum(shares * np.tensordot(self.covariance, shares, axes=1), axis=0)
        return np.where(spread > SURE, np.maximum(2.0 / np.maximum(spread, SURE), 1.0), np.inf)

    def at_least_declared(self, kind: int) -> Factors:
        """The same, one factor no less than 1."""
        log = self.log.copy()
        log[kind] = max(log[kind], 0.0)
        return replace(self, log=log)


def as_declared(kinds: int) -> Factors:
    """What is known of K factors before any data."""
    return Factors(log=np.zeros(kinds), covariance=np.eye(kinds) * NU0 * TAU**2 / (NU0 + 1.0))


def exactly(kinds: int) -> Factors:
    """K factors of 1 without any doubt."""
    return Factors(log=np.zeros(kinds), covariance=np.zeros((kinds, kinds)))


@dataclass(frozen=True, eq=False, kw_only=True)
class Contrasts:
    """What is left of a line's n values when p parameters are taken out: m = n − p contrasts, and how they vary."""

    values: np.ndarray
    """shape (m,)"""
    parts: np.ndarray
    """covariance of each kind as declared, shape (K, m, m)"""
    fixed: np.ndarray
    """shape (m, m)"""
    weights: np.ndarray
    """how much of an independent line it is for each kind, 0…1, shape (K,)"""
    steps: np.ndarray
    """what a step of 1 at each of J places does to the contrasts, shape (m, J)"""


def contrasts(
    design: np.ndarray,
    values: np.ndarray,
    parts: np.ndarray,
    fixed: np.ndarray,
    weights: np.ndarray,
    steps: np.ndarray | None = None,
) -> Contrasts:
    """Contrasts of values (n,) that a design (n, p) leaves free; `parts` (K, n, n), `fixed` (n, n), `steps` (n, J)."""
    q, _ = np.linalg.qr(design, mode="complete")
    free = q[:, design.shape[1] :]
    places = np.zeros((len(values), 0)) if steps is None else steps
    return Contrasts(
        values=free.T @ values,
        parts=free.T @ parts @ free,
        fixed=free.T @ fixed @ free,
        weights=weights,
        steps=free.T @ places,
    )


@dataclass(frozen=True, eq=False)
class _Batch:
    """Contrasts of I lines, padded to the longest: what is padded is 0 with variance 1 and says nothing."""

    values: np.ndarray
    parts: np.ndarray
    fixed: np.ndarray
    weights: np.ndarray
    steps: np.ndarray

    @classmethod
    def of(cls, lines: Sequence[Contrasts]) -> _Batch:
        m, kinds = max(len(line.values) for line in lines), len(lines[0].weights)
        values, fixed = np.zeros((len(lines), m)), np.tile(np.eye(m), (len(lines), 1, 1))
        parts = np.zeros((len(lines), kinds, m, m))
        steps = np.zeros((len(lines), m, max(line.steps.shape[1] for line in lines)))
        for i, line in enumerate(lines):
            own = len(line.values)
            values[i, :own], fixed[i, :own, :own], parts[i, :, :own, :own] = line.values, line.fixed, line.parts
            steps[i, :own, : line.steps.shape[1]] = line.steps
        return cls(values, parts, fixed, np.array([line.weights for line in lines]), steps)

    def at(self, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(S⁻¹, S⁻¹w, S⁻¹W_k) with the factors."""
        inverse = np.linalg.inv(self.fixed + np.tensordot(self.parts, theta, axes=(1, 0)))
        return inverse, (inverse @ self.values[:, :, None])[:, :, 0], inverse[:, None] @ self.parts


def scale_factors(lines: Sequence[Contrasts], kinds: int, start: Factors | None = None) -> Factors:
    """The factors that all lines together say; as declared where there is no line.

    `start`: where the search begins, None: as declared. Kinds may trade with each other where neither is there, so that
    a search begins elsewhere only near an end that was reached from there.
    """
    if not lines:
        return as_declared(kinds)
    batch = _Batch.of(lines)
    a = batch.weights
    both = np.sqrt(a[:, :, None] * a[:, None, :])
    phi, information = np.zeros(kinds) if start is None else start.log.copy(), np.eye(kinds)
    before, damping = np.zeros(kinds), 1.0
    for _ in range(MOST_STEPS):
        theta = np.exp(phi)
        _, solved, b = batch.at(theta)
        squares = np.einsum("ikab,ia,ib->ik", batch.parts, solved, solved, optimize=True)
        traces = np.einsum("ikaa->ik", b)
        flat = b.reshape(*b.shape[:2], -1)
        turned = b.swapaxes(2, 3).reshape(*b.shape[:2], -1)
        prior = (NU0 + 1.0) / (NU0 * TAU**2 + phi**2)
        score = theta * np.sum(a * (squares - traces), axis=0) / 2.0 - prior * phi
        products = np.sum(both * (flat @ turned.swapaxes(1, 2)), axis=0)
        information = np.outer(theta, theta) * products / 2.0 + np.diag(prior)
        move = np.linalg.solve(information, score)
        size = float(np.max(np.abs(move)))
        if size < DONE:
            break
        # Kinds that trade with each other make whole steps swing about the end for ever.
        damping = damping / 2.0 if move @ before < 0.0 else min(1.0, 1.5 * damping)
        phi, before = np.clip(phi + move * min(damping, 1.0 / size), LOWEST, HIGHEST), move
    return Factors(log=phi, covariance=np.linalg.inv(information))


@dataclass(frozen=True, eq=False, kw_only=True)
class Goodness:
    """How well I lines fit with some factors, shapes (I,)."""

    chi_squared: np.ndarray
    freedom: np.ndarray
    p_value: np.ndarray
    """probability of so large a χ²"""
    step_p_value: np.ndarray
    """probability of so large a step at any of the places"""


def goodness_of(lines: Sequence[Contrasts], factors: Factors) -> Goodness:
    """How well each line fits with the factors."""
    batch = _Batch.of(lines)
    inverse, solved, b = batch.at(factors.theta)
    chi_squared = np.sum(batch.values * solved, axis=1)
    freedom = np.array([len(line.values) for line in lines])
    shares = factors.theta * np.einsum("ikaa->ik", b) / np.maximum(freedom, 1)[:, None]
    moved = inverse @ batch.steps
    kinds = factors.theta[:, None, None] * np.einsum("imj,ikmn,inj->kij", moved, batch.parts, moved, optimize=True)
    scores = np.einsum("imj,im->ij", batch.steps, solved)
    steps = step_p_values(scores, np.einsum("imj,imj->ij", batch.steps, moved), kinds, factors)
    return Goodness(
        chi_squared=chi_squared,
        freedom=freedom,
        p_value=scatter_p_value(chi_squared, freedom, factors.freedom(shares.T)),
        step_p_value=np.min(steps, axis=1, initial=1.0),
    )


def step_p_values(scores: np.ndarray, sizes: np.ndarray, kinds: np.ndarray, factors: Factors) -> np.ndarray:
    """Probability of so large a step at each of J places, shape (…, J), for all places together (Bonferroni).

    Scores sᵀPy with variances `sizes` sᵀPs, of which the kinds have `kinds` (K, …, J): Student's t. One contrast finds
    what a χ² of all residuals dilutes. A place where a step cannot be told from the parameters has 1.
    """
    told = sizes > SAME * np.max(sizes, initial=0.0)
    safe = np.where(told, sizes, 1.0)
    nu = np.minimum(factors.freedom(np.where(told, kinds, 0.0) / safe), MANY)
    single = 2.0 * stdtr(nu, -np.abs(scores) / np.sqrt(safe))
    places = np.sum(told, axis=-1, keepdims=True)
    return np.where(told, np.minimum(single * places, 1.0), 1.0)


def scatter_p_value(chi_squared: np.ndarray | float, freedom: np.ndarray | int, nu: np.ndarray | float) -> np.ndarray:
    """Probability of so large a χ² on f degrees of freedom, where its scale is known with ν of its own: by F."""
    f = np.maximum(np.asarray(freedom), 1)
    surely = np.isinf(nu)
    known = np.where(surely, 1.0, nu)
    p = np.where(surely, chdtrc(f, chi_squared), fdtrc(f, known, np.asarray(chi_squared) / f))
    return np.where(np.asarray(freedom) > 0, p, 1.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class Estimate:
    """p parameters of one line from its n values."""

    values: np.ndarray
    """shape (p,)"""
    covariance: np.ndarray
    """shape (p, p)"""
    by_kind: np.ndarray
    """what each kind has in it, with its factor, shape (K, p, p)"""
    factors: Factors
    gain: np.ndarray
    """the parameters are gain · values, shape (p, n)"""
    chi_squared: float
    freedom: int
    p_value: float
    """probability of so large a χ² where model and covariance are right; 1 where nothing is left to test"""
    step_p_values: np.ndarray
    """probability of so large a step at each place asked for, for all places together, shape (J,)"""

    def spread(
        self, rows: np.ndarray, further: np.ndarray | None = None, beside: np.ndarray | float = 0.0
    ) -> tuple[np.ndarray, np.ndarray]:
        """(u, ν) of combinations of the parameters, rows (r, p), shapes (r,).

        `further`: variances as declared of a new value by kind, shape (K, r); `beside`: variance that no factor scales.
        """
        kinds = np.sum((rows @ self.by_kind) * rows, axis=2)
        if further is not None:
            kinds = kinds + self.factors.theta[:, None] * further
        fixed = np.sum((rows @ (self.covariance - self.by_kind.sum(axis=0))) * rows, axis=1)
        return spread_of(kinds, np.maximum(fixed, 0.0) + beside, self.factors)


def spread_of(kinds: np.ndarray, fixed: np.ndarray | float, factors: Factors) -> tuple[np.ndarray, np.ndarray]:
    """(u, ν) of variances that are a sum of kinds, with their factors (K, …), and of what is known; shapes (…)."""
    variance = kinds.sum(axis=0) + fixed
    safe = np.where(variance > 0.0, variance, 1.0)
    return np.sqrt(variance), factors.freedom(kinds / safe)


def estimate(
    design: np.ndarray,
    values: np.ndarray,
    parts: np.ndarray,
    fixed: np.ndarray,
    factors: Factors,
    steps: np.ndarray | None = None,
) -> Estimate:
    """Generalised least squares for values = design · β with covariance F + Σ θ_k·V_k (Aitken 1936).

    `parts` (K, n, n), `fixed` (n, n); `steps` (n, J): 1 behind each place where the values may have stepped. Raises
    LinAlgError where the design has no full rank.
    """
    n, p = design.shape
    theta = factors.theta
    root = np.linalg.cholesky(fixed + np.tensordot(theta, parts, axes=(0, 0)))
    # Whitened by the root: nothing is inverted but triangles.
    inverse, _ = lapack.dtrtri(root, lower=1)
    x, y = inverse @ design, inverse @ values
    q, r = np.linalg.qr(x)
    if n < p or np.any(np.abs(np.diag(r)) <= SAME * np.linalg.norm(r, axis=0)):
        raise np.linalg.LinAlgError("the parameters cannot be told apart")
    r_inverse, _ = lapack.dtrtri(r)
    gain = r_inverse @ q.T @ inverse
    residual = y - q @ (q.T @ y)
    freedom = n - p
    by_kind = theta[:, None, None] * (gain @ parts @ gain.T)
    # tr(P·V_k) = tr(V⁻¹·V_k) − tr((Qᵀ·L⁻¹)·V_k·(…)ᵀ)
    seen = q.T @ inverse
    precision = inverse.T @ inverse - seen.T @ seen
    shares = theta * np.tensordot(parts, precision, axes=((1, 2), (0, 1))) / max(freedom, 1)
    chi_squared = float(residual @ residual)
    stepped = np.ones(0)
    if steps is not None and freedom:
        white = inverse @ steps
        white -= q @ (q.T @ white)
        moved = inverse.T @ white
        kinds = theta[:, None] * np.sum((parts @ moved) * moved, axis=1)
        stepped = step_p_values(white.T @ residual, np.sum(white**2, axis=0), kinds, factors)
    return Estimate(
        values=r_inverse @ (q.T @ y),
        covariance=r_inverse @ r_inverse.T,
        by_kind=by_kind,
        factors=factors,
        gain=gain,
        chi_squared=chi_squared,
        freedom=freedom,
        p_value=float(scatter_p_value(chi_squared, freedom, factors.freedom(shares))),
        step_p_values=stepped,
    )
