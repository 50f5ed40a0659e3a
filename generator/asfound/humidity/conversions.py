"""Humidity in its other measures: dew point, frost point, over ice, mole fraction, mixing ratio, g/m³.

Relative humidity without another word is over liquid water, in %RH, also below 0 °C.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from asfound.humidity.domains import (
    TEMPERATURE_RANGE_C,
    ZERO_C_IN_KELVIN,
    Numeric,
    as_numeric,
    as_real,
    real_part,
    refuse_where,
    require_humidity,
    require_positive_humidity,
    require_temperature,
)
from asfound.humidity.vapour import (
    saturated_partial_pressure,
    saturation_temperature_c,
    saturation_vapour_pressure,
)

MOLAR_GAS_CONSTANT = 8.314462618
"""J/(mol K), exact in the SI of 2019 to these digits."""

MOLAR_MASS_WATER = 18.015268e-3
"""kg/mol, IAPWS-95."""

MOLAR_MASS_DRY_AIR = 28.96546e-3
"""kg/mol, CIPM-2007 (Picard et al. 2008) at 400 µmol/mol of carbon dioxide, from memory."""


def dew_point_c(rh_percent: Numeric, temperature_c: Numeric, *, pressure_pa: Numeric | None = None) -> Numeric:
    """Dew point over (also supercooled) water of air at this humidity and temperature, in °C.

    rh_percent: %RH over water, above 0 to 110. temperature_c: °C, −50 to 100; all real, all broadcast.
    pressure_pa: absolute pressure in Pa, for f at both temperatures. Without it the ratio of pure vapour
    pressures is used: f cancels only approximately, which costs up to 0.02 K at one atmosphere (20 %RH at
    50 °C) and more at pressure.
    Returns °C; solves the forward functions to 1e-9 K.
    Raises ValueError outside the ranges and where the dew point is below −50 °C: ask for the frost point
    there.
    Source: Hardy 1998.
    """
    return _condensation_point(rh_percent, temperature_c, pressure_pa, "water")


def frost_point_c(rh_percent: Numeric, temperature_c: Numeric, *, pressure_pa: Numeric | None = None) -> Numeric:
    """Frost point of air at this humidity over water and this temperature, in °C.

    Arguments and source as for `dew_point_c`. Returns °C, −100 to 0.01.
    Raises ValueError outside the ranges and where the frost point is above 0.01 °C: there is none, ask for
    the dew point.
    """
    return _condensation_point(rh_percent, temperature_c, pressure_pa, "ice")


def rh_over_ice(rh_over_water: Numeric, temperature_c: Numeric, pressure_pa: Numeric) -> Numeric:
    """Relative humidity over ice of air at this humidity over water, in %RH.

    rh_over_water: %RH. temperature_c: °C, −50 to 0.01. pressure_pa: absolute pressure in Pa. All broadcast.
    Returns %RH over ice. Raises ValueError outside the ranges and above 100 %RH over ice: frost would form.
    Source: Hardy 1998, ratio of f·e over water and over ice.
    """
    require_humidity("relative humidity", rh_over_water)
    over_ice = as_numeric(rh_over_water) * water_to_ice_ratio(temperature_c, pressure_pa)
    _require_no_frost(over_ice)
    return over_ice


def rh_over_water(rh_over_ice: Numeric, temperature_c: Numeric, pressure_pa: Numeric) -> Numeric:
    """Relative humidity over water of air at this humidity over ice, in %RH: the inverse of `rh_over_ice`.

    rh_over_ice: %RH over ice, at most 100. Other arguments, ranges, errors and source as there.
    """
    require_humidity("relative humidity over ice", rh_over_ice)
    _require_no_frost(rh_over_ice)
    return as_numeric(rh_over_ice) / water_to_ice_ratio(temperature_c, pressure_pa)


def water_to_ice_ratio(temperature_c: Numeric, pressure_pa: Numeric) -> Numeric:
    """The ratio f_w·e_w / (f_i·e_i) by which humidity over ice exceeds humidity over water, unit one.

    temperature_c: °C, −50 to 0.01. pressure_pa: absolute pressure in Pa. Unlike `rh_over_ice` it knows no
    limit of saturation: random draws that stray past it are the caller's to judge.
    Raises ValueError outside the ranges. Source: Hardy 1998.
    """
    over_ice = saturated_partial_pressure(temperature_c, pressure_pa, "ice")
    return saturated_partial_pressure(temperature_c, pressure_pa, "water") / over_ice


def settled_saturation_rh(temperature_c: Numeric, pressure_pa: Numeric) -> Numeric:
    """The highest humidity that settled air keeps, in %RH over water: 100, below 0.01 °C that of saturation over ice.

    Above it and up to saturation over water (100 %RH) air is supersaturated over ice, for as long as nothing is
    there to freeze on; above saturation over water nothing in a chamber keeps it.

    temperature_c: °C, −50 to 100. pressure_pa: absolute pressure in Pa. All real, all broadcast.
    Raises ValueError outside the ranges. Source: Hardy 1998, ratio of f·e over water and over ice.
    """
    celsius, pressure = np.broadcast_arrays(as_real(temperature_c), as_real(pressure_pa))
    require_temperature("temperature", celsius, np.zeros(celsius.shape, bool))
    triple_point = TEMPERATURE_RANGE_C["ice"][1]
    over_ice = 100.0 / water_to_ice_ratio(np.minimum(celsius, triple_point), pressure)
    return np.where(celsius < triple_point, np.minimum(over_ice, 100.0), 100.0)[()]


def mole_fraction(rh_percent: Numeric, temperature_c: Numeric, pressure_pa: Numeric) -> Numeric:
    """Mole fraction of water vapour in moist air, unit one: x = RH/100·f(T, P)·e_w(T)/P.

    rh_percent: %RH over water. temperature_c: °C, −50 to 100. pressure_pa: absolute pressure in Pa. All
    broadcast.
    Raises ValueError outside the ranges. Source: Hardy 1998.
    """
    require_humidity("relative humidity", rh_percent)
    pressure_pa = as_numeric(pressure_pa)
    saturated = saturated_partial_pressure(temperature_c, pressure_pa)
    return as_numeric(rh_percent) / 100.0 * saturated / pressure_pa


def mixing_ratio(rh_percent: Numeric, temperature_c: Numeric, pressure_pa: Numeric) -> Numeric:
    """Mass of water vapour to mass of dry air, kg/kg: r = (M_w/M_a)·x/(1 − x).

    Arguments, ranges and errors as for `mole_fraction`; also raises ValueError where the air is all vapour.
    """
    x = mole_fraction(rh_percent, temperature_c, pressure_pa)
    real = real_part(x)
    said = "mole fraction of vapour is 1 or more: there is no dry air to refer the mixing ratio to"
    refuse_where(real >= 1.0, lambda _: said, real)
    return MOLAR_MASS_WATER / MOLAR_MASS_DRY_AIR * x / (1.0 - x)


def absolute_humidity_g_m3(rh_percent: Numeric, temperature_c: Numeric, pressure_pa: Numeric) -> Numeric:
    """Mass of water vapour in a volume of moist air, g/m³: ρ = x·P·M/(R·T), the vapour as an ideal gas.

    Arguments, ranges and errors as for `mole_fraction`. The ideal gas makes it low by 5e-4 at one
    atmosphere and 25 °C, and by more at pressure.
    """
    temperature_c, pressure_pa = as_numeric(temperature_c), as_numeric(pressure_pa)
    partial_pa = mole_fraction(rh_percent, temperature_c, pressure_pa) * pressure_pa
    density = partial_pa * MOLAR_MASS_WATER / (MOLAR_GAS_CONSTANT * (temperature_c + ZERO_C_IN_KELVIN))
    return 1000.0 * density


def _require_no_frost(over_ice: Numeric) -> None:
    real = real_part(over_ice)
    refuse_where(
        real > 100.0 + 1e-9,
        lambda one: (
            f"relative humidity over ice {one:.10g} %RH is above 100 %RH, where frost forms; "
            "check the temperature, and whether the humidity is over water or over ice"
        ),
        real,
    )


def _condensation_point(rh_percent: Numeric, temperature_c: Numeric, pressure_pa: Numeric | None, over: Any) -> Numeric:
    require_positive_humidity("relative humidity", rh_percent)
    share = as_numeric(rh_percent) / 100.0
    if pressure_pa is None:
        return saturation_temperature_c(share * saturation_vapour_pressure(temperature_c), over=over)
    partial_pa = share * saturated_partial_pressure(temperature_c, pressure_pa)
    return saturation_temperature_c(partial_pa, pressure_pa, over)
