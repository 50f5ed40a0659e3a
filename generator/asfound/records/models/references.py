"""Reference standards: what each measures, its calibrations, and what else is known of its errors."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from datetime import date
from typing import Annotated, Any, Literal, Self

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticKnownError, core_schema

from asfound.faults import did_you_mean
from asfound.records.methods import METHODS, NEEDED, QUANTITIES, kind_of
from asfound.records.models.certified import ASSUMED_K, Cell, Certified, EarliestFirst, newest
from asfound.records.models.fields import (
    Amount,
    Day,
    Duration,
    Fraction,
    HumidityPerKelvin,
    HumiditySpread,
    Id,
    PressureLevel,
    PressureSpread,
    Record,
    ReferenceDifference,
    ReferenceRate,
    ReferenceSpread,
    ReferenceValue,
    TemperatureSpread,
    TemperatureValue,
    Text,
    custom_error,
)
from asfound.records.models.further import RESULT, EachOnce, Further
from asfound.records.models.model_rules import (
    BAD_AMOUNT,
    BAD_RANGE,
    CALIBRATION_INCOMPLETE,
    COMMON_WITHOUT_CALIBRATION,
    DUPLICATE_ID,
    MIXED_QUANTITIES,
    QUANTITY_MISSING,
    SHARED_TOO_LARGE,
    TABLE_OUT_OF_ORDER,
    UNKNOWN_QUANTITY,
)
from asfound.records.models.periods import Known, Period, Property, in_force
from asfound.records.models.spreads import KnownByBands, Spread
from asfound.records.visits.header import BAD_UNIT
from asfound.units import UnitError, header_unit


class _OfDeclared:
    """One of the kinds that are declared when a record is read."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """As a `Literal` of the kinds checks it."""
        return core_schema.no_info_plain_validator_function(_declared)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """As a `Literal` of the kinds shows it."""
        return {"enum": list(NEEDED), "type": "string"}


def _declared(kind: Any) -> str:
    if isinstance(kind, str) and kind in NEEDED:
        return kind
    *first, last = [repr(one) for one in NEEDED]
    raise PydanticKnownError("literal_error", {"expected": f"{', '.join(first)} or {last}"})


Kind = Annotated[str, _OfDeclared()]
"""What a reference is: a method that is declared, or a kind without one."""


class TablePoint(Record):
    """One line of a calibration certificate's table."""

    at: ReferenceValue
    """reading at which it was found; a pressure as the transducer reads it, e.g. `100 kPa gauge`"""
    value: ReferenceDifference
    """error or correction, as `declared` says"""
    U: ReferenceSpread
    """expanded uncertainty"""
    k: float | None = Field(default=None, ge=1.0, le=15.0)
    """coverage factor of this point, where it is not that of the calibration"""

    @model_validator(mode="after")
    def _uncertainty_is_positive(self) -> Self:
        if self.U.value <= 0:
            raise custom_error(BAD_AMOUNT, "U must be positive", "copy U from the certificate", "U")
        for name, amount in (("value", self.value), ("U", self.U)):
            if amount.quantity != self.at.quantity:
                message = f"an amount of {amount.quantity} stands beside one of {self.at.quantity}"
                raise custom_error(MIXED_QUANTITIES, message, "use units of one quantity", name)
        return self


class SharedComponent(Record):
    """A part of a certificate's U that other calibrations share: of other days, of other references."""

    name: Id
    """by which every calibration that shares it names it, e.g. of the laboratory's standard"""
    u: ReferenceSpread
    """standard uncertainty, held in the U of every point"""


