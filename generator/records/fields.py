"""The scalars of YAML records: days, amounts with units, ids. Each turns the written text into a canonical value."""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, StringConstraints, WithJsonSchema
from pydantic_core import PydanticCustomError

from generator.units import UnitError, amount


class Record(BaseModel):
    """A frozen, keyword-only record that refuses unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


def custom_error(rule: str, message: str, cure: str) -> PydanticCustomError:
    """A validation error that carries its rule's name and the cure."""
    return PydanticCustomError(rule, "{message}", {"message": message, "cure": cure})  # type: ignore[arg-type]


_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def parse_day(value: Any) -> date:
    """`2026-03-14` → the day; nothing else is a day."""
    if isinstance(value, date):
        return value
    if isinstance(value, str) and _DAY.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise custom_error("bad-date", f"{value!r} is not a day", "write it as YYYY-MM-DD, e.g. 2026-03-14")


def _amount(quantity: str, *, difference: bool, per: str | None, lowest: float | None) -> BeforeValidator:
    def parse(value: Any) -> float:
        if isinstance(value, float):
            return value
        if not isinstance(value, str):
            raise custom_error("bad-amount", f"{value!r} is not an amount", "write a number and its unit")
        try:
            number = amount(value, quantity, difference=difference, per=per)
        except UnitError as problem:
            raise custom_error("bad-amount", str(problem), problem.cure) from None
        if lowest is not None and number < lowest:
            raise custom_error("bad-amount", f"{value!r} is negative", "write zero or a positive amount")
        return number

    return BeforeValidator(parse)


def _quantity(
    quantity: str, *, difference: bool = False, per: str | None = None, lowest: float | None = None
) -> Any:
    suffix = f"/{per}" if per else ""
    schema = {
        "type": "string",
        "description": f"a number and its unit of {quantity}{suffix}, e.g. `0.05 kPa`",
    }
    return Annotated[
        float, _amount(quantity, difference=difference, per=per, lowest=lowest), WithJsonSchema(schema)
    ]


Day = Annotated[date, BeforeValidator(parse_day), WithJsonSchema({"type": "string", "format": "date"})]
Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z][A-Za-z0-9]*(-[A-Za-z0-9]+)*$", max_length=40)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000)]

Humidity = _quantity("humidity", lowest=0.0)
HumidityDifference = _quantity("humidity")
HumiditySpread = _quantity("humidity", lowest=0.0)
HumiditySlope = _quantity("humidity", per="min", lowest=0.0)
Temperature = _quantity("temperature")
TemperatureDifference = _quantity("temperature", difference=True)
TemperatureSpread = _quantity("temperature", difference=True, lowest=0.0)
PressureDifference = _quantity("pressure", difference=True)
PressureSpread = _quantity("pressure", difference=True, lowest=0.0)
Current = _quantity("current")
Voltage = _quantity("voltage")
Duration = _quantity("duration", lowest=0.0)
HumidityPerKelvin = _quantity("humidity", per="degC", lowest=0.0)
Fraction = _quantity("fraction", lowest=0.0)


def any_amount(*quantities: str, difference: bool = False, per: str | None = None) -> Any:
    """An amount whose quantity the record's own context settles: one of `quantities`, tried in order."""

    def parse(value: Any) -> Any:
        if not isinstance(value, str):
            return value
        problems: list[UnitError] = []
        for quantity in quantities:
            try:
                return Amount(
                    value=amount(value, quantity, difference=difference, per=per), quantity=quantity
                )
            except UnitError as problem:
                problems.append(problem)
        raise custom_error("bad-amount", str(problems[0]), problems[0].cure)

    schema = {"type": "string", "description": f"a number and its unit of {' or '.join(quantities)}"}
    return Annotated[Amount, BeforeValidator(parse), WithJsonSchema(schema)]


class Amount(Record):
    """A value in the canonical unit of its quantity."""

    value: float
    quantity: str


def period_contains(start: date, end: date | None, day: date) -> bool:
    """Whether a period, its first and last day inclusive, holds `day`."""
    return start <= day and (end is None or day <= end)
