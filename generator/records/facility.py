"""The facility, its people and its findings as frozen models."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from generator.records.fields import (
    Day,
    Duration,
    Fraction,
    HumiditySlope,
    HumiditySpread,
    Id,
    Record,
    TemperatureSpread,
    Text,
    custom_error,
)
from generator.records.periods import Dated, Period, Timeline


class Place(Record):
    """A room, vault or hall."""

    id: Id
    """by which sensors name it"""
    name: Text
    """by which people know it"""
    building: Text | None = None
    """building that it lies in"""


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
    """decision rule of the statements of conformity"""
    guard_band: float = Field(default=1.0, gt=0, le=3)
    """r of the guard band w = r·U"""
    largest_risk: Fraction = Field(default=0.025, le=0.5, json_schema_extra={"default": "2.5 %"})
    """α of the specific-risk rule"""
    largest_u_over_t: float | None = Field(default=None, gt=0, le=1)
    """simple acceptance: U/T above this is a reservation"""
    settling: Settling = Field(default=Settling(), json_schema_extra={"default": {}})
    """what makes a plateau settled"""
    least_pool: int = Field(default=10, ge=2)
    """degrees of freedom from which a family's pooled repeatability replaces the declared one"""
    visit_to_visit: HumiditySpread = Field(default=0.0, json_schema_extra={"default": "0 %RH"})
    """standard deviation of a humidity error from visit to visit beyond its uncertainty"""
    visit_to_visit_temperature: TemperatureSpread = Field(default=0.0, json_schema_extra={"default": "0 degC"})
    """standard deviation of a temperature error from visit to visit beyond its uncertainty"""
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
    """its version"""
    accreditation: Text | None = None
    """statement of accreditation, word for word; left out: in-house calibration"""
    due_date_agreed: bool = False
    """true only where the customer agreed in writing that certificates show a due date"""


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
    review_fails_on: tuple[Text, ...] = ()
    """reservations that fail a review, by rule name"""


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
                "finding-half-closed",
                "a closed finding needs closed, closed_by and decision",
                "give all three, or none of closed and closed_by",
                "closed" if self.closed else "closed_by",
            )
        return self
