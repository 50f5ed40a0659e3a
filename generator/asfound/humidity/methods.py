"""Relative humidity by each reference method, and the pressure to dial for a humidity.

Relative humidity is over liquid water, also below 0 °C: RH = 100·x/x_w, the mole fraction of vapour in the
air over that in air saturated over water at the same temperature and pressure, so that
RH = 100·p / [f(T, P)·e_w(T)] with the vapour's partial pressure p.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from asfound.humidity.domains import (
    EFFICIENCY_RANGE,
    PRESSURE_RANGE_PA,
    Numeric,
    as_numeric,
    as_real,
    is_ice,
    real_part,
    require_humidity,
    require_within,
)
from asfound.humidity.vapour import saturated_partial_pressure


def two_pressure_rh(
    saturation_pa: Numeric,
    saturation_c: Numeric,
    chamber_pa: Numeric,
    chamber_c: Numeric,
    efficiency: Numeric = 1.0,
    *,
    saturator_over: Any = "water",
) -> Numeric:
    """Humidity in the chamber of a two-pressure humidity generator, in %RH over water.

    Air saturated at one pressure expands to another; its mole fraction of vapour stays:
    RH = 100·η·[f(Ts, Ps)·e(Ts)/Ps] / [f(Tc, Pc)·e_w(Tc)/Pc].

    saturation_pa, chamber_pa: absolute pressures in Pa, 1e4 to 2.5e6.
    saturation_c, chamber_c: °C, −50 to 100 over water.
    efficiency: saturation efficiency η, about 1: the share of full saturation that the saturator reaches.
    saturator_over: "water" or "ice", what the saturator holds. Below 0 °C "water" means supercooled water: a
    saturator that froze must be said to hold "ice", which lowers the humidity by about 1 % of reading per
    kelvin.
    All broadcast. Returns %RH; a result above 100 (a chamber colder than the air's dew point) is returned
    as it is.
    Raises ValueError outside the ranges and above 110 %RH, where pressures are swapped or gauge for absolute.
    Source: conservation of the mole fraction; e and f of Hardy 1998.
    """
    saturation_pa, chamber_pa = as_numeric(saturation_pa), as_numeric(chamber_pa)
    efficiency = _efficiency(efficiency)
    saturated = saturated_partial_pressure(saturation_c, saturation_pa, saturator_over, place="saturation")
    full = saturated_partial_pressure(chamber_c, chamber_pa, place="chamber")
    rh = 100.0 * efficiency * (saturated / full) * (chamber_pa / saturation_pa)
    require_humidity(
        "computed relative humidity",
        rh,
        "are saturation and chamber swapped, or is one pressure gauge and the other absolute?",
    )
    return rh


def saturation_pressure_for_rh(
    target_rh: Numeric,
    saturation_c: Numeric,
    chamber_pa: Numeric,
    chamber_c: Numeric,
    efficiency: Numeric = 1.0,
    *,
    saturator_over: Any = "water",
) -> Numeric:
    """Saturation pressure that gives a humidity, in absolute Pa: the inverse of `two_pressure_rh`.

    target_rh: %RH over water, above 0. The other arguments, ranges and source as for `two_pressure_rh`; all
    real, all broadcast. Returns Pa, within 1e-11 relative.
    Raises ValueError where the saturator would need more than 2.5e6 Pa, or less than the chamber's pressure.
    """
    require_humidity("target humidity", target_rh)
    if not np.all(real_part(target_rh) > 0.0):
        raise ValueError("target humidity must be above 0 %RH: no saturation pressure gives dry air")
    chamber, saturator_c = as_real(chamber_pa), as_real(saturation_c)
    full = saturated_partial_pressure(as_real(chamber_c), chamber, place="chamber")
    wanted = as_real(target_rh) / (100.0 * _efficiency(as_real(efficiency))) * full / chamber
    lowest, highest = PRESSURE_RANGE_PA
    # f barely depends on the pressure: each step divides the error by twenty or more up to 1 MPa.
    pressure = np.broadcast_to(chamber, np.broadcast_shapes(np.shape(wanted), np.shape(saturator_c)))
    for _ in range(100):
        saturated = saturated_partial_pressure(saturator_c, pressure, saturator_over, place="saturation")
        previous, needed = pressure, saturated / wanted
        pressure = np.minimum(np.maximum(needed, lowest), highest)
        if np.all(np.abs(pressure - previous) <= 1e-12 * pressure):
            break
    else:
        raise ArithmeticError("the saturation pressure did not converge")
    require_within(
        "saturation pressure for the target humidity",
        needed,
        PRESSURE_RANGE_PA,
        "Pa",
        cure="the target lies beyond this saturation temperature",
    )
    if np.any(needed < chamber * (1.0 - 1e-9)):
        raise ValueError(
            "the target humidity needs a saturation pressure below the chamber pressure: "
            "air is dried by expansion, never moistened; warm the saturator or lower the target"
        )
    return needed[()]


def rh_from_mirror(
    mirror_c: Numeric,
    chamber_c: Numeric,
    condensate: Any,
    chamber_pa: Numeric,
    mirror_pa: Numeric | None = None,
) -> Numeric:
    """Humidity from a chilled mirror and an air temperature, in %RH over water.

    RH = 100·[f(Tm, Pm)·e(Tm)/Pm] / [f(Tc, Pc)·e_w(Tc)/Pc].

    mirror_c: °C, over water −50 to 100, over ice −100 to 0.01. chamber_c: air temperature in °C, −50 to 100.
    condensate: "dew" or "frost" on the mirror, a word or an array of words. It is never guessed: at −10 °C
    the difference is a tenth of the reading.
    chamber_pa, mirror_pa: absolute pressures in Pa at the air and at the mirror; without `mirror_pa` the
    same.
    All broadcast. Returns %RH. Raises ValueError outside the ranges, for another condensate, and above 110
    %RH.
    Source: conservation of the mole fraction; e and f of Hardy 1998.
    """
    frozen = is_ice(condensate, words=("dew", "frost"), name="condensate")
    chamber_pa = as_numeric(chamber_pa)
    mirror_pa = chamber_pa if mirror_pa is None else as_numeric(mirror_pa)
    over = np.where(frozen, "ice", "water")
    condensing = saturated_partial_pressure(mirror_c, mirror_pa, over, place="mirror")
    full = saturated_partial_pressure(chamber_c, chamber_pa, place="chamber")
    rh = 100.0 * (condensing / full) * (chamber_pa / mirror_pa)
    require_humidity("computed relative humidity", rh, "are mirror and air swapped, in temperature or in pressure?")
    return rh


def rh_at_sensor(reference_rh: Numeric, reference_c: Numeric, air_c: Numeric, pressure_pa: Numeric) -> Numeric:
    """A transfer probe's humidity, in air, moved to the temperature at the sensor, in %RH over water.

    The vapour pressure is the same at both places: RH·f(Tr, P)·e_w(Tr) = RH'·f(Ta, P)·e_w(Ta).

    reference_rh: %RH at the probe. reference_c: °C at the probe. air_c: °C at the sensor; both −50 to 100.
    pressure_pa: absolute pressure of the room in Pa. All broadcast.
    Returns %RH. Raises ValueError outside the ranges and above 110 %RH.
    Source: e and f of Hardy 1998.
    """
    reference_rh = as_numeric(reference_rh)
    require_humidity("reference humidity", reference_rh)
    at_probe = saturated_partial_pressure(reference_c, pressure_pa, place="reference")
    at_sensor = saturated_partial_pressure(air_c, pressure_pa, place="air")
    rh = reference_rh * (at_probe / at_sensor)
    require_humidity("computed relative humidity", rh, "are the temperatures of reference and air swapped?")
    return rh


def _efficiency(efficiency: Numeric) -> Numeric:
    efficiency = as_numeric(efficiency)
    require_within("saturation efficiency", efficiency, EFFICIENCY_RANGE, "of 1", cure="it is no percentage")
    return efficiency
