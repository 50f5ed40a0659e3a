"""Propagation of distributions: as a check of the linear budgets, and where it decides."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest

from asfound.measurement.measure import measure
from asfound.measurement.monte_carlo import (
    Answer,
    block_ends,
    coverage_interval,
    monte_carlo,
    needs_monte_carlo,
    shortest_interval,
    stable,
)
from asfound.uncertainty.sources import COVERAGE
from tests import builders as b
from tests.measurement.lab import measured, spread
from tests.measurement.methods import METHODS, at_work


@pytest.mark.parametrize("name", METHODS)
def test_the_linear_budget_agrees_with_the_full_model(name):
    method = METHODS[name]
    lab = measured(at_work(name))
    answer = monte_carlo(lab.measurement, lab.number(method.target))
    assert spread(answer) == pytest.approx(lab.u(method.target), rel=0.015)
    assert lab.U(method.target) == pytest.approx(answer.U, rel=0.08)  # k of sums of rectangles is below 2
    assert (answer.low + answer.high) / 2.0 == pytest.approx(answer.estimate, abs=0.05 * answer.U)


@pytest.mark.parametrize("name", ["two-pressure, 50 %RH", "probe in air", "salt"])
def test_the_temperature_channel_agrees_too(name):
    family = b.family(
        channels=["humidity", "temperature"],
        temperature={"resolution": "0.01 degC", "repeatability": "0.02 degC"},
        temperature_tolerance={"absolute": "0.5 degC"},
    )
    lab = measured(at_work(name, output_temperature=24.0) | family)
    target = METHODS[name].target
    answer = monte_carlo(lab.measurement, lab.number(target, channel="temperature"))
    assert spread(answer) == pytest.approx(lab.u(target, channel="temperature"), rel=0.015)


def whole_percent(**columns):
    """A display of whole %RH against a generator that is far better."""
    family = b.family(humidity={"resolution": "1 %RH", "repeatability": "0.05 %RH"})
    plateau = b.plateau(20, [20, 20, 20], b.generated(20), **columns)
    return b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", plateau))


def test_a_display_of_whole_percent_has_k_near_1_7_not_2():
    lab = measured(whole_percent())
    number = lab.number(20.0)
    assert needs_monte_carlo(lab.measurement, [number]) == [number]
    answer = monte_carlo(lab.measurement, number)
    assert 1.65 < answer.U / answer.u < 1.75
    # k = 2 would cover far more than it says
    covered = 1.0 - answer.outside(lab.U(20.0), centred=True)
    assert covered > 0.99 > COVERAGE


def test_a_budget_of_many_small_sources_is_left_to_the_linear_answer():
    lab = measured(at_work("two-pressure, 50 %RH"))
    assert needs_monte_carlo(lab.measurement, [lab.number(50.0)]) == []


def test_near_saturation_the_reference_cannot_pass_100_percent():
    family = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.02 %RH"})
    generator = b.two_pressure(chamber_gradient="0.3 degC")
    plateau = b.plateau(99, [99.0, 99.0], b.generated(99.0))
    lab = measured(b.records(family, b.sensor(), generator, b.visit("2026-03-16-lab", plateau)))
    number = lab.number(99.0)
    assert needs_monte_carlo(lab.measurement, [number]) == [number]
    answer = monte_carlo(lab.measurement, number)
    # error = reading − reference: the reference ends at 100 %RH, one above the estimate, the other side stays wide
    assert answer.low == pytest.approx(99.0 - 100.0, abs=0.1)
    assert answer.high - answer.estimate > 1.5
    sides = (answer.high - answer.estimate, answer.estimate - answer.low)
    assert math.isclose(answer.U, max(sides))


def test_the_same_records_give_the_same_answer():
    first, second = (monte_carlo(lab.measurement, lab.number(20.0)) for lab in (measured(whole_percent()),) * 2)
    assert (first.U, first.seed) == (second.U, second.seed)
    assert np.array_equal(first.quantiles, second.quantiles)


def test_an_answer_does_not_depend_on_what_else_is_on_record():
    alone = measured(whole_percent())
    older = b.visit("2026-02-16-lab", b.plateau(20, [20, 20], b.mirrored(12.0, 25.0, "dew"), sensor="RH-2"))
    more = measured(whole_percent() | b.sensor("RH-2") | b.chilled_mirror() | older)
    assert monte_carlo(alone.measurement, alone.number(20.0)).U == monte_carlo(more.measurement, more.number(20.0)).U


def test_a_normal_answer_gives_the_closed_probabilities():
    normal = NormalDist(sigma=0.4)
    quantiles = np.array([normal.inv_cdf(p) for p in np.linspace(1e-9, 1.0 - 1e-9, 4001)])
    answer = Answer(estimate=0.7, u=0.4, U=0.8, low=-0.1, high=1.5, quantiles=quantiles, seed=0, trials=1)
    for tolerance in (0.3, 0.7, 1.0, 2.0):
        expected = normal.cdf(-tolerance - 0.7) + 1.0 - normal.cdf(tolerance - 0.7)
        assert answer.outside(tolerance) == pytest.approx(expected, abs=3e-4)
        centred = 2.0 * normal.cdf(-tolerance)
        assert answer.outside(tolerance, centred=True) == pytest.approx(centred, abs=3e-4)


def test_intervals_hold_what_they_say_and_the_shortest_is_the_shortest():
    draws = np.random.default_rng(1).exponential(1.0, 100_000)
    for interval in (coverage_interval, shortest_interval):
        low, high = interval(draws, 0.9)
        assert np.mean((draws >= low) & (draws <= high)) == pytest.approx(0.9, abs=1e-3)
    low, high = shortest_interval(draws, 0.9)
    assert low == pytest.approx(0.0, abs=1e-3) and high == pytest.approx(-math.log(0.1), rel=0.01)
    assert high - low < np.subtract(*coverage_interval(draws, 0.9)[::-1])


@pytest.mark.parametrize(
    ("U", "settled"),
    [
        # Twice the standard error of an end of 100 000 normal draws is 0.88 % of U, by order statistics.
        (1.1, True),  # ½·0.1 is 4.5 % of it
        (0.4, True),
        (0.9, False),  # ½·0.01 is 0.56 % of it
        (0.097, False),
    ],
)
def test_an_answer_is_stable_where_two_digits_of_U_are(U, settled):
    draws = U / 2.0 * np.random.default_rng(5).standard_normal((20, 100_000))
    ends = [block_ends(part) for part in draws]
    assert stable(ends[0]) is settled
    assert stable(np.concatenate(ends))


def test_nothing_drawn_is_stable():
    assert stable(block_ends(np.zeros(1000)))


def test_more_is_drawn_until_two_digits_of_U_stand():
    lab = measured(whole_percent())
    few, many, again = (
        monte_carlo(lab.measurement, lab.number(20.0), 1000, most) for most in (1000, 1_000_000, 1_000_000)
    )
    assert few.trials == 1000 < many.trials < 1_000_000
    assert (many.U, many.trials) == (again.U, again.trials)
    assert pytest.approx(monte_carlo(lab.measurement, lab.number(20.0)).U, abs=0.01) == many.U
    assert monte_carlo(lab.measurement, lab.number(20.0), 1000, 2500).trials <= 2500


def test_the_loops_own_error_is_answered_without_the_references_model():
    scaling = {"low": "0 V", "high": "10 V", "reads_low": "0 %RH", "reads_high": "100 %RH"}
    family = b.family(signal="voltage", scaling=scaling, humidity={"repeatability": "0.05 %RH"})
    plateau = b.plateau(50, [5.0, 5.0], b.generated(50), unit="V", loop_meter="METER-01", far_end=[50.0, 50.1])
    files = b.records(family, b.sensor(), b.two_pressure(), b.loop_meter(), b.visit("2026-03-16-lab", plateau))
    lab = measured(files)
    answer = monte_carlo(lab.measurement, lab.number(50.0, part="loop"))
    assert spread(answer) == pytest.approx(lab.u(50.0, part="loop"), rel=0.01)


def test_measuring_nothing_gives_an_empty_budget():
    found = measure(b.loaded(b.records(b.sensor())), ())
    assert found.lines == [] and len(found.whole().u) == 0


def test_air_that_claims_supersaturation_over_ice_is_not_drawn_back_to_saturation():
    """At 109 %RH over ice the distribution lies about its estimate: what is doubtful is said, not corrected."""
    rows = b.plateau(99, [108.0, 108.0], b.mirrored(-10.0, -9.9, "dew"))
    files = b.records(b.sensor(), b.family(rh_over="ice"), b.chilled_mirror(), b.visit("2026-03-16-lab", rows))
    lab = measured(files)
    assert lab.line(99.0).reference_value - lab.U(99.0) > 100.0
    answer = monte_carlo(lab.measurement, lab.number(99.0))
    assert (answer.low + answer.high) / 2.0 == pytest.approx(answer.estimate, abs=0.05 * answer.U)


def test_draws_of_long_tails_that_the_formulas_do_not_reach_are_taken_linearly():
    """k = 13.97 at 95.45 % is Student's t of one degree of freedom: some of 100 000 draws lie 100 K and more off."""
    points = [b.point(f"{at} degC", "0 degC", "0.1 degC", k=13.968) for at in (-20, 60)]
    chamber = {"chamber_temperature": b.quantity(b.calibration(*points), resolution="0.01 degC")}
    rows = b.plateau(50, [50.0, 50.0], b.generated(50))
    lab = measured(b.records(b.sensor(), b.two_pressure(quantities=chamber), b.visit("2026-03-16-lab", rows)))
    answer = monte_carlo(lab.measurement, lab.number(50.0))
    assert np.isfinite(answer.quantiles).all() and answer.quantiles[-1] > 20.0
    rest = measured(b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", rows))).U(50.0)
    assert pytest.approx(math.hypot(rest, 0.1 * 0.06 * 50.0), rel=0.1) == answer.U  # 6 %/K of 50 %RH
