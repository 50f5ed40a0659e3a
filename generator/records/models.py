"""The YAML records of the facility, its people, its sensors and its findings, as frozen models.

Settings carry dates: a list of entries, each from its first day on; a single undated entry holds always.
A sensor's key replaces its family's whole.
"""

from __future__ import annotations

import itertools
from datetime import date
from enum import StrEnum
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import BeforeValidator, Field, model_validator

from generator.records.fields import (
    Amount,
    Day,
    Duration,
    Fraction,
    Humidity,
    HumidityPerKelvin,
    HumiditySlope,
    HumiditySpread,
    Id,
    Record,
    Temperature,
    TemperatureSpread,
    Text,
    any_amount,
    custom_error,
)


class Channel(StrEnum):
    """What a sensor reports."""

    HUMIDITY = "humidity"
    TEMPERATURE = "temperature"

    @property
    def unit(self) -> str:
        """The unit of readings, errors and tolerances of this channel."""
        return "%RH" if self is Channel.HUMIDITY else "degC"


class Dated(Record):
    """A setting in force from its first day on (inclusive), until the next entry begins."""

    from_: Day = Field(default=date.min, alias="from")
    """first day on which this entry is in force; left out: always"""


T = TypeVar("T", bound=Dated)


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, dict) else value


def _first_days_rise(entries: tuple[T, ...]) -> tuple[T, ...]:
    for before, after in itertools.pairwise(entries):
        if after.from_ <= before.from_:
            raise custom_error(
                "dates-out-of-order",
                f"entry from {after.from_} stands behind one from {before.from_}",
                "give each entry its own `from:` and sort them, earliest first",
            )
    return entries


def in_force(entries: tuple[T, ...] | None, day: date) -> T | None:
    """The entry in force on `day`, if any."""
    current = None
    for entry in entries or ():
        if entry.from_ <= day:
            current = entry
    return current


class Limits(Record):
    """A tolerance: ± an absolute amount and/or a share of the reference value and/or of the range."""

    absolute: Annotated[Amount | None, Field()] = None
    """± amount, e.g. `2 %RH` or `0.5 degC`"""
    of_reading: Fraction | None = None
    """± share of the reference value, e.g. `3 %`"""
    of_range: Fraction | None = None
    """± share of the sensor's range, e.g. `1 %`"""
    combine: Literal["sum", "maximum"] = "sum"
    """how several parts make one limit"""

    @model_validator(mode="after")
    def _something_stands(self) -> Self:
        if not getattr(self, "bands", None) and (self.absolute, self.of_reading, self.of_range) == (
            None,
            None,
            None,
        ):
            raise custom_error(
                "empty-tolerance", "no limit is given", "give absolute, of_reading or of_range"
            )
        return self


_Absolute = any_amount("humidity", "temperature", difference=True)
_Edge = any_amount("humidity", "temperature")


class Band(Limits):
    """A tolerance between two reference values, both inside; where bands meet, the upper one rules."""

    absolute: _Absolute | None = None
    lowest: _Edge
    """lower edge, inside"""
    highest: _Edge
    """upper edge, inside"""


class Tolerance(Limits, Dated):
    """The largest allowed |error|, from a day on; by bands of the reference value where the limit changes."""

    absolute: _Absolute | None = None
    bands: tuple[Band, ...] = ()
    """limits by reference value; outside all bands the entry's own parts hold"""


class Scaling(Dated):
    """How a loop signal stands for the measured value: two points of a straight line."""

    low: any_amount("current", "voltage")
    """signal at the low end, e.g. `4 mA`"""
    high: any_amount("current", "voltage")
    """signal at the high end, e.g. `20 mA`"""
    reads_low: any_amount("humidity", "temperature")
    """value at the low end, e.g. `0 %RH`"""
    reads_high: any_amount("humidity", "temperature")
    """value at the high end, e.g. `100 %RH`"""

    @model_validator(mode="after")
    def _ends_differ(self) -> Self:
        same_kind = (
            self.low.quantity == self.high.quantity and self.reads_low.quantity == self.reads_high.quantity
        )
        if (
            not same_kind
            or self.low.value == self.high.value
            or self.reads_low.value == self.reads_high.value
        ):
            raise custom_error("bad-scaling", "the two ends do not make a line", "give two different points")
        return self


class MeasuringRange(Dated):
    """The range that the sensor is specified for."""

    lowest: any_amount("humidity", "temperature")
    highest: any_amount("humidity", "temperature")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.lowest.value >= self.highest.value:
            raise custom_error("bad-range", "the range is empty", "write the lower end under `lowest`")
        return self


