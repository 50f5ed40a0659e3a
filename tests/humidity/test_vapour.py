"""Saturation pressure and enhancement factor against independent libraries, and the inverse against the
forward.
"""

from __future__ import annotations

import math

import CoolProp.CoolProp as coolprop
import numpy as np
import psychrolib
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from iapws import iapws97
from iapws._iapws import _Sublimation_Pressure

from asfound.humidity import (
    enhancement_factor,
    saturated_partial_pressure,
    saturation_temperature_c,
    saturation_vapour_pressure,
)

psychrolib.SetUnitSystem(psychrolib.SI)

PRESSURES_PA = st.floats(2e4, 2e6)
OVER_WATER_C = st.floats(-50.0, 100.0)
OVER_ICE_C = st.floats(-100.0, 0.0)


@pytest.mark.parametrize("celsius", [*range(1, 100, 3), 99.9])
def test_over_water_it_agrees_with_iapws_95_within_1e_4(celsius):
    iapws_95 = coolprop.PropsSI("P", "T", celsius + 273.15, "Q", 0, "Water")
    assert saturation_vapour_pressure(celsius) == pytest.approx(iapws_95, rel=1e-4)


@pytest.mark.parametrize("celsius", range(1, 100, 3))
def test_over_water_it_agrees_with_iapws_if97_within_1_3e_4(celsius):
    if97 = 1e6 * iapws97._PSat_T(celsius + 273.15)
    assert saturation_vapour_pressure(celsius) == pytest.approx(if97, rel=1.3e-4)


@pytest.mark.parametrize(
    ("celsius", "distance"), [(-60, 9e-4), (-50, 6e-4), (-40, 3.5e-4), (-30, 1.8e-4), (-20, 1e-4), (-5, 1e-4)]
)
def test_over_ice_it_agrees_with_iapws_r14_08_which_it_leaves_towards_the_cold(celsius, distance):
    r14_08 = 1e6 * _Sublimation_Pressure(celsius + 273.15)
    assert saturation_vapour_pressure(celsius, over="ice") == pytest.approx(r14_08, rel=distance)


@pytest.mark.parametrize("celsius", range(-50, 101, 5))
def test_it_stays_within_7e_4_of_the_older_formulation_of_the_ashrae_handbook(celsius):
    """ASHRAE Handbook Fundamentals 2017 ch. 1 eq. (5) and (6), Hyland and Wexler 1983, as psychrolib has
    them.
    """
    over = "ice" if celsius <= 0 else "water"
    ashrae = psychrolib.GetSatVapPres(celsius)
    assert saturation_vapour_pressure(celsius, over) == pytest.approx(ashrae, rel=9e-4)


def murphy_koop_supercooled_pa(kelvin: float) -> float:
    """Murphy and Koop 2005, QJRMS 131, 1539, eq. (10), from memory."""
    ln_t = math.log(kelvin)
    return math.exp(
        54.842763
        - 6763.22 / kelvin
        - 4.210 * ln_t
        + 0.000367 * kelvin
        + math.tanh(0.0415 * (kelvin - 218.8)) * (53.878 - 1331.22 / kelvin - 9.44523 * ln_t + 0.014025 * kelvin)
    )


@pytest.mark.parametrize(("celsius", "distance"), [(-10, 5e-4), (-20, 8e-4), (-30, 2e-3), (-40, 7e-3), (-50, 2e-2)])
def test_over_supercooled_water_it_leaves_murphy_and_koop_towards_the_cold(celsius, distance):
    other = murphy_koop_supercooled_pa(celsius + 273.15)
    assert saturation_vapour_pressure(celsius) == pytest.approx(other, rel=distance)


def test_water_and_ice_meet_at_the_triple_point():
    """611.657 Pa: Guildner, Johnson and Jones 1976, the value behind IAPWS-95."""
    assert saturation_vapour_pressure(0.01) == pytest.approx(611.657, abs=5e-4)
    assert saturation_vapour_pressure(0.01, over="ice") == pytest.approx(611.657, abs=5e-4)


@pytest.mark.parametrize("celsius", [1, 5, 15, 25, 35, 50, 80])
@pytest.mark.parametrize("pressure_pa", [1e5, 5e5, 1.2e6])
def test_enhancement_over_water_agrees_with_the_virial_model_of_ashrae_rp_1485(celsius, pressure_pa):
    """The distance grows with pressure: 3e-4 at one atmosphere, 1.3e-3 at 1.2 MPa (CoolProp)."""
    model, _ = coolprop.HAProps_Aux("f", celsius + 273.15, pressure_pa, 0.0)
    assert enhancement_factor(celsius, pressure_pa) == pytest.approx(model, rel=2e-4 + 1e-9 * pressure_pa)


