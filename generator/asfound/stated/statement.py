"""What a certificate states: the document that is attached to its PDF, frozen in `issued/` and read again.

It is complete: everything that the pages show comes from here (content as ISO/IEC 17025:2017, 7.8.2, 7.8.4 and 7.8.6
ask for it; clause numbers from memory).
"""

from __future__ import annotations

import json
import re
from collections.abc import Set
from typing import Any, Literal

from pydantic import Field, ValidationError

from asfound.records.channels import Channel
from asfound.records.models.fields import Day
from asfound.records.models.stated import Number, Replaces, Stated
from asfound.stated.evidence import Evidence
from asfound.stated.results import Decision, Group, Reservation
from asfound.stated.traceability import CalibrationLink, StatedPublishedValue

PREVIEW_REVISION = "preview"
"""In the place of r1, r2, … where nothing was issued."""


class Authorised(Stated):
    """Who authorised the certificate."""

    id: str | None
    """of the person; null in a preview"""
    name: str | None
    """of that person on the day of issue; null in a preview"""
    words: str
    """as the certificate says it"""


class Calibrated(Stated):
    """The days of the readings."""

    first: Day
    """day of the first reading"""
    last: Day
    """day of the last one"""


class StatedFacility(Stated):
    """Where the item is in use."""

    name: str
    """of the facility"""
    address: str
    """of the facility"""
    time_zone: str
    """name in the time zone database; times of rows and adjustments are local times of it"""


class Signal(Stated):
    """How a loop's signal stands for the measured value."""

    channel: Channel
    """that the signal stands for"""
    words: str
    """e.g. `4 mA to 20 mA stand for 0 %RH to 100 %RH`"""


class Item(Stated):
    """What was calibrated."""

    id: str
    """of the sensor or the reference"""
    kind: Literal["sensor", "reference standard"]
    """which of the two it is"""
    name: str
    """as the records have it"""
    serial: str
    """as the records have it on the day of the visit"""
    model: str
    """family of a sensor, kind of a reference"""
    model_name: str
    """in words"""
    serial_seen: tuple[str, ...]
    """as read off the item at the visit"""
    condition: tuple[str, ...]
    """as seen at the visit: clean, dirty, wet, cap changed"""
    signals: tuple[Signal, ...]
    """of its loops; none of a digital sensor or a reference"""


class StatedPlace(Stated):
    """The measuring position; of a reference, the facility."""

    id: str | None
    """null of a reference"""
    name: str
    """of the place"""
    building: str | None
    """that the place is in; null where none is named"""
    position: str | None
    """where in the place"""


class Method(Stated):
    """How it was calibrated."""

    procedure: str
    """the laboratory's own"""
    version: str
    """of the procedure"""
    principles: tuple[str, ...]
    """how the reference methods arrive at their values, a sentence each"""
    media: tuple[str, ...]
    """where sensor and reference met: chamber, salt cell, air"""


class Condition(Stated):
    """What was read of the surroundings or at the probe."""

    quantity: str
    """in words, e.g. `room temperature`"""
    unit: str
    """degC, %RH or Pa"""
    mean: Number
    """in `unit`"""
    lowest: Number
    """lowest reading, in `unit`"""
    highest: Number
    """highest reading, in `unit`"""


class Adjustment(Stated):
    """What was changed on the item between as found and as left."""

    time: str
    """local, `YYYY-MM-DD HH:MM[:SS]`"""
    kind: str
    """zero, span, table or element"""
    words: str
    """as the page says it"""
    from_: str = Field(alias="from")
    """setting before, as it was written; may be empty"""
    to: str
    """setting after"""
    note: str
    """may be empty"""


class Sentences(Stated):
    """Sentences that the pages repeat."""

    basis: str
    """on what footing the laboratory calibrates"""
    coverage: str
    """what U and k mean"""
    place: str
    """where the item was calibrated"""
    salts: str | None
    """what the humidity over salts rests on; null where none was used"""
    scope: str
    """that the results relate to the item only"""
    reproduction: str
    """how the document may be copied"""


class Technician(Stated):
    """A person who read at the visit."""

    id: str
    """in people.yml"""
    name: str
    """on the day of the statement"""


