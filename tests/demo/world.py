"""Moist air as it truly is in the demo: by CoolProp and published tables, never by the formulas under test.

What holds between saturator and chamber is the mole fraction of water; CoolProp's virial model of moist air
(ASHRAE RP-1485) turns it into relative humidity at any temperature and pressure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from CoolProp.HumidAirProp import HAPropsSI
from scipy.optimize import brentq

ZERO_C = 273.15

SALTS_PERCENT = {
    "LiCl": (11.31, 11.30),
    "MgCl2": (33.07, 32.78),
    "NaCl": (75.47, 75.29),
    "K2SO4": (97.59, 97.30),
}
"""Humidity over saturated solutions at 20 and 25 °C: Greenspan 1977, J. Res. NBS 81A, 89–96, Table 2 (from memory)."""


@dataclass(frozen=True, kw_only=True)
class Air:
    """Moist air: mole fraction of water, temperature in °C, absolute pressure in Pa."""

    water: float
    temperature_c: float
    pressure_pa: float

    def warmed(self, kelvin: float) -> Air:
        """The same air, warmer: the water in it stays."""
        return Air(water=self.water, temperature_c=self.temperature_c + kelvin, pressure_pa=self.pressure_pa)

    def humidity(self, over: str = "water") -> float:
        """Relative humidity in %RH, over liquid water or over ice."""
        kelvin = self.temperature_c + ZERO_C
        percent = 100.0 * HAPropsSI("R", "T", kelvin, "P", self.pressure_pa, "Y", self.water)
        return percent * _to_phase(kelvin, over)

    def condensation_point_c(self) -> float:
        """Dew point in °C; below 0 °C the frost point."""
        kelvin = self.temperature_c + ZERO_C
        return HAPropsSI("D", "T", kelvin, "P", self.pressure_pa, "Y", self.water) - ZERO_C


def air_of(humidity: float, temperature_c: float, pressure_pa: float, over: str = "water") -> Air:
    """Air of a humidity in %RH, over liquid water or over ice."""
    kelvin = temperature_c + ZERO_C
    ratio = humidity / 100.0 / _to_phase(kelvin, over)
    water = HAPropsSI("Y", "T", kelvin, "P", pressure_pa, "R", ratio)
    return Air(water=water, temperature_c=temperature_c, pressure_pa=pressure_pa)


def saturated(temperature_c: float, pressure_pa: float, efficiency: float) -> float:
    """Mole fraction of water that leaves a saturator."""
    return efficiency * HAPropsSI("Y", "T", temperature_c + ZERO_C, "P", pressure_pa, "R", 1.0)


def saturator_pressure(
    humidity: float, saturator_c: float, chamber_c: float, chamber_pa: float, efficiency: float
) -> float:
    """The saturator's pressure in Pa that gives a chamber of `humidity`: what the technician dials."""

    def excess(pressure_pa: float) -> float:
        water = saturated(saturator_c, pressure_pa, efficiency)
        return Air(water=water, temperature_c=chamber_c, pressure_pa=chamber_pa).humidity() - humidity

    return root(excess, chamber_pa, 2.0e6)


def salt_humidity(salt: str, temperature_c: float) -> float:
    """Humidity over a saturated solution in %RH, straight between the published 20 and 25 °C."""
    at_20, at_25 = SALTS_PERCENT[salt]
    return at_20 + (at_25 - at_20) * (temperature_c - 20.0) / 5.0


def root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a function crosses zero."""
    return float(brentq(function, low, high, xtol=1e-6, rtol=1e-12))


def _to_phase(kelvin: float, over: str) -> float:
    """From CoolProp's relative humidity, which changes to ice below 0 °C, to the one over `over`."""
    if kelvin >= ZERO_C or over == "ice":
        return 1.0
    return ice_pressure_pa(kelvin) / supercooled_pressure_pa(kelvin)


def ice_pressure_pa(kelvin: float) -> float:
    """Over ice, in Pa: Murphy and Koop 2005, Q. J. R. Meteorol. Soc. 131, 1539–1565, equation (7) (from memory)."""
    return math.exp(9.550426 - 5723.265 / kelvin + 3.53068 * math.log(kelvin) - 0.00728332 * kelvin)


def supercooled_pressure_pa(kelvin: float) -> float:
    """The same, equation (10): over supercooled liquid water, in Pa (from memory)."""
    logarithm = math.log(kelvin)
    low = 54.842763 - 6763.22 / kelvin - 4.210 * logarithm + 0.000367 * kelvin
    high = 53.878 - 1331.22 / kelvin - 9.44523 * logarithm + 0.014025 * kelvin
    return math.exp(low + math.tanh(0.0415 * (kelvin - 218.8)) * high)