class Calibration(Certified):
    """One calibration of one quantity: by a laboratory's certificate, or by a visit in these records."""

    declared: Literal["error", "correction"] | None = None
    """what the table's values are; the error is subtracted, the correction added"""
    k: float | None = Field(default=None, ge=1.0, le=15.0)
    """coverage factor; degrees of freedom follow from it at 95.45 % (2 and below: infinitely many); left out: taken as
    2, and said"""
    correlation: Literal["common", "independent", "zero_span"] | None = None
    """how the points' errors hang together; left out: taken as common, and said"""
    drift: ReferenceRate | None = None
    """drift allowance since this calibration, ± per year (rectangular)"""
    points: tuple[TablePoint, ...] = ()
    """the certificate's table"""
    shared: tuple[SharedComponent, ...] = ()
    """parts of its U that other calibrations share, by the word of the laboratory"""
    as_found: tuple[TablePoint, ...] = ()
    """what was found before an adjustment"""
    from_visit: Text | None = None
    """id of the visit here that calibrated it; its as-left results take the place of a table"""

    def k_of(self, point: TablePoint) -> float:
        """Coverage factor of a point of its tables."""
        return point.k or self.k or ASSUMED_K

    @property
    def stated(self) -> list[tuple[float, float]]:
        """U and k of each point of its table, canonical unit."""
        return [(point.U.value, self.k_of(point)) for point in self.points]

    @property
    def gauge(self) -> bool | None:
        """Whether the table is of gauge pressures; None where its readings do not say."""
        return next((point.at.gauge for point in self.points if point.at.gauge is not None), None)

    @model_validator(mode="after")
    def _shared_within_U(self) -> Self:
        for number, component in enumerate(self.shared):
            if component.name in [one.name for one in self.shared[:number]]:
                message = f"{component.name} stands twice"
                raise custom_error(DUPLICATE_ID, message, "give each its own name, or one u", "shared", number, "name")
        together = math.hypot(*(component.u.value for component in self.shared))
        if self.shared and any(point.U.value / self.k_of(point) < together for point in self.points):
            message = "what is shared is more than U/k of a point"
            raise custom_error(SHARED_TOO_LARGE, message, "correct u, or the table", "shared")
        return self

    @model_validator(mode="after")
    def _table_or_visit(self) -> Self:
        if self.from_visit is None:
            missing = [name for name in ("laboratory", "certificate", "declared", "points") if not getattr(self, name)]
            if missing:
                message = f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing"
                cure = "copy from the certificate, or name the visit here that calibrated it: from_visit"
                raise custom_error(CALIBRATION_INCOMPLETE, message, cure)
        elif self.points:
            message = "both points and from_visit are given"
            raise custom_error(CALIBRATION_INCOMPLETE, message, "keep one of the two", "from_visit")
        for name, points in (("points", self.points), ("as_found", self.as_found)):
            ats = [point.at.value for point in points]
            if any(after <= before for before, after in itertools.pairwise(ats)):
                message = "the points do not rise"
                raise custom_error(TABLE_OUT_OF_ORDER, message, "sort the points by `at`, each once", name)
            if len({point.at.gauge for point in points} - {None}) > 1:
                message = "some readings of the table are gauge and others absolute"
                raise custom_error(MIXED_QUANTITIES, message, "write what the transducer reads, one of the two", name)
        return self


class QuantityRecord(Record):
    """What is known of one quantity that the reference measures."""

    resolution: ReferenceSpread | None = None
    """smallest step of the reading"""
    unit: Text | None = None
    """unit in which it is read, as a visit's header writes it, e.g. `psi gauge`; left out: the last visit's.
    A table of pressures that does not say gauge or absolute is of this one"""
    lowest: ReferenceValue | None = None
    """lower end of use; left out: the table's"""
    highest: ReferenceValue | None = None
    """upper end of use; left out: the table's"""
    calibrations: EarliestFirst[Calibration]
    """its calibrations, earliest first"""

    @model_validator(mode="after")
    def _range_in_order(self) -> Self:
        if self.lowest is not None and self.highest is not None and self.lowest.value >= self.highest.value:
            raise custom_error(BAD_RANGE, "the range is empty", "write the lower end under `lowest`", "lowest")
        return self

    def table_gauge(self, calibration: Calibration) -> bool | None:
        """Whether one of its tables is of gauge pressures; None where nothing says so."""
        if calibration.gauge is not None or self.unit is None:
            return calibration.gauge
        return self.unit.endswith(" gauge") if self.unit.endswith((" gauge", " absolute")) else None

    def newest_calibration(self, day: date) -> Calibration | None:
        """The newest calibration up to a day."""
        return newest(self.calibrations, day)


class CommonComponent(Record):
    """A part of the uncertainty that several quantities share (one bath, one standard): one identity."""

    name: Id
    """by which budgets name it"""
    u: ReferenceSpread
    """standard uncertainty"""
    k: float | None = Field(default=None, ge=1.0, le=15.0)
    """coverage factor that it was stated with: degrees of freedom follow; left out: taken as 2, and said"""
    quantities: tuple[str, ...] = Field(min_length=2)
    """names of the quantities that share it"""
    date: Day
    """day of the calibrations that share it; their own U no longer holds it"""


class Away(Period):
    """A time in which the reference is not to be had."""

    reason: Text
    """why"""


class CheckLimit(Record):
    """Limit for checks between calibrations (checks are visits too)."""

    humidity: HumiditySpread = Field(gt=0)
    """largest |error| of a check"""


