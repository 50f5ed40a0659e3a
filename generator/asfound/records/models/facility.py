"""The facility, its people and its findings as frozen models."""

from __future__ import annotations

from datetime import date
from typing import Literal, Self

from pydantic import Field, model_validator

from asfound.records.models.fields import (
    Day,
    Duration,
    Fraction,
    HoursOfUse,
    HumiditySlope,
    HumiditySpread,
    Id,
    Record,
    TemperatureSpread,
    Text,
    custom_error,
)
from asfound.records.models.model_rules import BAD_RANGE, FINDING_HALF_CLOSED, INTERVAL_METHOD_INCOMPLETE
from asfound.records.models.periods import Dated, Period, Timeline, in_force


class Place(Record):
    """A room, vault or hall."""

    id: Id
    """by which sensors name it"""
    name: Text
    """by which people know it"""
    building: Text | None = None
    """building that it lies in"""
    together: int = Field(default=1, ge=1, le=50)
    """how many of its sensors the chamber of the cart can take at once"""


class Settling(Record):
    """What makes a plateau settled."""

    least_soak: Duration | None = None
    """least minutes at the point before the first reading"""
    least_rows: int | None = Field(default=None, ge=1, le=1000)
    """least number of repeated readings"""
    largest_slope: HumiditySlope | None = None
    """largest |slope| of the errors over the plateau's rows"""
    largest_left: HumiditySpread | None = None
    """of a plateau read from a log: largest |what was left of the approach| + U of it; where it is given, it is asked
    in place of soak and slope. Each minute of a window counts for a reading"""


class Intervals(Record):
    """How calibration intervals are proposed (methods of ILAC-G24 / OIML D 10). A proposal never applies itself."""

    method: Literal["staircase", "control_chart", "in_use_time", "drift"]
    """`staircase`: by what was found last; `control_chart`: by offset and drift; `in_use_time`: by hours of use;
    `drift`: by the first day on which error and uncertainty may leave the tolerance"""
    shortest: int = Field(default=1, ge=1, le=240)
    """months below which no interval is proposed"""
    longest: int = Field(default=60, ge=1, le=240)
    """months above which no interval is proposed"""
    extend_below: Fraction = Field(default=0.8, gt=0, le=1, json_schema_extra={"default": "80 %"})
    """staircase: found within this share of the tolerance, the interval is extended"""
    extend_by: float = Field(default=1.25, ge=1, le=4)
    """staircase: factor of an extension (illustrative: ILAC-G24 leaves it to the user)"""
    reduce_by: float = Field(default=0.5, gt=0, le=1)
    """staircase: factor where it was found outside the tolerance (illustrative: ILAC-G24 leaves it to the user)"""
    hours: HoursOfUse | None = None
    """in_use_time: hours of use after which a calibration is due, e.g. `4000 h`"""
    target_reliability: Fraction = Field(default=0.95, gt=0, lt=1, json_schema_extra={"default": "95 %"})
    """share of a model's sensors that should be in tolerance as found; information beside the reliabilities"""

    @model_validator(mode="after")
    def _bounds_and_hours(self) -> Self:
        if self.shortest > self.longest:
            raise custom_error(BAD_RANGE, "shortest is more than longest", "check the two bounds", "shortest")
        if self.method == "in_use_time" and not self.hours:
            message, cure = "in_use_time needs the hours of use", "add e.g. `hours: 4000 h`"
            raise custom_error(INTERVAL_METHOD_INCOMPLETE, message, cure, "method")
        return self


class Policy(Dated):
    """How results are judged, from a day on. A visit is judged by the policy of its day."""

    rule: Literal["simple_acceptance", "guard_band", "specific_risk"]
    """decision rule of the statements of conformity"""
    guard_band: float = Field(default=1.0, gt=0, le=3)
    """r of the guard band w = r·U"""
    largest_risk: Fraction = Field(default=0.025, le=0.5, json_schema_extra={"default": "2.5 %"})
    """α of the specific-risk rule"""
    largest_u_over_t: float = Field(default=1.0, gt=0, le=1)
    """simple acceptance: with U/T above this nothing is decided but a |error| beyond T + U, which fails"""
    settling: Settling = Field(default=Settling(), json_schema_extra={"default": {}})
    """what makes a plateau settled"""
    least_pool: int = Field(default=10, ge=2)
    """degrees of freedom from which the repeatability that a family shows replaces what is declared"""
    visit_to_visit: HumiditySpread | None = None
    """standard deviation of a humidity error from visit to visit beyond its uncertainty, of families that say none of
    their own; left out: 5 % of each one's tolerance, before its visits show more"""
    visit_to_visit_temperature: TemperatureSpread | None = None
    """the same of a temperature error"""
    due_soon_days: int = Field(default=30, ge=0, le=366)
    """days before the due day from which a sensor is shown as due soon"""
    due_on: Literal["day", "month_end"] = "day"
    """`month_end`: a calibration is due on the last day of its month, not on the day that the interval ends"""
    grace_days: int = Field(default=0, ge=0, le=366)
    """days after the due day in which a sensor is not yet overdue; the next interval counts from the visit as ever"""
    intervals: Intervals | None = None
    """how calibration intervals are proposed; left out: no proposals"""


