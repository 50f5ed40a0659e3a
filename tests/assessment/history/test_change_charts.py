"""What an instrument changed from visit to visit: which visits are compared, with which U, and what is said."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asfound.assessment.history.change_charts import change_chart
from asfound.assessment.history.epochs import epochs_of, lasting_of
from asfound.assessment.history.instruments import history_of
from asfound.records.models import Channel
from asfound.uncertainty.covariance import expanded_of_combination, expanded_of_combinations
from asfound.uncertainty.sources import coverage_factor
from tests import builders as b
from tests.assessment.checks import TARGETS, points, yearly
from tests.assessment.history.histories import certain


def chart(errors, *parts):
    (found,) = b.assessed(yearly(errors, *parts)).standings["RH-1"].charts
    return found


def days(errors):
    return {f"{2015 + number}-03-16": error for number, error in enumerate(errors)}


OLD = b.two_pressure(
    quantities={
        name: b.flat(*ends, on="2014-01-12", valid_until="2029-01-12")
        for name, ends in {
            "saturation_pressure": (0, 1500, "kPa", 0.4),
            "saturation_temperature": (-20, 60, "degC", 0.1),
            "chamber_pressure": (0, 150, "kPa", 0.06),
            "chamber_temperature": (-20, 60, "degC", 0.1),
        }.items()
    }
)


def test_the_mean_change_has_the_uncertainty_of_its_sum_of_results():
    """With everything as declared and no shift of visits: as the budgets have it."""
    whole = b.assessed(yearly(days([0.0, 0.3]), OLD))
    history = whole.instruments.history(("rush", "RH-1-A"), Channel.HUMIDITY)
    (found,) = [change_chart(history.visits, history.lasting, Channel.HUMIDITY, certain())]
    before, now = ([r.line for r in whole.results if r.day.year == year] for year in (2015, 2016))
    weights = [-1 / 3] * 3 + [1 / 3] * 3
    assert found.U[0] == pytest.approx(expanded_of_combination(whole.measurement.whole(), before + now, weights)[2])


def test_many_sums_at_once_are_the_sums_one_by_one():
    whole = b.assessed(yearly(days([0.0, 0.3, 0.1]), OLD))
    budgets, lines = whole.measurement.whole(), [r.line for r in whole.results]
    rng = np.random.default_rng(4)
    sums, weights = np.sort(rng.integers(0, 4, 12)), rng.normal(size=12)
    chosen = rng.choice(lines, 12)
    u, k, U = expanded_of_combinations(budgets, sums, chosen, weights)
    for number in range(4):
        mine = sums == number
        one = expanded_of_combination(budgets, chosen[mine], weights[mine])
        assert (u[number], k[number], U[number]) == pytest.approx(one)


def test_four_changes_have_limits_ten_have_firm_ones():
    alternating = [0.0, 0.1] * 6
    assert chart(days(alternating[:4]), OLD).individuals is None
    few, many = chart(days(alternating[:5]), OLD), chart(days(alternating[:11]), OLD)
    assert few.individuals is not None and "provisional" in few.sentence
    assert "provisional" not in many.sentence and "all within their limits" in many.sentence


def test_a_jump_is_named_with_its_day_its_size_and_its_uncertainty():
    found = chart(days([0.0, 0.02, 0.0, 0.02, 0.0, 0.02, 0.0, 0.02, 0.0, 0.02, 0.0, 1.2]), OLD)
    assert found.individuals.signals == (10,)
    assert "; the change of +1.200 ± 0.0" in found.sentence
    assert (
        "%RH found on 2026-03-16 lies beyond the limits; the moving average left its limits on 2026-03-16"
        in found.sentence
    )
    assert "add up" not in found.sentence


def test_small_changes_that_add_up_are_the_moving_averages_to_find():
    rng = np.random.default_rng(2)
    found = chart(days(np.round(np.cumsum(rng.normal(0.09, 0.06, 12)), 2).tolist()), OLD)
    assert found.individuals.signals == () and found.ewma.signals
    assert f"left its limits {len(found.ewma.signals)} times from 20" in found.sentence
    assert ": small changes add up in one direction" in found.sentence


def test_an_average_that_leaves_its_limits_on_both_sides_goes_in_no_direction():
    there_and_back = [0.115, 0.085] * 3 + [-0.115, -0.085] * 3
    found = chart(days(np.round(np.cumsum([0.0, *there_and_back]), 3).tolist()), OLD)
    beyond = found.ewma.values[list(found.ewma.signals)]
    assert found.individuals.signals == () and beyond.max() > 0.0 > beyond.min()
    assert "left its limits" in found.sentence and "one direction" not in found.sentence


def test_an_adjusted_instrument_is_compared_with_how_it_was_left():
    adjusted = [*points(1.2), b.adjusted("span"), *points(0.0, phase="as_left")]
    found = chart({"2024-03-16": 0.0, "2025-03-16": adjusted, "2026-03-16": 0.1})
    assert found.changes == pytest.approx((1.2, 0.1))


def test_without_what_was_left_there_is_no_change_to_chart():
    found = chart({"2025-03-16": [*points(1.2), b.adjusted("element")], "2026-03-16": 0.1})
    assert found.changes == () and found.sentence == "0 changes from visit to visit: 4 are needed for limits"


def test_another_laboratorys_result_counts_with_its_stated_uncertainty():
    stated = [b.stated(at, 0.1, 0.4) for at in TARGETS]
    measured, theirs = chart({"2025-03-16": 0.0, "2026-03-16": 0.1}), chart({"2025-03-16": 0.0, "2026-03-16": stated})
    assert theirs.changes == pytest.approx(measured.changes, abs=1e-4)
    ours = 2.0 * math.sqrt(theirs.U[0] ** 2 / 4.0 - 0.2**2)  # what is left of U without the stated 0.4 %RH
    assert 0.3 < ours < 0.9 and theirs.U[0] > 5 * measured.U[0]
    only = chart({"2025-03-16": stated, "2026-03-16": stated})
    # of one instrument as declared: a visit's three points share three quarters, each factor is known with ν = 2.5
    own, shared = 2.0 * 0.25 * 0.2**2 / 3.0, 2.0 * 0.75 * 0.2**2
    nu = 2.5 * (own + shared) ** 2 / (own**2 + shared**2)
    assert only.U[0] == pytest.approx(float(coverage_factor(nu)) * math.sqrt(own + shared), rel=0.01)


def test_a_chart_holds_one_channel():
    family = b.family(
        channels=["humidity", "temperature"],
        temperature={"resolution": "0.01 degC", "repeatability": "0.02 degC"},
        temperature_tolerance={"absolute": "0.5 degC"},
    )
    visits = {day: points(0.0, output_temperature=t) for day, t in (("2025-03-16", 25.0), ("2026-03-16", 25.2))}
    whole = b.assessed(yearly(visits, family))
    humidity, temperature = whole.standings["RH-1"].charts
    assert (humidity.channel, temperature.channel) == (Channel.HUMIDITY, Channel.TEMPERATURE)
    assert humidity.changes == pytest.approx((0.0,), abs=1e-9) and temperature.changes == pytest.approx((0.2,))
    history = history_of(whole.standings["RH-1"].visits, Channel.TEMPERATURE)
    lasting = lasting_of(history, whole.measurement.whole())
    known = whole.instruments.scales_for("rush", Channel.TEMPERATURE, epochs_of(history, lasting)[-1])
    again = change_chart(history, lasting, Channel.TEMPERATURE, known)
    assert pytest.approx(temperature.U) == again.U
