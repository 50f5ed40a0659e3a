"""What is asked and answered of the points of a sensor: conditions, settings, remarks."""

from __future__ import annotations

import math
from dataclasses import dataclass

from asfound.rounding import fixed
from asfound.units import Unit


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """Today's conditions as the instruments show them, in °C and Pa; None: as usual, which the answer says."""

    chamber_c: float | None = None
    saturation_c: float | None = None
    chamber_pa: float | None = None
    """as the chamber's transducer reads, gauge or absolute; None: the room's pressure"""
    ambient_pa: float | None = None
    room_c: float | None = None
    """of the room in which line and chamber stand; None: the chamber's"""
    line_c: float | None = None
    """coldest place of the line from saturator to valve; None: the room's"""


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One display and what it will show."""

    quantity: str
    value: float
    """in the unit"""
    unit: Unit
    places: int
    note: str = ""
    """of a mirror: what stands on it"""

    @property
    def text(self) -> str:
        """`680.7 kPa absolute`, `−25.17 °C (frost)`."""
        symbol = self.unit.symbol.replace("degC", "°C").replace("degF", "°F")
        return f"{fixed(self.value, self.places)} {symbol}{f' ({self.note})' if self.note else ''}"


@dataclass(frozen=True, kw_only=True)
class Remark:
    """What stands in the way of a point or must be known before it: a kind in a word or two, and a sentence."""

    kind: str
    text: str


@dataclass(frozen=True, kw_only=True)
class Target:
    """One point of a sensor."""

    point: float
    """%RH as the sensor shows it"""
    reached: bool
    settings: tuple[Setting, ...] = ()
    """what to dial, or what to expect"""
    salt: str = ""
    humidity: float = math.nan
    """%RH over water in the chamber that results"""
    condensation_c: float = math.nan
    """dew point of the chamber's air, frost point below 0 °C"""
    remarks: tuple[Remark, ...] = ()

    @property
    def what(self) -> str:
        """What is set or expected, in words; `not told` where the method gives no targets."""
        shown = " or ".join(setting.text for setting in self.settings)
        if self.salt:
            return f"cell of {self.salt}: {fixed(self.humidity, 1)} %RH"
        return shown or "not told"


@dataclass(frozen=True, kw_only=True)
class SensorTargets:
    """The points of one sensor against one reference, in the order in which they are done."""

    sensor: str
    name: str
    reference: str
    kind: str
    points: tuple[Target, ...]
    taken: tuple[str, ...]
    """conditions that the answer holds for"""
    reach: tuple[float, float] | None
    """lowest and highest %RH over water that a humidity generator gives under these conditions"""
    over_ice: bool
    chamber_c: float
    """the chamber's temperature"""
    remarks: tuple[Remark, ...]
