"""Sensors and their families as frozen models: settings with dates, instruments by serial.

A sensor's key replaces its family's whole.
"""

from __future__ import annotations

from typing import Literal, Self, assert_never

from pydantic import Field, model_validator

from asfound.records.channels import Channel
from asfound.records.models.fields import (
    ChannelSpread,
    ChannelValue,
    Day,
    Duration,
    Fraction,
    Humidity,
    HumidityPerKelvin,
    HumiditySpread,
    Id,
    Record,
    SignalValue,
    Temperature,
    TemperatureSpread,
    Text,
    custom_error,
)
from asfound.records.models.further import EachOnce, SensorFurther
from asfound.records.models.model_rules import (
    BAD_AMOUNT,
    BAD_RANGE,
    BAD_SCALING,
    DEFERRAL_WITHOUT_REASON,
    EMPTY_TOLERANCE,
    WRONG_VALUE,
)
from asfound.records.models.periods import Dated, Known, Period, Property, Timeline
from asfound.records.models.spreads import AloneOrByBands


class Limits(Record):
    """A tolerance: ± an absolute amount and/or a share of the reference value and/or of the range."""

    absolute: ChannelSpread | None = None
    """± amount, e.g. `2 %RH` or `0.5 degC`"""
    of_reading: Fraction | None = None
    """± share of the reference value, e.g. `3 %`"""
    of_range: Fraction | None = None
    """± share of the sensor's range, e.g. `1 %`"""
    combine: Literal["sum", "maximum"] = "sum"
    """how several parts make one limit"""

    @model_validator(mode="after")
    def _something_stands(self) -> Self:
        absolute = None if self.absolute is None else self.absolute.value
        parts = [part for part in (absolute, self.of_reading, self.of_range) if part is not None]
        if parts and not any(part > 0 for part in parts):
            raise custom_error(EMPTY_TOLERANCE, "the limit is zero", "write the largest allowed |error|")
        if not parts and not getattr(self, "bands", ()):
            cure = "give absolute, of_reading or of_range"
            raise custom_error(EMPTY_TOLERANCE, "no limit is given", cure)
        return self


class Band(Limits):
    """A tolerance between two reference values, both inside; where bands meet, the upper one rules."""

    lowest: ChannelValue
    """lower edge, inside"""
    highest: ChannelValue
    """upper edge, inside"""

    @model_validator(mode="after")
    def _edges_in_order(self) -> Self:
        _check_order(self.lowest.value, self.highest.value, "the band is empty")
        return self


class Tolerance(Limits, Dated):
    """The largest allowed |error|, from a day on; by bands of the reference value where the limit changes."""

    bands: tuple[Band, ...] = ()
    """limits by reference value; outside all bands the entry's own parts hold"""


class Scaling(Dated):
    """How a loop signal stands for the measured value: two points of a straight line."""

    low: SignalValue
    """signal at the low end, e.g. `4 mA`"""
    high: SignalValue
    """signal at the high end, e.g. `20 mA`"""
    reads_low: ChannelValue
    """value at the low end, e.g. `0 %RH`"""
    reads_high: ChannelValue
    """value at the high end, e.g. `100 %RH`"""

    @model_validator(mode="after")
    def _ends_make_a_line(self) -> Self:
        for low, high, what in ((self.low, self.high, "signal"), (self.reads_low, self.reads_high, "value")):
            if low.quantity != high.quantity:
                message = f"the two {what}s are in units of {low.quantity} and {high.quantity}"
                raise custom_error(BAD_SCALING, message, "use one unit for both ends")
            if low.value == high.value:
                cure = "write the two ends of the scale, e.g. low: 4 mA, high: 20 mA"
                raise custom_error(BAD_SCALING, f"both ends have the same {what}", cure)
        return self


class MeasuringRange(Dated):
    """The range that the sensor is specified for."""

    lowest: ChannelValue
    """lower end"""
    highest: ChannelValue
    """upper end"""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        _check_order(self.lowest.value, self.highest.value, "the range is empty")
        return self


def _check_order(lowest: float, highest: float, message: str) -> None:
    if lowest >= highest:
        raise custom_error(BAD_RANGE, message, "write the lower end under `lowest`", "lowest")


