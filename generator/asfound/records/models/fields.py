"""The scalars of YAML records: days, amounts with units, ids. Each turns a written text into a canonical value."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, GetCoreSchemaHandler, StringConstraints
from pydantic import WithJsonSchema as JsonSchema
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from asfound.faults import Rule
from asfound.records.models.model_rules import BAD_AMOUNT, BAD_DATE
from asfound.units import CANONICAL, NUMBER, UnitError, amount_of, symbols


class Record(BaseModel):
    """A frozen, keyword-only record that refuses unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True, allow_inf_nan=False)


def custom_error(rule: Rule, message: str, cure: str, *at: str | int) -> PydanticCustomError:
    """A validation error that carries its rule and the cure; `at`: the keys to it inside the record."""
    context = {"rule": rule, "message": message, "cure": cure, "at": at}
    return PydanticCustomError(rule.name, "{message}", context)


_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def parse_day(value: Any) -> date:
    """`2026-03-14` → the day; nothing else is a day."""
    if isinstance(value, date):
        return value
    if isinstance(value, str) and _DAY.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise custom_error(BAD_DATE, f"{value!r} is not a day", "write it as YYYY-MM-DD, e.g. 2026-03-14")


class Amount(Record):
    """A value in the canonical unit of its quantity."""

    value: float
    """in the canonical unit"""
    quantity: str
    """humidity, pressure, temperature, current, voltage, duration or fraction"""
    gauge: bool | None = None
    """of a pressure: gauge or absolute; None where that is not said"""


LARGEST: Mapping[str, Mapping[str, float]] = {
    "level": {"humidity": 1000.0, "pressure": 25e6, "temperature": 500.0, "current": 100.0, "voltage": 100.0}
    | {"duration": 20160.0, "fraction": 1.0},
    "difference": {"humidity": 100.0, "pressure": 200e3, "temperature": 10.0, "current": 1.0, "voltage": 1.0}
    | {"fraction": 0.1},
    "year": {"humidity": 50.0, "pressure": 50e3, "temperature": 5.0, "current": 1.0, "voltage": 1.0},
    "degC": {"humidity": 5.0},
    "min": {"humidity": 100.0},
}
"""Level, difference or what a rate is per → quantity → the largest amount that makes sense, of either sign, canonical.

About ten times the worst that an instrument of the trade may have (our choice): beyond it a unit or a digit is wrong.
"""


@dataclass(frozen=True)
class _Written:
    """Annotation of a value that is written as a number and its unit."""

    quantities: tuple[str, ...]
    difference: bool = False
    per: str | None = None
    lowest: float | None = None
    highest: float | None = None
    """in place of what `LARGEST` says"""
    of_display: bool = False
    """whether a pressure may say gauge or absolute, as a display shows it"""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        built = float if source is float else Amount

        def parse(value: Any) -> Any:
            if isinstance(value, built):
                return value
            if not isinstance(value, str):
                shown = "nothing is written" if value is None else "this is not an amount"
                raise custom_error(BAD_AMOUNT, shown, "write a number and its unit")
            plain, gauge = _display(value) if self.of_display else (value, None)
            try:
                number, quantity = amount_of(plain, self.quantities, difference=self.difference, per=self.per)
            except UnitError as problem:
                raise custom_error(BAD_AMOUNT, str(problem), problem.cure) from None
            if gauge is not None and quantity != "pressure":
                raise custom_error(BAD_AMOUNT, f"{value!r} is no pressure", "leave out gauge or absolute")
            if self.lowest is not None and number < self.lowest:
                raise custom_error(BAD_AMOUNT, f"{value!r} is negative", "write zero or a positive amount")
            largest = self.highest or LARGEST[self.per or ("difference" if self.difference else "level")][quantity]
            if abs(number) > largest:
                unit = CANONICAL[quantity].replace("1", "(100 %)") + (f"/{self.per}" if self.per else "")
                cure = f"check the digits and the unit; the most that makes sense here is {largest:g} {unit}"
                raise custom_error(BAD_AMOUNT, f"{value!r} is more than can be", cure)
            return number if built is float else Amount(value=number, quantity=quantity, gauge=gauge)

        return core_schema.no_info_before_validator_function(parse, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        units = "|".join(re.escape(symbol) for symbol in symbols(*self.quantities))
        rate = f"/{self.per}" if self.per else ""
        kind = r"(\s+(gauge|absolute))?" if self.of_display else ""
        return {
            "type": "string",
            "pattern": rf"^\s*{NUMBER.pattern}\s*({units}){rate}{kind}\s*$",
            "description": f"a number and its unit of {' or '.join(self.quantities)}{rate}",
        }


def _display(text: str) -> tuple[str, bool | None]:
    """`100 kPa gauge` → the amount, and whether it is a gauge pressure."""
    words = text.rsplit(maxsplit=1)
    if len(words) == 2 and words[1] in ("gauge", "absolute"):
        return words[0], words[1] == "gauge"
    return text, None


Day = Annotated[date, BeforeValidator(parse_day), JsonSchema({"type": "string", "format": "date"})]
Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z][A-Za-z0-9]*(-[A-Za-z0-9]+)*$", max_length=40)]
# An editor reads a serial number 8861 as a number; here every scalar is the text that was written.
Text = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=2000),
    JsonSchema({"type": ["string", "number"], "minLength": 1, "maxLength": 2000}),
]