@pytest.mark.parametrize("celsius", [-50, -40, -25, -10, -1])
@pytest.mark.parametrize("pressure_pa", [1e5, 1.2e6])
def test_enhancement_over_ice_agrees_with_the_virial_model_of_ashrae_rp_1485(celsius, pressure_pa):
    model, _ = coolprop.HAProps_Aux("f", celsius + 273.15, pressure_pa, 0.0)
    distance = 4e-4 + 4.5e-9 * pressure_pa
    assert enhancement_factor(celsius, pressure_pa, "ice") == pytest.approx(model, rel=distance)


def test_the_two_sets_over_water_meet_at_zero_within_what_the_docstring_says():
    for pressure_pa, step in ((101325.0, 4e-6), (1.2e6, 7e-5)):
        below, at = enhancement_factor([-1e-12, 0.0], pressure_pa)
        assert 0 < abs(at - below) < step


def test_at_the_boiling_point_vapour_is_alone_and_f_is_one():
    boiling_c = saturation_temperature_c(101325.0)
    assert boiling_c == pytest.approx(99.974, abs=1e-3)  # IAPWS-95: 99.9743 °C
    assert enhancement_factor(boiling_c, 101325.0) == pytest.approx(1.0, abs=1e-12)


@given(celsius=OVER_WATER_C)
def test_dew_point_of_pure_vapour_comes_back(celsius):
    assert abs(saturation_temperature_c(saturation_vapour_pressure(celsius)) - celsius) < 1e-9


@given(celsius=OVER_ICE_C)
def test_frost_point_of_pure_vapour_comes_back(celsius):
    vapour_pa = saturation_vapour_pressure(celsius, over="ice")
    assert abs(saturation_temperature_c(vapour_pa, over="ice") - celsius) < 1e-9


@given(celsius=OVER_WATER_C, pressure_pa=PRESSURES_PA)
def test_dew_point_in_air_comes_back_outside_the_step_at_zero(celsius, pressure_pa):
    assume(saturation_vapour_pressure(celsius) < pressure_pa)
    assume(celsius >= 0.0 or celsius < -2e-3)
    partial_pa = saturated_partial_pressure(celsius, pressure_pa)
    assert abs(saturation_temperature_c(partial_pa, pressure_pa) - celsius) < 1e-9


@given(celsius=st.floats(-2e-3, 2e-3), pressure_pa=PRESSURES_PA)
def test_dew_point_in_air_comes_back_to_the_step_s_width_inside_it(celsius, pressure_pa):
    partial_pa = saturated_partial_pressure(celsius, pressure_pa)
    assert abs(saturation_temperature_c(partial_pa, pressure_pa) - celsius) < 2e-3


@given(celsius=OVER_ICE_C, pressure_pa=PRESSURES_PA)
def test_frost_point_in_air_comes_back(celsius, pressure_pa):
    partial_pa = saturated_partial_pressure(celsius, pressure_pa, "ice")
    assert abs(saturation_temperature_c(partial_pa, pressure_pa, "ice") - celsius) < 1e-9


@given(celsius=OVER_WATER_C, warmer=st.floats(1e-6, 10.0))
def test_vapour_pressure_rises_with_temperature(celsius, warmer):
    assume(celsius + warmer <= 100.0)
    assert saturation_vapour_pressure(celsius + warmer) > saturation_vapour_pressure(celsius)


@given(celsius=st.floats(-50.0, -1e-3))
def test_below_zero_ice_holds_its_vapour_more_tightly_than_water(celsius):
    assert saturation_vapour_pressure(celsius, "ice") < saturation_vapour_pressure(celsius, "water")


@given(celsius=OVER_WATER_C, pressure_pa=PRESSURES_PA, more=st.floats(1.0, 4.0))
def test_enhancement_rises_with_pressure(celsius, pressure_pa, more):
    assume(saturation_vapour_pressure(celsius) < pressure_pa and pressure_pa * more <= 2.5e6)
    assert enhancement_factor(celsius, pressure_pa * more) >= enhancement_factor(celsius, pressure_pa) >= 1.0 - 1e-12


def test_arrays_and_phases_broadcast_like_the_scalars_one_by_one():
    celsius, over = np.array([[-20.0], [-1.0]]), np.array(["water", "ice", "water"])
    pressures = np.array([1e5, 5e5, 1e6])
    table = saturated_partial_pressure(celsius, pressures, over)
    assert table.shape == (2, 3)
    for row, t in zip(table, (-20.0, -1.0)):
        for value, p, phase in zip(row, pressures, over):
            assert value == saturated_partial_pressure(t, float(p), str(phase))


def test_lists_integers_and_single_precision_are_taken_in_double_precision():
    expected = saturation_vapour_pressure(25.0)
    assert saturation_vapour_pressure(25) == expected
    assert saturation_vapour_pressure([25, 25]).tolist() == [expected, expected]
    assert saturation_vapour_pressure(np.float32(25)) == expected
    assert saturation_vapour_pressure(np.array([25], dtype=np.int16)) == expected
