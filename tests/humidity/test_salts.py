"""Humidity over saturated salts: what is published, and the traps of its transcriptions."""

from __future__ import annotations

import numpy as np
import pytest

from asfound.humidity import SALTS, salt_range_c, salt_rh, salt_uncertainty
from tests.humidity.published_checks import table


def test_every_salt_of_the_published_table_is_known():
    assert {row["salt"] for row in table("saturated_salts")} == set(SALTS)


def test_salts_are_listed_from_dry_to_humid():
    humidities = [salt_rh(salt, 25.0) for salt in SALTS]
    assert humidities == sorted(humidities)


@pytest.mark.parametrize("salt", SALTS)
def test_the_range_spans_the_published_table_and_ends_there(salt):
    low, high = salt_range_c(salt)
    published = [float(row["t_C"]) for row in table("saturated_salts") if row["salt"] == salt]
    assert low <= min(published) < max(published) <= high
    assert salt_rh(salt, [low, high]).shape == (2,)
    for outside in (low - 0.01, high + 0.01):
        with pytest.raises(ValueError, match=r"temperature of the .* solution .* °C is outside"):
            salt_rh(salt, outside)
        with pytest.raises(ValueError, match="is outside"):
            salt_uncertainty(salt, outside)


def test_uncertainty_is_linear_between_the_published_temperatures():
    """Greenspan 1977, Table 2, from memory: NaCl 0.12 %RH at 25 °C, 0.11 at 30 °C."""
    assert salt_uncertainty("NaCl", 27.5) == pytest.approx(0.115, abs=1e-12)
    assert salt_uncertainty("NaCl", np.array([25.0, 30.0])) == pytest.approx([0.12, 0.11], abs=1e-12)


@pytest.mark.parametrize(("asked", "meant"), [("NaCL", "NaCl"), ("Mg(NO3)", "Mg(NO3)2"), ("K2SO", "K2SO4")])
def test_a_mistyped_salt_is_refused_with_the_likely_one(asked, meant):
    with pytest.raises(ValueError, match="did you mean") as refusal:
        salt_rh(asked, 25.0)
    assert meant in str(refusal.value)


@pytest.mark.parametrize("asked", ["water", "", None, 7])
def test_what_is_no_salt_is_refused_with_the_list(asked):
    with pytest.raises(ValueError, match="known are NaOH, LiCl"):
        salt_rh(asked, 25.0)
