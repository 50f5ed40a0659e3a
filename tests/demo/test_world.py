"""The demo's physics against published values: what it is made of must not be a mistake of its own."""

from __future__ import annotations

import pytest

pytest.importorskip("CoolProp", reason="the demo's physics is CoolProp's: install the dev extra")

from tests.demo.world import Air, air_of, ice_pressure_pa, saturated, saturator_pressure, supercooled_pressure_pa


def test_vapour_pressure_over_ice_and_supercooled_water():
    # ASHRAE Handbook Fundamentals 2017, chapter 1, table 3: 103.24 Pa over ice at -20 °C.
    assert ice_pressure_pa(253.15) == pytest.approx(103.24, rel=3e-4)
    # Smithsonian Meteorological Tables 1951, table 94: 1.2540 hPa over supercooled water at -20 °C (from memory);
    # formulations of supercooled water differ by a few tenths of a per cent.
    assert supercooled_pressure_pa(253.15) == pytest.approx(125.40, rel=3e-3)


def test_a_frost_point_gives_back_its_humidity():
    air = air_of(60.0, -20.0, 99_000.0, over="ice")
    frost = air_of(100.0, air.condensation_point_c(), 99_000.0, over="ice")
    assert frost.water == pytest.approx(air.water, rel=1e-6)
    assert air.humidity("ice") == pytest.approx(60.0, abs=1e-6)
    assert air.humidity("water") == pytest.approx(60.0 * 103.24 / 125.40, rel=3e-3)


def test_the_lowest_point_of_a_humidity_generator_lies_near_9_percent():
    # Common practice, no source: 150 psi gauge, expanded to the room.
    water = saturated(23.0, 150 * 6894.757 + 101_325.0, 1.0)
    lowest = Air(water=water, temperature_c=23.0, pressure_pa=101_325.0).humidity()
    assert 9.0 < lowest < 9.5
    assert saturator_pressure(lowest, 23.0, 23.0, 101_325.0, 1.0) == pytest.approx(1_135_538.0, rel=1e-5)
