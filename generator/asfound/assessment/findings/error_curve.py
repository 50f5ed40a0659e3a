"""The error of a sensor over its range: straight between the points that were read, held beyond the outermost.

One point is one set point, in the middle of its loop: in use the air comes from either side, and on each the error
lies by half of the width from it. Covariances come from the named sources of the results, so that what two points or
two visits share cancels where it should; what differs from visit to visit is common to the points of one visit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

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
    """in the middle of the loop, shape (n,)"""
    half: np.ndarray
    """by how much either side of the loop lies from it at most, shape (n,); in use either may hold at any time"""
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

    def spread(self, values: np.ndarray | float) -> np.ndarray:
        """Expanded uncertainty of the middle of the loop at reference values; same shape."""
        weights = weights_at(self.at, np.atleast_1d(values))
        variance = np.einsum("ij,jk,ik->i", weights, self.covariance, weights)
        return (self.k * np.sqrt(np.maximum(variance, 0.0))).reshape(np.shape(values))

    def half_loop(self, values: np.ndarray | float) -> np.ndarray:
        """By how much either side of the loop lies from its middle at reference values; same shape."""
        return np.interp(values, self.at, self.half)

    def U(self, values: np.ndarray | float) -> np.ndarray:
        """Expanded uncertainty of the error in use at reference values; same shape. A loop adds as a bound."""
        return self.spread(values) + self.half_loop(values)

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
    points = points_of(results)
    spread = points.weights @ _covariance(results, budgets) @ points.weights.T + between**2
    return ErrorCurve(at=points.at, errors=points.errors, half=points.half, covariance=spread, k=_k(results))


def curve_between(
    left: Sequence[Result], found: Sequence[Result], budgets: Budgets, between: float, share: float
) -> ErrorCurve:
    """The curve at a share (0 … 1) of the way from how one visit left the sensor to how the next found it.

    The points are those of `found`. What both visits lean on cancels or adds as it did in the world. A loop lasts: the
    wider of the two holds, and where one visit read the side alone that nobody knows the width of, all of the other's.
    """
    of_found, of_left = points_of(found), points_of(left)
    there = weights_at(of_left.at, of_found.at)
    both = (*left, *found)
    weights = np.hstack([(1.0 - share) * there @ of_left.weights, share * of_found.weights])
    of_visits = between**2 * ((1.0 - share) ** 2 + share**2)
    of_left_half = (there @ of_left.half) * np.where(of_found.width_unknown, 2.0, 1.0)
    of_found_half = of_found.half * np.where(there @ of_left.width_unknown > 0.0, 2.0, 1.0)
    return ErrorCurve(
        at=of_found.at,
        errors=(1.0 - share) * there @ of_left.errors + share * of_found.errors,
        half=np.maximum(of_left_half, of_found_half),
        covariance=weights @ _covariance(both, budgets) @ weights.T + of_visits,
        k=_k(both),
    )


def curve_of_line(points: PointsInUse, covariance: np.ndarray, between: float, nu: float) -> ErrorCurve:
    """The curve of what a drift line expects on one day; `covariance`: of the line's own points."""
    spread = points.weights @ covariance @ points.weights.T + between**2
    return ErrorCurve(
        at=points.at, errors=points.errors, half=points.half, covariance=spread, k=float(coverage_factor(nu))
    )


def between_curves(early: ErrorCurve, late: ErrorCurve, share: float) -> ErrorCurve:
    """A curve on the way between two of the same points: errors straight, variances too (days apart, not years)."""
    mixed = {
        name: (1.0 - share) * getattr(early, name) + share * getattr(late, name)
        for name in ("at", "errors", "half", "covariance", "k")
    }
    return replace(early, **mixed)


class PointsInUse(NamedTuple):
    """n points of the curve, made of m results (or points of a line), in order of their reference values."""

    at: np.ndarray
    """reference values, shape (n,)"""
    errors: np.ndarray
    """in the middle of the loop, shape (n,)"""
    half: np.ndarray
    """by how much either side of the loop lies from it at most, shape (n,)"""
    weights: np.ndarray
    """of the results in each point, shape (n, m)"""
    width_unknown: np.ndarray
    """whether the loop was neither read both ways nor declared, shape (n,)"""


def points_of(results: Sequence[Result]) -> PointsInUse:
    """The points of one visit's results of one phase."""
    values, errors = (np.array([getattr(r, name) for r in results]) for name in ("reference_value", "error"))
    return points_in_use(results, results, values, errors)


def points_in_use(
    read: Sequence[Result], newest: Sequence[Result], values: np.ndarray, errors: np.ndarray
) -> PointsInUse:
    """The points that these reference values and errors make; `read`: how each was read, `newest`: at last.

    What was read both ways has its loop measured: its middle and half of the difference. Else the declared width
    stands, from the side that was read; from the start the whole of it either way.
    """
    groups = points_together(read, values)
    weights = np.zeros((len(groups), len(read)))
    half, to_the_middle = np.zeros(len(groups)), np.zeros(len(groups))
    unknown = np.zeros(len(groups), bool)
    for row, group in enumerate(groups):
        by_way: dict[str, list[int]] = {}
        for number in group:
            by_way.setdefault(read[number].direction, []).append(number)
        measured = read[group[0]].channel.declaration.aimed_at and set(WAYS) <= by_way.keys()
        for numbers in [by_way[way] for way in WAYS] if measured else by_way.values():
            weights[row, numbers] = 1.0 / ((len(WAYS) if measured else len(by_way)) * len(numbers))
        if measured:
            rising, falling = (float(np.mean(errors[by_way[way]])) for way in WAYS)
            half[row] = abs(falling - rising) / 2.0
        else:
            half[row] = sum(weights[row, number] * newest[number].from_the_middle for number in group)
            to_the_middle[row] = sum(weights[row, number] * newest[number].to_the_middle for number in group)
            unknown[row] = not half[row] > 0.0
    order = np.argsort(weights @ values, kind="stable")
    found = PointsInUse(weights @ values, weights @ errors + to_the_middle, half, weights, unknown)
    return PointsInUse(*(part[order] for part in found))


def points_together(results: Sequence[Result], values: np.ndarray) -> list[list[int]]:
    """The positions of what belongs to each point; of a channel that is not aimed at, by its reference `values`."""
    one = results[0].channel.declaration
    if one.aimed_at:
        return together([r.point for r in results], [r.reach for r in results])
    return together(values.tolist(), one.same_point)


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
