"""Reference standards: what each measures, its calibrations, and what else is known of its errors."""

from __future__ import annotations

import itertools
from typing import Literal, Self

from pydantic import Field, model_validator

from generator.records.fields import (
    Day,
    Duration,
    Fraction,
    HumidityPerKelvin,
    HumiditySpread,
    Id,
    PressureSpread,
    Record,
    TemperatureSpread,
    Text,
    any_amount,
    custom_error,
)

QUANTITIES: dict[str, str] = {
    "saturation_pressure": "pressure",
    "saturation_temperature": "temperature",
    "chamber_pressure": "pressure",
    "chamber_temperature": "temperature",
    "mirror_temperature": "temperature",
    "mirror_pressure": "pressure",
    "reference_humidity": "humidity",
    "reference_temperature": "temperature",
    "air_temperature": "temperature",
    "ambient_pressure": "pressure",
    "current": "current",
    "voltage": "voltage",
}
"""Names of what a reference measures (its CSV columns, and a loop meter's two) → kind of quantity."""

NEEDED: dict[str, tuple[str, ...]] = {
    "two_pressure": (
        "saturation_pressure",
        "saturation_temperature",
        "chamber_pressure",
        "chamber_temperature",
    ),
    "chilled_mirror": ("mirror_temperature", "chamber_temperature"),
    "saturated_salt": ("chamber_temperature",),
    "transfer_probe": ("reference_humidity", "reference_temperature"),
    "loop_meter": (),
    "barometer": ("ambient_pressure",),
}
"""Kind of reference → the quantities it must have a record of."""

Kind = Literal[
    "two_pressure", "chilled_mirror", "saturated_salt", "transfer_probe", "loop_meter", "barometer"
]

_QUANTITY_KINDS = ("pressure", "temperature", "humidity", "current", "voltage")
_At = any_amount(*_QUANTITY_KINDS)
_Difference = any_amount(*_QUANTITY_KINDS, difference=True)
_Rate = any_amount(*_QUANTITY_KINDS, difference=True, per="year")


class TablePoint(Record):
    """One line of a calibration certificate's table."""

    at: _At
    """reading at which it was found; a pressure as the transducer reads it, gauge or absolute"""
    value: _Difference
    """error or correction, as `declared` says"""
    U: _Difference
    """expanded uncertainty"""
    k: float = Field(default=2.0, ge=1.0, le=15.0)
    """coverage factor; degrees of freedom follow from it at 95.45 % (2 and below: infinitely many)"""

    @model_validator(mode="after")
    def _uncertainty_is_positive(self) -> Self:
        if self.U.value <= 0:
            raise custom_error("bad-amount", "U must be positive", "copy U from the certificate")
        if len({self.at.quantity, self.value.quantity, self.U.quantity}) > 1:
            raise custom_error(
                "mixed-quantities", "at, value and U are of different kinds", "use units of one quantity"
            )
        return self


class Calibration(Record):
    """One calibration of one quantity: by a laboratory's certificate, or by a visit in these records."""

    date: Day
    laboratory: Text | None = None
    certificate: Text | None = None
    valid_until: Day
    declared: Literal["error", "correction"] | None = None
    """what the table's values are; the error is subtracted, the correction added"""
    correlation: Literal["common", "independent", "zero_span"] = "common"
    """how the points' errors hang together"""
    drift: _Rate | None = None
    """drift allowance since this calibration, ± per year (rectangular)"""
    points: tuple[TablePoint, ...] = ()
    as_found: tuple[TablePoint, ...] = ()
    """what was found before an adjustment"""
    from_visit: Text | None = None
    """id of the visit here that calibrated it; its as-left results take the place of a table"""

    @model_validator(mode="after")
    def _table_or_visit(self) -> Self:
        if self.from_visit is None and (
            not self.points or self.declared is None or not self.laboratory or not self.certificate
        ):
            raise custom_error(
                "calibration-incomplete",
                "a calibration needs laboratory, certificate, declared and points, or from_visit",
                "copy them from the certificate",
            )
        if self.from_visit is not None and self.points:
            raise custom_error(
                "calibration-incomplete", "both points and from_visit are given", "keep one of the two"
            )
        if self.valid_until < self.date:
            raise custom_error("dates-out-of-order", "valid_until lies before date", "check the two days")
        ats = [point.at.value for point in self.points]
        if any(b <= a for a, b in itertools.pairwise(ats)):
            raise custom_error("table-out-of-order", "points do not rise", "sort the points by `at`")
        return self


