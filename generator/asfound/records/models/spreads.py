"""Amounts that a record declares of an instrument's errors: by bands, from a day on, with a distribution."""

from __future__ import annotations

from typing import Any, Generic, Literal, Self

from pydantic import Field, GetJsonSchemaHandler, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from asfound.records.models.fields import Amount, ChannelValue, Record, custom_error
from asfound.records.models.model_rules import BAD_RANGE, MIXED_QUANTITIES, SIZE_INCOMPLETE
from asfound.records.models.periods import Known, Value


class AmountBand(Record, Generic[Value]):
    """How large it is between two targets or two temperatures, both inside; where bands meet, the upper one rules."""

    lowest: ChannelValue
    """lower edge: a target in %RH, or a temperature at the reference"""
    highest: ChannelValue
    """upper edge"""
    value: Value
    """how large it is there"""

    @model_validator(mode="after")
    def _edges_in_order(self) -> Self:
        if self.lowest.quantity != self.highest.quantity:
            message = f"the edges are of {self.lowest.quantity} and {self.highest.quantity}"
            raise custom_error(MIXED_QUANTITIES, message, "give both edges in %RH, or both as temperatures", "highest")
        if self.lowest.value >= self.highest.value:
            raise custom_error(BAD_RANGE, "the band is empty", "write the lower end under `lowest`", "lowest")
        return self


class ByBands(Record, Generic[Value]):
    """An amount that may be another one at other humidities or temperatures."""

    value: Value
    """how large it is"""
    bands: tuple[AmountBand[Value], ...] = ()
    """where it is otherwise than `value`; one effect all the same"""

    @model_validator(mode="after")
    def _bands_of_one_quantity(self) -> Self:
        if len({band.lowest.quantity for band in self.bands}) > 1:
            message = "some bands are of humidity, others of temperature"
            raise custom_error(MIXED_QUANTITIES, message, "give all bands of one of the two", "bands")
        return self


class AloneOrByBands(ByBands[Value], Generic[Value]):
    """An amount by bands of what the channel measures; its value may stand alone."""

    @model_validator(mode="before")
    @classmethod
    def _value_alone(cls, written: Any) -> Any:
        return {"value": written} if isinstance(written, str | Amount) else written

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """The value, or the whole of it."""
        whole = handler.resolve_ref_schema(handler(core))
        return {"anyOf": [whole["properties"]["value"], dict(whole)]}


class KnownByBands(Known[Value], ByBands[Value], Generic[Value]):
    """An amount by bands, as it is known from a day on."""


class Spread(KnownByBands[Value], Generic[Value]):
    """How far something may lie to either side, as it is known from a day on."""

    means: Literal["limit", "u", "U"] = "limit"
    """what the value is: the largest deviation (half-width), a standard uncertainty, or an expanded one with its k"""
    distribution: Literal["rectangular", "triangular", "u_shaped"] = "rectangular"
    """of a limit"""
    nu: float | None = Field(default=None, ge=1.0)
    """degrees of freedom of u; left out: infinitely many"""
    k: float | None = Field(default=None, ge=1.0, le=15.0)
    """coverage factor of U"""

    @model_validator(mode="after")
    def _said_in_one_way(self) -> Self:
        if (self.means == "U") != (self.k is not None):
            raise custom_error(SIZE_INCOMPLETE, "U and k belong together", "give `means: U` and k", "value")
        if self.nu is not None and self.means != "u":
            raise custom_error(SIZE_INCOMPLETE, "nu belongs to u", "give `means: u` and nu, or U and k", "nu")
        if self.distribution != "rectangular" and self.means != "limit":
            raise custom_error(SIZE_INCOMPLETE, "a distribution belongs to a limit", "leave it out", "distribution")
        return self
