"""The stated U covers as often as it says, and no more often: the short form of tests/benchmarks/result_coverage.py."""

from __future__ import annotations

import pytest

from tests.benchmarks.result_coverage import DECLARED, OWN, WHOLE_PERCENT, covered, deviations


@pytest.mark.parametrize(("humidity", "seed"), [(DECLARED, 1), (OWN, 2)], ids=["s declared", "s of three readings"])
def test_the_stated_uncertainty_covers_as_often_as_it_says(humidity, seed):
    assert 0.93 <= covered(*deviations(700, humidity=humidity, seed=100 * seed)) <= 0.975


def test_a_display_of_whole_percent_is_covered_too_where_monte_carlo_decides():
    found = deviations(250, humidity=WHOLE_PERCENT, display=1.0, target=15.3, rows=1, seed=3)
    assert 0.93 <= covered(*found) <= 0.975
