"""One export of the building system, CSV or Parquet → times and readings in canonical units.

Columns: `time` (the facility's local time; the repeated hour with offsets, or told by the order of the rows) or
`time [UTC]`, `humidity [%RH]`, and where it is there `temperature [degC]`. A blank reading is no reading. Years of
minutes are read in seconds: texts are looked at one by one only where the quick way refuses them.
"""

from __future__ import annotations

import io
import re
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from asfound.faults import Fault, Place, Rule, did_you_mean, error
from asfound.records.trends.repeated_hour import Placed, Span, placed_by_order
from asfound.records.visits.csv_text import field_place, split
from asfound.records.visits.field_values import BAD_NUMBER
from asfound.records.visits.header import (
    BAD_UNIT,
    MISSING_COLUMN,
    MISSING_UNIT,
    NAME_AND_UNIT,
    REPEATED_COLUMN,
    UNKNOWN_COLUMN,
)
from asfound.records.visits.local_time import BAD_TIME, TIME_REPEATED_HOUR, TimeRefused, clock_seconds, utc_candidates
from asfound.records.visits.visit_files import ROW_LENGTH
from asfound.units import NUMBER, Unit, UnitError, header_unit

TREND_UNREADABLE = error("trend-unreadable", "an export of the building system holds no rows, or is no Parquet file")

QUANTITIES = ("humidity", "temperature")
_TIMES = re.compile(r"(?:[0-9]{4}-[0-9]{2}-[0-9]{2}[ T][0-9]{2}:[0-9]{2}(?::[0-9]{2})?\n)+")
_OFFSET = re.compile(r"[0-9]{2}:[0-9]{2}\s*(?:[+-][0-9]{2}:[0-9]{2}|Z)$")
_PLAIN_NUMBERS = re.compile(r"[-+.0-9\n]*")
_LOCAL_LENGTHS = (16, 19)
_EXPORT_AGAIN = "export it again as CSV with the columns `time` and `humidity [%RH]`"


@dataclass(frozen=True, kw_only=True)
class TrendFile:
    """The rows of one export, in its own order; readings in canonical units, nan where blank."""

    path: str
    time_utc: np.ndarray
    """seconds since 1970 UTC, int64"""
    readings: dict[str, np.ndarray]
    """humidity, and temperature where it was exported"""
    lines: np.ndarray
    """line of each row (of Parquet, the row's number)"""
    unplaced: tuple[Span, ...]
    """repeated hours of which rows were left out: nothing tells in which pass they were recorded"""


@dataclass(frozen=True)
class _Column:
    index: int
    name: str
    unit: Unit | None
    utc: bool = False

    def canonical(self, numbers: np.ndarray) -> np.ndarray:
        """Readings as written → in the canonical unit."""
        assert self.unit is not None, "only time has no unit, and is not read as a number"
        return (numbers + self.unit.shift) * self.unit.scale


def read_trend_file(path: str, content: bytes, zone: ZoneInfo) -> tuple[TrendFile | None, list[Fault]]:
    """One export, or all its faults: a mistake made in many rows once, at its first row."""
    reading = _ParquetReading if path.endswith(".parquet") else _CsvReading
    return reading(path, content, zone).read()


