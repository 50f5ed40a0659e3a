"""A visit's CSV → columns in canonical units, with the place of every field.

What a spreadsheet leaves behind is read (`;` with decimal commas, trailing empty columns) or refused with its cure.
"""

from __future__ import annotations

import hashlib
import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from itertools import accumulate, chain, compress, repeat
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from asfound.faults import Fault, Place, Rule, error
from asfound.records.visits.columns import COLUMNS
from asfound.records.visits.csv_text import field_place, rows_by_line, split
from asfound.records.visits.field_values import Block, Tell, read_columns
from asfound.records.visits.header import read_header
from asfound.records.visits.local_time import TimeRefused, utc_seconds

VISIT_NAME = error("visit-name", "a visit's file is not named year/YYYY-MM-DD-words[.rN].csv")
EMPTY_VISIT = error("empty-visit", "a visit holds no rows")
ROW_LENGTH = error("row-length", "a row has more fields than the header has names")

NAME = re.compile(
    r"visits/([0-9]{4})/(([0-9]{4}-[0-9]{2}-[0-9]{2})-[a-z0-9]+(?:-[a-z0-9]+)*)"
    r"(?:\.r([2-9]|[1-9][0-9]))?\.csv"
)
YEARS = range(1900, 2200)
"""In which visits are made; outside, a year is a slip of the finger."""
_TOGETHER = 100
"""Files whose rows are read together: enough to read each word once, few enough to stay in the cache as written."""

Values = TypeVar("Values")


class Columns(dict[str, Values]):
    """Columns of some rows of a block by name, each cut out when it is first asked for."""

    __slots__ = ("block", "kind", "rows")

    def __init__(self, block: Block, kind: str, rows: slice) -> None:
        self.block, self.kind, self.rows = block, kind, rows

    def __missing__(self, name: str) -> Values:
        if name not in COLUMNS:
            raise KeyError(name)
        words = self.kind in ("text", "quantity")
        whole: Any = self.block.words(self.kind, name).texts if words else self.block.numbers(self.kind, name)
        column: Values = whole[self.rows]
        self[name] = column
        return column


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
    block: Block = field(repr=False)
    """columns of this visit and of others that were read with it"""
    start: int
    """its first row in the block"""
    time_utc: np.ndarray
    """seconds since 1970 UTC, int64; 0 where the time could not be read"""
    content: bytes

    @property
    def name(self) -> str:
        """The visit as it is named to people: its id, with the revision where there is one."""
        return self.id if self.revision == 1 else f"{self.id}.r{self.revision}"

    @property
    def sha256(self) -> str:
        """Of the file's bytes."""
        return hashlib.sha256(self.content).hexdigest()

    def _columns(self, kind: str) -> Columns[Any]:
        return Columns(self.block, kind, slice(self.start, self.start + len(self.lines)))

    @cached_property
    def text(self) -> Columns[tuple[str, ...]]:
        """Words, '' where blank."""
        return self._columns("text")

    @cached_property
    def number(self) -> Columns[np.ndarray]:
        """Numbers in canonical units."""
        return self._columns("number")

    @cached_property
    def quantity(self) -> Columns[tuple[str, ...]]:
        """By numeric column, the quantity that each row's reading came in ('' where blank)."""
        return self._columns("quantity")

    @cached_property
    def gauge(self) -> Columns[np.ndarray]:
        """By pressure column, whether each row's reading is a gauge pressure."""
        return self._columns("gauge")

    @cached_property
    def step(self) -> Columns[np.ndarray]:
        """By numeric column, the weight of the last digit written, in canonical units (nan where blank)."""
        return self._columns("step")

    @property
    def own_block(self) -> Block:
        """Its rows as a block of their own."""
        return self.block.taken(np.arange(self.start, self.start + len(self.lines)))

    @property
    def fields(self) -> Mapping[str, tuple[int, ...]]:
        """Column name → its field numbers."""
        return read_header(self.header).indices

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
        """Place of a row's field, by character column as editors count.

        Without that column: of the log that the row names in place of readings, else of the row.
        """
        numbers, raw = self.fields.get(column) or self.fields.get("log", ()), self.raw_row(row)
        filled = [n for n in numbers if n < len(raw) and raw[n].strip()]
        number = (filled or list(self.fields.get(column, ())) or [0])[0]
        return field_place(self.path, self.content, self.lines[row], number)


def read_visit(path: str, content: bytes, zone: ZoneInfo) -> tuple[Visit | None, list[Fault]]:
    """Read one visit; all its faults at once, as values. With a broken header there is no `Visit`."""
    visits, faults = read_visits({path: content}, zone)
    return (visits[0] if visits else None), faults


def read_visits(files: Mapping[str, bytes], zone: ZoneInfo) -> tuple[list[Visit], list[Fault]]:
    """Read the visits of these files by path; all faults at once, file after file."""
    visits: list[Visit] = []
    faults: list[Fault] = []
    waiting: dict[tuple[tuple[str, ...], bool], list[_File]] = {}
    for path, content in files.items():
        file = _opened(path, content, faults)
        if file is not None:
            together = waiting.setdefault((file.header, file.decimal_comma), [])
            together.append(file)
            if len(together) == _TOGETHER:
                visits += _read_together(waiting.pop((file.header, file.decimal_comma)), zone, faults)
    for together in waiting.values():
        visits += _read_together(together, zone, faults)
    order = {path: number for number, path in enumerate(files)}
    visits.sort(key=lambda visit: order[visit.path])
    return visits, sorted(faults, key=lambda fault: order[fault.place.path])


