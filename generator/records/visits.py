"""A visit's CSV → columns in canonical units, with the place of every field.

RFC 4180, UTF-8; survives a spreadsheet: byte-order mark, CRLF, `;` with decimal commas, trailing empty columns.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from generator.faults import Fault, Place, Rule, did_you_mean, error
from generator.records.columns import COLUMNS, REQUIRED, Column
from generator.units import NUMBER, Unit, UnitError, header_unit, symbols

VISIT_NAME = error("visit-name", "a visit's file is not named year/YYYY-MM-DD-words[.rN].csv")
UNREADABLE_CSV = error("unreadable-csv", "a visit's file is not UTF-8 text or not a CSV")
EMPTY_VISIT = error("empty-visit", "a visit holds no rows")
UNKNOWN_COLUMN = error("unknown-column", "a header names no column of a visit")
REPEATED_COLUMN = error("repeated-column", "a column stands twice with the same unit")
MISSING_COLUMN = error("missing-column", "a column that every visit needs is not there")
MISSING_UNIT = error("missing-unit", "a column of numbers has no unit in brackets")
BAD_UNIT = error(
    "bad-unit", "a header's unit is unknown, of another quantity, or does not say gauge or absolute"
)
UNEXPECTED_UNIT = error("unexpected-unit", "a column of words has a unit")
ROW_LENGTH = error("row-length", "a row has more fields than the header")
BAD_NUMBER = error("bad-number", "a field is not a number")
DECIMAL_COMMA = error("decimal-comma", "a number was split or written with a decimal comma")
SPREADSHEET_ERROR = error("spreadsheet-error", "a field holds a spreadsheet's error value")
TWO_UNITS_FILLED = error("two-units-filled", "one row gives a reading in two units")
BAD_WORD = error("bad-word", "a field holds none of the words that may stand there")
BAD_TIME = error("bad-time", "a time is not YYYY-MM-DD HH:MM[:SS]")
TIME_MISSING_HOUR = error("time-does-not-exist", "a local time was skipped when the clocks went forward")
TIME_REPEATED_HOUR = error("time-ambiguous", "a local time occurred twice when the clocks went back")
TIME_OFFSET = error("time-offset", "an offset stands where it is not needed, or does not fit the zone")
TIME_OFF_DAY = error("time-off-visit", "a row's time does not belong to the visit's days")
BLANK_FIELD = error("blank-field", "a field that every row needs is blank")

NAME = re.compile(
    r"visits/(\d{4})/((\d{4}-\d{2}-\d{2})-[a-z0-9]+(?:-[a-z0-9]+)*)(?:\.r([2-9]|[1-9]\d))?\.csv"
)
_HEADER = re.compile(r"\s*([A-Za-z_]+)\s*(?:\[(.*)\])?\s*")
_TIME = re.compile(r"(\d{4}-\d{2}-\d{2})[ T](\d{2}:\d{2}(?::\d{2})?)(?:\s*([+-]\d{2}:\d{2}|Z))?")
_BY_FOLDED_NAME = {name.casefold(): column for name, column in COLUMNS.items()}
LONGEST_TRIP = timedelta(days=14)


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One visit file: columns over its n rows; numbers in canonical units, nan where blank."""

    path: str
    id: str
    """file name without revision and ending"""
    revision: int
    day: date
    sha256: str
    header: tuple[str, ...]
    raw_rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    text: Mapping[str, tuple[str, ...]]
    number: Mapping[str, np.ndarray]
    quantity: Mapping[str, tuple[str, ...]]
    """by numeric column, the quantity that each row's reading came in ('' where blank)"""
    gauge: Mapping[str, np.ndarray]
    """by pressure column, whether each row's reading is a gauge pressure"""
    step: Mapping[str, np.ndarray]
    """by numeric column, the weight of the last digit written, in canonical units (nan where blank)"""
    time_utc: np.ndarray
    """seconds since 1970 UTC, int64"""
    time_local: tuple[str, ...]
    fields: Mapping[str, tuple[int, ...]]
    """column name → its field numbers"""
    content: bytes

    @property
    def name(self) -> str:
        """The visit as it is named to people: its id, with the revision where there is one."""
        return self.id if self.revision == 1 else f"{self.id}.r{self.revision}"

    def place(self, row: int, column: str) -> Place:
        """Place of a row's field: the character column, as editors count; where blank, of the row."""
        numbers = self.fields.get(column, ())
        filled = [n for n in numbers if n < len(self.raw_rows[row]) and self.raw_rows[row][n].strip()]
        number = (filled or list(numbers) or [0])[0]
        return field_place(self.path, self.content, self.lines[row], number)