class Reference(Record):
    """A reference standard, its own calibrations inside. Its kind says which of the keys apply."""

    id: Id
    """the file's name"""
    kind: Kind
    """what it is, and so how its readings become a humidity"""
    name: Text
    """description"""
    serial: Text
    """serial number on the instrument"""
    quantities: dict[str, QuantityRecord] = Field(min_length=1)
    """what it measures, by the name of the visit's column"""
    common: tuple[CommonComponent, ...] = ()
    """parts of the uncertainty that several quantities share"""
    further: EachOnce[Further] = ()
    """what else is known of its errors"""
    saturator_gradient: Property[Spread[TemperatureSpread]] | None = None
    """saturator not at one temperature: half-width"""
    chamber_gradient: Property[Spread[TemperatureSpread]] | None = None
    """chamber thermometer against the place of the probe: half-width"""
    lowest_efficiency: Property[KnownByBands[Fraction]] | None = None
    """the saturator reaches between this share of saturation and 100 %"""
    pressure_drop: Property[Known[PressureSpread]] | None = None
    """where the transducer sits behind it: largest pressure lost up to the expansion valve (half is added)"""
    supply: PressureLevel | None = None
    """largest saturation pressure that its air supply gives, above the room's pressure (gauge)"""
    least_overpressure: PressureLevel | None = None
    """smallest saturation pressure, above the chamber's, at which enough air flows"""
    mirror_pressure_difference: Property[Spread[PressureSpread]] | None = None
    """of a chilled mirror whose own pressure is not read: largest difference from the chamber's: half-width"""
    salts: tuple[str, ...] = ()
    """salts of the cells, by formula"""
    cells: tuple[Cell, ...] = ()
    """cells with a certified humidity of their own"""
    salt_condition: Property[Spread[HumiditySpread]] | None = None
    """purity, two phases, distance from equilibrium: half-width"""
    rh_over: Literal["water", "ice"] | None = None
    """of a transfer probe: which relative humidity it shows; must be declared where it is read below 0 degC"""
    temperature_coefficient: Property[Known[HumidityPerKelvin]] | None = None
    """of a transfer probe: change of its reading with temperature"""
    calibration_temperature: Property[Known[TemperatureValue]] | None = None
    """of a transfer probe: temperature at which it was calibrated"""
    hysteresis: Property[KnownByBands[HumiditySpread]] | None = None
    """of a transfer probe: full width"""
    instability: Property[Spread[HumiditySpread]] | None = None
    """in air: half-width of the room's changes while reading"""
    vapour_gradient: Property[Spread[HumiditySpread]] | None = None
    """in air: difference of vapour between probe and sensor, as %RH: half-width"""
    response_lag: Property[Known[Duration]] | None = None
    """in air: longest lag between probe and sensor; with the slope of the readings it makes a half-width"""
    check_limit: CheckLimit | None = None
    """limit for its checks between calibrations"""
    away: tuple[Away, ...] = ()
    """times in which it is not to be had"""
    note: Text | None = None
    """free text"""

    def known(self, key: str, day: date) -> Any:
        """The value of a property as it is known on a day; None where none is."""
        entry = in_force(getattr(self, key), day)
        return entry.value if entry is not None else None

    @property
    def solutions(self) -> tuple[str, ...]:
        """What a visit's column `salt` may name: formulas of salts, and names of certified cells."""
        return (*self.salts, *(cell.name for cell in self.cells))

    @property
    def calibrated(self) -> dict[str, QuantityRecord | Cell]:
        """All that certificates say something of: the quantities that it measures, and its certified cells."""
        return {**self.quantities, **{cell.quantity: cell for cell in self.cells}}

    @model_validator(mode="after")
    def _quantities_fit_the_kind(self) -> Self:
        for name, record in self.quantities.items():
            _check_units(name, record)
        for name in NEEDED[self.kind]:
            if name not in self.quantities:
                message, cure = f"a {self.kind} needs the quantity {name!r}", f"add `{name}:` under quantities"
                raise custom_error(QUANTITY_MISSING, message, cure, *_AT)
        if self.kind == "loop_meter" and not {"current", "voltage"} & set(self.quantities):
            message = "a loop_meter needs the quantity 'current' or 'voltage'"
            raise custom_error(QUANTITY_MISSING, message, "add one of the two under quantities", *_AT)
        if self.kind == "saturated_salt" and not self.solutions:
            cure = "list the cells' salts, e.g. `salts: [LiCl, NaCl]`, or certified ones under `cells`"
            raise custom_error(QUANTITY_MISSING, "a saturated_salt needs its salts", cure)
        for number, cell in enumerate(self.cells):
            if cell.name in self.solutions[: len(self.salts) + number]:
                message, cure = f"{cell.name} stands twice among salts and cells", "give each cell its own name"
                raise custom_error(DUPLICATE_ID, message, cure, "cells", number, "name")
        for number, component in enumerate(self.common):
            self._check_common(component, ("common", number))
        for number, source in enumerate(self.further):
            self._check_further(source, ("further", number))
        return self

    def _check_further(self, source: Further, at: tuple[str | int, ...]) -> None:
        acted_on = {name: kind_of(name) for name in self.calibrated}
        if self.kind in METHODS:
            acted_on[RESULT] = "humidity"
        if source.of not in acted_on:
            message = f"{source.name} acts on {source.of!r}, which is not measured here"
            raise custom_error(UNKNOWN_QUANTITY, message, f"use one of {', '.join(acted_on)}", *at, "of")
        source.check_units("fraction" if source.per == "value" else acted_on[source.of], at)

    def _check_common(self, component: CommonComponent, at: tuple[str | int, ...]) -> None:
        twins = [c for c in self.common if (c.name, c.date) == (component.name, component.date)]
        if len(twins) > 1:
            message = f"two components are called {component.name} on {component.date}"
            raise custom_error(DUPLICATE_ID, message, "give each its own name, or join their quantities", *at, "name")
        for name in component.quantities:
            record = self.quantities.get(name)
            if record is None:
                message = f"{component.name} names {name!r}, which is not measured here"
                raise custom_error(UNKNOWN_QUANTITY, message, "use the names under quantities", *at, "quantities")
            if component.u.quantity != QUANTITIES[name]:
                message = f"u of {component.name} is an amount of {component.u.quantity}, {name} is not"
                cure = f"use a unit of {QUANTITIES[name]}"
                raise custom_error(MIXED_QUANTITIES, message, cure, *at, "u")
            if component.date not in [calibration.date for calibration in record.calibrations]:
                message = f"{component.name}: {name} has no calibration of {component.date}"
                cure = "write the date of the calibrations that share the component"
                raise custom_error(COMMON_WITHOUT_CALIBRATION, message, cure, *at, "date")