class _Reading(ABC):
    """The reading of one file; collects faults."""

    def __init__(self, path: str, content: bytes, zone: ZoneInfo) -> None:
        self.path, self.content, self.zone = path, content, zone
        self.faults: list[Fault] = []
        self.placed: Placed | None = None

    def place(self, line: int, field: int) -> Place:
        return field_place(self.path, self.content, line, field)

    def fault(self, rule: Rule, line: int, field: int, message: str, cure: str) -> None:
        self.faults.append(Fault(rule=rule, place=self.place(line, field), message=message, cure=cure))

    def unreadable(self, message: str, cure: str) -> tuple[None, list[Fault]]:
        self.fault(TREND_UNREADABLE, 1, 0, message, cure)
        return None, self.faults

    def columns(self, header: Sequence[str], line: int) -> dict[str, _Column]:
        """What stands in which field; a field that is not ours is a fault, a nameless one is passed over."""
        found: dict[str, _Column] = {}
        for index, text in enumerate(header):
            if not text:
                continue
            match = NAME_AND_UNIT.fullmatch(text)
            name = match[1] if match else ""
            if match is None or name not in ("time", *QUANTITIES):
                guess = did_you_mean(text.partition("[")[0].strip(), ("time", *QUANTITIES))
                cure = f"export only time, humidity [%RH] and temperature [degC]{guess}"
                self.fault(UNKNOWN_COLUMN, line, index, f"unknown column {text!r} in a trend", cure)
            elif name in found:
                self.fault(REPEATED_COLUMN, line, index, f"{name} stands twice", "export it once")
            elif (column := self._column(index, name, match[2], line)) is not None:
                found[name] = column
        for name in ("time", "humidity"):
            if name not in found and not self.faults:
                self.fault(MISSING_COLUMN, line, 0, f"a trend needs the column {name}", _EXPORT_AGAIN)
        return found

    def _column(self, index: int, name: str, unit: str | None, line: int) -> _Column | None:
        if name == "time":
            if unit not in (None, "UTC"):
                cure = "write `time` for the facility's local time, or `time [UTC]`"
                self.fault(BAD_UNIT, line, index, f"time [{unit}] is not known", cure)
                return None
            return _Column(index, name, None, utc=unit == "UTC")
        if unit is None:
            self.fault(MISSING_UNIT, line, index, f"{name} has no unit", f"write {name} [{_UNIT[name]}]")
            return None
        try:
            return _Column(index, name, header_unit(unit, (name,)))
        except UnitError as wrong:
            self.fault(BAD_UNIT, line, index, f"{name}: {wrong}", wrong.cure)
            return None

    @abstractmethod
    def read(self) -> tuple[TrendFile | None, list[Fault]]:
        """The export, where it can be read, and all that is wrong with it."""

    def _utc(self, local: np.ndarray, column: _Column, lines: np.ndarray, written: Sequence[str] | None) -> np.ndarray:
        """Seconds UTC of times without an offset."""
        if column.utc:
            return local.astype(np.int64)
        first, second = utc_candidates(local, self.zone)
        refused: dict[Rule, list[tuple[int, TimeRefused]]] = {}
        for row in np.flatnonzero(second < first).tolist():
            text = written[row] if written is not None else str(local[row]).replace("T", " ")
            try:
                first[row] = clock_seconds(text, self.zone)
            except TimeRefused as problem:
                refused.setdefault(problem.rule, []).append((row, problem))
        self._refused(refused, column, lines)
        self.placed = placed_by_order(local.astype(np.int64), first, second)
        return self.placed.time_utc

    def _file(self, time_utc: np.ndarray, readings: dict[str, np.ndarray], lines: np.ndarray) -> TrendFile:
        """The rows whose instants are known."""
        unplaced: tuple[Span, ...] = ()
        if self.placed is not None and self.placed.unknown:
            known, unplaced = self.placed.known, self.placed.unknown
            time_utc, lines = time_utc[known], lines[known]
            readings = {name: values[known] for name, values in readings.items()}
        return TrendFile(path=self.path, time_utc=time_utc, readings=readings, lines=lines, unplaced=unplaced)

    def _refused(self, refused: dict[Rule, list[tuple[int, TimeRefused]]], column: _Column, lines: np.ndarray) -> None:
        for rule, found in refused.items():
            row, first = found[0]
            message = first.message + _more(len(found))
            cure = f"{first.cure}; or export `time [UTC]`" if rule is not BAD_TIME else first.cure
            self.fault(rule, int(lines[row]), column.index, message, cure)


_UNIT = {"humidity": "%RH", "temperature": "degC"}


def _more(found: int) -> str:
    return f" (and in {found - 1} more row{'s' if found > 2 else ''})" if found > 1 else ""


class _CsvReading(_Reading):
    def read(self) -> tuple[TrendFile | None, list[Fault]]:
        table, faults = split(self.path, self.content)
        if table is None:
            return None, faults
        if not table.rows or not any(field.strip() for field in table.rows[0]):
            return self.unreadable("the first line holds no header", _EXPORT_AGAIN)
        columns = self.columns([text.strip() for text in table.rows[0]], table.lines[0])
        if self.faults:
            return None, self.faults
        rows, line_of = table.rows[1:], table.lines[1:]
        filled = [number for number, row in enumerate(rows) if any(row)]
        if not filled:
            return self.unreadable("the file holds no rows", _EXPORT_AGAIN)
        if len(filled) < len(rows):
            rows, line_of = tuple(rows[n] for n in filled), tuple(line_of[n] for n in filled)
        lines = np.array(line_of)
        self._widths(rows, lines, len(table.rows[0]))
        if self.faults:
            return None, self.faults

        def texts(column: _Column) -> list[str]:
            i = column.index
            return [row[i] if i < len(row) else "" for row in rows]

        readings = {
            name: self._numbers(column, texts(column), lines, table.delimiter != ",")
            for name, column in columns.items()
            if name in QUANTITIES
        }
        time_utc = self._times(columns["time"], texts(columns["time"]), lines)
        if self.faults:
            return None, self.faults
        return self._file(time_utc, readings, lines), []

    def _widths(self, rows: Sequence[Sequence[str]], lines: np.ndarray, width: int) -> None:
        """A field without a name above it is half of a number that a decimal comma tore apart."""
        if max(map(len, rows)) <= width:
            return
        wide = [number for number, row in enumerate(rows) if any(row[width:])]
        if wide:
            message = f"no column is named above {rows[wide[0]][width]!r}{_more(len(wide))}"
            cure = "name the column, or export with `;` between fields (a decimal comma?)"
            self.fault(ROW_LENGTH, int(lines[wide[0]]), width, message, cure)

    def _numbers(self, column: _Column, texts: Sequence[str], lines: np.ndarray, comma: bool) -> np.ndarray:
        values = self._plain("\n".join(texts), comma)
        if values is None:
            wrong = []
            values = np.full(len(texts), np.nan)
            for row, text in enumerate(map(str.strip, texts)):
                number = text.replace(",", ".") if comma and text.count(",") == 1 and "." not in text else text
                if NUMBER.fullmatch(number):
                    values[row] = float(number)
                elif text:
                    wrong.append((row, text))
            if wrong:
                row, text = wrong[0]
                message = f"{column.name}: {text!r} is not a number{_more(len(wrong))}"
                cure = "export plain numbers; leave a reading blank where there was none"
                self.fault(BAD_NUMBER, int(lines[row]), column.index, message, cure)
        return column.canonical(values)

    def _plain(self, text: str, comma: bool) -> np.ndarray | None:
        """All numbers at once, where none is written out of the ordinary."""
        if comma and "." not in text:
            text = text.replace(",", ".")
        if _PLAIN_NUMBERS.fullmatch(text) is None:
            return None
        try:
            return np.array([float(number) if number else np.nan for number in text.split("\n")])
        except ValueError:
            return None

    def _times(self, column: _Column, texts: list[str], lines: np.ndarray) -> np.ndarray:
        texts = [text.strip() for text in texts]
        if column.utc:
            texts = [text.removesuffix("Z") for text in texts]
        plain = np.array([len(text) in _LOCAL_LENGTHS for text in texts])
        utc = np.zeros(len(texts), np.int64)
        refused: dict[Rule, list[tuple[int, TimeRefused]]] = {}
        if plain.all() and (local := _local(texts)) is not None:
            return self._utc(local, column, lines, texts)
        for row, text in enumerate(texts):
            try:
                utc[row] = clock_seconds(text, _UTC if column.utc else self.zone)
            except TimeRefused as problem:
                refused.setdefault(problem.rule, []).append((row, problem))
        if BAD_TIME in refused and not any(map(_OFFSET.search, texts)):
            refused.pop(TIME_REPEATED_HOUR, None)  # the order tells, once the others are put right
        self._refused(refused, column, lines)
        return utc


