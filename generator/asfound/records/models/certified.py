"""What laboratories' certificates have in common, and cells whose humidity one of them certifies."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import date
from typing import Annotated, ClassVar, Self, TypeVar

from pydantic import AfterValidator, Field, model_validator

from asfound.records.methods import CELL
from asfound.records.models.fields import (
    Day,
    Humidity,
    HumidityChange,
    HumidityRate,
    HumiditySpread,
    Id,
    Record,
    TemperatureValue,
    Text,
    custom_error,
)
from asfound.records.models.model_rules import DATES_OUT_OF_ORDER

ASSUMED_K = 2.0
"""Where a record does not say what the certificate states; `check` then asks for it."""


class Certified(Record):
    """Who calibrated, when, and for how long that holds."""

    date: Day
    """day of the calibration"""
    laboratory: Text | None = None
    """who calibrated"""
    accreditation: Text | None = None
    """the laboratory's accreditation, as its certificate states it: the link to the SI beyond its word"""
    certificate: Text | None = None
    """number of the certificate"""
    valid_until: Day
    """last day on which it may be used"""

    @property
    def calibrated_by(self) -> str | None:
        """The laboratory with its accreditation; None where a visit here calibrated."""
        return f"{self.laboratory} ({self.accreditation})" if self.accreditation else self.laboratory

    @model_validator(mode="after")
    def _valid_from_its_day(self) -> Self:
        if self.valid_until < self.date:
            message = f"{self.valid_until} lies before the day of calibration {self.date}"
            raise custom_error(DATES_OUT_OF_ORDER, message, "check the two days", "valid_until")
        return self


Calibrated = TypeVar("Calibrated", bound=Certified)


def newest(calibrations: Sequence[Calibrated], day: date) -> Calibrated | None:
    """The newest of calibrations, earliest first, up to a day."""
    past = [calibration for calibration in calibrations if calibration.date <= day]
    return past[-1] if past else None


def _in_order(calibrations: tuple[Calibrated, ...]) -> tuple[Calibrated, ...]:
    if any(after.date <= before.date for before, after in itertools.pairwise(calibrations)):
        message = "the calibrations are not in order of date"
        raise custom_error(DATES_OUT_OF_ORDER, message, "sort them, earliest first")
    return calibrations


EarliestFirst = Annotated[tuple[Calibrated, ...], Field(min_length=1), AfterValidator(_in_order)]
"""Calibrations of one quantity; DATES_OUT_OF_ORDER where they stand otherwise."""


class CellCalibration(Certified):
    """One certificate of a cell."""

    laboratory: Text
    """who calibrated"""
    certificate: Text
    """number of the certificate"""
    value: Humidity
    """certified humidity over the solution"""
    at: TemperatureValue
    """temperature at which it was certified"""
    change: HumidityChange
    """change of the value with the solution's temperature, either sign, e.g. `-0.03 %RH/degC`; 0 where there is none"""
    U: HumiditySpread = Field(gt=0)
    """expanded uncertainty"""
    k: float | None = Field(default=None, ge=1.0, le=15.0)
    """coverage factor; degrees of freedom follow from it; left out: taken as 2, and said"""
    drift: HumidityRate | None = None
    """drift allowance since this calibration, ± per year (rectangular)"""

    from_visit: ClassVar[None] = None
    """no visit here certifies a cell"""

    @property
    def stated(self) -> list[tuple[float, float]]:
        """U and k of its one point, %RH."""
        return [(self.U, self.k or ASSUMED_K)]


class Cell(Record):
    """A cell with a humidity of its own: an unsaturated solution, or one that was certified."""

    name: Id
    """what a visit's column `salt` says of it; no salt's formula"""
    calibrations: EarliestFirst[CellCalibration]
    """its certificates, earliest first"""

    @property
    def quantity(self) -> str:
        """What its humidity is called beside the quantities that the reference measures."""
        return f"{CELL}{self.name}"

    def newest_calibration(self, day: date) -> CellCalibration | None:
        """The newest certificate up to a day."""
        return newest(self.calibrations, day)
