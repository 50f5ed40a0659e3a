"""Control charts: what limits do when the data move, and how often they call for nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.statistics.control_charts import ewma, ewma_half_width, individuals, moving_range_sigma

SERIES = st.lists(st.floats(-5.0, 5.0), min_size=4, max_size=12)


@settings(max_examples=30)
@given(SERIES, st.floats(-20.0, 20.0), st.floats(0.1, 10.0))
def test_limits_move_and_widen_with_the_data(values, shift, scale):
    first, second = individuals(values), individuals(shift + scale * np.array(values))
    for name in ("centre", "lower", "upper"):
        assert getattr(second, name) == pytest.approx(shift + scale * getattr(first, name), abs=1e-9)
    assert first.upper - first.centre == pytest.approx(first.centre - first.lower, abs=1e-9)


@settings(max_examples=30)
@given(st.floats(-5.0, 5.0), st.integers(1, 20), st.floats(0.05, 1.0))
def test_the_average_of_a_constant_is_the_constant(level, n, weight):
    chart = ewma([level] * n, level, 1.0, weight)
    assert chart.values == pytest.approx(np.full(n, level), abs=1e-12)
    assert chart.signals == ()


@settings(max_examples=30)
@given(SERIES)
def test_with_the_whole_weight_on_the_newest_the_average_is_shewharts_chart(values):
    single, average = individuals(values, centre=0.5, sigma=1.2), ewma(values, 0.5, 1.2, weight=1.0)
    assert average.values == pytest.approx(single.values)
    assert average.upper == pytest.approx(np.full(len(values), single.upper))
    assert average.signals == single.signals


@settings(max_examples=30)
@given(st.floats(0.05, 0.95), st.integers(1, 30))
def test_the_limits_widen_with_each_value_towards_those_of_a_long_series(weight, n):
    assert ewma_half_width(1, 1.0, weight) < ewma_half_width(2, 1.0, weight)
    assert ewma_half_width(n, 1.0, weight) <= ewma_half_width(n + 1, 1.0, weight)
    assert ewma_half_width(n, 1.0, weight) <= ewma_half_width(np.inf, 1.0, weight)
    assert float(ewma_half_width(1, 1.0, weight)) == pytest.approx(3.0 * weight)


def test_values_all_alike_have_limits_without_width_and_no_signal():
    chart = individuals([0.3] * 6)
    assert chart.lower == chart.centre == chart.upper and chart.signals == ()


def test_one_value_has_no_moving_range():
    with pytest.raises(ValueError, match="two values"):
        moving_range_sigma([1.0])


def test_the_moving_range_knows_the_standard_deviation_of_what_does_not_move():
    """d2 makes the mean moving range of normal values the standard deviation, without a drift's help or harm."""
    noise = np.random.default_rng(3).normal(0.0, 0.7, 20_000)
    assert moving_range_sigma(noise) == pytest.approx(0.7, rel=0.02)
    assert moving_range_sigma(noise + np.linspace(0.0, 50.0, 20_000)) == pytest.approx(0.7, rel=0.02)


def test_of_a_thousand_values_in_control_about_three_are_beyond_three_standard_deviations():
    """2·Φ(−3) = 0.27 % of a normal distribution."""
    noise = np.random.default_rng(5).normal(size=100_000)
    found = individuals(noise, centre=0.0, sigma=1.0)
    assert len(found.signals) / len(noise) == pytest.approx(0.0027, abs=0.0006)


def test_averages_in_control_call_rarely_and_find_a_small_shift_within_about_ten_values():
    """Lucas and Saccucci 1990 (design from memory): weight 0.2, width 2.962 calls once in 500; a shift of σ in 10.5.

    With the exact limits the first averages call a little more often, and a shift is found a little sooner.
    """
    rng = np.random.default_rng(11)

    def runs(shift, trials, length):
        noise = rng.normal(shift, 1.0, (trials, length))
        first = []
        for values in noise:
            found = ewma(values, 0.0, 1.0, 0.2, 2.962).signals
            first.append(found[0] + 1 if found else length)
        return float(np.mean(first))

    assert 9.0 < runs(1.0, 600, 120) < 11.5
    assert runs(0.0, 60, 4000) > 350.0