@dataclass(kw_only=True, slots=True)
class _File:
    """A visit's file with a header that holds, and its rows as they were written, each as long as the header."""

    path: str
    content: bytes
    id: str
    day: date
    revision: int
    header: tuple[str, ...]
    decimal_comma: bool
    lines: Sequence[int]
    rows: Sequence[Sequence[str]]

    def fault(self, rule: Rule, line: int, field: int, message: str, cure: str) -> Fault:
        place = field_place(self.path, self.content, line, field)
        return Fault(rule=rule, place=place, message=message, cure=cure)


def _opened(path: str, content: bytes, faults: list[Fault]) -> _File | None:
    """The file, or its faults: nothing of it can be read where its name, its header or its rows do not hold."""
    name = NAME.fullmatch(path)
    day = _day(name[3]) if name else None
    if name is None or day is None or name[1] != name[3][:4] or day.year not in YEARS:
        cure = "name it visits/YYYY/YYYY-MM-DD-words.csv, e.g. visits/2026/2026-03-14-drying.csv"
        message = "the file is not named like a visit"
        faults.append(Fault(rule=VISIT_NAME, place=Place(path=path), message=message, cure=cure))
        return None
    table, unreadable = split(path, content)
    if table is None:
        faults += unreadable
        return None
    file = _File(
        path=path,
        content=content,
        id=name[2],
        day=day,
        revision=int(name[4] or 1),
        header=tuple(map(str.strip, table.rows[0])) if table.rows else (),
        decimal_comma=table.delimiter != ",",
        lines=table.lines[1:],
        rows=table.rows[1:],
    )
    if not any(file.header):
        cure = "write the column names in the first line"
        faults.append(file.fault(EMPTY_VISIT, 1, 0, "the first line holds no header", cure))
        return None
    problems = [
        file.fault(problem.rule, table.lines[0], problem.index, problem.message, problem.cure)
        for problem in read_header(file.header).problems
    ]
    _keep(file, [any(map(str.strip, row)) for row in file.rows])
    if not file.rows:
        cure = "add rows, or delete the file before it is merged"
        problems.append(file.fault(EMPTY_VISIT, 1, 0, "the visit holds no rows", cure))
    if problems:
        faults += problems
        return None
    width = len(file.header)
    nameless = [index for index, text in enumerate(file.header) if not text]
    if nameless or any(len(row) != width for row in file.rows):
        strays = [_stray(row, nameless, width) for row in file.rows]
        for line, row, stray in zip(file.lines, file.rows, strays, strict=True):
            if stray is not None:
                cure = "name the column, or quote a field that holds the separator (a decimal comma?)"
                message = f"no column is named above {row[stray].strip()!r}"
                faults.append(file.fault(ROW_LENGTH, line, stray, message, cure))
        _keep(file, [stray is None for stray in strays])
        file.rows = [[*row[:width], *[""] * (width - len(row))] for row in file.rows]
    return file if file.rows else None


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _keep(file: _File, keep: Sequence[bool]) -> None:
    """Keep some rows of a file."""
    if not all(keep):
        file.lines, file.rows = tuple(compress(file.lines, keep)), tuple(compress(file.rows, keep))


def _stray(row: Sequence[str], nameless: Sequence[int], width: int) -> int | None:
    """The first filled field of a row without a name above it."""
    return next(
        (index for index in (*nameless, *range(width, len(row))) if row[index : index + 1] and row[index].strip()), None
    )


def _read_together(files: Sequence[_File], zone: ZoneInfo, faults: list[Fault]) -> Iterator[Visit]:
    """The visits of files under one header, their rows end to end in one block."""
    starts = list(accumulate((len(file.lines) for file in files), initial=0))

    def tell(rule: Rule, row: int, field: int, message: str, cure: str) -> None:
        number = bisect_right(starts, row) - 1
        faults.append(files[number].fault(rule, files[number].lines[row - starts[number]], field, message, cure))

    width, header = len(files[0].header), read_header(files[0].header)
    flat = list(chain.from_iterable(chain.from_iterable(file.rows for file in files)))
    written = [flat[index::width] for index in range(width)]
    block = read_columns(header, written, files[0].decimal_comma, tell)
    days = chain.from_iterable(repeat(file.day, len(file.lines)) for file in files)
    time_utc = _times(block.text["time"].texts, days, zone, header.indices["time"][0], tell)
    for file, start, end in zip(files, starts, starts[1:], strict=False):
        yield Visit(
            path=file.path,
            id=file.id,
            revision=file.revision,
            day=file.day,
            header=file.header,
            lines=tuple(file.lines),
            block=block,
            start=start,
            time_utc=time_utc[start:end],
            content=file.content,
        )


def _times(texts: Sequence[str], days: Iterable[date], zone: ZoneInfo, field: int, tell: Tell) -> np.ndarray:
    """Times of rows in seconds since 1970 UTC, by the days of their visits; 0 where one cannot be read."""
    written = list(zip(texts, days, strict=True))
    seconds: dict[tuple[str, date], int] = {}
    refused: dict[tuple[str, date], TimeRefused] = {}
    for text, day in dict.fromkeys(written):
        try:
            seconds[text, day] = utc_seconds(text, day, zone) if text else 0
        except TimeRefused as why:
            seconds[text, day], refused[text, day] = 0, why
    for row in (row for row, time in enumerate(written) if time in refused) if refused else ():
        problem = refused[written[row]]
        tell(problem.rule, row, field, problem.message, problem.cure)
    return np.fromiter(map(seconds.__getitem__, written), np.int64, len(written))
