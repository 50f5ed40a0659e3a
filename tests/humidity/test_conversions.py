"""Dew and frost point, humidity over ice, mole fraction, mixing ratio and absolute humidity."""

from __future__ import annotations

import CoolProp.CoolProp as coolprop
import numpy as np
import psychrolib
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from asfound.humidity import (
    absolute_humidity_g_m3,
    dew_point_c,
    frost_point_c,
    mixing_ratio,
    mole_fraction,
    rh_from_mirror,
    rh_over_ice,
    rh_over_water,
    saturation_vapour_pressure,
    water_to_ice_ratio,
)

psychrolib.SetUnitSystem(psychrolib.SI)

BELOW_ZERO_C = st.floats(-50.0, 0.0)
PRESSURES_PA = st.floats(3e4, 1.2e6)


@pytest.mark.parametrize("celsius", [10.0, 23.0, 40.0, 50.0])
@pytest.mark.parametrize("rh", [60.0, 75.0, 95.0])
@pytest.mark.parametrize("pressure_pa", [8.5e4, 101325.0])
def test_dew_point_with_a_pressure_agrees_with_the_real_gas_model(celsius, rh, pressure_pa):
    """CoolProp, ASHRAE RP-1485; the two formulations differ by up to 0.005 K."""
    model = coolprop.HAPropsSI("D", "T", celsius + 273.15, "P", pressure_pa, "R", rh / 100) - 273.15
    assert dew_point_c(rh, celsius, pressure_pa=pressure_pa) == pytest.approx(model, abs=0.005)


@pytest.mark.parametrize("rh", [3.0, 5.0, 10.0])
def test_frost_point_with_a_pressure_agrees_with_the_real_gas_model(rh):
    model = coolprop.HAPropsSI("D", "T", 293.15, "P", 101325.0, "R", rh / 100) - 273.15
    assert frost_point_c(rh, 20.0, pressure_pa=101325.0) == pytest.approx(model, abs=0.005)


@pytest.mark.parametrize("celsius", [10.0, 23.0, 40.0, 50.0])
@pytest.mark.parametrize("rh", [60.0, 75.0, 95.0])
def test_dew_point_without_a_pressure_is_that_of_the_ashrae_handbook(celsius, rh):
    """psychrolib, ASHRAE Handbook Fundamentals 2017 ch. 1: a ratio of pure vapour pressures, from
    Hyland–Wexler.
    """
    handbook = psychrolib.GetTDewPointFromRelHum(celsius, rh / 100)
    assert dew_point_c(rh, celsius) == pytest.approx(handbook, abs=0.002)


def test_leaving_the_pressure_out_costs_up_to_two_hundredths_of_a_kelvin_at_one_atmosphere():
    rh, celsius = np.meshgrid([20.0, 50.0, 90.0], [10.0, 25.0, 50.0])
    cost = np.abs(dew_point_c(rh, celsius) - dew_point_c(rh, celsius, pressure_pa=101325.0))
    assert 0.015 < cost.max() < 0.02


@pytest.mark.parametrize(("rh", "celsius"), [(20.0, 10.0), (50.0, 23.0), (90.0, 40.0)])
def test_mole_fraction_mixing_ratio_and_density_agree_with_the_real_gas_model(rh, celsius):
    state = ("T", celsius + 273.15, "P", 101325.0, "R", rh / 100)
    air = rh, celsius, 101325.0
    assert mole_fraction(*air) == pytest.approx(coolprop.HAPropsSI("Y", *state), rel=3e-4)
    assert mixing_ratio(*air) == pytest.approx(coolprop.HAPropsSI("W", *state), rel=3e-4)
    # grams of vapour in a cubic metre: mixing ratio over the volume that goes with a kilogram of dry air
    density = 1000 * coolprop.HAPropsSI("W", *state) / coolprop.HAPropsSI("Vda", *state)
    assert absolute_humidity_g_m3(*air) == pytest.approx(density, rel=1e-3)


