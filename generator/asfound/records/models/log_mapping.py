"""What stands in which column of a raw log: the YAML beside it, logs/NAME.yml beside logs/NAME.csv."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta, timezone, tzinfo
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import Field as Constraint
from pydantic import StringConstraints, ValidationError, model_validator

from asfound.faults import Fault
from asfound.records.models.fields import Id, Record, Text, custom_error
from asfound.records.models.model_rules import MISSING_KEY, WRONG_VALUE
from asfound.records.models.validation import validation_faults
from asfound.records.models.yaml_text import parse
from asfound.records.visits.header import MISSING_COLUMN, REPEATED_COLUMN, UNKNOWN_COLUMN, read_header
from asfound.units import Unit

_OFFSET = re.compile(r"([+-])([0-9]{2}):([0-9]{2})")
_DELIMITERS = {"tab": "\t", "comma": ",", "semicolon": ";", "spaces": " "}


class LogTime(Record):
    """Where a log's times stand and how they are written."""

    columns: tuple[Text, ...] = Constraint(min_length=1, max_length=2)
    """heading of the time, or the two headings of date and time of day"""
    format: Text | None = None
    """how it is written, in the directives of strptime (`%d.%m.%Y %H:%M:%S`; of two columns with a blank between);
    left out: ISO 8601"""
    zone: Text | None = None
    """what the logger's clock shows: an IANA name, `UTC`, or an offset that it keeps all year, e.g. `+01:00`; left out:
    the facility's zone"""

    @model_validator(mode="after")
    def _zone_is_known(self) -> Self:
        if self.zone is not None:
            try:
                zone_named(self.zone)
            except (ValueError, OSError, KeyError):
                cure = "write an IANA name, e.g. Europe/Oslo, or UTC, or an offset, e.g. +01:00"
                raise custom_error(WRONG_VALUE, f"{self.zone!r} is no time zone", cure, "zone") from None
        return self


@dataclass(frozen=True)
class LogColumn:
    """One column of a log: its heading there, and the column of a visit's CSV that it is."""

    heading: str
    name: str
    unit: Unit
    sensor: str | None
    """whose reading it is; None: it is shared, or the log is of one sensor"""


Headings = dict[Text, Text]


class LogMapping(Record):
    """How a raw log is read."""

    delimiter: Text | None = None
    """what stands between the fields: one character, `tab` or `spaces`; left out: as the headings show"""
    decimal: Literal[".", ","] | None = None
    """the decimal mark; left out: a point, and where no comma stands between fields a comma too"""
    encoding: Literal["utf-8", "utf-16", "cp1252"] = "utf-8"
    """how the text is stored; a byte-order mark rules"""
    rows_under_headings: int = Constraint(default=0, ge=0, le=100)
    """rows below the headings that are no readings, e.g. one of units"""
    missing: tuple[Annotated[str, StringConstraints(strip_whitespace=True, max_length=100)], ...] = ()
    """what stands where there is no reading, beside blank, `-`, `--`, `---` and `NaN`"""
    time: LogTime
    """where the times stand"""
    columns: Headings = Constraint(default={})
    """heading in the log: column of a visit with its unit, e.g. `RH probe: output [mA]`"""
    sensor: Id | None = None
    """id of the sensor, where the log is of one"""
    sensors: dict[Id, Headings] = Constraint(default={})
    """the sensors' own columns, where the log is of several in one chamber"""
    reference: Id | None = None
    """id of the reference"""

    @model_validator(mode="after")
    def _columns_are_a_visits(self) -> Self:
        if self.delimiter is not None and self.delimiter not in _DELIMITERS and len(self.delimiter) != 1:
            cure = f"write one character, or one of {', '.join(_DELIMITERS)}"
            raise custom_error(WRONG_VALUE, f"{self.delimiter!r} is no delimiter", cure, "delimiter")
        if self.sensor is not None and self.sensors:
            message, cure = "sensor and sensors are both given", "keep `sensor` for one, `sensors` for several"
            raise custom_error(WRONG_VALUE, message, cure, "sensor")
        if not self.columns and not self.sensors:
            raise custom_error(MISSING_KEY, "the log's columns are not given", "add `columns:`", "columns")
        seen: set[tuple[str | None, str]] = set()
        for at, headings in self._groups():
            sensor = str(at[1]) if len(at) > 1 else None
            for heading, target in headings.items():
                column = _column(heading, target, sensor, *at, heading)
                if {(sensor, column.name), (None, column.name)} & seen:
                    message, cure = f"two columns are {column.name}", "keep one of them"
                    raise custom_error(REPEATED_COLUMN, message, cure, *at, heading)
                seen.add((sensor, column.name))
        return self

    def _groups(self) -> Iterator[tuple[tuple[str, ...], Headings]]:
        yield ("columns",), self.columns
        for sensor, headings in self.sensors.items():
            yield ("sensors", sensor), headings

    @property
    def all_columns(self) -> tuple[LogColumn, ...]:
        """Every column that is read, in the order of the mapping."""
        return tuple(
            _column(heading, target, at[1] if len(at) > 1 else None)
            for at, headings in self._groups()
            for heading, target in headings.items()
        )

    @property
    def of_sensors(self) -> tuple[str, ...]:
        """Ids of the sensors that were logged, as far as they are said."""
        return tuple(self.sensors) or ((self.sensor,) if self.sensor else ())

    @property
    def between(self) -> str | None:
        """The character between the fields, where it is given."""
        return _DELIMITERS.get(self.delimiter, self.delimiter) if self.delimiter else None


def _column(heading: str, target: str, sensor: str | None, *at: str) -> LogColumn:
    """Raises PydanticCustomError for what is no column of numbers with its unit."""
    header = read_header((target,))
    for problem in header.problems:
        if problem.rule is not MISSING_COLUMN:
            raise custom_error(problem.rule, problem.message, problem.cure, *at)
    field = header.fields[0] if header.fields else None
    if field is None or field.unit is None:
        message, cure = (
            f"{target!r} is no column of readings",
            "write e.g. `output [mA]` or `chamber_temperature [degC]`",
        )
        raise custom_error(UNKNOWN_COLUMN, message, cure, *at)
    return LogColumn(heading=heading, name=field.column.name, unit=field.unit, sensor=sensor)


def zone_named(name: str) -> tzinfo:
    """`UTC`, an IANA name, or an offset. Raises ValueError, OSError or KeyError where there is none."""
    match = _OFFSET.fullmatch(name)
    if match is None:
        return ZoneInfo(name)
    offset = timedelta(hours=int(match[2]), minutes=int(match[3]))
    return timezone(-offset if match[1] == "-" else offset)


def read_log_mapping(path: str, content: bytes) -> tuple[LogMapping | None, list[Fault]]:
    """The mapping in a YAML file, or its faults."""
    document, faults = parse(path, content)
    if document is None:
        return None, list(faults)
    data: Mapping[str, object] = document.data if document.data is not None else {}
    try:
        return LogMapping.model_validate(data), []
    except ValidationError as problem:
        return None, validation_faults(document, LogMapping, problem)
