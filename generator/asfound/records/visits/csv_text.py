"""CSV as rows of texts with places: RFC 4180, and what a spreadsheet makes of it.

Survives a byte-order mark, CRLF, `;` or tabs between fields, and quoted fields over several lines.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from asfound.faults import Fault, Place, error

UNREADABLE_CSV = error("unreadable-csv", "a visit's file is not UTF-8 text or not a CSV")

_LINE_END = re.compile(r"\r\n|\r|\n")


@dataclass(frozen=True, kw_only=True)
class Table:
    """The rows of a CSV file as texts, each with the line that it begins in."""

    rows: tuple[list[str], ...]
    lines: tuple[int, ...]
    delimiter: str


def split(path: str, content: bytes) -> tuple[Table | None, list[Fault]]:
    """The rows of a CSV file, or the fault that makes it unreadable."""

    def unreadable(line: int, message: str, cure: str) -> tuple[None, list[Fault]]:
        place = Place(path=path, line=line)
        return None, [Fault(rule=UNREADABLE_CSV, place=place, message=message, cure=cure)]

    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        return unreadable(line, "the file is not UTF-8 text", "save it as 'CSV UTF-8'")
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        return unreadable(line, "the file holds NUL characters", "save it as 'CSV UTF-8'")
    delimiter = delimiter_of(text)
    if '"' not in text:  # every line is a row
        written = text.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n").split("\n")
        plain = tuple(line.split(delimiter) if line else [] for line in written)
        return Table(rows=plain, lines=tuple(range(1, len(plain) + 1)), delimiter=delimiter), []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows, lines, line = [], [], 1
    try:
        for row in reader:
            rows.append(row)
            lines.append(line)
            line = reader.line_num + 1
    except csv.Error as problem:
        cure = "check the double quotes: one at each end of a field, doubled inside it"
        return unreadable(line, f"not a CSV: {problem}", cure)
    return Table(rows=tuple(rows), lines=tuple(lines), delimiter=delimiter), []


def delimiter_of(text: str) -> str:
    """What stands between the fields of the first line."""
    header = _LINE_END.split(text, maxsplit=1)[0]
    return max((",", ";", "\t"), key=header.count)


def field_place(path: str, content: bytes, line: int, field: int) -> Place:
    """Place of a field (counted from 0) of the row that begins in `line`, by character column."""
    lines, delimiter = _lines(content)
    quoted, seen = False, 0
    for number in range(line - 1, len(lines)):
        for position, character in enumerate(lines[number]):
            if seen == field:
                return Place(path=path, line=number + 1, column=position + 1)
            if character == '"':
                quoted = not quoted
            elif character == delimiter and not quoted:
                seen += 1
        if not quoted:
            # The field is blank at the line's end, or the row is shorter.
            column = len(lines[number]) + 1 if seen == field else 1
            return Place(path=path, line=number + 1 if seen == field else line, column=column)
    return Place(path=path, line=line)


@lru_cache(maxsize=4)
def rows_by_line(content: bytes) -> Mapping[int, tuple[str, ...]]:
    """The rows of a CSV file that can be read, by the line that each begins in."""
    table, _ = split("", content)
    return dict(zip(table.lines, map(tuple, table.rows), strict=True)) if table else {}


@lru_cache(maxsize=4)
def _lines(content: bytes) -> tuple[tuple[str, ...], str]:
    text = content.decode("utf-8-sig", "replace")
    return tuple(_LINE_END.split(text)), delimiter_of(text)