@pytest.mark.parametrize(("rh", "celsius"), [(20.0, 10.0), (50.0, 23.0), (90.0, 40.0)])
def test_mixing_ratio_exceeds_that_of_the_ashrae_handbook_by_the_enhancement_factor(rh, celsius):
    """Psychrolib takes f = 1; at one atmosphere that is 0.4 to 0.5 % low."""
    handbook = psychrolib.GetHumRatioFromRelHum(celsius, rh / 100, 101325.0)
    assert 1.003 < mixing_ratio(rh, celsius, 101325.0) / handbook < 1.006


@given(rh=st.floats(2.0, 100.0), celsius=st.floats(0.0, 90.0))
def test_dew_point_is_the_inverse_of_the_vapour_pressure_ratio(rh, celsius):
    dew_c = dew_point_c(rh, celsius)
    assert dew_c <= celsius + 1e-9
    back = 100 * saturation_vapour_pressure(dew_c) / saturation_vapour_pressure(celsius)
    assert back == pytest.approx(rh, rel=1e-11)


@given(mirror_c=st.floats(-49.0, 60.0), warmer=st.floats(0.0, 30.0), pressure_pa=PRESSURES_PA)
def test_dew_point_in_air_is_what_the_mirror_showed(mirror_c, warmer, pressure_pa):
    assume(saturation_vapour_pressure(mirror_c + warmer) < pressure_pa)
    assume(mirror_c >= 0.0 or mirror_c < -2e-3)  # the step between the two sets of f over water
    rh = rh_from_mirror(mirror_c, mirror_c + warmer, "dew", pressure_pa)
    assert abs(dew_point_c(rh, mirror_c + warmer, pressure_pa=pressure_pa) - mirror_c) < 1e-9


@given(mirror_c=st.floats(-99.0, 0.0), air_c=st.floats(1.0, 40.0), pressure_pa=PRESSURES_PA)
def test_frost_point_in_air_is_what_the_mirror_showed(mirror_c, air_c, pressure_pa):
    rh = rh_from_mirror(mirror_c, air_c, "frost", pressure_pa)
    assert abs(frost_point_c(rh, air_c, pressure_pa=pressure_pa) - mirror_c) < 1e-9


@given(rh=st.floats(1.0, 60.0), celsius=BELOW_ZERO_C, pressure_pa=PRESSURES_PA)
def test_humidity_over_ice_is_higher_and_comes_back(rh, celsius, pressure_pa):
    over_ice = rh_over_ice(rh, celsius, pressure_pa)
    assert over_ice > rh or celsius > -0.1
    assert rh_over_water(over_ice, celsius, pressure_pa) == pytest.approx(rh, rel=1e-12)


@given(celsius=st.floats(-50.0, -1.0), pressure_pa=PRESSURES_PA, excess=st.floats(1e-6, 5.0))
def test_above_ice_saturation_is_refused(celsius, pressure_pa, excess):
    saturated = rh_over_water(100.0, celsius, pressure_pa)
    assert rh_over_ice(saturated, celsius, pressure_pa) == pytest.approx(100.0, abs=1e-9)
    with pytest.raises(ValueError, match="above 100 %RH, where frost forms"):
        rh_over_ice(saturated + excess, celsius, pressure_pa)
    with pytest.raises(ValueError, match="above 100 %RH, where frost forms"):
        rh_over_water(100.0 + excess, celsius, pressure_pa)


def test_the_ratio_alone_knows_no_limit_of_saturation():
    """For random draws that stray past it; 1.1024 is 286.5 Pa over 259.874 Pa at −10 °C (Murphy and Koop,
    IAPWS).
    """
    assert 99.0 * water_to_ice_ratio(-10.0, 101325.0) == pytest.approx(99.0 * 1.1024, rel=2e-3)


def test_frost_point_lies_above_the_dew_point_of_the_same_air():
    dew_c, frost_c = dew_point_c(10.0, 20.0), frost_point_c(10.0, 20.0)
    assert dew_c < frost_c < 0.0


def test_there_is_no_dry_air_to_refer_to_where_all_is_vapour():
    with pytest.raises(ValueError, match="mole fraction of vapour is 1 or more"):
        mixing_ratio(100.0, 100.0, 101325.0)
