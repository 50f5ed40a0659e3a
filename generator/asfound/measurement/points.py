"""At which set point a plateau counts, and what was read at one point: one answer for all who ask.

A plateau counts at the nearest set point of its reference value, if it lies within reach: nearer than half of what the
closest set points are apart, and never further than 3 %RH. Beyond that it is a point of its own.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asfound.records.models import Channel

LARGEST_REACH_RH = Channel.HUMIDITY.declaration.same_point


@dataclass(frozen=True)
class SetPoints:
    """The set points in force on a day, %RH; there may be none."""

    humidity: tuple[float, ...]

    @property
    def reach(self) -> float:
        """What lies nearer to a set point than this counts there, %RH."""
        gaps = [after - before for before, after in itertools.pairwise(sorted(set(self.humidity)))]
        return min([LARGEST_REACH_RH, *(gap / 2.0 for gap in gaps)])

    def within_reach(self, humidity: np.ndarray) -> np.ndarray:
        """The set point at which each humidity counts, nan where it counts at none; same shape, %RH."""
        humidity = np.asarray(humidity, float)
        if not self.humidity:
            return np.full(humidity.shape, math.nan)
        points = np.array(sorted(set(self.humidity)))
        away = np.abs(humidity[..., None] - points)
        nearest = np.take(points, np.argmin(np.where(np.isnan(away), np.inf, away), axis=-1))
        return np.where(np.abs(humidity - nearest) < self.reach, nearest, math.nan)

    def of_plateaus(self, humidity: np.ndarray, target: np.ndarray) -> np.ndarray:
        """The points of plateaus by reference humidity and target (nan where not known), %RH; shape as theirs.

        A plateau without a humidity counts by its target. One of its own is called by the target that it met, else by
        its humidity.
        """
        known = np.where(np.isnan(humidity), target, humidity)
        counted, aimed = self.within_reach(known), self.within_reach(target)
        met = np.isnan(aimed) & (np.abs(known - target) < self.reach)
        return np.where(np.isnan(counted), np.where(met, target, known), counted)


def numbered(marks: np.ndarray, reach: np.ndarray | float, within: np.ndarray | int = 0) -> np.ndarray:
    """Numbers of the points of which these marks are, from 0 in rising order; shape (n,).

    Neighbours that are less than their reach apart are one point; a mark that is not known is a point of its own.
    `within`: numbers of groups whose marks are never one, which then go before the marks in the order.
    """
    group = np.broadcast_to(within, np.shape(marks))
    order = np.lexsort((marks, group))
    sorted_marks = np.asarray(marks, float)[order]
    reaches = np.broadcast_to(np.asarray(reach, float), sorted_marks.shape)[order]
    apart = ~(np.diff(sorted_marks) < np.minimum(reaches[1:], reaches[:-1])) | (np.diff(group[order]) != 0)
    found = np.empty(len(order), np.int64)
    found[order] = np.concatenate([[0], np.cumsum(apart)]) if len(order) else []
    return found


def together(marks: Sequence[float], reach: Sequence[float] | float) -> list[list[int]]:
    """The positions of what belongs to each point, points in rising order."""
    numbers = numbered(np.array(marks, float), np.array(reach, float))
    groups: list[list[int]] = [[] for _ in range(int(numbers.max(initial=-1)) + 1)]
    for position, number in enumerate(numbers.tolist()):
        groups[number].append(position)
    return groups