class QuantityRecord(Record):
    """What is known of one quantity that the reference measures."""

    resolution: _Difference | None = None
    """smallest step of the reading"""
    lowest: _At | None = None
    """lower end of use; left out: the table's"""
    highest: _At | None = None
    calibrations: tuple[Calibration, ...] = Field(min_length=1)


class CommonComponent(Record):
    """A part of the uncertainty that several quantities share (one bath, one standard): one identity."""

    name: Id
    u: _Difference
    """standard uncertainty"""
    quantities: tuple[str, ...] = Field(min_length=2)
    date: Day
    """day of the calibrations that share it; their own U no longer holds it"""


class Away(Record):
    """A time in which the reference is not to be had."""

    from_: Day = Field(alias="from")
    until: Day | None = None
    reason: Text


class CheckLimit(Record):
    """Limit for checks between calibrations (checks are visits too)."""

    humidity: HumiditySpread
    """largest |error| of a check"""


class Reference(Record):
    """A reference standard, its own calibrations inside. Its kind says which of the keys apply."""

    id: Id
    """the file's name"""
    kind: Kind
    name: Text
    serial: Text
    quantities: dict[str, QuantityRecord] = Field(min_length=1)
    common: tuple[CommonComponent, ...] = ()
    saturator_gradient: TemperatureSpread | None = None
    """saturator not at one temperature: half-width"""
    chamber_gradient: TemperatureSpread | None = None
    """chamber thermometer against the place of the probe: half-width"""
    lowest_efficiency: Fraction | None = None
    """the saturator reaches between this share of saturation and 100 %"""
    pressure_drop: PressureSpread | None = None
    """largest pressure lost between saturator outlet and expansion valve"""
    salts: tuple[str, ...] = ()
    """salts of the cells, by formula"""
    salt_condition: HumiditySpread | None = None
    """purity, two phases, distance from equilibrium: half-width"""
    temperature_coefficient: HumidityPerKelvin | None = None
    """of a transfer probe: change of its reading with temperature"""
    calibration_temperature: any_amount("temperature") | None = None
    """of a transfer probe: temperature at which it was calibrated"""
    hysteresis: HumiditySpread | None = None
    """of a transfer probe: full width"""
    instability: HumiditySpread | None = None
    """in air: half-width of the room's changes while reading"""
    vapour_gradient: HumiditySpread | None = None
    """in air: difference of vapour between probe and sensor, as %RH: half-width"""
    response_lag: Duration | None = None
    """in air: longest lag between the two"""
    check_limit: CheckLimit | None = None
    away: tuple[Away, ...] = ()
    note: Text | None = None

    @model_validator(mode="after")
    def _quantities_fit_the_kind(self) -> Self:
        for name in NEEDED[self.kind]:
            if name not in self.quantities:
                raise custom_error(
                    "quantity-missing",
                    f"a {self.kind} needs the quantity {name!r}",
                    "add it under quantities",
                )
        for name, record in self.quantities.items():
            if name not in QUANTITIES:
                raise custom_error(
                    "unknown-quantity", f"unknown quantity {name!r}", f"use one of {', '.join(QUANTITIES)}"
                )
            _check_units(name, record)
        for component in self.common:
            strange = [name for name in component.quantities if name not in self.quantities]
            if strange:
                raise custom_error(
                    "unknown-quantity",
                    f"common component {component.name!r} names {strange[0]!r}, which is not measured here",
                    "use the names under quantities",
                )
        if self.kind == "saturated_salt" and not self.salts:
            raise custom_error(
                "quantity-missing", "no salts are named", "list the cells' salts, e.g. [LiCl, NaCl]"
            )
        if self.kind == "loop_meter" and not {"current", "voltage"} & set(self.quantities):
            raise custom_error("quantity-missing", "a loop_meter needs current or voltage", "add one of them")
        return self


def _check_units(name: str, record: QuantityRecord) -> None:
    kind = QUANTITIES[name]
    amounts = [record.resolution, record.lowest, record.highest]
    for calibration in record.calibrations:
        amounts += [calibration.drift, *(point.at for point in calibration.points)]
        amounts += [point.at for point in calibration.as_found]
    for amount in amounts:
        if amount is not None and amount.quantity != kind:
            raise custom_error(
                "mixed-quantities", f"{name} has an amount of {amount.quantity}", f"use a unit of {kind}"
            )
    days = [calibration.date for calibration in record.calibrations]
    if any(b <= a for a, b in itertools.pairwise(days)):
        raise custom_error(
            "dates-out-of-order",
            f"calibrations of {name} are not in order of date",
            "sort them, earliest first",
        )
