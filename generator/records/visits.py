"""A visit's CSV → columns in canonical units, with the place of every field.

What a spreadsheet leaves behind is read (`;` with decimal commas, trailing empty columns) or refused with its cure.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from math import nan
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from generator.faults import Fault, Place, Rule, did_you_mean, error
from generator.records.columns import COLUMNS, REQUIRED, Column
from generator.records.csv_text import Table, field_place, rows_by_line, split
from generator.records.local_time import TimeRefused, plain_utc_seconds, utc_seconds
from generator.records.visit_header import Field, Header, read_header
from generator.units import NUMBER

VISIT_NAME = error("visit-name", "a visit's file is not named year/YYYY-MM-DD-words[.rN].csv")
EMPTY_VISIT = error("empty-visit", "a visit holds no rows")
ROW_LENGTH = error("row-length", "a row has more fields than the header has names")
BAD_NUMBER = error("bad-number", "a field is not a number")
DECIMAL_COMMA = error("decimal-comma", "a number is written with a decimal comma between commas")
SPREADSHEET_ERROR = error("spreadsheet-error", "a field holds a spreadsheet's error value")
TWO_UNITS_FILLED = error("two-units-filled", "one row gives a reading in two units")
BAD_WORD = error("bad-word", "a field holds none of the words that may stand there")
BLANK_FIELD = error("blank-field", "a field that every row needs is blank")

NAME = re.compile(
    r"visits/([0-9]{4})/(([0-9]{4}-[0-9]{2}-[0-9]{2})-[a-z0-9]+(?:-[a-z0-9]+)*)"
    r"(?:\.r([2-9]|[1-9][0-9]))?\.csv"
)
YEARS = range(1900, 2200)
"""In which visits are made; outside, a year is a slip of the finger."""
_SPREADSHEET_ERROR = re.compile(r"#(REF!|DIV/0!|N/A|NAME\?|VALUE!|NUM!|NULL!|SPILL!|CALC!|#+)")
_DIGITS_ONLY = re.compile(r"[-+0-9. ]*")
_LARGEST = 1e12
_STEPS = tuple(10.0**-decimals for decimals in range(400))


Values = TypeVar("Values")


class Columns(dict[str, Values]):
    """Columns of a visit by name; those that its file does not have share one blank."""

    __slots__ = ("blank",)

    def __init__(self, columns: Mapping[str, Values], blank: Values) -> None:
        super().__init__(columns)
        self.blank = blank

    def __missing__(self, name: str) -> Values:
        if name not in COLUMNS:
            raise KeyError(name)
        return self.blank

    def copy(self) -> Columns[Values]:
        """The same columns, in which others may be put."""
        return Columns(self, self.blank)

    def taken(self, take: Callable[[Values], Values]) -> Columns[Values]:
        """The same columns with some of their rows."""
        return Columns({name: take(column) for name, column in self.items()}, take(self.blank))


@lru_cache(maxsize=256)
def _blank(n: int, value: float | bool) -> np.ndarray:
    """n equal values that nobody can write to."""
    values = np.full(n, value)
    values.flags.writeable = False
    return values


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One visit file: columns over its n rows; numbers in canonical units, nan where blank.

    A column that the file does not have is blank in every row.
    """

    path: str
    id: str
    """file name without revision and ending"""
    revision: int
    day: date
    header: tuple[str, ...]
    lines: tuple[int, ...]
    """line that each row begins in"""
    text: Columns[tuple[str, ...]]
    number: Columns[np.ndarray]
    quantity: Columns[tuple[str, ...]]
    """by numeric column, the quantity that each row's reading came in ('' where blank)"""
    gauge: Columns[np.ndarray]
    """by pressure column, whether each row's reading is a gauge pressure"""
    step: Columns[np.ndarray]
    """by numeric column, the weight of the last digit written, in canonical units (nan where blank)"""
    time_utc: np.ndarray
    """seconds since 1970 UTC, int64; 0 where the time could not be read"""
    fields: Mapping[str, tuple[int, ...]]
    """column name → its field numbers"""
    content: bytes

    @property
    def name(self) -> str:
        """The visit as it is named to people: its id, with the revision where there is one."""
        return self.id if self.revision == 1 else f"{self.id}.r{self.revision}"

    @property
    def sha256(self) -> str:
        """Of the file's bytes."""
        return hashlib.sha256(self.content).hexdigest()

    @property
    def time_local(self) -> tuple[str, ...]:
        """Times as they were written."""
        return self.text["time"]

    @property
    def raw_rows(self) -> tuple[tuple[str, ...], ...]:
        """The rows as they were written."""
        return tuple(map(self.raw_row, range(len(self.lines))))

    def raw_row(self, row: int) -> tuple[str, ...]:
        """One row as it was written."""
        return rows_by_line(self.content)[self.lines[row]]

    def place(self, row: int, column: str) -> Place:
        """Place of a row's field, by character column as editors count; without that column, of the row."""
        numbers, raw = self.fields.get(column, ()), self.raw_row(row)
        filled = [n for n in numbers if n < len(raw) and raw[n].strip()]
        number = (filled or list(numbers) or [0])[0]
        return field_place(self.path, self.content, self.lines[row], number)