def field_place(path: str, content: bytes, line: int, field: int) -> Place:
    """Place of a field (counted from 0) in a CSV line, by character column."""
    lines = content.decode("utf-8-sig", "replace").splitlines()
    text = lines[line - 1] if line <= len(lines) else ""
    delimiter = _delimiter(lines[0] if lines else "")
    column, quoted, seen = 1, False, 0
    for position, character in enumerate(text):
        if seen == field:
            break
        if character == '"':
            quoted = not quoted
        elif character == delimiter and not quoted:
            seen += 1
            column = position + 2
    return Place(path=path, line=line, column=column)


def _delimiter(header: str) -> str:
    return max((",", ";", "\t"), key=header.count)


def read_visit(path: str, content: bytes, zone: ZoneInfo) -> tuple[Visit | None, list[Fault]]:
    """Read one visit; all its faults at once, as values."""
    name = NAME.fullmatch(path)
    if name is None or name[1] != name[3][:4] or _day(name[3]) is None:
        place = Place(path=path)
        message = "the file is not named like a visit"
        cure = "name it visits/YYYY/YYYY-MM-DD-words.csv, e.g. visits/2026/2026-03-14-drying.csv (.r2.csv replaces it)"
        return None, [Fault(rule=VISIT_NAME, place=place, message=message, cure=cure)]
    return _Reading(path, content, zone, name).visit()


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


@dataclass(frozen=True)
class _Field:
    """One field of the header: its number, column and unit."""

    index: int
    column: Column
    unit: Unit | None


