"""Numbers as they are shown: U to two significant digits, the value to match (JCGM 100:2008, 7.2.6)."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.rounding import MINUS, NOTHING, decimals_for, expanded, fixed, published, significant, value_with

SIZES = st.floats(1e-6, 1e6)
VALUES = st.floats(-1e6, 1e6)


def number(shown: str) -> float:
    return float(shown.replace(MINUS, "-"))


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown", "shown_u", "source"),
    [
        (10.05762, 0.027, "10.058", "0.027", "JCGM 100:2008, 7.2.6 (from memory), in Ω"),
        (28.05, 28.05, "28", "28", "JCGM 100:2008, 7.2.6 (from memory), in kHz"),
        (100.02147, 0.00035, "100.02147", "0.00035", "JCGM 100:2008, 7.2.2 (from memory), in g"),
        (50_000_838.0, 31.66387911, "50000838", "32", "JCGM 100:2008, H.1, in nm"),
        (838.0, 92.48, "838", "92", "JCGM 100:2008, H.1: unrounded recomputation of U99, in nm"),
        (127.73217, 0.0710714, "127.732", "0.071", "JCGM 100:2008, H.2, in Ω"),
        (-0.17120379, 0.0028775978, "−0.1712", "0.0029", "JCGM 100:2008, H.3, in °C"),
        (0.0021826977, 0.00066793877, "0.00218", "0.00067", "JCGM 100:2008, H.3"),
        (-0.14937681, 0.0041385958, "−0.1494", "0.0041", "JCGM 100:2008, H.3, in °C"),
        (10_000.025, 0.0293, "10000.025", "0.029", "EA-4/02, S2, in g"),
        (1.234, 0.0754, "1.234", "0.075", "JCGM 101:2008, 9.3, in mg"),
    ],
)
def test_the_guides_results_are_shown_as_printed(value, uncertainty, shown, shown_u, source):
    assert (value_with(value, uncertainty), expanded(uncertainty)) == (shown, shown_u), source


@pytest.mark.parametrize(
    ("uncertainty", "shown"),
    [
        (0.0996, "0.10"),
        (0.0994, "0.099"),
        (0.00995, "0.010"),
        (9.96, "10"),
        (9.94, "9.9"),
        (0.995, "1.0"),
        (99.6, "100"),
        (0.1, "0.10"),
        (1.0, "1.0"),
        (10.0, "10"),
        (123.4, "123"),
        (0.001, "0.0010"),
    ],
)
def test_an_uncertainty_that_rounds_up_to_a_power_of_ten_keeps_two_digits(uncertainty, shown):
    assert expanded(uncertainty) == shown


@pytest.mark.parametrize(
    ("value", "places", "shown"),
    [
        (0.125, 2, "0.13"),
        (-0.125, 2, "−0.13"),
        (2.675, 2, "2.68"),  # 2.67499999… in binary digits, 2.675 as it is written
        (1.005, 2, "1.01"),
        (0.5, 0, "1"),
        (1.5, 0, "2"),
        (-0.5, 0, "−1"),
        (0.05, 1, "0.1"),
        (0.15, 1, "0.2"),
    ],
)
def test_halves_are_rounded_away_from_zero_as_the_number_is_written(value, places, shown):
    assert fixed(value, places) == shown


def test_nothing_is_shown_as_minus_zero():
    assert fixed(-0.0, 2) == fixed(-0.004, 2) == value_with(-0.0004, 0.1) == "0.00"
    assert fixed(-0.004, 2, sign=True) == "0.00"
    assert significant(-0.0, 3) == published(-0.0) == "0"


def test_a_sign_is_shown_where_it_is_asked_for():
    assert (fixed(0.25, 1, sign=True), fixed(-0.25, 1, sign=True)) == ("+0.3", "−0.3")
    assert value_with(0.4, 0.12, sign=True) == "+0.40"


@pytest.mark.parametrize("nothing", [math.nan, math.inf, -math.inf])
def test_where_there_is_no_number_there_is_a_dash(nothing):
    assert fixed(nothing, 2) == value_with(nothing, 0.1) == expanded(nothing) == NOTHING


@pytest.mark.parametrize(
    ("value", "digits", "shown"),
    [
        (0.0996, 2, "0.10"),
        (9.96, 2, "10"),
        (99.96, 3, "100"),
        (12.345, 3, "12.3"),
        (0.00012345, 3, "0.000123"),
        (1.2345e-7, 3, "1.23·10^−7"),
        (9.999e-6, 3, "1.00·10^−5"),
        (-4.5678e9, 3, "−4.57·10^9"),
        (1234567.0, 3, "1234567"),
        (math.inf, 3, "∞"),
    ],
)
def test_significant_digits_without_an_exponent_where_it_is_easily_read(value, digits, shown):
    assert significant(value, digits) == shown


@settings(max_examples=200)
@given(SIZES)
def test_a_shown_uncertainty_is_within_half_a_digit_and_has_two(uncertainty):
    shown = expanded(uncertainty)
    places = decimals_for(uncertainty)
    assert abs(number(shown) - uncertainty) <= 0.5 * 10.0**-places * (1.0 + 1e-9)
    digits = shown.replace(".", "").lstrip("0")
    assert len(digits) == 2 or (places == 0 and len(digits) > 2)


@settings(max_examples=200)
@given(VALUES, SIZES)
def test_a_shown_value_ends_where_its_uncertainty_ends(value, uncertainty):
    shown, shown_u = value_with(value, uncertainty), expanded(uncertainty)
    assert len(shown.partition(".")[2]) == len(shown_u.partition(".")[2])
    assert abs(number(shown) - value) <= 0.5 * 10.0 ** -decimals_for(uncertainty) * (1.0 + 1e-9)


@settings(max_examples=200)
@given(VALUES, st.integers(0, 8))
def test_rounding_is_odd_and_never_changes_order(value, places):
    assert number(fixed(-value, places)) == -number(fixed(value, places))
    assert number(fixed(value + 10.0**-places, places)) >= number(fixed(value, places))


@settings(max_examples=200)
@given(st.floats(allow_nan=False, allow_infinity=False), st.integers(0, 12))
def test_any_number_at_all_can_be_shown(value, places):
    assert math.isfinite(number(fixed(value, places)))
    assert published(value) != ""


@settings(max_examples=200)
@given(st.floats(1e-300, 1e300))
def test_data_files_keep_ten_digits(value):
    assert abs(Decimal(published(value)) / Decimal(value) - 1) <= Decimal("5.1e-10")


def test_data_files_have_a_word_for_the_infinite_and_none_for_nothing():
    assert (published(math.inf), published(-math.inf), published(math.nan)) == ("inf", "-inf", "")
