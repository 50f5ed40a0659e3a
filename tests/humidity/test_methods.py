"""Reference methods against an independent real-gas model, and the laws that any of them must keep."""

from __future__ import annotations

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from asfound.humidity import (
    rh_at_sensor,
    rh_from_mirror,
    saturation_pressure_for_rh,
    two_pressure_rh,
)

CHAMBER_PA = st.floats(7e4, 1.1e5)
CELSIUS = st.floats(1.0, 60.0)


def kelvin(celsius: float) -> float:
    return celsius + 273.15


@pytest.mark.parametrize("celsius", [10.0, 25.0, 40.0])
@pytest.mark.parametrize("saturation_pa", [1.1e5, 3e5, 7e5, 1.1355e6])
@pytest.mark.parametrize("warmer", [0.0, 0.1, -0.1])
def test_two_pressure_humidity_conserves_the_mole_fraction(celsius, saturation_pa, warmer):
    """Mole fraction out of the saturator, relative humidity in the chamber: CoolProp, ASHRAE RP-1485."""
    chamber_pa, chamber_c = 101325.0, celsius + warmer
    mole_fraction = coolprop.HAPropsSI("Y", "T", kelvin(celsius), "P", saturation_pa, "R", 1.0)
    model = coolprop.HAPropsSI("R", "T", kelvin(chamber_c), "P", chamber_pa, "Y", mole_fraction)
    ours = two_pressure_rh(saturation_pa, celsius, chamber_pa, chamber_c)
    assert ours == pytest.approx(100 * model, abs=0.01)


@pytest.mark.parametrize(("dew_c", "air_c"), [(2.0, 23.0), (10.0, 23.0), (20.0, 23.0), (40.0, 50.0)])
@pytest.mark.parametrize("pressure_pa", [8.5e4, 101325.0])
def test_dew_on_the_mirror_agrees_with_the_real_gas_model(dew_c, air_c, pressure_pa):
    model = coolprop.HAPropsSI("R", "T", kelvin(air_c), "P", pressure_pa, "D", kelvin(dew_c))
    assert rh_from_mirror(dew_c, air_c, "dew", pressure_pa) == pytest.approx(100 * model, rel=3e-4)


@pytest.mark.parametrize(("frost_c", "air_c"), [(-40.0, 23.0), (-20.0, 23.0), (-3.0, 5.0)])
def test_frost_on_the_mirror_agrees_with_the_real_gas_model(frost_c, air_c):
    model = coolprop.HAPropsSI("R", "T", kelvin(air_c), "P", 101325.0, "D", kelvin(frost_c))
    assert rh_from_mirror(frost_c, air_c, "frost", 101325.0) == pytest.approx(100 * model, rel=1e-3)


@pytest.mark.parametrize(("rh", "reference_c", "air_c"), [(45.0, 20.0, 23.0), (80.0, 25.0, 24.0), (15.0, 15.0, 14.0)])
def test_humidity_moved_in_air_keeps_the_mixing_ratio(rh, reference_c, air_c):
    ratio = coolprop.HAPropsSI("W", "T", kelvin(reference_c), "P", 101325.0, "R", rh / 100)
    model = coolprop.HAPropsSI("R", "T", kelvin(air_c), "P", 101325.0, "W", ratio)
    assert rh_at_sensor(rh, reference_c, air_c, 101325.0) == pytest.approx(100 * model, rel=1e-4)


@given(celsius=st.floats(-50.0, 60.0), pressure_pa=st.floats(3e4, 2e6))
def test_equal_states_in_saturator_and_chamber_give_exactly_saturation(celsius, pressure_pa):
    assert two_pressure_rh(pressure_pa, celsius, pressure_pa, celsius) == 100.0


@given(celsius=st.floats(-50.0, 60.0), pressure_pa=st.floats(3e4, 2e6))
def test_a_mirror_as_warm_as_the_air_shows_saturation(celsius, pressure_pa):
    assert rh_from_mirror(celsius, celsius, "dew", pressure_pa) == 100.0


@given(rh=st.floats(0.0, 100.0), celsius=st.floats(-50.0, 60.0), pressure_pa=st.floats(3e4, 2e6))
def test_a_probe_as_warm_as_the_sensor_reads_for_it(rh, celsius, pressure_pa):
    assert rh_at_sensor(rh, celsius, celsius, pressure_pa) == rh


@given(chamber_pa=CHAMBER_PA, celsius=CELSIUS, ratio=st.floats(1.0, 10.0), more=st.floats(1.001, 2.0))
def test_humidity_falls_as_the_saturation_pressure_rises(chamber_pa, celsius, ratio, more):
    lower, higher = two_pressure_rh(chamber_pa * ratio * np.array([1.0, more]), celsius, chamber_pa, celsius)
    assert higher < lower


