"""The traps that public code and practice fell into, each held shut."""

from __future__ import annotations

import numpy as np
import pytest

from asfound.humidity import (
    enhancement_factor,
    rh_from_mirror,
    salt_rh,
    saturation_vapour_pressure,
    two_pressure_rh,
)
from tests.humidity.published_checks import table

ATMOSPHERE_PA = 101325.0
PSI_PA = 6894.757


@pytest.mark.parametrize("mistaken", [1013.25, 101.325, 1.01325, 14.696])
def test_hpa_kpa_bar_and_psi_for_pa_are_refused_with_the_cure(mistaken):
    for call in (
        lambda: enhancement_factor(25.0, mistaken),
        lambda: two_pressure_rh(5e5, 25.0, mistaken, 25.0),
        lambda: rh_from_mirror(10.0, 23.0, "dew", mistaken),
    ):
        with pytest.raises(ValueError, match=r"is outside 10000 to 2.5e\+06 Pa; pressures are absolute and in Pa"):
            call()


def test_a_saturation_pressure_in_hpa_beside_a_chamber_in_pa_is_refused():
    with pytest.raises(ValueError, match=r"above|outside .* %RH; are saturation and chamber swapped"):
        two_pressure_rh(11355.0, 25.0, ATMOSPHERE_PA, 25.0)


def test_ice_and_supercooled_water_have_sets_of_their_own():
    """Hardy 1998 at −20 °C and 1 MPa: 1.043155 over ice, 1.042577 over supercooled water (table, ENH177)."""
    row = next(row for row in table("enhancement_factor") if row["id"] == "ENH177")
    ice, water = enhancement_factor(-20.0, 1e6, over="ice"), enhancement_factor(-20.0, 1e6, over="water")
    assert (ice, water) == pytest.approx((float(row["hardy_1998"]), float(row["hardy_1998_supercooled"])), abs=1e-6)
    assert ice - water > 5e-4


def test_leaving_f_out_costs_three_percent_at_150_psi_gauge():
    row = next(row for row in table("two_pressure") if row["id"] == "TPR31")
    with_f = two_pressure_rh(1e3 * float(row["Ps_kPa"]), 25.0, ATMOSPHERE_PA, 25.0)
    assert 1 - float(row["no_enhancement"]) / with_f == pytest.approx(0.0287, abs=5e-4)


def test_f_belongs_to_the_pressures_of_both_states():
    ps, pc = 1.1355e6, ATMOSPHERE_PA
    ratio = enhancement_factor(25.0, ps) / enhancement_factor(25.0, pc)
    assert two_pressure_rh(ps, 25.0, pc, 25.0) == pytest.approx(100 * ratio * pc / ps, rel=1e-14)
    assert ratio > 1.025


def test_dew_and_frost_at_minus_ten_are_a_tenth_of_the_reading_apart_and_must_be_said():
    assert rh_from_mirror(-10.0, 23.0, "dew", ATMOSPHERE_PA) == pytest.approx(10.19, abs=0.005)
    assert rh_from_mirror(-10.0, 23.0, "frost", ATMOSPHERE_PA) == pytest.approx(9.24, abs=0.005)
    for unsaid in ("", "ice", "water", "Dew", None):
        with pytest.raises(ValueError, match="condensate must be 'dew' or 'frost'"):
            rh_from_mirror(-10.0, 23.0, unsaid, ATMOSPHERE_PA)


def test_a_tenth_of_a_kelvin_between_saturator_and_chamber_is_0_6_percent_of_reading():
    level, warm_chamber = two_pressure_rh(3e5, 25.0, 1e5, np.array([25.0, 25.1]))
    assert 1 - warm_chamber / level == pytest.approx(0.006, abs=1e-4)


def test_an_error_common_to_both_thermometers_cancels_almost():
    level = two_pressure_rh(3e5, 25.0, 1e5, 25.0)
    both_off = two_pressure_rh(3e5, 25.1, 1e5, 25.1)
    assert abs(both_off / level - 1) < 1e-5  # 600 times less than the gradient of the same size


def test_gauge_for_absolute_at_1_1_mpa_is_nine_percent_of_reading():
    absolute = 1.1e6
    right = two_pressure_rh(absolute, 25.0, ATMOSPHERE_PA, 25.0)
    wrong = two_pressure_rh(absolute - ATMOSPHERE_PA, 25.0, ATMOSPHERE_PA, 25.0)
    assert wrong / right - 1 == pytest.approx(0.09, abs=0.015)


def test_hardy_s_f_is_lower_than_the_newer_virial_model_everywhere_and_costs_at_most_0_008_percent_rh():
    rows = table("two_pressure")
    bias = [
        two_pressure_rh(*(s * float(row[c]) for c, s in (("Ps_kPa", 1e3), ("Ts_C", 1), ("Pc_kPa", 1e3), ("Tc_C", 1))))
        - float(row["expected"])
        for row in rows
    ]
    assert max(bias) < 0.0
    assert min(bias) == pytest.approx(-0.008, abs=5e-4)


def test_greenspan_s_table_truncates_its_polynomials_and_never_rounds():
    """KCl at 15 °C: 85.9213 stands as 85.92; K2SO4 at 0 °C: 98.7792 stands as 98.77, not 98.78."""
    for row in table("saturated_salts"):
        if row["source"].startswith("Greenspan"):
            excess = salt_rh(row["salt"], float(row["t_C"])) - float(row["expected"])
            assert -1e-4 <= excess <= 0.0101, row["id"]
    assert salt_rh("K2SO4", 0.0) == pytest.approx(98.7792, abs=1e-9)


@pytest.mark.parametrize(
    ("salt", "celsius", "printed", "wrong"),
    [("LiCl", 25.0, 11.30, 10.89), ("CH3COOK", 25.0, 22.51, 30.17), ("K2CO3", 25.0, 43.16, 43.09)],
)
def test_signs_that_public_tables_carry_wrong_are_right_here(salt, celsius, printed, wrong):
    """Two public tables print LiCl's linear term negative, one CH3COOK's square, one K2CO3's linear term."""
    assert salt_rh(salt, celsius) == pytest.approx(printed, abs=0.011)
    assert abs(salt_rh(salt, celsius) - wrong) > 0.05


def test_supercooled_water_does_not_continue_as_ice():
    assert saturation_vapour_pressure(-10.0) / saturation_vapour_pressure(-10.0, "ice") == pytest.approx(
        1.103, abs=2e-3
    )