Humidity = Annotated[float, _Written(("humidity",), lowest=0.0, highest=100.0)]
HumiditySpread = Annotated[float, _Written(("humidity",), difference=True, lowest=0.0)]
HumiditySlope = Annotated[float, _Written(("humidity",), per="min", lowest=0.0)]
HumidityPerKelvin = Annotated[float, _Written(("humidity",), per="degC", lowest=0.0)]
HumidityChange = Annotated[float, _Written(("humidity",), per="degC")]
HumidityRate = Annotated[float, _Written(("humidity",), per="year", lowest=0.0)]
Temperature = Annotated[float, _Written(("temperature",))]
TemperatureSpread = Annotated[float, _Written(("temperature",), difference=True, lowest=0.0)]
PressureSpread = Annotated[float, _Written(("pressure",), difference=True, lowest=0.0)]
PressureLevel = Annotated[float, _Written(("pressure",), lowest=0.0)]
Duration = Annotated[float, _Written(("duration",), lowest=0.0)]
HoursOfUse = Annotated[float, _Written(("duration",), lowest=0.0, highest=6e6)]
Fraction = Annotated[float, _Written(("fraction",), lowest=0.0)]

ChannelValue = Annotated[Amount, _Written(("humidity", "temperature"))]
"""A value of a sensor's channel: which of the two, the key that holds it says."""
ChannelSpread = Annotated[Amount, _Written(("humidity", "temperature"), difference=True, lowest=0.0)]
SignalValue = Annotated[Amount, _Written(("current", "voltage"))]
TemperatureValue = Annotated[Amount, _Written(("temperature",))]
_MEASURED = ("pressure", "temperature", "humidity", "current", "voltage")
ReferenceValue = Annotated[Amount, _Written(_MEASURED, of_display=True)]
"""A value of what a reference measures, as its display shows it."""
ReferenceDifference = Annotated[Amount, _Written(_MEASURED, difference=True)]
ReferenceSpread = Annotated[Amount, _Written(_MEASURED, difference=True, lowest=0.0)]
ReferenceRate = Annotated[Amount, _Written(_MEASURED, difference=True, per="year", lowest=0.0)]
_ACTED_ON = (*_MEASURED, "fraction")
FurtherSpread = Annotated[Amount, _Written(_ACTED_ON, difference=True, lowest=0.0)]
FurtherDifference = Annotated[Amount, _Written(_ACTED_ON, difference=True)]