class Points(Dated):
    """The humidities at which a calibration is done; all of them make it complete."""

    humidity: tuple[Humidity, ...] = Field(min_length=1)
    """set points, e.g. [10 %RH, 35 %RH, 60 %RH]"""

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        for number, point in enumerate(self.humidity):
            if point in self.humidity[:number]:
                message = f"{point:g} %RH stands twice"
                raise custom_error(BAD_AMOUNT, message, "list each set point once", "humidity", number)
        return self


class Interval(Dated):
    """Calendar months from one complete calibration to the next due day."""

    months: int = Field(ge=1, le=120)
    """calendar months"""


class PlacePeriod(Dated):
    """Where the measuring position is, from a day on."""

    place: Id
    """id of a place in facility.yml"""
    position: Text | None = None
    """where in it, e.g. 'north wall, 1.8 m'"""


class ChannelAmount(AloneOrByBands[ChannelSpread]):
    """An amount by bands of what the channel measures."""


class DeclaredRepeatability(ChannelAmount):
    """A standard deviation by bands of what the channel measures; where it has bands, each is pooled by itself."""

    nu: float | None = Field(default=None, ge=1.0)
    """degrees of freedom: one less than the readings that it was found from; left out: infinitely many"""


class ChannelDefaults(Dated):
    """What is declared of one channel of a model: resolutions and short-term behaviour, all in its unit."""

    resolution: ChannelSpread | None = None
    """smallest step of the sensor's own reading (leave out for mA and V: the loop meter's counts)"""
    far_end_resolution: ChannelSpread | None = None
    """smallest step of the building system's reading"""
    far_end_dead_band: ChannelSpread | None = None
    """filter or dead band of the building system: half-width"""
    repeatability: DeclaredRepeatability | None = None
    """standard deviation of single readings at a settled point, until the family's visits give a better one"""
    hysteresis: ChannelAmount | None = None
    """difference between rising and falling readings at one point: full width"""


class TimeConstant(Dated):
    """How fast a model follows a new humidity: a nominal time constant with its spread, or the longest alone."""

    nominal: Duration | None = Field(default=None, gt=0)
    """of the model: all that it leaves of the approach is corrected"""
    spread: Duration | None = None
    """how far an instrument's own may lie from the nominal one: half-width"""
    longest: Duration | None = None
    """no instrument is slower: half of what it would leave is corrected, and ± half is left; 0: none is left"""

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        if (self.nominal is None) == (self.longest is None) or (self.nominal is None) != (self.spread is None):
            cure = "write { nominal: 4 min, spread: 1 min }, or { longest: 6 min } where no more is known"
            raise custom_error(WRONG_VALUE, "a nominal time with its spread is needed, or the longest alone", cure)
        if self.nominal is not None and self.spread is not None and self.spread >= self.nominal:
            cure = "write a spread below the nominal time, or the longest alone"
            raise custom_error(WRONG_VALUE, "the spread reaches down to no time at all", cure)
        return self