class VisitPage(Stated):
    """Where the site shows the visit."""

    path: str
    """inside the site"""
    address: str | None
    """the whole address, where the facility has one"""


class Statement(Stated):
    """What one certificate states, issued or preview."""

    schema_: Literal["asfound certificate 1"] = Field(alias="schema")
    """of this document: a version of asfound reads the schemas that it knows"""
    number: str
    """`SENSOR/VISIT.rN`, or `SENSOR/VISIT.preview`"""
    sensor: str
    """id of the sensor, or of the reference that was calibrated"""
    visit: str
    """id of the visit"""
    revision: str
    """of the certificate: r1, r2, …, or preview"""
    replaces: Replaces | None
    """null where it is the first"""
    issued: Day
    """day of issue; of a preview the day for which it was made"""
    authorised: Authorised
    """who stands for it"""
    evidence: Evidence
    """what it was computed from"""
    title: str
    """of the document: a certificate, or a record of a check"""
    paper: Literal["A4", "Letter"]
    """that it is printed on"""
    calibrated: Calibrated
    """when it was read"""
    laboratory: str
    """who calibrated, with address"""
    facility: StatedFacility
    """where the item is in use"""
    customer: str
    """for whom it was calibrated"""
    item: Item
    """what was calibrated"""
    place: StatedPlace
    """where the item works"""
    method: Method
    """how it was calibrated"""
    conditions: tuple[Condition, ...]
    """those that were read, none that was assumed"""
    results: tuple[Group, ...]
    """by phase and channel, in the order of the work"""
    adjustments: tuple[Adjustment, ...]
    """in the order of time"""
    decision: Decision | None
    """null where no tolerance is declared"""
    reservations: tuple[Reservation, ...]
    """in the order of their marks"""
    deviations: tuple[str, ...]
    """what was left out or added against the method"""
    remarks: tuple[str, ...]
    """what must be known to use the results"""
    traceability: tuple[CalibrationLink, ...]
    """those that the results lean on themselves first"""
    published_values: tuple[StatedPublishedValue, ...]
    """that the results lean on themselves, by reference and salt"""
    words: Sentences
    """sentences of the pages"""
    technicians: tuple[Technician, ...]
    """everybody who read at the visit"""
    due: Day | None
    """next calibration, only where the customer agreed to have it stated"""
    page: VisitPage
    """where the site shows the visit"""

    @property
    def file_name(self) -> str:
        """`2026-03-14-drying.r1.json`: under which it is attached and, in the sensor's folder, published and frozen."""
        return f"{self.visit}.{self.revision}.json"

    @property
    def issued_path(self) -> str:
        """`issued/RH-101/2026-03-14-drying.r1.json`: its file among the records."""
        return f"issued/{self.sensor}/{self.file_name}"


_KIND = re.compile(r"(constrained-)?float$|literal\[")
"""What pydantic puts behind the keys where a value may be of several kinds."""


class NotAStatement(ValueError):
    """What was read does not have the shape of a statement: says where, and what is wrong there."""

    def __init__(self, problem: ValidationError) -> None:
        first = problem.errors(include_url=False)[0]
        self.keys = tuple(str(key) for key in first["loc"] if not _KIND.match(str(key)))
        """the keys and positions that lead to the place"""
        super().__init__(f"{'.'.join(self.keys) or 'the whole'}: {first['msg'][:1].lower()}{first['msg'][1:]}")


def document(stated: Stated, *, only: Set[str] | None = None, without: Set[str] | None = None) -> dict[str, Any]:
    """A statement, or a part of one, as JSON holds it; of its fields only some, or without some."""
    return stated.model_dump(
        mode="json",
        by_alias=True,
        exclude_unset=True,
        include=None if only is None else set(only),
        exclude=None if without is None else set(without),
    )


def statement_bytes(statement: Statement) -> bytes:
    """The statement as the bytes that are published, attached and frozen."""
    return (json.dumps(document(statement), ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()


def read_statement(content: bytes) -> Statement:
    """The statement that a file holds. Raises NotAStatement where it holds none."""
    try:
        return Statement.model_validate_json(content, by_alias=True, by_name=False)
    except ValidationError as problem:
        raise NotAStatement(problem) from None
