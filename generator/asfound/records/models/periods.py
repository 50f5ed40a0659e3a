"""What carries dates: settings in force from a day on, and periods; first and last day are inside."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Generic, Self, TypeVar

from pydantic import Field, GetCoreSchemaHandler, model_validator
from pydantic_core import CoreSchema, core_schema

from asfound.records.models.fields import Day, Record, custom_error
from asfound.records.models.model_rules import DATES_OUT_OF_ORDER


class Dated(Record):
    """A setting in force from its first day on (inclusive), until the next entry begins."""

    from_: Day = Field(default=date.min, alias="from", json_schema_extra={"default": None})
    """first day on which this entry is in force; left out: always"""


class Period(Record):
    """A time with its first and last day, both inside."""

    from_: Day = Field(alias="from")
    """first day"""
    until: Day | None = None
    """last day; left out: no end is known"""

    @model_validator(mode="after")
    def _ends_after_its_start(self) -> Self:
        if self.until is not None and self.until < self.from_:
            raise custom_error(
                DATES_OUT_OF_ORDER,
                f"{self.until} lies before the first day {self.from_}",
                "check the two days",
                "until",
            )
        return self

    def holds(self, day: date) -> bool:
        """Whether `day` lies in the period."""
        return self.from_ <= day and (self.until is None or day <= self.until)


Entry = TypeVar("Entry", bound=Dated)
Value = TypeVar("Value")


class Known(Dated, Generic[Value]):
    """A property as it is known from a day on."""

    value: Value
    """how large it is"""


@dataclass(frozen=True)
class _OneOrMore:
    """Annotation of a dated setting: one entry, or a list of them in order of their first days."""

    bare: bool = False
    """whether the value of an entry may stand alone: it is always known"""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        entries = core_schema.no_info_after_validator_function(_first_days_rise, handler(source))
        return core_schema.no_info_before_validator_function(self._as_list, entries)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        entries = handler(schema)
        if not self.bare:
            return {"anyOf": [entries["items"], entries]}
        entry = {key: part for key, part in handler.resolve_ref_schema(entries["items"]).items() if key != "title"}
        return {"anyOf": [entry["properties"]["value"], entry, entries | {"items": entry}]}

    def _as_list(self, value: Any) -> Any:
        if self.bare and isinstance(value, str):
            return [{"value": value}]
        return [value] if isinstance(value, dict) else value


def _first_days_rise(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    for before, after in itertools.pairwise(entries):
        if after.from_ <= before.from_:
            first_day = "an undated entry" if after.from_ == date.min else f"the entry from {after.from_}"
            earlier = "another undated one" if before.from_ == date.min else f"the one from {before.from_}"
            raise custom_error(
                DATES_OUT_OF_ORDER,
                f"{first_day} stands behind {earlier}",
                "give each entry its own `from:` and sort them, earliest first",
            )
    return entries


Timeline = Annotated[tuple[Entry, ...], Field(min_length=1), _OneOrMore()]
"""A dated setting; `Timeline[Tolerance]` is a tuple of entries, earliest first."""
Property = Annotated[tuple[Entry, ...], Field(min_length=1), _OneOrMore(bare=True)]
"""What is known of an instrument's errors, from a day on: `Property[Known[HumiditySpread]]`; written alone, always."""


def in_force(entries: tuple[Entry, ...] | None, day: date) -> Entry | None:
    """The entry in force on `day`, if any."""
    current = None
    for entry in entries or ():
        if entry.from_ <= day:
            current = entry
    return current