class SensorSettings(Record):
    """Keys that a family gives and a sensor may replace, each whole."""

    signal: Literal["direct", "current", "voltage"] | None = None
    """what stands at the sensor: its own display or data (`direct`), a current loop, or a voltage"""
    channels: tuple[Channel, ...] | None = Field(default=None, min_length=1)
    """`humidity`, or both `humidity` and `temperature`"""
    humidity: Timeline[ChannelDefaults] | None = None
    """what is declared of the humidity channel"""
    temperature: Timeline[ChannelDefaults] | None = None
    """what is declared of the temperature channel"""
    tolerance: Timeline[Tolerance] | None = None
    """humidity tolerance, as found (and as left, unless as_left_tolerance is given)"""
    as_left_tolerance: Timeline[Tolerance] | None = None
    """humidity tolerance as left"""
    temperature_tolerance: Timeline[Tolerance] | None = None
    """temperature tolerance, as found (and as left, unless as_left_temperature_tolerance is given)"""
    as_left_temperature_tolerance: Timeline[Tolerance] | None = None
    """temperature tolerance as left"""
    adjustment_limit: Timeline[Tolerance] | None = None
    """|error| above which adjustment is advised even in tolerance"""
    scaling: Timeline[Scaling] | None = None
    """how the loop's signal stands for humidity"""
    temperature_scaling: Timeline[Scaling] | None = None
    """how the loop's signal stands for temperature"""
    range: Timeline[MeasuringRange] | None = None
    """humidity range that the sensor is specified for"""
    temperature_range: Timeline[MeasuringRange] | None = None
    """temperature range that the sensor is specified for"""
    points: Timeline[Points] | None = None
    """humidities at which a calibration is done"""
    interval: Timeline[Interval] | None = None
    """time from one calibration to the next"""
    self_heating: Property[Known[TemperatureSpread]] | None = None
    """largest difference between probe and chamber air (self-heating, stem, air flow): half-width"""
    temperature_coefficient: Property[Known[HumidityPerKelvin]] | None = None
    """change of the humidity reading with temperature; without it a verdict belongs to its own temperature"""
    time_constant: Timeline[TimeConstant] | None = None
    """first-order response at a new point; what is left of the approach is then corrected, with its u"""
    further: EachOnce[SensorFurther] | None = None
    """what else is known to disturb its readings"""
    rh_over: Literal["water", "ice"] | None = None
    """which relative humidity the sensor shows; must be declared where it works below 0 degC"""
    judged_at: Literal["far_end", "sensor"] | None = None
    """which reading the verdict is on, where both were taken; left out: the far end"""


class Family(SensorSettings):
    """Defaults of one model of sensor."""

    model: Id
    """the file's name"""
    name: Text
    """description of the model"""
    visit_to_visit: HumiditySpread | None = None
    """standard deviation of a humidity error from visit to visit beyond its uncertainty; left out: the policy's"""
    visit_to_visit_temperature: TemperatureSpread | None = None
    """standard deviation of a temperature error from visit to visit beyond its uncertainty; left out: the policy's"""


class Installed(Period):
    """An instrument at the position; where `until` is left out, until the next begins."""

    serial: Text
    """serial number on the instrument"""
    family: Id
    """model: a file in families/"""


class OutOfUse(Period):
    """A time in which no calibration is due."""

    reason: Text
    """why"""


class ProcessLimits(Record):
    """The humidity that the goods may see."""

    lowest: Humidity
    """driest"""
    highest: Humidity
    """wettest"""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        _check_order(self.lowest, self.highest, "no humidity lies between the limits")
        return self


class Sensor(SensorSettings):
    """A measuring position and the instruments that served it."""

    id: Id
    """the file's name"""
    name: Text
    """what it measures, in words"""
    place: Timeline[PlacePeriod]
    """where the position is"""
    installed: tuple[Installed, ...] = Field(min_length=1)
    """instruments by serial, earliest first"""
    working_humidity: Humidity | None = None
    """humidity at which the sensor spends its time"""
    working_temperature: Temperature | None = None
    """temperature at which the sensor spends its time"""
    process_limits: ProcessLimits | None = None
    """humidity that the goods may see"""
    criticality: Literal["high", "medium", "low"] = "medium"
    """what an undetected error would mean for the goods"""
    controls: bool = False
    """true: the reading drives the plant; false: it is only watched"""
    deferred_until: Day | None = None
    """day to which the next calibration was put off"""
    deferred_reason: Text | None = None
    """why it was put off"""
    out_of_service: tuple[OutOfUse, ...] = ()
    """times in which no calibration is due"""
    note: Text | None = None
    """free text"""

    def working(self, channel: Channel) -> float | None:
        """Where the sensor spends its time, in the channel's unit."""
        match channel:
            case Channel.HUMIDITY:
                return self.working_humidity
            case Channel.TEMPERATURE:
                return self.working_temperature
            case _:
                assert_never(channel)

    @model_validator(mode="after")
    def _deferral_has_a_reason(self) -> Self:
        if (self.deferred_until is None) != (self.deferred_reason is None):
            given = "deferred_reason" if self.deferred_until is None else "deferred_until"
            raise custom_error(
                DEFERRAL_WITHOUT_REASON,
                "a deferral needs a day and a reason",
                "give both deferred_until and deferred_reason",
                given,
            )
        return self
