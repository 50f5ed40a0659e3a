"""Humidity computed from what reference instruments read: the front door for other programs; needs numpy only.

Everything works on scalars and arrays and broadcasts. Temperatures are in °C (ITS-90), pressures absolute
and in Pa, humidity in %RH over liquid water unless a name says ice. A value outside its range raises
ValueError with the quantity, the value, the range and the unit. The functions that lead from readings to a
humidity also take complex numbers and objects that carry derivatives through arithmetic and
`__array_ufunc__`; the inverses (dew and frost point, saturation pressure for a humidity) take real numbers.

>>> from asfound.humidity import two_pressure_rh
>>> print(f"{two_pressure_rh(500e3, 25.0, 100e3, 25.1):.3f} %RH")
20.107 %RH

Formulations: Hardy 1998 for vapour pressure and enhancement factor, Greenspan 1977 for saturated salts.
"""

from asfound.humidity.conversions import (
    absolute_humidity_g_m3,
    dew_point_c,
    frost_point_c,
    mixing_ratio,
    mole_fraction,
    rh_over_ice,
    rh_over_water,
    settled_saturation_rh,
    water_to_ice_ratio,
)
from asfound.humidity.methods import (
    rh_at_sensor,
    rh_from_mirror,
    saturation_pressure_for_rh,
    two_pressure_rh,
)
from asfound.humidity.salts import SALTS, salt_range_c, salt_rh, salt_uncertainty
from asfound.humidity.vapour import (
    enhancement_factor,
    saturated_partial_pressure,
    saturation_temperature_c,
    saturation_vapour_pressure,
)

__all__ = [
    "SALTS",
    "absolute_humidity_g_m3",
    "dew_point_c",
    "enhancement_factor",
    "frost_point_c",
    "mixing_ratio",
    "mole_fraction",
    "rh_at_sensor",
    "rh_from_mirror",
    "rh_over_ice",
    "rh_over_water",
    "salt_range_c",
    "salt_rh",
    "salt_uncertainty",
    "saturated_partial_pressure",
    "saturation_pressure_for_rh",
    "saturation_temperature_c",
    "saturation_vapour_pressure",
    "settled_saturation_rh",
    "two_pressure_rh",
    "water_to_ice_ratio",
]
