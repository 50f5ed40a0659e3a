"""The published checks are worth something: each slip of a pen in the formulas makes them fail."""

from __future__ import annotations

import pytest

from asfound import humidity
from tests.humidity import published_checks
from tests.slips import Slip, with_slip

SLIPS = {
    "a sign lost in e over water": ("VAPOUR_WATER", "-2.737830188e-2", "2.737830188e-2"),
    "a sign lost in the smallest term of e over water": ("VAPOUR_WATER", "-1.8680009e-13", "1.8680009e-13"),
    "an exponent dropped in e over ice": ("VAPOUR_ICE", "1.39387003e-2", "1.39387003"),
    "a digit lost in e over water": ("VAPOUR_WATER", "1.6261698e-5", "1.626169e-5"),
    "two digits swapped in e over ice": ("VAPOUR_ICE", "2.232870244e1", "2.228370244e1"),
    "the logarithm's factor of ice cut short": ("VAPOUR_ICE", "6.7063522e-1", "6.7063e-1"),
    "digits lost in f over water": ("ENHANCEMENT_WATER", "6.3405286e-7", "6.3405e-7"),
    "a sign lost in f over water": ("ENHANCEMENT_WATER", "-6.7703064e-6", "6.7703064e-6"),
    "an exponent off by one in f over supercooled water": ("ENHANCEMENT_SUPERCOOLED", "3.8268958e-9", "3.8268958e-8"),
    "a sign lost in f over ice": ("ENHANCEMENT_ICE", "-9.4868712e1", "9.4868712e1"),
    "the supercooled set used for ice": (
        "_ln_factor",
        "_select(ice, ENHANCEMENT_ICE, water)",
        "_select(ice, ENHANCEMENT_SUPERCOOLED, water)",
    ),
    "the two sets over water swapped": (
        "_ln_factor",
        "_select(warm, ENHANCEMENT_WATER, ENHANCEMENT_SUPERCOOLED)",
        "_select(warm, ENHANCEMENT_SUPERCOOLED, ENHANCEMENT_WATER)",
    ),
    "one set of f over water used on both sides of zero": (
        "_ln_factor",
        "_select(warm, ENHANCEMENT_WATER, ENHANCEMENT_SUPERCOOLED)",
        "_select(warm, ENHANCEMENT_WATER, ENHANCEMENT_WATER)",
    ),
    "water and ice swapped": (
        "_ln_vapour_pressure",
        "_select(ice, VAPOUR_ICE, VAPOUR_WATER)",
        "_select(ice, VAPOUR_WATER, VAPOUR_ICE)",
    ),
    "e/P inverted in f": ("_ln_factor", "1.0 - vapour_pa / pressure_pa", "1.0 - pressure_pa / vapour_pa"),
    "P/e without its −1 in f": ("_ln_factor", "(pressure_pa / vapour_pa - 1.0)", "(pressure_pa / vapour_pa)"),
    "ln β taken for β": (
        "_ln_factor",
        "beta = np.exp(_horner(chosen[4:], kelvin))",
        "beta = _horner(chosen[4:], kelvin)",
    ),
    "f multiplied twice": (
        "saturated_partial_pressure",
        "return factor * vapour_pa",
        "return factor * factor * vapour_pa",
    ),
    "f forgotten": ("saturated_partial_pressure", "return factor * vapour_pa", "return vapour_pa"),
    "one kelvin digit off": ("ZERO_C_IN_KELVIN", "273.15", "273.16"),
    "f at the chamber's pressure in the saturator": (
        "two_pressure_rh",
        "saturated_partial_pressure(saturation_c, saturation_pa, saturator_over",
        "saturated_partial_pressure(saturation_c, chamber_pa, saturator_over",
    ),
    "the pressure ratio inverted": (
        "two_pressure_rh",
        "(chamber_pa / saturation_pa)",
        "(saturation_pa / chamber_pa)",
    ),
    "the pressure ratio left out": ("two_pressure_rh", "(chamber_pa / saturation_pa)", "1.0"),
    "saturator and chamber temperature swapped": ("two_pressure_rh", "(saturated / full)", "(full / saturated)"),
    "mirror and air swapped": ("rh_from_mirror", "(condensing / full)", "(full / condensing)"),
    "the mirror's pressure ratio inverted": (
        "rh_from_mirror",
        "(chamber_pa / mirror_pa)",
        "(mirror_pa / chamber_pa)",
    ),
    "dew and frost swapped": ("rh_from_mirror", '("dew", "frost")', '("frost", "dew")'),
    "probe and sensor swapped in air": ("rh_at_sensor", "(at_probe / at_sensor)", "(at_sensor / at_probe)"),
    "the dialled pressure inverted": ("saturation_pressure_for_rh", "saturated / wanted", "wanted / saturated"),
    "dew point from the humidity as a fraction": (
        "_condensation_point",
        "/ 100.0\n    if pressure_pa",
        "\n    if pressure_pa",
    ),
    "frost point over water": (
        "_condensation_point",
        "(partial_pa, pressure_pa, over)",
        '(partial_pa, pressure_pa, "water")',
    ),
    "over ice and over water swapped": (
        "rh_over_ice",
        "as_numeric(rh_over_water) * water_to_ice_ratio",
        "as_numeric(rh_over_water) / water_to_ice_ratio",
    ),
    "mixing ratio by the whole air": ("mixing_ratio", "(1.0 - x)", "1.0"),
    "density at the temperature in °C": (
        "absolute_humidity_g_m3",
        "(temperature_c + ZERO_C_IN_KELVIN)",
        "(temperature_c)",
    ),
    "a sign of LiCl as two public tables have it": ("_SALTS", "11.2323, 0.00824245", "11.2323, -0.00824245"),
    "a sign of CH3COOK as a public table has it": ("_SALTS", "-0.612268e-2", "0.612268e-2"),
    "a sign of K2CO3 as a public table has it": ("_SALTS", "43.1315, 0.00147523", "43.1315, -0.00147523"),
    "a digit lost in NaCl": ("_SALTS", "0.0398321", "0.039"),
}


def test_the_program_as_it_is_meets_every_published_value():
    assert published_checks.failures(humidity) == []


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_found(name):
    with with_slip(Slip(*SLIPS[name])):
        assert published_checks.failures(humidity) != []
