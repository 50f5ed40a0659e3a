"""What the simulator reads from the hand-written YAML records: certificates, loops and places of the instruments.

It reads them with a few lines of its own, so that the numbers owe nothing to the program that will read them.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

RECORDS = Path(__file__).parents[2] / "records"

# One unit of it in the SI unit: NIST SP 811 (2008), appendix B.8; °F by its definition.
SI_PER_UNIT = {"%RH": 1.0, "mA": 1.0, "V": 1.0, "Pa": 1.0, "hPa": 100.0, "kPa": 1000.0}
SI_PER_UNIT |= {"psi": 6894.757293, "inHg": 3386.389, "degC": 1.0, "degF": 5.0 / 9.0}
ZERO_OF_UNIT = {"degF": 32.0}


def si_value(value: float, unit: str) -> float:
    """A reading in `unit` → Pa, °C, mA, V or %RH."""
    return (value - ZERO_OF_UNIT.get(unit, 0.0)) * SI_PER_UNIT[unit]


def in_unit(value: float, unit: str) -> float:
    """Pa, °C, mA, V or %RH → the reading in `unit`."""
    return value / SI_PER_UNIT[unit] + ZERO_OF_UNIT.get(unit, 0.0)


def amount(text: str) -> float:
    """`23 degC` → 23.0 in the SI unit."""
    number, unit = text.split()
    return si_value(float(number), unit)


def difference(text: str) -> float:
    """`0.05 degF` as a difference → in the SI unit."""
    number, unit = text.split()
    return float(number) * SI_PER_UNIT[unit]


@cache
def record(path: str) -> dict[str, Any]:
    """One YAML record as plain data."""
    data: dict[str, Any] = YAML(typ="safe").load((RECORDS / path).read_text(encoding="utf-8"))
    return data


@dataclass(frozen=True, kw_only=True)
class Certificate:
    """One calibration of one quantity: errors in SI units at readings in SI units."""

    day: date
    at: tuple[float, ...]
    errors: tuple[float, ...]
    found: tuple[float, ...]
    """errors before the laboratory adjusted it; the same where it did not"""
    expanded: tuple[float, ...]
    drift_per_year: float


@cache
def certificates(reference: str, quantity: str) -> tuple[Certificate, ...]:
    """The laboratories' certificates of a quantity; what a visit here found is no certificate."""
    entries = record(f"references/{reference}.yml")["quantities"][quantity]["calibrations"]
    return tuple(_certificate(entry) for entry in entries if "points" in entry)


def _certificate(entry: dict[str, Any]) -> Certificate:
    sign = 1.0 if entry["declared"] == "error" else -1.0
    points = entry["points"]
    errors = tuple(sign * difference(point["value"]) for point in points)
    found = tuple(sign * difference(point["value"]) for point in entry.get("as_found", points))
    return Certificate(
        day=_day(entry["date"]),
        at=tuple(amount(point["at"]) for point in points),
        errors=errors,
        found=found,
        expanded=tuple(difference(point["U"]) for point in points),
        drift_per_year=difference(entry["drift"].removesuffix("/year")),
    )


def shared_bath(reference: str, quantity: str, day: date) -> float:
    """Standard uncertainty that this quantity shares with others calibrated on that day, else 0."""
    for component in record(f"references/{reference}.yml").get("common", ()):
        if quantity in component["quantities"] and _day(component["date"]) == day:
            return difference(component["u"])
    return 0.0


@dataclass(frozen=True, kw_only=True)
class Nameplate:
    """What stands on and behind one sensor on one day."""

    id: str
    serial: str
    family: str
    signal: str
    has_temperature: bool
    wired: bool
    """whether the building system shows it"""
    over: str
    scaling: dict[str, tuple[float, float, float, float]]
    """by channel: low and high signal, and what they stand for"""
    shows_whole: bool


@cache
def nameplate(sensor: str, day: date) -> Nameplate:
    """The instrument at a measuring position on a day."""
    own = record(f"sensors/{sensor}.yml")
    installed = own["installed"]
    starts = [_day(entry["from"]) for entry in installed]
    instrument = installed[bisect_right(starts, day) - 1]
    family = record(f"families/{instrument['family']}.yml")
    settings = family | own
    humidity = settings["humidity"]
    return Nameplate(
        id=sensor,
        serial=instrument["serial"],
        family=instrument["family"],
        signal=settings["signal"],
        has_temperature="temperature" in settings["channels"],
        wired="far_end_resolution" in humidity,
        over=settings.get("rh_over", "water"),
        scaling={
            channel: _ends(settings[key])
            for channel, key in (("humidity", "scaling"), ("temperature", "temperature_scaling"))
            if key in settings
        },
        shows_whole=humidity.get("resolution") == "1 %RH",
    )


def _ends(scaling: dict[str, str]) -> tuple[float, float, float, float]:
    low, high, reads_low, reads_high = (amount(scaling[key]) for key in ("low", "high", "reads_low", "reads_high"))
    return low, high, reads_low, reads_high


def _day(value: Any) -> date:
    return value if isinstance(value, date) else date.fromisoformat(value)
