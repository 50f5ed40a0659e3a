"""The error of a sensor over its range: straight between the points that were read, held beyond the outermost.

One point is one set point, ways through it (start, rising, falling) averaged: what the air did in between had no
direction of its own. Covariances come from the named sources of the results, so that what two points or two visits
share cancels where it should; what differs from visit to visit is common to the points of one visit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from asfound.assessment.results.table import Result
from asfound.measurement.points import together
from asfound.records.visits.rows import WAYS
from asfound.uncertainty.budgets import Budgets
from asfound.uncertainty.covariance import covariance
from asfound.uncertainty.sources import coverage_factor


@dataclass(frozen=True, kw_only=True)
class ErrorCurve:
    """n points in order of their reference values; numbers in the channel's unit."""

    at: np.ndarray
    """reference values, shape (n,), rising"""
    errors: np.ndarray
    """shape (n,)"""
    covariance: np.ndarray
    """of the errors, shape (n, n)"""
    k: float
    """coverage factor of its U"""

    @property
    def lowest(self) -> float:
        """Reference value of the lowest point."""
        return float(self.at[0])

    @property
    def highest(self) -> float:
        """Reference value of the highest point."""
        return float(self.at[-1])

    @property
    def invertible(self) -> bool:
        """Whether each indication belongs to one reference value: the indication rises with it."""
        return bool((np.diff(self.at + self.errors) > 0).all())

    def error(self, values: np.ndarray | float) -> np.ndarray:
        """Error at reference values; same shape."""
        return np.interp(values, self.at, self.errors)

    def U(self, values: np.ndarray | float) -> np.ndarray:
        """Expanded uncertainty of the error at reference values; same shape."""
        weights = weights_at(self.at, np.atleast_1d(values))
        variance = np.einsum("ij,jk,ik->i", weights, self.covariance, weights)
        return (self.k * np.sqrt(np.maximum(variance, 0.0))).reshape(np.shape(values))

    def reference_values(self, indications: np.ndarray | float) -> np.ndarray:
        """R of R + E(R) = indication, exactly; same shape. Raises ValueError where the curve is not invertible."""
        if not self.invertible:
            raise ValueError("two reference values give one indication")
        shown = self.at + self.errors
        inside = np.interp(indications, shown, self.at)
        outside = np.asarray(indications) - np.interp(indications, shown, self.errors)
        return np.where((indications < shown[0]) | (indications > shown[-1]), outside, inside)


def weights_at(at: np.ndarray, values: np.ndarray) -> np.ndarray:
    """What each of n points weighs in the value at m places: shape (m, n), straight between, held beyond the ends."""
    return np.stack([np.interp(values, at, unit) for unit in np.eye(len(at))], axis=1)


def curve_of(results: Sequence[Result], budgets: Budgets, between: float) -> ErrorCurve:
    """The curve of one visit's results of one phase; `between`: visit-to-visit standard deviation."""
    at, weights = _points_of(results)
    spread = weights @ _covariance(results, budgets) @ weights.T + between**2 + _loop(results, weights)
    return ErrorCurve(at=at, errors=weights @ _in_use(results), covariance=spread, k=_k(results))


def curve_between(
    left: Sequence[Result], found: Sequence[Result], budgets: Budgets, between: float, share: float
) -> ErrorCurve:
    """The curve at a share (0 … 1) of the way from how one visit left the sensor to how the next found it.

    The points are those of `found`. What both visits lean on cancels or adds as it did in the world.
    """
    at, of_found = _points_of(found)
    left_at, of_left = _points_of(left)
    both = (*left, *found)
    weights = np.hstack([(1.0 - share) * weights_at(left_at, at) @ of_left, share * of_found])
    of_visits = between**2 * ((1.0 - share) ** 2 + share**2)
    return ErrorCurve(
        at=at,
        errors=weights @ _in_use(both),
        covariance=weights @ _covariance(both, budgets) @ weights.T + of_visits + _loop(found, of_found),
        k=_k(both),
    )