class Points(Dated):
    """The humidities at which a calibration is done; all of them make it complete."""

    humidity: tuple[Humidity, ...] = Field(min_length=1)


class Interval(Dated):
    """Calendar months from one complete calibration to the next due day."""

    months: int = Field(ge=1, le=120)


class PlacePeriod(Dated):
    """Where the measuring position is, from a day on."""

    place: Id
    """id of a place in facility.yml"""
    position: Text | None = None
    """where in it, e.g. 'north wall, 1.8 m'"""


def dated(item: Any) -> Any:
    """A dated setting: one entry, or several in order of their first days."""
    return Annotated[tuple[item, ...], BeforeValidator(_as_list), BeforeValidator(lambda v: v), _Ordered]


class _Ordered_:  # a pydantic annotation, run after the entries are built
    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        from pydantic_core import core_schema

        return core_schema.no_info_after_validator_function(_first_days_rise, handler(source))


_Ordered = _Ordered_()


class ChannelDefaults(Record):
    """What is declared of one channel of a model: resolutions and short-term behaviour, all in its unit."""

    resolution: any_amount("humidity", "temperature", difference=True) | None = None
    """smallest step of the sensor's own reading (leave out for mA and V: the loop meter's counts)"""
    far_end_resolution: any_amount("humidity", "temperature", difference=True) | None = None
    """smallest step of the building system's reading"""
    far_end_dead_band: any_amount("humidity", "temperature", difference=True) | None = None
    """filter or dead band of the building system: half-width"""
    repeatability: any_amount("humidity", "temperature", difference=True) | None = None
    """standard deviation of single readings at a settled point; used until the family's visits give a better one"""
    hysteresis: any_amount("humidity", "temperature", difference=True) | None = None
    """difference between rising and falling readings at one point: full width"""


class SensorSettings(Record):
    """Keys that a family gives and a sensor may replace, each whole."""

    signal: Literal["direct", "current", "voltage"] | None = None
    """what stands at the sensor: its own display or data (`direct`), a current loop, or a voltage"""
    channels: tuple[Channel, ...] | None = None
    """`humidity`, or both `humidity` and `temperature`"""
    humidity: ChannelDefaults | None = None
    temperature: ChannelDefaults | None = None
    tolerance: dated(Tolerance) | None = None
    """humidity tolerance, as found (and as left, unless as_left_tolerance is given)"""
    as_left_tolerance: dated(Tolerance) | None = None
    temperature_tolerance: dated(Tolerance) | None = None
    as_left_temperature_tolerance: dated(Tolerance) | None = None
    adjustment_limit: dated(Tolerance) | None = None
    """|error| above which adjustment is advised even in tolerance"""
    scaling: dated(Scaling) | None = None
    temperature_scaling: dated(Scaling) | None = None
    range: dated(MeasuringRange) | None = None
    temperature_range: dated(MeasuringRange) | None = None
    points: dated(Points) | None = None
    interval: dated(Interval) | None = None
    self_heating: TemperatureSpread | None = None
    """largest difference between probe and chamber air (self-heating, stem, air flow): half-width"""
    temperature_coefficient: HumidityPerKelvin | None = None
    """change of the humidity reading with temperature; without it a verdict belongs to the calibration temperature"""
    time_constant: Duration | None = None
    """first-order response at a new point; what is left of the approach is then corrected and its u carried"""
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


class Installed(Record):
    """An instrument at the position, from a day on (inclusive)."""

    serial: Text
    family: Id
    """model: a file in families/"""
    from_: Day = Field(alias="from")
    until: Day | None = None
    """last day at the position; left out: until the next begins"""


class OutOfUse(Record):
    """A time in which no calibration is due."""

    from_: Day = Field(alias="from")
    until: Day | None = None
    reason: Text


class ProcessLimits(Record):
    """The humidity that the goods may see."""

    lowest: Humidity
    highest: Humidity