class _Reading:
    """The reading of one file; collects faults."""

    def __init__(self, path: str, content: bytes, zone: ZoneInfo, name: re.Match[str]) -> None:
        self.path, self.content, self.zone = path, content, zone
        self.id, self.day, self.revision = name[2], date.fromisoformat(name[3]), int(name[4] or 1)
        self.faults: list[Fault] = []
        self.comma = False

    def fault(self, rule: Rule, line: int, field: int, message: str, cure: str) -> None:
        place = field_place(self.path, self.content, line, field)
        self.faults.append(Fault(rule=rule, place=place, message=message, cure=cure))

    def visit(self) -> tuple[Visit | None, list[Fault]]:
        rows = self._split()
        if not rows:
            return None, self.faults
        header = rows[0][1]
        self.comma = _delimiter(self.content.decode("utf-8-sig").splitlines()[0]) != ","
        fields = self._header(header)
        for required in REQUIRED:
            if not any(f.column.name == required for f in fields):
                cure = f"add a column {required!r}"
                self.fault(MISSING_COLUMN, 1, 0, f"there is no column {required!r}", cure)
        body = [(line, row) for line, row in rows[1:] if any(field.strip() for field in row)]
        if not body:
            self.fault(
                EMPTY_VISIT,
                1,
                0,
                "the visit holds no rows",
                "add rows, or delete the file before it is merged",
            )
        if self.faults:
            return None, self.faults
        return self._columns(header, fields, body)

    def _split(self) -> list[tuple[int, list[str]]]:
        try:
            text = self.content.decode("utf-8-sig")
            if "\0" in text:
                raise ValueError("it holds NUL characters")
            reader = csv.reader(
                io.StringIO(text, newline=""), delimiter=_delimiter(text.partition("\n")[0]), strict=True
            )
            rows, line = [], 1
            for row in reader:
                rows.append((line, row))
                line = reader.line_num + 1
        except UnicodeDecodeError as problem:
            line = self.content[: problem.start].count(b"\n") + 1
            self.fault(UNREADABLE_CSV, line, 0, "the file is not UTF-8 text", "save it as 'CSV UTF-8'")
            return []
        except (csv.Error, ValueError) as problem:
            self.fault(
                UNREADABLE_CSV, 1, 0, f"not a CSV: {problem}", "save it as 'CSV UTF-8', check the quotes"
            )
            return []
        if not rows or not any(field.strip() for field in rows[0][1]):
            self.fault(
                EMPTY_VISIT,
                1,
                0,
                "the first line holds no header",
                "write the column names in the first line",
            )
            return []
        return rows

    def _header(self, header: list[str]) -> list[_Field]:
        found: list[_Field] = []
        for index, text in enumerate(header):
            if not text.strip():
                continue
            field = self._header_field(index, text)
            if field is None:
                continue
            if any(f.column is field.column and (f.unit == field.unit) for f in found):
                self.fault(
                    REPEATED_COLUMN, 1, index, f"{text.strip()!r} stands twice", "delete one of the two"
                )
            found.append(field)
        return found

    def _header_field(self, index: int, text: str) -> _Field | None:
        match = _HEADER.fullmatch(text)
        column = _BY_FOLDED_NAME.get(match[1].casefold()) if match else None
        if match is None or column is None:
            word = match[1] if match else text.strip()
            cure = f"use a column of the README's list{did_you_mean(word, COLUMNS)}"
            self.fault(UNKNOWN_COLUMN, 1, index, f"unknown column {text.strip()!r}", cure)
            return None
        if not column.quantities:
            if match[2] is not None:
                cure = f"write {column.name} alone"
                self.fault(UNEXPECTED_UNIT, 1, index, f"{column.name} takes no unit", cure)
            return _Field(index, column, None)
        if match[2] is None:
            forms = " or ".join(f"[{s}]" for s in symbols(*column.quantities)[:3])
            cure = f"write the unit in brackets, e.g. {forms}"
            if "pressure" in column.quantities:
                cure = "write the unit in brackets, e.g. [kPa absolute] or [psi gauge]"
            self.fault(MISSING_UNIT, 1, index, f"{column.name} has no unit", cure)
            return None
        try:
            return _Field(index, column, header_unit(match[2], column.quantities))
        except UnitError as problem:
            self.fault(BAD_UNIT, 1, index, f"{column.name}: {problem}", problem.cure)
            return None

    def _columns(
        self, header: list[str], fields: list[_Field], body: list[tuple[int, list[str]]]
    ) -> tuple[Visit | None, list[Fault]]:
        n = len(body)
        text = {name: [""] * n for name, column in COLUMNS.items() if not column.is_number}
        number = {name: np.full(n, np.nan) for name, column in COLUMNS.items() if column.is_number}
        step = {name: np.full(n, np.nan) for name in number}
        quantity = {name: [""] * n for name in number}
        gauge = {name: np.zeros(n, bool) for name, c in COLUMNS.items() if "pressure" in c.quantities}
        for i, (line, row) in enumerate(body):
            if any(field.strip() for field in row[len(header) :]):
                cure = "quote fields that hold the separator; use a decimal point in a comma-separated file"
                self.fault(ROW_LENGTH, line, len(header), "the row has more fields than the header", cure)
                continue
            for field in fields:
                written = row[field.index].strip() if field.index < len(row) else ""
                if not written:
                    continue
                name = field.column.name
                if not field.column.is_number:
                    text[name][i] = self._word(field, line, written)
                    continue
                if quantity[name][i]:
                    cure = "keep the unit that was read"
                    self.fault(TWO_UNITS_FILLED, line, field.index, f"{name} is given in two units", cure)
                value, digit = self._number(field, line, written)
                number[name][i] = field.unit.canonical(value) if field.unit else value
                step[name][i] = digit * field.unit.scale if field.unit else digit
                quantity[name][i] = field.unit.quantity if field.unit else "number"
                if name in gauge and field.unit is not None:
                    gauge[name][i] = bool(field.unit.gauge)
        time_utc = np.zeros(n, np.int64)
        indexes = {
            name: tuple(f.index for f in fields if f.column.name == name)
            for name in (f.column.name for f in fields)
        }
        for i, (line, _row) in enumerate(body):
            for required in REQUIRED:
                if not text[required][i]:
                    self.fault(
                        BLANK_FIELD, line, indexes[required][0], f"{required} is blank", f"fill in {required}"
                    )
            if text["time"][i]:
                time_utc[i] = self._time(text["time"][i], line, indexes["time"][0])
        visit = Visit(
            path=self.path,
            id=self.id,
            revision=self.revision,
            day=self.day,
            sha256=hashlib.sha256(self.content).hexdigest(),
            header=tuple(h.strip() for h in header),
            raw_rows=tuple(tuple(row) for _, row in body),
            lines=tuple(line for line, _ in body),
            text={name: tuple(values) for name, values in text.items()},
            number=number,
            quantity={name: tuple(values) for name, values in quantity.items()},
            gauge=gauge,
            step=step,
            time_utc=time_utc,
            time_local=tuple(text["time"]),
            fields=indexes,
            content=self.content,
        )
        return visit, self.faults

    def _word(self, field: _Field, line: int, written: str) -> str:
        if written.startswith("#") and written.rstrip("!?").isupper():
            self.fault(
                SPREADSHEET_ERROR, line, field.index, f"{written!r} is a spreadsheet's error", "type it again"
            )
            return ""
        choices = field.column.choices
        word = written.casefold().replace(" ", "_") if "as_found" in choices else written.casefold()
        if choices and word not in choices:
            cure = f"write one of {', '.join(choices)}{did_you_mean(written, choices)}"
            self.fault(BAD_WORD, line, field.index, f"{field.column.name}: {written!r} is not known", cure)
            return ""
        return word if choices else written

    def _number(self, field: _Field, line: int, written: str) -> tuple[float, float]:
        """The number as written and the weight of its last digit."""
        text = (
            written.replace(",", ".")
            if self.comma and written.count(",") == 1 and "." not in written
            else written
        )
        if NUMBER.fullmatch(text):
            value = float(text)
            if np.isfinite(value):
                return value, _last_digit(text)
        name = field.column.name
        if written.startswith("#"):
            self.fault(
                SPREADSHEET_ERROR,
                line,
                field.index,
                f"{name}: {written!r} is a spreadsheet's error",
                "type it again",
            )
        elif re.fullmatch(r"[+-]?\d+,\d+", written):
            cure = "use a decimal point, or save the file with `;` between fields"
            self.fault(DECIMAL_COMMA, line, field.index, f"{name}: {written!r} has a decimal comma", cure)
        else:
            cure = "write digits with a decimal point and no unit; leave it blank if it was not read"
            self.fault(BAD_NUMBER, line, field.index, f"{name}: {written!r} is not a number", cure)
        return float("nan"), float("nan")

    def _time(self, written: str, line: int, field: int) -> int:
        match = _TIME.fullmatch(written)
        try:
            naive = datetime.fromisoformat(f"{match[1]}T{match[2]}") if match else None
        except ValueError:
            naive = None
        if match is None or naive is None:
            cure = "write YYYY-MM-DD HH:MM, e.g. 2026-03-14 09:40; format the column as text in a spreadsheet"
            self.fault(BAD_TIME, line, field, f"{written!r} is not a time", cure)
            return 0
        if not timedelta(0) <= naive.date() - self.day <= LONGEST_TRIP:
            cure = f"correct the time, or the file's day {self.day} (a visit lasts at most {LONGEST_TRIP.days} days)"
            self.fault(TIME_OFF_DAY, line, field, f"{written} is not within the visit of {self.day}", cure)
        return self._utc(naive, match[3], line, field)

    def _utc(self, naive: datetime, offset: str | None, line: int, field: int) -> int:
        candidates = list(_instants(naive, self.zone))
        at = naive.isoformat(" ")
        if not candidates:
            cure = "write the time as the new clock showed it"
            self.fault(TIME_MISSING_HOUR, line, field, f"{at} does not exist in {self.zone.key}", cure)
            return 0
        if offset is None:
            if len(candidates) > 1:
                forms = " or ".join(f"{at}{_offset_text(c, self.zone)}" for c in candidates)
                self.fault(
                    TIME_REPEATED_HOUR,
                    line,
                    field,
                    f"{at} occurred twice in {self.zone.key}",
                    f"write {forms}",
                )
            return int(candidates[0].timestamp())
        fitting = [c for c in candidates if _offset_text(c, self.zone) == offset.replace("Z", "+00:00")]
        if len(candidates) == 1 or not fitting:
            cure = f"write local time of {self.zone.key} without an offset"
            self.fault(
                TIME_OFFSET, line, field, f"{at}{offset}: no offset is needed, or it does not fit", cure
            )
            return 0
        return int(fitting[0].timestamp())


def _last_digit(text: str) -> float:
    mantissa, _, exponent = text.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(10.0 ** (int(exponent or 0) - decimals))


def _instants(naive: datetime, zone: ZoneInfo) -> Iterator[datetime]:
    """The instants at which a zone's clocks show `naive`: none, one or two."""
    seen: set[datetime] = set()
    for fold in (0, 1):
        instant = naive.replace(tzinfo=zone, fold=fold).astimezone(UTC)
        if instant.astimezone(zone).replace(tzinfo=None) == naive and instant not in seen:
            seen.add(instant)
            yield instant


def _offset_text(instant: datetime, zone: ZoneInfo) -> str:
    offset = instant.astimezone(zone).strftime("%z")
    return f"{offset[:3]}:{offset[3:]}"