_UTC = ZoneInfo("UTC")


def _local(texts: Sequence[str]) -> np.ndarray | None:
    """Times without an offset, all at once; None where one is not written so or is no time."""
    if _TIMES.fullmatch("\n".join(texts) + "\n") is None:
        return None
    try:
        return np.array(texts, "datetime64[s]")
    except ValueError:
        return None


class _ParquetReading(_Reading):
    def place(self, line: int, field: int) -> Place:
        return Place(path=self.path)  # rows of a binary file have no place in a text

    def read(self) -> tuple[TrendFile | None, list[Fault]]:
        if not (self.content[:4] == self.content[-4:] == b"PAR1"):
            return self.unreadable("this is no Parquet file", _EXPORT_AGAIN)
        import pyarrow  # late, as it takes its time and few trends are Parquet
        from pyarrow import parquet

        try:
            table = parquet.read_table(io.BytesIO(self.content))
        except (pyarrow.ArrowException, OSError, ValueError) as problem:
            return self.unreadable(f"the Parquet file is damaged: {str(problem).splitlines()[0]}", _EXPORT_AGAIN)
        columns = self.columns([str(name) for name in table.column_names], 1)
        if self.faults:
            return None, self.faults
        if not table.num_rows:
            return self.unreadable("the file holds no rows", _EXPORT_AGAIN)
        lines = np.arange(1, table.num_rows + 1)
        readings = {}
        for name in QUANTITIES:
            if name in columns:
                readings[name] = self._numbers(columns[name], table.column(columns[name].index), pyarrow)
        time_utc = self._times(columns["time"], table.column(columns["time"].index), lines, pyarrow)
        if self.faults:
            return None, self.faults
        return self._file(time_utc, readings, lines), []

    def _numbers(self, column: _Column, values: Any, pyarrow: Any) -> np.ndarray:
        kind = values.type
        types = pyarrow.types
        if not (types.is_floating(kind) or types.is_integer(kind)):
            message, cure = f"{column.name}: a column of {kind} holds no numbers", "export numbers"
            self.fault(BAD_NUMBER, 1, column.index, message, cure)
            return np.zeros(0)
        return column.canonical(values.to_pandas().to_numpy(np.float64, na_value=np.nan))

    def _times(self, column: _Column, values: Any, lines: np.ndarray, pyarrow: Any) -> np.ndarray:
        kind = values.type
        if not pyarrow.types.is_timestamp(kind) or values.null_count:
            message = "time: not a timestamp in every row"
            self.fault(BAD_TIME, 1, column.index, message, "export time as a timestamp; leave out rows without one")
            return np.zeros(0, np.int64)
        seconds = values.cast(pyarrow.timestamp("s", kind.tz), safe=False)
        local = seconds.to_numpy().astype("datetime64[s]")
        if kind.tz is not None:  # a zone in the file: the instants are told
            return local.astype(np.int64)
        return self._utc(local, column, lines, None)
