"""At which set point a plateau counts. What is expected follows from the definition alone."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asfound.measurement.points import LARGEST_REACH_RH, SetPoints, numbered, together

DRY_ROOM = SetPoints((0.3, 0.5, 1.5))


def counted(set_points: SetPoints, *humidity: float) -> list[float | None]:
    found = set_points.within_reach(np.array(humidity))
    return [None if math.isnan(point) else point for point in found.tolist()]


def test_half_of_the_least_spacing_is_the_reach_and_never_more_than_three_percent_relative_humidity():
    assert DRY_ROOM.reach == pytest.approx(0.1)
    assert SetPoints((60.0, 10.0, 35.0)).reach == LARGEST_REACH_RH == 3.0
    assert SetPoints(()).reach == SetPoints((50.0,)).reach == 3.0


def test_a_plateau_counts_at_the_nearest_set_point_within_reach_of_its_reference_humidity():
    assert counted(DRY_ROOM, 0.31, 0.39, 0.45, 0.59, 1.45) == [0.3, 0.3, 0.5, 0.5, 1.5]
    assert counted(DRY_ROOM, 0.61, 1.0, 1.7, 0.1, math.nan) == [None] * 5
    assert counted(SetPoints((10.0, 35.0, 60.0)), 7.1, 32.8, 38.0, 62.9) == [10.0, 35.0, None, 60.0]


@given(st.lists(st.floats(0.0, 100.0), min_size=1, max_size=6, unique=True), st.floats(0.0, 100.0))
def test_no_plateau_counts_at_two_set_points(points, humidity):
    reach = SetPoints(tuple(points)).reach
    near = [point for point in points if abs(humidity - point) < reach]
    assert len(near) <= 1 or max(near) - min(near) < 2.0 * reach  # only by the last digit of floating-point numbers
    assert counted(SetPoints(tuple(points)), humidity)[0] in (*near, None)


@pytest.mark.parametrize(
    ("humidity", "target", "point"),
    [
        (0.52, 0.5, 0.5),
        (0.47, 0.3, 0.5),  # aimed at one set point, met another
        (0.62, 0.5, 0.62),  # missed: a point of its own, which may not be called by the set point that it missed
        (0.62, 0.55, 0.62),  # near to its target, which means a set point that it missed all the same
        (1.01, 1.0, 1.0),  # meant as a point of its own
        (1.2, 1.0, 1.2),
        (math.nan, 0.51, 0.5),  # not done
        (math.nan, 1.0, 1.0),
        (0.52, math.nan, 0.5),
        (1.0, math.nan, 1.0),
    ],
)
def test_beyond_reach_of_every_set_point_a_plateau_is_a_point_of_its_own(humidity, target, point):
    assert DRY_ROOM.of_plateaus(np.array([humidity]), np.array([target])).tolist() == [point]


@given(st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_a_plateau_never_counts_by_its_target_at_a_set_point_that_its_humidity_missed(humidity, target):
    set_points = SetPoints((10.0, 35.0, 60.0))
    (point,) = set_points.of_plateaus(np.array([humidity]), np.array([target])).tolist()
    counts = any(abs(humidity - one) < 3.0 for one in set_points.humidity)
    assert any(abs(point - one) < 3.0 for one in set_points.humidity) == counts


def test_marks_less_than_their_reach_apart_are_one_point():
    assert numbered(np.array([50.2, 10.0, 49.9, 12.9]), 3.0).tolist() == [1, 0, 1, 0]
    assert numbered(np.array([0.3, 0.5, 0.3]), 0.1).tolist() == [0, 1, 0]
    assert numbered(np.array([1.0, math.nan, math.nan]), 3.0).tolist() == [0, 1, 2]
    assert together([50.2, 10.0, 49.9], [3.0, 3.0, 3.0]) == [[1], [0, 2]]
    assert together([], 3.0) == []