class Sensor(SensorSettings):
    """A measuring position and the instruments that served it."""

    id: Id
    """the file's name"""
    name: Text
    place: dated(PlacePeriod)
    installed: tuple[Installed, ...] = Field(min_length=1)
    """instruments by serial, earliest first"""
    working_humidity: Humidity | None = None
    """humidity at which the sensor spends its time"""
    working_temperature: Temperature | None = None
    process_limits: ProcessLimits | None = None
    criticality: Literal["high", "medium", "low"] = "medium"
    """what an undetected error would mean for the goods"""
    controls: bool = False
    """true: the reading drives the plant; false: it is only watched"""
    deferred_until: Day | None = None
    deferred_reason: Text | None = None
    out_of_service: tuple[OutOfUse, ...] = ()
    note: Text | None = None

    @model_validator(mode="after")
    def _deferral_has_a_reason(self) -> Self:
        if (self.deferred_until is None) != (self.deferred_reason is None):
            raise custom_error(
                "deferral-without-reason", "a deferral needs a day and a reason", "give both deferred_ keys"
            )
        return self


class Place(Record):
    """A room, vault or hall."""

    id: Id
    name: Text
    building: Text | None = None


class Settling(Record):
    """What makes a plateau settled."""

    least_soak: Duration | None = None
    """least minutes at the point before the first reading"""
    least_rows: int | None = Field(default=None, ge=1, le=1000)
    """least number of repeated readings"""
    largest_slope: HumiditySlope | None = None
    """largest |slope| of the errors over the plateau's rows"""


class Policy(Dated):
    """How results are judged, from a day on. A visit is judged by the policy of its day."""

    rule: Literal["simple_acceptance", "guard_band", "specific_risk"]
    guard_band: float = Field(default=1.0, gt=0, le=3)
    """r of the guard band w = r·U"""
    largest_risk: Fraction = 0.025
    """α of the specific-risk rule"""
    largest_u_over_t: float | None = Field(default=None, gt=0, le=1)
    """simple acceptance: U/T above this is a reservation"""
    settling: Settling = Settling()
    least_pool: int = Field(default=10, ge=2)
    """degrees of freedom from which a family's pooled repeatability replaces the declared one"""
    visit_to_visit: HumiditySpread = 0.0
    """standard deviation of a humidity error from visit to visit beyond its uncertainty"""
    visit_to_visit_temperature: TemperatureSpread = 0.0
    due_soon_days: int = Field(default=30, ge=0, le=366)
    """days before the due day from which a sensor is shown as due soon"""


class CertificateWording(Record):
    """What the certificates say beside the results."""

    laboratory: Text
    """who calibrates, with address"""
    customer: Text
    """for whom"""
    method: Text
    """name of the written procedure"""
    method_version: Text
    accreditation: Text | None = None
    """statement of accreditation, word for word; left out: in-house calibration"""
    due_date_agreed: bool = False
    """true only where the customer agreed in writing that certificates show a due date"""


class Facility(Record):
    """facility.yml."""

    name: Text
    address: Text
    time_zone: Text
    """IANA name, e.g. Europe/Oslo"""
    site_address: Text | None = None
    """stable address of the published site: QR codes point there"""
    paper: Literal["A4", "Letter"] = "A4"
    places: tuple[Place, ...] = Field(min_length=1)
    policies: dated(Policy) = Field(min_length=1)
    certificate: CertificateWording
    review_fails_on: tuple[Text, ...] = ()
    """reservations that fail a review, by rule name"""


class Person(Record):
    """Someone who calibrates or approves; leavers stay."""

    id: Id
    name: Text
    emails: tuple[Text, ...] = ()
    may: tuple[Literal["calibrate", "approve", "decide"], ...] = Field(min_length=1)
    """`calibrate` visits, `approve` them, `decide` findings"""
    from_: Day = Field(alias="from")
    until: Day | None = None


class People(Record):
    """people.yml."""

    people: tuple[Person, ...] = Field(min_length=1)


class Told(Record):
    """Who was told of a finding, and when."""

    day: Day
    whom: Text


class Finding(Record):
    """What was decided about an out-of-tolerance result. A finding closes only here."""

    sensor: Id
    visit: Text
    """the visit's id, e.g. 2026-03-14-drying"""
    owner: Id
    """person who has it"""
    deviation: Text | None = None
    """number in the quality system"""
    told: tuple[Told, ...] = ()
    done: Text | None = None
    """what was done with sensor and goods"""
    decision: Text | None = None
    """what was decided about the goods"""
    closed: Day | None = None
    closed_by: Id | None = None

    @model_validator(mode="after")
    def _closing_is_complete(self) -> Self:
        if (self.closed is None) != (self.closed_by is None) or (self.closed and not self.decision):
            raise custom_error(
                "finding-half-closed",
                "a closed finding needs closed, closed_by and decision",
                "give all three, or none of closed and closed_by",
            )
        return self