class CertificateWording(Record):
    """What the certificates say beside the results."""

    laboratory: Text
    """who calibrates, with address"""
    customer: Text
    """for whom"""
    method: Text
    """name of the written procedure"""
    method_version: Text
    """its version"""
    accreditation: Text | None = None
    """statement of accreditation, word for word; left out: in-house calibration"""
    due_date_agreed: bool = False
    """true only where the customer agreed in writing that certificates show a due date"""


class Rounds(Record):
    """What a trip with the cart takes: `round` estimates hours and plans days from it."""

    set_up: Duration = Field(default=45.0, json_schema_extra={"default": "45 min"})
    """once a trip: supply, warming up, packing in again"""
    move: Duration = Field(default=20.0, json_schema_extra={"default": "20 min"})
    """from one sensor, or one chamber full of them, to the next"""
    change: Duration = Field(default=15.0, json_schema_extra={"default": "15 min"})
    """from one point to the next, until the chamber has settled there"""
    soak: Duration = Field(default=20.0, json_schema_extra={"default": "20 min"})
    """at a point before reading, where no earlier visit of the sensor tells"""
    read: Duration = Field(default=6.0, json_schema_extra={"default": "6 min"})
    """reading at one point"""
    working_day: Duration = Field(default=420.0, gt=0, json_schema_extra={"default": "7 h"})
    """a trip that would take longer is split where that can be done"""
    ahead_days: int = Field(default=60, ge=1, le=366)
    """how far ahead rounds are planned"""


class Facility(Record):
    """facility.yml."""

    name: Text
    """the facility's name"""
    address: Text
    """its address"""
    time_zone: Text
    """IANA name, e.g. Europe/Oslo"""
    site_address: Text | None = None
    """stable address of the published site: QR codes point there"""
    paper: Literal["A4", "Letter"] = "A4"
    """paper of certificates and sheets"""
    places: tuple[Place, ...] = Field(min_length=1)
    """rooms, vaults and halls"""
    policies: Timeline[Policy]
    """how results are judged"""
    certificate: CertificateWording
    """what certificates say beside the results"""
    rounds: Rounds = Field(default=Rounds(), json_schema_extra={"default": {}})
    """how long the work of a round takes"""
    review_fails_on: tuple[Text, ...] = ()
    """reservations that fail a review, by rule name"""

    def policy_on(self, day: date) -> Policy:
        """The policy in force on a day; before the first day of all, the first."""
        return in_force(self.policies, day) or self.policies[0]


class Person(Period):
    """Someone who calibrates or approves, while they are there; leavers stay on record."""

    id: Id
    """by which rows and findings name them"""
    name: Text
    """as certificates name them"""
    emails: tuple[Text, ...] = ()
    """as their commits carry them"""
    may: tuple[Literal["calibrate", "approve", "decide"], ...] = Field(min_length=1)
    """`calibrate` visits, `approve` them, `decide` findings"""


class People(Record):
    """people.yml."""

    people: tuple[Person, ...] = Field(min_length=1)
    """everyone who calibrates, approves or decides, leavers too"""


class Told(Record):
    """Who was told of a finding, and when."""

    day: Day
    """when"""
    whom: Text
    """who"""


class Finding(Record):
    """What was decided about an out-of-tolerance result. A finding closes only here."""

    sensor: Id
    """id of the sensor"""
    visit: Text
    """the visit's id, e.g. 2026-03-14-drying"""
    owner: Id
    """person who has it"""
    deviation: Text | None = None
    """number in the quality system"""
    told: tuple[Told, ...] = ()
    """who was told"""
    done: Text | None = None
    """what was done with sensor and goods"""
    decision: Text | None = None
    """what was decided about the goods"""
    closed: Day | None = None
    """day on which it was closed"""
    closed_by: Id | None = None
    """person who closed it"""

    @model_validator(mode="after")
    def _closing_is_complete(self) -> Self:
        if (self.closed is None) != (self.closed_by is None) or (self.closed and not self.decision):
            raise custom_error(
                FINDING_HALF_CLOSED,
                "a closed finding needs closed, closed_by and decision",
                "give all three, or none of closed and closed_by",
                "closed" if self.closed else "closed_by",
            )
        return self