def curve_of_line(
    points: Sequence[Sequence[int]],
    reference_values: np.ndarray,
    errors: np.ndarray,
    covariance: np.ndarray,
    between: float,
    nu: float,
) -> ErrorCurve:
    """The curve of what a drift line expects on one day, from its points; ways through one set point averaged.

    `points`: positions of the line's points that are one point each of the curve.
    """
    at, weights = _grouped(reference_values, points, range(len(errors)))
    spread = weights @ covariance @ weights.T + between**2
    return ErrorCurve(at=at, errors=weights @ errors, covariance=spread, k=float(coverage_factor(nu)))


def between_curves(early: ErrorCurve, late: ErrorCurve, share: float) -> ErrorCurve:
    """A curve on the way between two of the same points: errors straight, variances too (days apart, not years)."""
    mixed = {
        name: (1.0 - share) * getattr(early, name) + share * getattr(late, name)
        for name in ("at", "errors", "covariance", "k")
    }
    return replace(early, **mixed)


def _points_of(results: Sequence[Result]) -> tuple[np.ndarray, np.ndarray]:
    """(reference values of the points, rising; weights of the results in each)."""
    values = np.array([r.reference_value for r in results])
    return _grouped(values, points_together(results, values), [r.direction for r in results])


def points_together(results: Sequence[Result], values: np.ndarray) -> list[list[int]]:
    """The positions of what belongs to each point; of a channel that is not aimed at, by its reference `values`."""
    one = results[0].channel.declaration
    if one.aimed_at:
        return together([r.point for r in results], [r.reach for r in results])
    return together(values.tolist(), one.same_point)


def _grouped(
    values: np.ndarray, groups: Sequence[Sequence[int]], ways: Sequence[object]
) -> tuple[np.ndarray, np.ndarray]:
    """(reference values of points, rising; weights): a point is the mean of its ways, a way the mean of its values."""
    weights = np.zeros((len(groups), len(values)))
    for row, group in enumerate(groups):
        by_way: dict[object, list[int]] = {}
        for number in group:
            by_way.setdefault(ways[number], []).append(number)
        for numbers in by_way.values():
            weights[row, numbers] = 1.0 / (len(by_way) * len(numbers))
    at = weights @ values
    order = np.argsort(at, kind="stable")
    return at[order], weights[order]


def _in_use(results: Sequence[Result]) -> np.ndarray:
    """Errors in the middle of the loop, as far as its width is declared, shape (results,)."""
    return np.array([r.error + r.to_the_middle for r in results])


def _loop(results: Sequence[Result], weights: np.ndarray) -> np.ndarray:
    """Covariance of points (rows of weights) for the air that came to each from above or below: two-valued, ± half.

    Half of the declared width where one way was read; where both were, half of what they differ by. All points are on
    one side at one time.
    """
    half = np.abs(weights) @ np.array([r.in_use for r in results])
    errors = np.array([r.error for r in results])
    for point, mine in enumerate(weights != 0.0):
        rising, falling = (
            [e for e, r, here in zip(errors, results, mine, strict=True) if here and r.direction == way] for way in WAYS
        )
        if rising and falling:
            half[point] = max(half[point], abs(np.mean(falling) - np.mean(rising)) / 2.0)
    return np.outer(half, half)


def _covariance(results: Sequence[Result], budgets: Budgets) -> np.ndarray:
    """Covariance of any results. Another laboratory's points of one visit share its u, and nothing else."""
    measured = [number for number, r in enumerate(results) if r.line is not None]
    stated = np.array([r.u if r.line is None else 0.0 for r in results])
    one_visit = np.array([[one.visit == other.visit for other in results] for one in results])
    found = np.outer(stated, stated) * one_visit
    if measured:
        found[np.ix_(measured, measured)] = covariance(budgets, [r.line for r in results if r.line is not None])
    return found


def _k(results: Sequence[Result]) -> float:
    return float(coverage_factor(min(r.nu_eff for r in results)))
