"""A result among others: which of several is the worst."""

from __future__ import annotations

import math
from datetime import date

from tests.assessment.history.histories import Instrument

DAY = date(2026, 3, 16)


def result(error: float, U: float, tolerance: float):
    return Instrument().result(DAY, 50.0, error, {"own": U / 2.0}, tolerance=tolerance)


def test_the_worst_uses_most_of_its_own_tolerance_with_its_u():
    """1.0 ± 0.9 of 2 uses 95 %, 1.2 ± 0.2 of 2 uses 70 %, 1.5 ± 0.1 of 4 uses 40 %."""
    points = [result(-1.2, 0.2, 2.0), result(1.0, 0.9, 2.0), result(1.5, 0.1, 4.0)]
    assert max(points, key=lambda r: r.badness) is points[1]


def test_without_a_tolerance_the_largest_error_is_the_worst():
    points = [result(0.3, 0.5, math.nan), result(-0.8, 0.1, math.nan)]
    assert max(points, key=lambda r: r.badness) is points[1]
