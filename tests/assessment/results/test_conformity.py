"""Properties of every statement of conformity."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.assessment.results.conformity import (
    Verdict,
    judge,
    probability_outside,
    rule_in_words,
    stated_probability,
    tolerance_at,
)
from asfound.records.models import Policy, Tolerance
from asfound.uncertainty.sources import coverage_factor
from tests.examples import examples

RULES = st.one_of(
    st.just(Policy(rule="simple_acceptance")),
    st.floats(0.1, 3.0).map(lambda r: Policy(rule="guard_band", guard_band=r)),
    st.floats(0.001, 0.4).map(lambda risk: Policy(rule="specific_risk", largest_risk=risk)),
)
ERRORS, SIZES = st.floats(-6.0, 6.0), st.floats(0.01, 5.0)
FREEDOM = st.sampled_from([1.0, 3.0, 10.0, 100.0, math.inf])
ORDER = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.CONDITIONAL_PASS, Verdict.PASS)


def verdict(policy, error, u, nu, tolerance):
    return judge(policy, error, u, nu, float(coverage_factor(nu)) * u, tolerance).verdict


@examples(40)
@given(RULES, ERRORS, SIZES, FREEDOM, SIZES)
def test_the_sign_of_the_error_is_immaterial(policy, error, u, nu, tolerance):
    assert verdict(policy, error, u, nu, tolerance) == verdict(policy, -error, u, nu, tolerance)


@examples(40)
@given(RULES, ERRORS, SIZES, st.floats(1.0, 10.0), FREEDOM, SIZES)
def test_more_uncertainty_never_turns_a_fail_into_a_pass(policy, error, u, more, nu, tolerance):
    if verdict(policy, error, u, nu, tolerance) is Verdict.FAIL:
        assert verdict(policy, error, u * more, nu, tolerance) is not Verdict.PASS


@examples(40)
@given(RULES, ERRORS, SIZES, st.floats(1.0, 10.0), FREEDOM, SIZES)
def test_a_pass_stays_a_pass_when_the_uncertainty_shrinks(policy, error, u, less, nu, tolerance):
    if verdict(policy, error, u, nu, tolerance) is Verdict.PASS:
        assert verdict(policy, error, u / less, nu, tolerance) is Verdict.PASS


@examples(40)
@given(RULES, ERRORS, SIZES, FREEDOM, SIZES, st.floats(1.0, 10.0))
def test_a_larger_tolerance_never_turns_a_pass_into_a_fail(policy, error, u, nu, tolerance, wider):
    if verdict(policy, error, u, nu, tolerance) is Verdict.PASS:
        assert verdict(policy, error, u, nu, tolerance * wider) is Verdict.PASS


@examples(40)
@given(RULES, ERRORS, SIZES, FREEDOM, SIZES, st.floats(0.0, 3.0))
def test_a_larger_error_is_never_judged_better(policy, error, u, nu, tolerance, further):
    first, second = (verdict(policy, e, u, nu, tolerance) for e in (abs(error), abs(error) + further))
    if Verdict.UNDECIDED not in (first, second):
        assert ORDER.index(second) <= ORDER.index(first)


@examples(40)
@given(ERRORS, SIZES, FREEDOM, SIZES)
def test_the_probability_of_lying_outside_is_a_probability_and_grows_with_the_error(error, u, nu, tolerance):
    p = probability_outside(error, u, nu, tolerance)
    assert 0.0 <= p <= 1.0
    assert probability_outside(abs(error) + 0.1, u, nu, tolerance) >= p - 1e-12
    assert probability_outside(error, u, nu, tolerance + 0.1) <= p + 1e-12
    assert p == pytest.approx(probability_outside(-error, u, nu, tolerance))


@examples(40)
@given(ERRORS, SIZES, SIZES)
def test_a_guard_band_of_u_is_at_least_as_strict_as_its_risk(error, u, tolerance):
    """W = U = 2·u leaves at most 2.28 % beyond the nearer limit and as much beyond the other."""
    if verdict(Policy(rule="guard_band"), error, u, math.inf, tolerance) is Verdict.PASS:
        assert probability_outside(error, u, math.inf, tolerance) <= 2.0 * 0.0227502 + 1e-9


@examples(40)
@given(RULES, ERRORS, SIZES, SIZES)
def test_where_even_no_error_could_pass_nothing_passes(policy, error, u, tolerance):
    if verdict(policy, 0.0, u, math.inf, tolerance) is Verdict.UNDECIDED:
        assert verdict(policy, error, u, math.inf, tolerance) in (Verdict.UNDECIDED, Verdict.FAIL)


@pytest.mark.parametrize(
    ("largest", "error", "U", "expected"),
    [
        (1.0, 0.4, 2.0, Verdict.UNDECIDED),  # P(outside) is 0.64
        (1.0, 0.0, 0.5, Verdict.PASS),
        (1.0, 0.0, 0.501, Verdict.UNDECIDED),
        (0.4, 0.0, 0.2, Verdict.PASS),
        (0.4, 0.0, 0.201, Verdict.UNDECIDED),
        (0.4, -0.7, 0.201, Verdict.UNDECIDED),
        (0.4, -0.702, 0.201, Verdict.FAIL),
        (1.0, 0.501, 0.5, Verdict.FAIL),
    ],
)
def test_simple_acceptance_decides_nothing_with_an_uncertainty_beyond_its_limit(largest, error, U, expected):
    policy = Policy(rule="simple_acceptance", largest_u_over_t=largest)
    assert judge(policy, error, U / 2.0, math.inf, U, 0.5).verdict is expected


@pytest.mark.parametrize("rule", ["simple_acceptance", "guard_band", "specific_risk"])
def test_a_share_of_a_reading_of_zero_is_no_tolerance(rule):
    limit = tolerance_at(Tolerance(of_reading="3 %"), 0.0, None)
    assert math.isnan(limit) and judge(Policy(rule=rule), 0.0, 0.1, math.inf, 0.2, limit).verdict is Verdict.NONE


@pytest.mark.parametrize("rule", ["simple_acceptance", "guard_band", "specific_risk"])
def test_without_a_tolerance_or_an_error_nothing_is_said(rule):
    policy = Policy(rule=rule)
    assert judge(policy, 0.1, 0.1, math.inf, 0.2, math.nan).verdict is Verdict.NONE
    assert judge(policy, math.nan, 0.1, math.inf, 0.2, 1.0).verdict is Verdict.NONE


@pytest.mark.parametrize("rule", ["simple_acceptance", "guard_band", "specific_risk"])
def test_without_an_uncertainty_nothing_is_said(rule):
    judged = judge(Policy(rule=rule), 0.1, math.nan, math.inf, math.nan, 1.0)
    assert judged.verdict is Verdict.NONE and math.isnan(judged.tur) and math.isnan(judged.p_outside)


def test_no_probability_is_stated_as_none():
    assert stated_probability(0.0) == stated_probability(1e-9) == 1e-6
    assert stated_probability(0.02) == 0.02 and math.isnan(stated_probability(math.nan))


@pytest.mark.parametrize("how", ["sum", "maximum"])
def test_a_limit_with_a_share_of_an_unknown_range_is_unknown(how):
    parts = {"absolute": "3 %RH", "of_range": "1 %"}
    assert math.isnan(tolerance_at(Tolerance(**parts, combine=how), 50.0, None))


def test_the_rule_in_words_says_its_numbers():
    assert "w = U" in rule_in_words(Policy(rule="guard_band"))
    assert "w = 0.83·U" in rule_in_words(Policy(rule="guard_band", guard_band=0.83))
    simple = rule_in_words(Policy(rule="simple_acceptance", largest_u_over_t=0.33))
    assert "as long as U (95.45 %) is at most 0.33·T; with a larger U nothing is decided but |error| > T + U" in simple
    assert "U (95.45 %) is at most T;" in rule_in_words(Policy(rule="simple_acceptance"))
    words = rule_in_words(Policy(rule="specific_risk", largest_risk=0.05))
    assert "5 %" in words and "95 %" in words


def test_the_rule_in_words_says_the_risk_that_it_leaves():
    """ILAC-G8:09/2019, table 1 (from memory): simple acceptance up to 50 %, guard band w = U up to 2.5 %, normal."""
    assert "up to 50 %" in rule_in_words(Policy(rule="simple_acceptance"))
    assert "about 2.3 % (one-sided, normal)" in rule_in_words(Policy(rule="guard_band"))
    assert "about 4.8 % (one-sided, normal)" in rule_in_words(Policy(rule="guard_band", guard_band=0.83))
    at_limit = probability_outside(1.0 - 0.2, 0.1, math.inf, 1.0)
    assert 100.0 * at_limit == pytest.approx(2.3, abs=0.05)


@settings(max_examples=60)
@given(st.floats(0.0, 100.0), st.floats(0.1, 5.0), st.floats(0.001, 0.1))
def test_a_sum_of_parts_is_never_tighter_than_their_maximum(value, absolute, share):
    parts = {"absolute": f"{absolute:.6f} %RH", "of_reading": f"{100 * share:.6f} %"}
    summed, largest = (tolerance_at(Tolerance(**parts, combine=how), value, None) for how in ("sum", "maximum"))
    assert largest <= summed <= 2.0 * largest + 1e-12
