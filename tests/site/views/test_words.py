"""Numbers and units as people write them."""

from __future__ import annotations

import math

import pytest

from asfound.rounding import NOTHING
from asfound.wording import words


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("-0.35 degC", "−0.35 °C"),
        ("0.2 degC/year", "0.2 °C/year"),
        ("RH-101 on 2026-03-14", "RH-101 on 2026-03-14"),
        ("zero 0.0 %RH → zero -2.3 %RH", "zero 0.0 %RH → zero −2.3 %RH"),
        ("4 to -5", "4 to −5"),
    ],
)
def test_units_and_minus_are_shown_as_people_write_them(written: str, shown: str):
    assert words.shown(written) == shown


@pytest.mark.parametrize(
    ("value", "U", "shown"),
    [(0.184, 0.226, "+0.18 ± 0.23"), (-3.0275, 0.31, "−3.03 ± 0.31"), (0.0004, 0.05, "0.000 ± 0.050")],
)
def test_an_error_is_rounded_to_its_uncertainty(value: float, U: float, shown: str):
    """U to two significant digits, the value to match: JCGM 100:2008, 7.2.6."""
    assert words.difference(value, U) == shown


def test_no_number_is_a_dash_and_certainty_is_never_claimed():
    assert words.difference(math.nan, 0.1) == words.percent(math.nan) == words.target(math.nan) == NOTHING
    assert (words.percent(0.0), words.percent(1.0), words.percent(0.0231)) == ("< 0.1 %", "> 99.9 %", "2.3 %")