def read_visit(path: str, content: bytes, zone: ZoneInfo) -> tuple[Visit | None, list[Fault]]:
    """Read one visit; all its faults at once, as values. With a broken header there is no `Visit`."""
    name = NAME.fullmatch(path)
    day = _day(name[3]) if name else None
    if name is None or day is None or name[1] != name[3][:4] or day.year not in YEARS:
        cure = "name it visits/YYYY/YYYY-MM-DD-words.csv, e.g. visits/2026/2026-03-14-drying.csv"
        message = "the file is not named like a visit"
        return None, [Fault(rule=VISIT_NAME, place=Place(path=path), message=message, cure=cure)]
    table, faults = split(path, content)
    if table is None:
        return None, faults
    return _Reading(path, content, zone, name[2], day, int(name[4] or 1)).visit(table)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


class _Reading:
    """The reading of one file; collects faults."""

    def __init__(self, path: str, content: bytes, zone: ZoneInfo, visit_id: str, day: date, revision: int) -> None:
        self.path, self.content, self.zone = path, content, zone
        self.id, self.day, self.revision = visit_id, day, revision
        self.faults: list[Fault] = []
        self.decimal_comma = False
        self.lines: tuple[int, ...] = ()

    def fault(self, rule: Rule, line: int, field: int, message: str, cure: str) -> None:
        place = field_place(self.path, self.content, line, field)
        self.faults.append(Fault(rule=rule, place=place, message=message, cure=cure))

    def visit(self, table: Table) -> tuple[Visit | None, list[Fault]]:
        if not table.rows or not any(field.strip() for field in table.rows[0]):
            cure = "write the column names in the first line"
            self.fault(EMPTY_VISIT, 1, 0, "the first line holds no header", cure)
            return None, self.faults
        self.decimal_comma = table.delimiter != ","
        texts = tuple(text.strip() for text in table.rows[0])
        header = read_header(texts)
        for problem in header.problems:
            self.fault(problem.rule, table.lines[0], problem.index, problem.message, problem.cure)
        body = [(line, row) for line, row in zip(table.lines[1:], table.rows[1:], strict=True) if "".join(row).strip()]
        if not body:
            cure = "add rows, or delete the file before it is merged"
            self.fault(EMPTY_VISIT, 1, 0, "the visit holds no rows", cure)
        if self.faults:
            return None, self.faults
        nameless = tuple(index for index, text in enumerate(texts) if not text)
        whole = [(line, row) for line, row in body if self._fits(line, row, len(texts), nameless)]
        if not whole:
            return None, self.faults
        self.lines = tuple(line for line, _ in whole)
        return self._columns(texts, header, [row for _, row in whole]), self.faults

    def _fits(self, line: int, row: Sequence[str], width: int, nameless: Sequence[int]) -> bool:
        """Whether every filled field of a row has a name above it."""
        if len(row) <= width and not nameless:
            return True
        for index in (*nameless, *range(width, len(row))):
            if index < len(row) and row[index].strip():
                cure = "name the column, or quote a field that holds the separator (a decimal comma?)"
                self.fault(ROW_LENGTH, line, index, f"no column is named above {row[index].strip()!r}", cure)
                return False
        return True

    def _columns(self, texts: tuple[str, ...], header: Header, rows: list[list[str]]) -> Visit:
        n, width = len(rows), len(texts)
        padded = [row if len(row) == width else row[:width] + [""] * (width - len(row)) for row in rows]
        written = [tuple(map(str.strip, column)) for column in zip(*padded, strict=True)]
        fields = header.indices
        text = Columns({f.column.name: self._words(f, written[f.index]) for f in header.words}, ("",) * n)
        numbers = self._numbers(header, written, n)
        for name in REQUIRED:
            for row, value in enumerate(written[fields[name][0]]):
                if not value:
                    self._row_fault(BLANK_FIELD, row, fields[name][0], f"{name} is blank", f"fill in {name}")
        return Visit(
            path=self.path,
            id=self.id,
            revision=self.revision,
            day=self.day,
            header=texts,
            lines=self.lines,
            text=text,
            number=numbers.number,
            quantity=numbers.quantity,
            gauge=numbers.gauge,
            step=numbers.step,
            time_utc=self._times(fields["time"][0], text["time"]),
            fields=fields,
            content=self.content,
        )

    def _row_fault(self, rule: Rule, row: int, field: int, message: str, cure: str) -> None:
        self.fault(rule, self.lines[row], field, message, cure)

    def _words(self, field: Field, values: Sequence[str]) -> tuple[str, ...]:
        name = field.column.name
        distinct = dict.fromkeys(values)
        meant = {value: word for value in distinct if (word := _word(field.column, value)) is not None}
        if len(meant) == len(distinct):
            return tuple(map(meant.__getitem__, values))  # each word is held once
        for row, value in enumerate(values):
            if value not in meant:
                if _SPREADSHEET_ERROR.fullmatch(value):
                    message = f"{name}: {value!r} is a spreadsheet's error"
                    self._row_fault(SPREADSHEET_ERROR, row, field.index, message, "type it again")
                else:
                    choices = field.column.choices
                    cure = f"write one of {', '.join(choices)}{did_you_mean(value, choices)}"
                    message = f"{name}: {value!r} is not known"
                    self._row_fault(BAD_WORD, row, field.index, message, cure)
        return tuple(meant.get(value, "") for value in values)

    def _numbers(self, header: Header, written: Sequence[Sequence[str]], n: int) -> _Numbers:
        """Every column of numbers in canonical units, with the weight of the last digit written."""
        fields = header.numbers
        read = _plain_numbers([value for field in fields for value in written[field.index]])
        if read is None:
            pairs = [self._number(f, row, value) for f in fields for row, value in enumerate(written[f.index])]
            read = np.array(pairs).reshape(-1, 2).T
        number, step = read.reshape(2, len(fields), n)
        number, step = (number + header.shift) * header.scale, step * header.scale
        numbers = _Numbers(n)
        for position, field in enumerate(fields):
            name, values = field.column.name, written[field.index]
            before = numbers.quantity.get(name, ())
            for row, (value, other) in enumerate(zip(values, before, strict=True) if before else ()):
                if value and other:
                    message, cure = f"{name} is given in two units", "keep the unit that was read"
                    self._row_fault(TWO_UNITS_FILLED, row, field.index, message, cure)
            numbers.add(field, values, number[position], step[position])
        return numbers

    def _number(self, field: Field, row: int, written: str) -> tuple[float, float]:
        """The number as written and the weight of its last digit."""
        if not written:
            return _NOTHING
        comma = self.decimal_comma and written.count(",") == 1 and "." not in written
        text = written.replace(",", ".") if comma else written
        if NUMBER.fullmatch(text) and max(abs(float(text)), _last_digit(text)) <= _LARGEST:
            return float(text), _last_digit(text)
        name = field.column.name
        if _SPREADSHEET_ERROR.fullmatch(written):
            rule, message = SPREADSHEET_ERROR, f"{name}: {written!r} is a spreadsheet's error"
            cure = "type it again"
        elif re.fullmatch(r"[+-]?[0-9]+,[0-9]+", written):
            rule, message = DECIMAL_COMMA, f"{name}: {written!r} has a decimal comma"
            cure = "use a decimal point, or save the file with `;` between fields"
        else:
            rule, message = BAD_NUMBER, f"{name}: {written!r} is not a number"
            cure = "write digits with a decimal point and no unit; leave it blank if it was not read"
        self._row_fault(rule, row, field.index, message, cure)
        return _NOTHING

    def _times(self, field: int, written: Sequence[str]) -> np.ndarray:
        plain = plain_utc_seconds(written, self.day, self.zone)
        if plain is not None:
            return np.array(plain, np.int64)
        times = np.zeros(len(written), np.int64)
        for row, text in enumerate(written):
            try:
                times[row] = utc_seconds(text, self.day, self.zone) if text else 0
            except TimeRefused as refused:
                self._row_fault(refused.rule, row, field, refused.message, refused.cure)
        return times


