"""The published checks are worth something: each slip of a pen in the formulas makes them fail."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from asfound import humidity
from tests.humidity import published_checks

SOURCES = Path(humidity.__file__).parent
MODULES = ("domains", "vapour", "methods", "conversions", "salts", "__init__")
MUTANT = "mutant_of_humidity"

SLIPS = {
    "a sign lost in e over water": ("vapour", "-2.737830188e-2", "2.737830188e-2"),
    "a sign lost in the smallest term of e over water": ("vapour", "-1.8680009e-13", "1.8680009e-13"),
    "an exponent dropped in e over ice": ("vapour", "1.39387003e-2", "1.39387003"),
    "a digit lost in e over water": ("vapour", "1.6261698e-5", "1.626169e-5"),
    "two digits swapped in e over ice": ("vapour", "2.232870244e1", "2.228370244e1"),
    "the logarithm's factor of ice cut short": ("vapour", "6.7063522e-1", "6.7063e-1"),
    "digits lost in f over water": ("vapour", "6.3405286e-7", "6.3405e-7"),
    "a sign lost in f over water": ("vapour", "-6.7703064e-6", "6.7703064e-6"),
    "an exponent off by one in f over supercooled water": ("vapour", "3.8268958e-9", "3.8268958e-8"),
    "a sign lost in f over ice": ("vapour", "-9.4868712e1", "9.4868712e1"),
    "the supercooled set used for ice": (
        "vapour",
        "_select(ice, ENHANCEMENT_ICE, water)",
        "_select(ice, ENHANCEMENT_SUPERCOOLED, water)",
    ),
    "the two sets over water swapped": (
        "vapour",
        "_select(warm, ENHANCEMENT_WATER, ENHANCEMENT_SUPERCOOLED)",
        "_select(warm, ENHANCEMENT_SUPERCOOLED, ENHANCEMENT_WATER)",
    ),
    "one set of f over water used on both sides of zero": (
        "vapour",
        "_select(warm, ENHANCEMENT_WATER, ENHANCEMENT_SUPERCOOLED)",
        "_select(warm, ENHANCEMENT_WATER, ENHANCEMENT_WATER)",
    ),
    "water and ice swapped": (
        "vapour",
        "_select(ice, VAPOUR_ICE, VAPOUR_WATER)",
        "_select(ice, VAPOUR_WATER, VAPOUR_ICE)",
    ),
    "e/P inverted in f": ("vapour", "1.0 - vapour_pa / pressure_pa", "1.0 - pressure_pa / vapour_pa"),
    "P/e without its −1 in f": ("vapour", "(pressure_pa / vapour_pa - 1.0)", "(pressure_pa / vapour_pa)"),
    "ln β taken for β": (
        "vapour",
        "beta = np.exp(_horner(chosen[4:], kelvin))",
        "beta = _horner(chosen[4:], kelvin)",
    ),
    "f multiplied twice": ("vapour", "return factor * vapour_pa", "return factor * factor * vapour_pa"),
    "f forgotten": ("vapour", "return factor * vapour_pa", "return vapour_pa"),
    "one kelvin digit off": ("domains", "273.15", "273.16"),
    "f at the chamber's pressure in the saturator": (
        "methods",
        "saturated_partial_pressure(saturation_c, saturation_pa, saturator_over",
        "saturated_partial_pressure(saturation_c, chamber_pa, saturator_over",
    ),
    "the pressure ratio inverted": (
        "methods",
        "(chamber_pa / saturation_pa)",
        "(saturation_pa / chamber_pa)",
    ),
    "the pressure ratio left out": ("methods", "(chamber_pa / saturation_pa)", "1.0"),
    "saturator and chamber temperature swapped": ("methods", "(saturated / full)", "(full / saturated)"),
    "mirror and air swapped": ("methods", "(condensing / full)", "(full / condensing)"),
    "the mirror's pressure ratio inverted": (
        "methods",
        "(chamber_pa / mirror_pa)",
        "(mirror_pa / chamber_pa)",
    ),
    "dew and frost swapped": ("methods", '("dew", "frost")', '("frost", "dew")'),
    "probe and sensor swapped in air": ("methods", "(at_probe / at_sensor)", "(at_sensor / at_probe)"),
    "the dialled pressure inverted": ("methods", "saturated / wanted", "wanted / saturated"),
    "dew point from the humidity as a fraction": (
        "conversions",
        "/ 100.0\n    if pressure_pa",
        "\n    if pressure_pa",
    ),
    "frost point over water": (
        "conversions",
        "(partial_pa, pressure_pa, over)",
        '(partial_pa, pressure_pa, "water")',
    ),
    "over ice and over water swapped": (
        "conversions",
        "as_numeric(rh_over_water) * water_to_ice_ratio",
        "as_numeric(rh_over_water) / water_to_ice_ratio",
    ),
    "mixing ratio by the whole air": ("conversions", "(1.0 - x)", "1.0"),
    "density at the temperature in °C": (
        "conversions",
        "(temperature_c + ZERO_C_IN_KELVIN)",
        "(temperature_c)",
    ),
    "a sign of LiCl as two public tables have it": ("salts", "11.2323, 0.00824245", "11.2323, -0.00824245"),
    "a sign of CH3COOK as a public table has it": ("salts", "-0.612268e-2", "0.612268e-2"),
    "a sign of K2CO3 as a public table has it": ("salts", "43.1315, 0.00147523", "43.1315, -0.00147523"),
    "a digit lost in NaCl": ("salts", "0.0398321", "0.039"),
}


def grown(slip: tuple[str, str, str] | None) -> ModuleType:
    """The package's sources, with the slip made, run in memory under another name."""
    for name in MODULES:
        text = (SOURCES / f"{name}.py").read_text(encoding="utf-8")
        if slip and slip[0] == name:
            assert slip[1] in text, f"the slip no longer fits the source: {slip[1]}"
            text = text.replace(slip[1], slip[2])
        full_name = MUTANT if name == "__init__" else f"{MUTANT}.{name}"
        module = ModuleType(full_name)
        sys.modules[full_name] = module
        if name == MODULES[0]:
            sys.modules[MUTANT] = ModuleType(MUTANT)  # the submodules import through it
            sys.modules[MUTANT].__path__ = []
        exec(compile(text.replace("asfound.humidity", MUTANT), full_name, "exec"), module.__dict__)
    return sys.modules[MUTANT]


@pytest.fixture(autouse=True)
def _mutants_are_forgotten() -> Iterator[None]:
    yield
    for name in [name for name in sys.modules if name.split(".")[0] == MUTANT]:
        del sys.modules[name]


def test_the_sources_as_they_are_meet_every_published_value():
    assert published_checks.failures(grown(None)) == []


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_found(name):
    assert published_checks.failures(grown(SLIPS[name])) != []
