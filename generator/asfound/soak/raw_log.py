"""A raw log as columns in canonical units: any delimited text, read by its mapping."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import zip_longest
from zoneinfo import ZoneInfo

import numpy as np

from asfound.faults import Fault, Place, Rule, did_you_mean, error
from asfound.records.models.log_mapping import LogColumn, LogMapping, zone_named
from asfound.records.visits.field_values import BAD_NUMBER
from asfound.records.visits.header import MISSING_COLUMN, REPEATED_COLUMN
from asfound.records.visits.local_time import BAD_TIME
from asfound.soak.log_times import TimesRefused, utc_seconds
from asfound.units import NUMBER, Unit

LOG_UNREADABLE = error("log-unreadable", "a log cannot be read as the table that its mapping describes")
LOG_TIME_ORDER = error("log-time-order", "the times of a log fall back")

NO_READING = ("", "-", "--", "---", "nan", "n/a", "na")
"""What stands where there is no reading, whatever its case."""
_DELIMITERS = (";", "\t", ",", "|")


@dataclass(frozen=True)
class Readings:
    """One column of a log."""

    values: np.ndarray
    """in the canonical unit, nan where there is no reading; shape (rows,)"""
    unit: Unit
    """as it was logged: its quantity, and gauge or absolute"""
    step: float
    """weight of the last digit that was written, in the canonical unit"""


@dataclass(frozen=True, kw_only=True)
class Log:
    """The rows of a log by time; rows of one time are one, their mean."""

    path: str
    time_utc: np.ndarray
    """seconds since 1970 UTC, rising, float64; shape (rows,)"""
    shared: Mapping[str, Readings]
    """by column name of a visit's CSV"""
    own: Mapping[str, Mapping[str, Readings]]
    """the sensors' own columns, where there are several"""

    @cached_property
    def number(self) -> Mapping[str, np.ndarray]:
        """The values of all shared columns (of a log of one sensor: all columns) in canonical units."""
        return {name: readings.values for name, readings in self.shared.items()}

    def of(self, sensor: str) -> Mapping[str, Readings]:
        """What was logged of one sensor: what all share, and its own."""
        return {**self.shared, **self.own.get(sensor, {})}

    def rows(self, start_utc: float, end_utc: float) -> slice:
        """The rows from one instant until another, both counted in."""
        first, last = np.searchsorted(self.time_utc, [start_utc, np.nextafter(end_utc, np.inf)])
        return slice(int(first), int(last))


def read_log(path: str, content: bytes, mapping: LogMapping, zone: ZoneInfo) -> tuple[Log | None, list[Fault]]:
    """A log, or its faults: a mistake made in many rows once, at its first row. `zone`: the facility's."""
    reading = _Reading(path, mapping, zone)
    try:
        return reading.log(content), []
    except _Refused as refused:
        return None, refused.faults


class _Refused(Exception):
    def __init__(self, *faults: Fault) -> None:
        super().__init__()
        self.faults = list(faults)


@dataclass(frozen=True)
class _Table:
    """Fields below the headings, by heading; the line of each row."""

    headings: Sequence[str]
    rows: Sequence[Sequence[str]]
    lines: np.ndarray

    @cached_property
    def _columns(self) -> Sequence[Sequence[str]]:
        return tuple(zip_longest(*self.rows, fillvalue=""))

    def texts(self, heading: str) -> Sequence[str]:
        at = self.headings.index(heading)
        return self._columns[at] if at < len(self._columns) else [""] * len(self.rows)