class _Numbers:
    """The columns of numbers of one visit; those that it does not have share one blank array."""

    def __init__(self, n: int) -> None:
        self.n = n
        self.number, self.step = Columns({}, _blank(n, nan)), Columns({}, _blank(n, nan))
        self.quantity = Columns({}, ("",) * n)
        self.gauge = Columns({}, _blank(n, False))

    def add(self, field: Field, values: Sequence[str], number: np.ndarray, step: np.ndarray) -> None:
        """Take a column; of one that stands twice, the fields that are filled."""
        name, unit = field.column.name, field.unit
        kind = unit.quantity if unit else "number"
        quantity = tuple(kind if value else "" for value in values) if "" in values else (kind,) * self.n
        is_gauge = unit is not None and unit.gauge is True
        if name in self.number:
            filled = np.array([value != "" for value in values])
            number = np.where(filled, number, self.number[name])
            step = np.where(filled, step, self.step[name])
            quantity = tuple(a or b for a, b in zip(quantity, self.quantity[name], strict=True))
            if kind == "pressure":
                self.gauge[name] = np.where(filled, is_gauge, self.gauge[name])
        elif is_gauge:
            self.gauge[name] = np.array([value != "" for value in values])
        self.number[name], self.step[name], self.quantity[name] = number, step, quantity


_NOTHING = (nan, nan)


def _word(column: Column, written: str) -> str | None:
    """The word that is meant; nothing where none is known."""
    if not column.choices or not written or written in column.choices:
        return None if written[:1] == "#" and _SPREADSHEET_ERROR.fullmatch(written) else written
    word = " ".join(written.casefold().replace("_", " ").split())
    return next((choice for choice in column.choices if choice.replace("_", " ") == word), None)


def _plain_numbers(values: Sequence[str]) -> np.ndarray | None:
    """All numbers and their steps at once, where each is written in plain digits."""
    if not _DIGITS_ONLY.fullmatch(" ".join(values)):
        return None
    at = {value: number for number, value in enumerate(dict.fromkeys(values))}
    try:
        number = [float(value or "nan") for value in at]
        step = [_STEPS[len(value.partition(".")[2])] if value else nan for value in at]
    except (ValueError, IndexError):
        return None
    if any(abs(value) > _LARGEST for value in number):
        return None
    return np.array([number, step])[:, [at[value] for value in values]]


def _last_digit(text: str) -> float:
    mantissa, _, exponent = text.lower().partition("e")
    return float(10.0 ** max(-300, min(300, int(exponent or 0) - len(mantissa.partition(".")[2]))))