_AT = ("quantities",)
_KINDS = {True: "gauge", False: "absolute"}


def _amounts(record: QuantityRecord) -> Iterator[tuple[tuple[str | int, ...], Amount]]:
    """Every amount of a quantity's record that stands beside no other in a table, and the keys to it."""
    for key in ("resolution", "lowest", "highest"):
        amount = getattr(record, key)
        if amount is not None:
            yield (key,), amount
    for number, calibration in enumerate(record.calibrations):
        if calibration.drift is not None:
            yield ("calibrations", number, "drift"), calibration.drift
        for place, component in enumerate(calibration.shared):
            yield ("calibrations", number, "shared", place, "u"), component.u
        for key, table in (("points", calibration.points), ("as_found", calibration.as_found)):
            for line, point in enumerate(table):
                yield ("calibrations", number, key, line, "at"), point.at


def _check_units(name: str, record: QuantityRecord) -> None:
    """A quantity's name is known, and all its amounts are of its kind."""
    if name not in QUANTITIES:
        message, cure = f"unknown quantity {name!r}", f"use one of {', '.join(QUANTITIES)}"
        raise custom_error(UNKNOWN_QUANTITY, message, cure + did_you_mean(name, QUANTITIES), *_AT, name)
    for at, amount in _amounts(record):
        if amount.quantity != QUANTITIES[name]:
            message = f"{name} has an amount of {amount.quantity}"
            raise custom_error(MIXED_QUANTITIES, message, f"use a unit of {QUANTITIES[name]}", *_AT, name, *at)
    gauge = False if name == "ambient_pressure" else None
    if record.unit is not None:
        try:
            gauge = header_unit(record.unit, (QUANTITIES[name],)).gauge
        except UnitError as wrong:
            cure = wrong.cure.replace("[", "").replace("]", "")
            raise custom_error(BAD_UNIT, str(wrong), cure, *_AT, name, "unit") from None
    if gauge is not None and record.calibrations[-1].gauge not in (None, gauge):
        message = f"the newest table of {name} is {_KINDS[not gauge]}, and it is read {_KINDS[gauge]}"
        cure = "correct the table, or the unit in which it is read"
        raise custom_error(MIXED_QUANTITIES, message, cure, *_AT, name, "calibrations")
