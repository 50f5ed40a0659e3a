"""What the humidity functions accept, and how they say no.

Every function takes a scalar, a list, an array, or an object that carries derivatives through arithmetic
and `__array_ufunc__`. A value is judged by its real part only, so a complex step or a dual number passes
unchanged. A value outside its range raises ValueError with the quantity, the value, the range and the unit.
NaN is outside. The error is an `OutsideRange`, which also says where in an array it stands.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Numeric: TypeAlias = Any
"""A float, a complex, an array of either, or an object with `.real`, arithmetic and `__array_ufunc__`."""

ZERO_C_IN_KELVIN = 273.15

TEMPERATURE_RANGE_C = {"water": (-50.0, 100.0), "ice": (-100.0, 0.01)}
"""Where Hardy 1998 gives the vapour pressure over each phase."""

PRESSURE_RANGE_PA = (1.0e4, 2.5e6)
"""Absolute pressure. The enhancement factor was fitted up to 2 MPa (Greenspan 1976, range from memory). Above
that it is extrapolated, for humidity generators that work at 300 psi gauge: at 1 °C it lies 0.33 % below the
newer virial model at 2.5 MPa, after 0.24 % at 2 MPa and 0.13 % at 1.2 MPa. The lower end catches psi, hPa,
kPa and bar given for Pa: an atmosphere in any of them is a number below 10 000."""

HUMIDITY_RANGE_PERCENT = (-10.0, 110.0)
"""Relative humidity, given or computed. Readings and random draws stray a little past 0 and 100; what lies
further out is a mistake, such as two values swapped or a gauge pressure for an absolute one."""

EFFICIENCY_RANGE = (0.5, 1.1)
"""Saturation efficiency is at most 1; draws around 1 pass, a percentage does not."""


class OutsideRange(ValueError):
    """Some values have no answer; the error's own text is that of the first of them.

    `where`: which ones, as booleans in the shape of the values. A check is passed by all or names all that fail it, so
    whoever leaves these out and asks again has lost no other value, and every value has the message that it has alone.
    """

    def __init__(self, where: NDArray[np.bool_], message: Callable[..., str], *values: NDArray[np.float64]) -> None:
        self.where = where
        self._message, self._values = message, tuple(value[where] for value in values)
        super().__init__(next(self.messages()))

    def messages(self) -> Iterator[str]:
        """What is said of each value that `where` names, in their order."""
        return (self._message(*given) for given in zip(*self._values, strict=True))


def refuse_where(outside: NDArray[np.bool_], message: Callable[..., str], *values: NDArray[np.float64]) -> None:
    """Raise OutsideRange if any are `outside`; `message` tells of one of them by its `values`, all of one shape."""
    if outside.any():
        raise OutsideRange(outside, message, *values)


def as_numeric(value: Numeric) -> Numeric:
    """`value` ready for arithmetic in double precision; what carries derivatives is left as it is."""
    if not hasattr(value, "__array_ufunc__"):
        value = np.asarray(value)
    if not isinstance(value, np.ndarray | np.generic) or value.dtype.kind == "c":
        return value
    if value.dtype.kind not in "fiu":
        raise TypeError(f"a number or an array of numbers is needed, not {value!r:.60}")
    return np.asarray(value, dtype=np.float64)[()]


def as_real(value: Numeric) -> NDArray[np.float64]:
    """`value` as an array for the inverses. They carry no derivative: TypeError rather than drop one."""
    value = as_numeric(value)
    if isinstance(value, np.ndarray | np.generic) and value.dtype.kind == "c":
        raise TypeError("an inverse takes real numbers only; differentiate the forward function")
    return np.asarray(value, dtype=np.float64)


def real_part(value: Numeric) -> NDArray[np.float64]:
    """The real part alone, for comparisons."""
    return np.asarray(getattr(value, "real", value), dtype=np.float64)


def require_within(
    quantity: str,
    value: Numeric,
    limits: tuple[float, float],
    unit: str,
    *,
    cure: str = "",
    where: NDArray[np.bool_] | bool = True,
) -> None:
    """Raise OutsideRange unless all real parts of `value`, `where` they matter, lie in the closed range."""
    low, high = limits
    real, concerned = np.broadcast_arrays(real_part(value), where)
    outside = ~((real >= low) & (real <= high)) & concerned  # so that NaN is outside
    advice = f"; {cure}" if cure else ""
    refuse_where(
        outside, lambda one: f"{quantity} {one:.10g} {unit} is outside {low:g} to {high:g} {unit}{advice}", real
    )


def is_ice(over: Any, *, words: tuple[str, str] = ("water", "ice"), name: str = "over") -> NDArray[np.bool_]:
    """Where `over`, a word or an array of words, says ice. Raises ValueError for any other word."""
    said = np.asarray(over)
    liquid, frozen = said == words[0], said == words[1]
    if not np.all(liquid | frozen):
        other = said[~(liquid | frozen)].flat[0]
        raise ValueError(f"{name} must be '{words[0]}' or '{words[1]}', not {other!s:.40}")
    return np.asarray(frozen)


def require_temperature(quantity: str, temperature_c: Numeric, ice: NDArray[np.bool_]) -> None:
    """Raise OutsideRange where the formulas for the phase do not hold, °C."""
    for phase, concerned in (("water", ~ice), ("ice", ice)):
        require_within(f"{quantity} over {phase}", temperature_c, TEMPERATURE_RANGE_C[phase], "°C", where=concerned)


def require_pressure(quantity: str, pressure_pa: Numeric) -> None:
    """Raise OutsideRange where an absolute pressure in Pa is beyond the range of the enhancement factor."""
    require_within(
        f"absolute {quantity}",
        pressure_pa,
        PRESSURE_RANGE_PA,
        "Pa",
        cure="pressures are absolute and in Pa (1 kPa = 1000 Pa, 1 hPa = 100 Pa, 1 psi = 6894.757 Pa)",
    )


def require_humidity(quantity: str, rh_percent: Numeric, cure: str = "") -> None:
    """Raise OutsideRange where a humidity is none that air can have, %RH."""
    require_within(quantity, rh_percent, HUMIDITY_RANGE_PERCENT, "%RH", cure=cure)


def require_positive_humidity(quantity: str, rh_percent: Numeric) -> None:
    """For the functions that take its logarithm."""
    require_humidity(quantity, rh_percent)
    real = real_part(rh_percent)
    refuse_where(
        real <= 0.0, lambda _: f"{quantity} must be above 0 %RH: air without water has no dew or frost point", real
    )
