"""Further sources of errors: what is known beyond the usual of a reference or a sensor, with size and duration."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, Self, TypeVar

import numpy as np
from pydantic import AfterValidator, Field, model_validator

from asfound.records.channels import Channel
from asfound.records.models.fields import (
    Amount,
    Day,
    FurtherDifference,
    FurtherSpread,
    Humidity,
    Id,
    TemperatureValue,
    Text,
    custom_error,
)
from asfound.records.models.model_rules import (
    BAD_AMOUNT,
    BAD_RANGE,
    DATES_OUT_OF_ORDER,
    DUPLICATE_ID,
    MIXED_QUANTITIES,
    SIZE_INCOMPLETE,
)
from asfound.records.models.periods import Dated

RESULT = "humidity"
"""By this name a source acts on the humidity that the method gives."""


class Sized(Dated):
    """One source. Its size is one of `limit`, `u`, or `U` with `k`."""

    name: Id
    """by which budgets name it"""
    label: Text
    """what varies, in words"""
    limit: FurtherSpread | None = None
    """largest deviation to either side: half-width"""
    u: FurtherSpread | None = None
    """standard uncertainty"""
    U: FurtherSpread | None = None
    """expanded uncertainty"""
    k: float | None = Field(default=None, ge=1.0, le=15.0)
    """coverage factor of U"""
    distribution: Literal["rectangular", "triangular", "u_shaped"] = "rectangular"
    """of a limit: all deviations alike, the small ones likelier, or those near the limits (a cycling control)"""
    nu: float | None = Field(default=None, ge=1.0)
    """degrees of freedom of u; left out: infinitely many"""
    until: Day | None = None
    """last day on which it acts; left out: no end is known"""

    def acts_on(self, days: np.ndarray) -> np.ndarray:
        """Whether it acts on each of these days (datetime64[D]), shape as theirs."""
        last = self.until or date.max
        return (np.datetime64(self.from_) <= days) & (days <= np.datetime64(last))

    @property
    def amounts(self) -> dict[str, Amount]:
        """What is written of its size, by key."""
        given = {name: getattr(self, name, None) for name in ("limit", "u", "U", "correction")}
        return {name: amount for name, amount in given.items() if amount is not None}

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        sizes = [name for name in ("limit", "u", "U") if getattr(self, name) is not None]
        if len(sizes) != 1:
            told = f"{' and '.join(sizes)} are given" if sizes else "no size is given"
            raise custom_error(SIZE_INCOMPLETE, told, "give one of limit, u, or U with k")
        if self.amounts[sizes[0]].value <= 0.0:
            raise custom_error(BAD_AMOUNT, f"{sizes[0]} is zero", "leave the source out, or give its size", sizes[0])
        if self.until is not None and self.until < self.from_:
            message = f"{self.until} lies before the first day {self.from_}"
            raise custom_error(DATES_OUT_OF_ORDER, message, "check the two days", "until")
        if (self.U is None) != (self.k is None):
            raise custom_error(SIZE_INCOMPLETE, "U and k belong together", "give both, or u")
        if self.nu is not None and self.u is None:
            raise custom_error(SIZE_INCOMPLETE, "nu belongs to u", "give u and nu, or U and k", "nu")
        if self.distribution != "rectangular" and self.limit is None:
            raise custom_error(SIZE_INCOMPLETE, "a distribution belongs to a limit", "give limit", "distribution")
        return self

    def check_units(self, wanted: str, at: tuple[str | int, ...] = ()) -> None:
        """Raise MIXED_QUANTITIES where an amount is not of this quantity; `at`: the keys to it inside the record."""
        for name, amount in self.amounts.items():
            if amount.quantity != wanted:
                message = f"{self.name} has an amount of {amount.quantity}"
                cure = "write a share, e.g. 0.05 %" if wanted == "fraction" else f"use a unit of {wanted}"
                raise custom_error(MIXED_QUANTITIES, message, cure, *at, name)


One = TypeVar("One", bound=Sized)


def _each_name_once(sources: tuple[One, ...]) -> tuple[One, ...]:
    names = [source.name for source in sources]
    for number, name in enumerate(names):
        if name in names[:number]:
            raise custom_error(DUPLICATE_ID, f"{name} stands twice", "give each its own name", number, "name")
    return sources


EachOnce = Annotated[tuple[One, ...], AfterValidator(_each_name_once)]
"""Sources of one record; budgets tell them apart by their names."""


class Further(Sized):
    """One further source of a reference."""

    of: str
    """the quantity that it acts on, by its name under `quantities`, or `humidity`: what the method gives"""
    lasts: Literal["reading", "plateau", "visit", "calibration", "longer"]
    """how long the effect keeps its value: that of one reading, of a plateau, of a visit, until the reference is
    calibrated again, or as long as it is in use"""
    correction: FurtherDifference | None = None
    """what is known of its mean: added to the value; the size is then what is left unknown"""
    per: Literal["degC", "month", "value"] | None = None
    """size and correction hold for one degree from `calibration_temperature`, for one month since the calibration,
    or are shares of the value"""
    calibration_temperature: TemperatureValue | None = None
    """from which degrees are counted: of a transfer probe by its own temperature, else by the room's where the row
    gives it, else by the reference's own"""
    lowest: Humidity | None = None
    """lowest target at which it acts; left out: at all"""
    highest: Humidity | None = None
    """highest target at which it acts; left out: at all"""

    @model_validator(mode="after")
    def _counted_from_something(self) -> Self:
        if (self.per == "degC") != (self.calibration_temperature is not None):
            cure = "give both `per: degC` and calibration_temperature, or neither"
            raise custom_error(SIZE_INCOMPLETE, "degrees are counted from a temperature", cure)
        if self.lowest is not None and self.highest is not None and self.lowest >= self.highest:
            raise custom_error(BAD_RANGE, "the range is empty", "write the lower end under `lowest`", "lowest")
        if self.of == RESULT and (self.per == "month" or self.lasts == "calibration"):
            cure = "name the quantity whose calibration it is"
            raise custom_error(SIZE_INCOMPLETE, "the calibration is one of a quantity, not of the result", cure, "of")
        return self


class SensorFurther(Sized):
    """One further source of what a sensor, or the far end of its loop, shows."""

    of: Literal["sensor", "far_end"]
    """`sensor`: what it gives, to its own reading and to the far end alike; `far_end`: what is added there"""
    channel: Channel = Channel.HUMIDITY
    """whose reading it is"""
    lasts: Literal["reading", "plateau", "visit", "longer"]
    """how long the effect keeps its value: that of one reading, of a plateau, of a visit, or as long as the
    instrument is in use"""

    @model_validator(mode="after")
    def _in_the_channel_s_unit(self) -> Self:
        self.check_units(self.channel.value)
        return self