class _Reading:
    def __init__(self, path: str, mapping: LogMapping, zone: ZoneInfo) -> None:
        self.path, self.mapping = path, mapping
        self.zone = zone_named(mapping.time.zone) if mapping.time.zone else zone
        self.columns = mapping.all_columns
        self.headings = (*mapping.time.columns, *(column.heading for column in self.columns))
        self.between = ","

    def fault(self, rule: Rule, line: int, message: str, cure: str, column: int = 1) -> Fault:
        return Fault(rule=rule, place=Place(path=self.path, line=line, column=column), message=message, cure=cure)

    def log(self, content: bytes) -> Log:
        table = self._table(self._text(content))
        time_utc = self._times(table)
        faults: list[Fault] = []
        read = {column: self._readings(column, table, faults) for column in self.columns}
        if faults:
            raise _Refused(*faults)
        fall = np.flatnonzero(np.diff(time_utc) < 0.0)
        if len(fall):
            line = int(table.lines[fall[0] + 1])
            cure = "split the log where the clock was set, or sort its rows"
            message = f"the time falls back by {-np.diff(time_utc)[fall[0]]:g} s"
            raise _Refused(self.fault(LOG_TIME_ORDER, line, message, cure))
        instants, first = np.unique(time_utc, return_index=True)
        if len(instants) < len(time_utc):
            read = {
                column: Readings(_means(readings.values, first), readings.unit, readings.step)
                for column, readings in read.items()
            }
        shared = {column.name: readings for column, readings in read.items() if column.sensor is None}
        own: dict[str, dict[str, Readings]] = {sensor: {} for sensor in self.mapping.sensors}
        for column, readings in read.items():
            if column.sensor is not None:
                own[column.sensor][column.name] = readings
        return Log(path=self.path, time_utc=instants, shared=shared, own=own)

    def _text(self, content: bytes) -> str:
        encoding = "utf-8-sig" if self.mapping.encoding == "utf-8" else self.mapping.encoding
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            encoding = "utf-16"
        elif content.startswith(b"\xef\xbb\xbf"):
            encoding = "utf-8-sig"
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError as problem:
            line = content[: problem.start].count(b"\n") + 1
            cure = "give the mapping its `encoding`: utf-8, utf-16 or cp1252"
            raise _Refused(self.fault(LOG_UNREADABLE, line, f"the log is not {encoding} text", cure)) from None
        if "\0" in text:
            line = text[: text.index("\0")].count("\n") + 1
            cure = "give the mapping its `encoding`: utf-8, utf-16 or cp1252"
            raise _Refused(self.fault(LOG_UNREADABLE, line, "the log holds NUL characters", cure))
        return text

    def _table(self, text: str) -> _Table:
        lines = text.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n").split("\n")
        at, headings = self._headings(lines)
        for heading in self.headings:
            if headings.count(heading) > 1:
                cure = "rename one of them in the logger; a mapping tells columns by their headings"
                raise _Refused(self.fault(REPEATED_COLUMN, at + 1, f"the heading {heading!r} stands twice", cure))
        start = at + 1 + self.mapping.rows_under_headings
        rows, numbers = [], []
        least = max(map(headings.index, self.headings)) + 1
        for number, fields in enumerate(self._fields(lines[start:]), start + 1):
            if fields and any(fields):
                rows.append(fields)
                numbers.append(number)
        if len(rows) > 1 and len(rows[-1]) < least:  # the logger stopped in the middle of a line
            del rows[-1], numbers[-1]
        if not rows:
            cure = "export the log again, with its rows"
            raise _Refused(self.fault(LOG_UNREADABLE, at + 1, "no rows stand below the headings", cure))
        return _Table(headings, rows, np.array(numbers))

    def _headings(self, lines: Sequence[str]) -> tuple[int, list[str]]:
        """The line of the headings and what stands there; what stands above it is about the log."""
        given = self.mapping.between
        best: tuple[int, int, str] = (0, 0, given or ",")
        candidates = (given,) if given else _DELIMITERS
        for number, line in enumerate(lines):
            if not any(heading in line for heading in self.headings):
                continue
            for between in candidates:
                self.between = between
                fields = [field.strip() for field in next(self._fields([line]), [])]
                found = sum(heading in fields for heading in set(self.headings))
                if found == len(set(self.headings)):
                    return number, fields
                best = max(best, (found, -number, between))
        found, line_number, self.between = best
        fields = [field.strip() for field in next(self._fields([lines[-line_number]]), [])]
        missing = [heading for heading in dict.fromkeys(self.headings) if heading not in fields]
        guess = did_you_mean(missing[0], [field for field in fields if field]) if found else ""
        message = f"no line holds the heading{'s' if len(missing) > 1 else ''} {', '.join(map(repr, missing))}"
        cure = f"write the mapping's headings as the log has them{guess}, and check its `delimiter`"
        raise _Refused(self.fault(MISSING_COLUMN, 1 - line_number, message, cure))

    def _fields(self, lines: Sequence[str]) -> Iterator[list[str]]:
        """The fields of lines; a log's fields do not run over lines."""
        if self.between == " ":
            return (line.split() for line in lines)
        if not any('"' in line for line in lines):
            return (line.split(self.between) for line in lines)
        return (next(csv.reader([line], delimiter=self.between), []) for line in lines)

    def _times(self, table: _Table) -> np.ndarray:
        columns = self.mapping.time.columns
        texts = list(map(str.strip, table.texts(columns[0])))
        if len(columns) > 1:
            texts = [f"{day} {clock.strip()}" for day, clock in zip(texts, table.texts(columns[1]), strict=True)]
        try:
            return utc_seconds(texts, self.mapping.time.format, self.zone)
        except TimesRefused as refused:
            line, more = int(table.lines[refused.row]), _more(refused.count)
            raise _Refused(self.fault(BAD_TIME, line, f"{refused.message}{more}", refused.cure)) from None

    def _readings(self, column: LogColumn, table: _Table, faults: list[Fault]) -> Readings:
        texts = table.texts(column.heading)
        comma = self.mapping.decimal == "," or (self.mapping.decimal is None and self.between != ",")
        values = _numbers(texts, comma)
        if values is None:
            nothing = {*NO_READING, *(word.casefold() for word in self.mapping.missing)}
            values, wrong = np.full(len(texts), np.nan), []
            for row, text in enumerate(map(str.strip, texts)):
                if text.casefold() in nothing:
                    continue
                number = text.replace(",", ".") if comma and text.count(",") == 1 and "." not in text else text
                if NUMBER.fullmatch(number):
                    values[row] = float(number)
                else:
                    wrong.append(row)
            if wrong:
                message = f"{column.heading}: {texts[wrong[0]].strip()!r} is not a number{_more(len(wrong))}"
                cure = "if it means that there is no reading, add it to the mapping's `missing`; check `decimal`"
                faults.append(self.fault(BAD_NUMBER, int(table.lines[wrong[0]]), message, cure))
        digits = max((_decimals(text) for text in texts[:5000]), default=0)
        canonical = (values + column.unit.shift) * column.unit.scale
        return Readings(canonical, column.unit, 10.0**-digits * column.unit.scale)


def _numbers(texts: Sequence[str], comma: bool) -> np.ndarray | None:
    """All numbers at once, where none is written out of the ordinary."""
    text = "\n".join(texts)
    if comma and "." not in text:
        text = text.replace(",", ".")
    if _PLAIN.fullmatch(text) is None:
        return None
    try:
        return np.array([float(number) if number else np.nan for number in text.split("\n")])
    except ValueError:
        return None


_PLAIN = re.compile(r"[-+.0-9\n]*")


def _decimals(text: str) -> int:
    """Digits behind the decimal mark of a number as written."""
    text = text.strip()
    mark = max(text.rfind("."), text.rfind(","))
    return len(text) - mark - 1 if mark >= 0 and text[mark + 1 :].isdigit() else 0


def _means(values: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Means over runs of rows that begin at `first`; nan where a run holds no reading."""
    known = np.isfinite(values)
    count = np.add.reduceat(known, first, dtype=np.int64)
    total = np.add.reduceat(np.where(known, values, 0.0), first)
    return np.divide(total, count, out=np.full(len(first), np.nan), where=count > 0)


def _more(found: int) -> str:
    return f" (and in {found - 1} more row{'s' if found > 2 else ''})" if found > 1 else ""
