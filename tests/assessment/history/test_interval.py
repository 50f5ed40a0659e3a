"""Intervals are proposed within bounds, by monotonic arithmetic; reliabilities by the binomial distribution."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy.optimize import brentq
from scipy.stats import binomtest

from asfound.assessment.due import add_months, due_day
from asfound.assessment.history.interval import drift_limited_years, staircase, whole_months
from asfound.assessment.history.reliability import exponential_months, lower_bound
from asfound.records.models import Intervals, Policy
from tests import builders as b
from tests.assessment.checks import points, yearly
from tests.assessment.history.history_checks import intervals, proposed
from tests.program import as_it_is

FACTORS = {"extend_below": 0.8, "extend_by": 1.25, "reduce_by": 0.5}
DAYS = st.dates(date(2020, 1, 1), date(2040, 12, 31))


@given(st.floats(0.0, 5.0), st.floats(0.0, 5.0), st.integers(1, 60))
def test_a_larger_error_never_leads_to_a_longer_interval(one, other, months):
    lower, higher = sorted((one, other))
    assert staircase(months, lower, **FACTORS) >= staircase(months, higher, **FACTORS)


@pytest.mark.parametrize(("share", "factor"), [(0.8, 1.25), (0.1 + 0.7, 1.25), (0.81, 1.0), (1.0, 1.0), (1.01, 0.5)])
def test_an_edge_of_the_staircase_is_inside(share, factor):
    assert staircase(12, share, **FACTORS) == 12 * factor


@settings(max_examples=60)
@given(
    st.floats(-3.0, 3.0),
    st.floats(-2.0, 2.0),
    st.floats(0.0, 0.5),
    st.floats(0.01, 0.5),
    st.floats(0.1, 4.0),
    st.floats(2.0, 4.5),
)
def test_the_drift_limited_time_is_where_the_band_meets_the_limit(offset, rate, u_rate, u, tolerance, k):
    def beyond(t):
        return abs(offset) + abs(rate) * t + k * math.hypot(u, u_rate * t) - tolerance

    years = drift_limited_years(offset, rate, u_rate, u, tolerance, k)
    if beyond(0.0) >= 0.0:
        assert years == 0.0
    elif beyond(1e6) < 0.0:
        assert years > 1e6
    else:
        assert years == pytest.approx(brentq(beyond, 0.0, 1e6, xtol=1e-9), rel=1e-6)


def test_what_stands_still_and_is_surely_known_never_reaches_its_limit():
    assert drift_limited_years(0.2, 0.0, 0.0, 0.1, 1.0) == math.inf


@given(DAYS, DAYS)
def test_whole_months_are_the_most_that_do_not_pass_the_day(since, until):
    months = whole_months(since, until, Policy(**{"from": "2000-01-01"}, rule="guard_band"))
    if until < add_months(since, 1):
        assert months == 0
    else:
        assert add_months(since, months) <= until < add_months(since, months + 1)


@given(DAYS, DAYS)
def test_an_interval_that_ends_with_a_month_does_not_pass_the_day_either(since, until):
    policy = Policy(**{"from": "2000-01-01"}, rule="guard_band", due_on="month_end")
    months = whole_months(since, until, policy)
    assert months == 0 or due_day(since, months, policy) <= until
    assert due_day(since, months + 1, policy) > until or until < since


@settings(max_examples=40)
@given(st.integers(1, 80), st.data())
def test_the_bound_is_scipys_exact_one(trials, data):
    successes = data.draw(st.integers(0, trials))
    theirs = binomtest(successes, trials, alternative="greater").proportion_ci(0.95, method="exact").low
    assert lower_bound(successes, trials) == pytest.approx(theirs, abs=1e-9)
    assert lower_bound(successes, trials) <= successes / trials


def test_more_successes_than_trials_are_refused():
    with pytest.raises(ValueError, match="no more successes"):
        lower_bound(3, 2)


def test_what_was_never_out_has_no_longest_interval_and_what_was_always_out_none():
    assert exponential_months(12.0, 1.0, 0.95) == math.inf
    assert exponential_months(12.0, 0.0, 0.95) == 0.0


@settings(max_examples=40)
@given(st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_the_exponential_interval_gives_the_target(observed, target):
    months = exponential_months(12.0, observed, target)
    assert observed ** (months / 12.0) == pytest.approx(target)


@settings(max_examples=12)
@given(
    st.floats(-3.0, 3.0),
    st.floats(1.0, 4.0),
    st.floats(0.05, 1.0),
    st.integers(1, 12),
    st.integers(12, 48),
)
def test_a_proposal_stays_within_the_policys_bounds(error, extend_by, reduce_by, shortest, longest):
    keys = {"extend_by": extend_by, "reduce_by": reduce_by, "shortest": shortest, "longest": longest}
    found = proposed(
        as_it_is(), {"2025-03-16": 0.1, "2026-03-16": points(round(error, 2))}, intervals("staircase", **keys)
    )
    assert shortest <= found.months <= longest and found.months_now == 12


def test_every_method_is_named_by_its_source():
    for method, words in (("staircase", "method 1"), ("control_chart", "method 2"), ("drift", "drift prediction")):
        assert words in proposed(as_it_is(), {"2025-03-16": 0.1, "2026-03-16": 0.1}, intervals(method)).method_in_words


def test_a_sensor_out_of_service_or_without_an_interval_gets_no_proposal():
    away = b.sensor(out_of_service=[{"from": "2026-03-20", "reason": "being moved"}])
    assert proposed(as_it_is(), {"2025-03-16": 0.1, "2026-03-16": 0.1}, intervals("staircase"), away) is None


def test_without_a_complete_calibration_a_staircase_has_no_day_to_count_from_and_drift_no_proposal():
    part = {f"{year}-03-16": points(0.1)[:2] for year in (2023, 2024, 2025, 2026)}
    stepped = proposed(as_it_is(), part, intervals("staircase"))
    assert stepped.changes == "15 months instead of 12, once there is a complete calibration to count from"
    drifting = proposed(as_it_is(), part, intervals("drift"))
    assert drifting.months is None and "no complete calibration" in drifting.reason


def test_a_limit_that_no_measurement_can_decide_gives_no_interval():
    narrow = b.family(tolerance={"absolute": "0.2 %RH"})
    years = {f"{year}-03-16": 0.0 for year in (2023, 2024, 2025, 2026)}
    found = proposed(as_it_is(), years, intervals("drift"), narrow)
    assert found.months is None and "cannot be decided with this U" in found.reason


def test_errors_on_no_line_give_no_interval_by_drift():
    step = {"2022-03-16": 0.0, "2023-03-16": 0.0, "2024-03-16": 0.0, "2025-03-16": 0.0, "2026-03-16": 1.2}
    found = proposed(as_it_is(), step, intervals("drift"))
    assert found.months is None and "no single rate" in found.reason


def test_every_channel_of_a_combined_sensor_is_asked():
    combined = b.family(
        channels=["humidity", "temperature"],
        temperature={"resolution": "0.01 degC", "repeatability": "0.02 degC"},
        temperature_tolerance={"absolute": "0.5 degC"},
    )
    files = {
        f"{year}-03-16": points(0.0, output_temperature=round(25.0 + 0.1 * (year - 2026), 2))
        for year in (2023, 2024, 2025, 2026)
    }
    found = proposed(as_it_is(), files, intervals("control_chart", longest=200), combined)
    assert "(temperature) +0.1" in found.reason and 24 < found.months < 60


def test_the_policy_of_the_day_decides_the_method():
    rule = {"rule": "guard_band", "intervals": {"method": "staircase"}}
    later = {"rule": "guard_band", "from": "2026-05-01", "intervals": {"method": "drift"}}
    files = yearly({"2026-03-16": 0.1}, b.facility(policies=[rule, later]))
    for day, method in (("2026-04-30", "staircase"), ("2026-05-01", "drift")):
        assert b.assessed(files, day).standings["RH-1"].proposal.method == method


@pytest.mark.parametrize(
    ("keys", "word"),
    [
        ({"shortest": "13", "longest": "12"}, "shortest is more than longest"),
        ({"method": "in_use_time"}, "needs the hours of use"),
        ({"extend_by": "0.9"}, "greater than or equal to 1"),
        ({"reduce_by": "1.1"}, "less than or equal to 1"),
        ({"target_reliability": "100 %"}, "less than 1"),
    ],
)
def test_a_rule_for_intervals_that_makes_no_sense_is_refused(keys, word):
    with pytest.raises(ValidationError, match=word):
        Intervals(**{"method": "staircase"} | keys)


def test_a_drifting_point_that_may_be_out_already_is_said_to_be_so_and_a_day_gone_by_is_overdue():
    errors = {f"{year}-03-16": 0.4 * (year - 2022) for year in (2023, 2024, 2025, 2026)}
    found = proposed(as_it_is(), errors, intervals("control_chart"), day="2026-07-01")
    assert "may be beyond ± 2 %RH already; the policy's shortest interval is 2 months" in found.reason
    assert found.changes == "next due 2026-05-16 instead of 2027-03-16, so overdue at once"


def test_no_shorter_interval_is_proposed_for_what_stands_still():
    """It may be out already, and was as far out at every visit: an earlier visit would find the same."""
    errors = {f"{year}-03-16": 1.6 for year in (2023, 2024, 2025, 2026)}
    for method in ("control_chart", "drift"):
        found = proposed(as_it_is(), errors, intervals(method), day="2026-07-01")
        assert found.months == found.months_now == 12 and found.changes == "nothing: the interval stays 12 months"
        assert found.reason.endswith("mends nothing: adjust, take a better reference, or decide the tolerance")


@pytest.mark.parametrize(
    ("until", "said"), [("2027-08-01", "; deferred to 2027-08-01 all the same"), ("2027-05-01", "")]
)
def test_a_deferred_sensor_is_not_said_to_fall_due_earlier_than_it_does(until, said):
    """12 months from 2026-03-16 become 15: due 2027-06-16, which a deferral may still outlast."""
    waits = b.sensor(deferred_until=until, deferred_reason="hall closed")
    found = proposed(as_it_is(), {"2025-03-16": 0.1, "2026-03-16": 0.1}, intervals("staircase"), waits)
    assert found.changes == f"next due 2027-06-16 instead of 2027-03-16{said}"