@given(
    chamber_pa=CHAMBER_PA,
    saturation_c=CELSIUS,
    warmer=st.floats(-0.5, 5.0),
    ratio=st.floats(1.0, 12.0),
    efficiency=st.floats(0.95, 1.0),
)
def test_the_pressure_to_dial_gives_the_humidity_back(chamber_pa, saturation_c, warmer, ratio, efficiency):
    saturation_pa, chamber_c = chamber_pa * ratio, saturation_c + warmer
    rh = two_pressure_rh(saturation_pa, saturation_c, chamber_pa, chamber_c, efficiency)
    dialled = saturation_pressure_for_rh(rh, saturation_c, chamber_pa, chamber_c, efficiency)
    assert dialled == pytest.approx(saturation_pa, rel=1e-10)
    assert two_pressure_rh(dialled, saturation_c, chamber_pa, chamber_c, efficiency) == pytest.approx(rh, rel=1e-10)


@given(rh=st.floats(1.0, 90.0), celsius=CELSIUS, warmer=st.floats(1e-3, 3.0), pressure_pa=st.floats(5e4, 1.1e5))
def test_warmer_air_is_relatively_drier_and_cooling_it_again_brings_the_humidity_back(rh, celsius, warmer, pressure_pa):
    moved = rh_at_sensor(rh, celsius, celsius + warmer, pressure_pa)
    assert moved < rh
    assert rh_at_sensor(moved, celsius + warmer, celsius, pressure_pa) == pytest.approx(rh, rel=1e-12)


@given(mirror_c=st.floats(-20.0, 40.0), warmer=st.floats(1e-3, 5.0))
def test_a_warmer_mirror_means_more_humid_air(mirror_c, warmer):
    assume(mirror_c + warmer < 45.0)
    cold, warm = rh_from_mirror([mirror_c, mirror_c + warmer], 45.0, "dew", 101325.0)
    assert warm > cold


def test_the_saturator_s_efficiency_multiplies():
    full = two_pressure_rh(5e5, 25.0, 1e5, 25.0)
    assert two_pressure_rh(5e5, 25.0, 1e5, 25.0, 0.995) == pytest.approx(0.995 * full, rel=1e-14)


def test_a_frozen_saturator_gives_what_frost_on_a_mirror_would():
    """Ice against supercooled water at −10 °C: 259.87 Pa against 286.5 Pa, IAPWS R14-08 and Murphy and Koop
    2005.
    """
    frozen = two_pressure_rh(3e5, -10.0, 1e5, 5.0, saturator_over="ice")
    assert frozen == rh_from_mirror(-10.0, 5.0, "frost", 1e5, mirror_pa=3e5)
    supercooled = two_pressure_rh(3e5, -10.0, 1e5, 5.0)
    assert frozen / supercooled == pytest.approx(259.874 / 286.5, rel=2e-3)
    dialled = saturation_pressure_for_rh(frozen, -10.0, 1e5, 5.0, saturator_over="ice")
    assert dialled == pytest.approx(3e5, rel=1e-10)


def test_mirror_pressure_defaults_to_the_chamber_s_and_two_kilopascals_are_two_percent():
    """CHECKS: 2 kPa between mirror and chamber is 2 % of reading."""
    same = rh_from_mirror(10.0, 23.0, "dew", 1e5)
    assert rh_from_mirror(10.0, 23.0, "dew", 1e5, mirror_pa=1e5) == same
    assert rh_from_mirror(10.0, 23.0, "dew", 1e5, mirror_pa=1.02e5) == pytest.approx(same / 1.02, rel=2e-4)


def test_columns_broadcast_and_dew_and_frost_may_stand_in_one():
    column = rh_from_mirror([-10.0, -10.0, 5.0], 23.0, ["dew", "frost", "dew"], np.full(3, 101325.0))
    assert column == pytest.approx([10.19, 9.24, 31.03], abs=0.005)
    assert two_pressure_rh(np.array([[2e5], [5e5]]), 25.0, 1e5, np.array([25.0, 25.1, 25.2])).shape == (2, 3)
    targets = saturation_pressure_for_rh(np.array([95.0, 50.0, 10.0]), 23.0, 101325.0, 23.0)
    assert two_pressure_rh(targets, 23.0, 101325.0, 23.0) == pytest.approx([95.0, 50.0, 10.0], rel=1e-11)


def test_150_psi_gauge_expanded_to_the_room_gives_a_lowest_point_near_9_percent():
    """Common practice, no source; checked here against the physics only."""
    lowest = two_pressure_rh(150 * 6894.757 + 101325.0, 23.0, 101325.0, 23.0)
    assert 9.0 < lowest < 9.5
