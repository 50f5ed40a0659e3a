"""Each channel declared once: what a sensor reports, and every name, unit and threshold that differs by it.

What is of humidity alone, such as targets, points and due dates, selects `Channel.HUMIDITY`; everything else asks the
channel, by its declaration or by an exhaustive `match`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import assert_never

from asfound.units import CANONICAL


@dataclass(frozen=True, kw_only=True)
class Declaration:
    """What records, sheets, certificates and pages know of one channel; amounts are in its canonical unit."""

    output: str
    """column of a visit's row that holds its reading at the sensor, or the signal of its loop"""
    far_end: str
    """column of its reading at the far end of the loop"""
    reference: str
    """quantity of a reference that measures the same, so that a visit here can calibrate or check it"""
    tolerance: str
    """key of a sensor's file; so are the next four"""
    as_left_tolerance: str
    adjustment_limit: str | None
    """None: adjustment is not advised by a limit of this channel"""
    scaling: str
    range: str
    tolerance_example: str
    """as a cure writes it"""
    symbol: str
    """the unit as people read it"""
    air_if_high: str
    """what the air was, where the sensor showed too much"""
    air_if_low: str
    """what the air was, where it showed too little"""
    aimed_at: bool
    """whether the target of a row is one of this channel; if not, its reference value tells which point it is"""
    believed: tuple[float, float]
    """lowest and highest indication that may be recorded: a broken sensor shows what it likes"""
    same_point: float
    """what lies further apart than this is never one point (our choice)"""

    @property
    def columns(self) -> tuple[str, str]:
        """At the sensor and at the far end."""
        return self.output, self.far_end


_HUMIDITY = Declaration(
    output="output",
    far_end="far_end",
    reference="reference_humidity",
    tolerance="tolerance",
    as_left_tolerance="as_left_tolerance",
    adjustment_limit="adjustment_limit",
    scaling="scaling",
    range="range",
    tolerance_example="2 %RH",
    symbol="%RH",
    air_if_high="drier",
    air_if_low="damper",
    aimed_at=True,
    believed=(-50.0, 200.0),
    same_point=3.0,
)
_TEMPERATURE = Declaration(
    output="output_temperature",
    far_end="far_end_temperature",
    reference="reference_temperature",
    tolerance="temperature_tolerance",
    as_left_tolerance="as_left_temperature_tolerance",
    adjustment_limit=None,
    scaling="temperature_scaling",
    range="temperature_range",
    tolerance_example="0.5 degC",
    symbol="°C",
    air_if_high="colder",
    air_if_low="warmer",
    aimed_at=False,
    believed=(-60.0, 90.0),
    same_point=2.0,
)


class Channel(StrEnum):
    """What a sensor reports."""

    HUMIDITY = "humidity"
    TEMPERATURE = "temperature"

    @property
    def declaration(self) -> Declaration:
        """All that differs by channel."""
        match self:
            case Channel.HUMIDITY:
                return _HUMIDITY
            case Channel.TEMPERATURE:
                return _TEMPERATURE
            case _:
                assert_never(self)

    @property
    def unit(self) -> str:
        """The unit of readings, errors and tolerances: a channel is called by its quantity."""
        return CANONICAL[self.value]

    @property
    def judging_keys(self) -> tuple[str, ...]:
        """Keys of a sensor's file that decide what is in tolerance."""
        one = self.declaration
        return one.tolerance, one.as_left_tolerance, one.range

    @property
    def setting_keys(self) -> tuple[str, ...]:
        """Keys of a sensor's file that hold amounts of this channel; its own name is one of them."""
        one = self.declaration
        keys = (self.value, one.tolerance, one.as_left_tolerance, one.adjustment_limit, one.scaling, one.range)
        return tuple(key for key in keys if key is not None)
