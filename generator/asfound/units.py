"""Units of the trade: in brackets in a CSV header, behind the number in YAML; converted once, on reading.

Everything inside the program is in the canonical unit of its quantity: %RH, Pa, degC, mA, V, min.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Literal

from asfound.faults import did_you_mean

Quantity = Literal["humidity", "pressure", "temperature", "current", "voltage", "duration", "fraction"]

CANONICAL: dict[str, str] = {
    "humidity": "%RH",
    "pressure": "Pa",
    "temperature": "degC",
    "current": "mA",
    "voltage": "V",
    "duration": "min",
    "fraction": "1",
}


@dataclass(frozen=True, kw_only=True)
class Unit:
    """canonical = scale · (value + shift); a difference takes the scale alone."""

    symbol: str
    quantity: Quantity
    scale: float = 1.0
    shift: float = 0.0
    gauge: bool | None = None  # pressures in a header say gauge or absolute

    def canonical(self, value: float) -> float:
        """A value in this unit → the same in the canonical unit."""
        return (value + self.shift) * self.scale

    def from_canonical(self, value: float) -> float:
        """A value in the canonical unit → the same in this unit."""
        return value / self.scale - self.shift


# Pressures: NIST SP 811 (2008) appendix B.8 (psi from lbf and in exactly; inHg and mmHg conventional).
_BASE: tuple[Unit, ...] = (
    Unit(symbol="%RH", quantity="humidity"),
    Unit(symbol="Pa", quantity="pressure"),
    Unit(symbol="hPa", quantity="pressure", scale=100.0),
    Unit(symbol="mbar", quantity="pressure", scale=100.0),
    Unit(symbol="kPa", quantity="pressure", scale=1e3),
    Unit(symbol="MPa", quantity="pressure", scale=1e6),
    Unit(symbol="bar", quantity="pressure", scale=1e5),
    Unit(symbol="psi", quantity="pressure", scale=4.4482216152605 / 0.0254**2),
    Unit(symbol="inHg", quantity="pressure", scale=3386.389),
    Unit(symbol="mmHg", quantity="pressure", scale=133.3224),
    Unit(symbol="degC", quantity="temperature"),
    Unit(symbol="degF", quantity="temperature", scale=5.0 / 9.0, shift=-32.0),
    Unit(symbol="K", quantity="temperature", shift=-273.15),
    Unit(symbol="mA", quantity="current"),
    Unit(symbol="V", quantity="voltage"),
    Unit(symbol="mV", quantity="voltage", scale=1e-3),
    Unit(symbol="s", quantity="duration", scale=1.0 / 60.0),
    Unit(symbol="min", quantity="duration"),
    Unit(symbol="h", quantity="duration", scale=60.0),
    Unit(symbol="%", quantity="fraction", scale=0.01),
)
UNITS: dict[str, Unit] = {unit.symbol: unit for unit in _BASE}

# What people write for a unit that has another name here; only ever a suggestion, never read silently.
_HABITS: dict[str, str] = {
    "°C": "degC",
    "C": "degC",
    "°F": "degF",
    "F": "degF",
    "%": "%RH",
    "RH": "%RH",
    "%rh": "%RH",
    "psig": "psi gauge",
    "psia": "psi absolute",
    "barg": "bar gauge",
    "bara": "bar absolute",
    "kPag": "kPa gauge",
    "kPaa": "kPa absolute",
}

NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_AMOUNT = re.compile(rf"\s*(?P<number>{NUMBER.pattern})\s*(?P<symbol>[^\s/0-9.][^\s/]*)(?P<per>/\S+)?\s*")
_SAME_RATE = {"/K": "/degC"}  # per kelvin and per degree Celsius are one slope


class UnitError(ValueError):
    """What is wrong with a unit or an amount, and the cure."""

    def __init__(self, message: str, cure: str) -> None:
        super().__init__(message)
        self.cure = cure


def symbols(*quantities: str) -> tuple[str, ...]:
    """The unit symbols of these quantities, as a user may write them."""
    return tuple(unit.symbol for unit in _BASE if unit.quantity in quantities)


def header_unit(text: str, quantities: tuple[str, ...]) -> Unit:
    """The unit that stands in a header's brackets, e.g. `psi gauge`, `degF`, `%RH`.

    Raises UnitError for an unknown unit, one of another quantity, or a pressure that does not say gauge or
    absolute.
    """
    words = text.split()
    unit = UNITS.get(words[0]) if words else None
    if unit is None or unit.quantity not in quantities:
        message = f"unknown unit [{text}]" if unit is None else f"[{text}] is a unit of {unit.quantity}"
        raise UnitError(message, _header_cure(text, quantities))
    if unit.quantity != "pressure":
        if len(words) > 1:
            raise UnitError(f"unknown unit [{text}]", f"write [{unit.symbol}]")
        return unit
    if words[1:] not in (["gauge"], ["absolute"]):
        raise UnitError(
            f"[{text}] does not say gauge or absolute",
            f"write [{unit.symbol} gauge] or [{unit.symbol} absolute]; at 1.1 MPa a mix-up is 9 % of reading",
        )
    return replace(unit, symbol=" ".join(words), gauge=words[1] == "gauge")


def _header_cure(text: str, quantities: tuple[str, ...]) -> str:
    habit = _HABITS.get(text.strip())
    if habit is not None and UNITS[habit.split()[0]].quantity in quantities:
        return f"write [{habit}]"
    allowed = symbols(*quantities)
    guess = did_you_mean(text.split()[0] if text.split() else "", allowed)
    if quantities == ("pressure",):
        units = ", ".join(allowed)
        return f"write [UNIT gauge] or [UNIT absolute], the unit one of {units}{guess}"
    return f"write one of {', '.join(f'[{symbol}]' for symbol in allowed)}{guess}"


def amount(text: str, quantity: str, *, difference: bool = False, per: str | None = None) -> float:
    """`0.05 kPa`, `-2 degC`, `0.2 degC/year` → the value in the canonical unit.

    `difference`: a temperature difference or an uncertainty (no zero shift); `per`: the word that must stand
    behind the slash. Raises UnitError.
    """
    return amount_of(text, (quantity,), difference=difference, per=per)[0]


def amount_of(
    text: str, quantities: tuple[str, ...], *, difference: bool = False, per: str | None = None
) -> tuple[float, Quantity]:
    """An amount of one of several quantities: canonical value and quantity. Raises UnitError."""
    slash = f"/{per}" if per else ""
    allowed = symbols(*quantities)
    example = f"0.1 {allowed[0]}{slash}"
    match = _AMOUNT.fullmatch(text)
    if match is None:
        what = "has no unit" if NUMBER.fullmatch(text.strip()) else "is not a number with a unit"
        raise UnitError(f"{text!r} {what}", f"write a number and its unit, e.g. {example!r}")
    unit = UNITS.get(match["symbol"])
    if unit is None or unit.quantity not in quantities:
        message = f"{text!r}: {match['symbol']!r} is no unit of {' or '.join(quantities)}"
        raise UnitError(message, f"use one of {', '.join(allowed)}")
    written = match["per"] or ""
    if _SAME_RATE.get(written, written) != slash:
        raise UnitError(
            f"{text!r} must be {'an amount per ' + per if per else 'a plain amount'}",
            f"write e.g. {example!r}",
        )
    number = float(match["number"])
    value = number * unit.scale if difference else unit.canonical(number)
    if not math.isfinite(value):
        raise UnitError(f"{text!r} is too large", "check the digits and the exponent")
    return value, unit.quantity
