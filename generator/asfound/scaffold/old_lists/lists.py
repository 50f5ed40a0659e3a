"""Old lists, exported from a spreadsheet as CSV: one row a sensor or a result, columns by name, units in brackets.

Everything that is wrong is said at once, with its place in the list: a list is brought in whole or not at all.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from asfound.faults import Fault, Rule, did_you_mean
from asfound.records.models.fields import parse_day
from asfound.records.visits.csv_text import Table, field_place, split
from asfound.records.visits.header import NAME_AND_UNIT
from asfound.units import UnitError, amount_of, header_unit, symbols

BAD_LIST = Rule(name="bad-list", summary="a list that is brought in cannot be read as it stands")
"""Not in the register of rules: a list is no record."""
_LIST_OF_NUMBERS = re.compile(r"\s*[;/|]\s*|\s*,\s+|\s+")


@dataclass(frozen=True, kw_only=True)
class ListColumn:
    """One column of a list. Without quantities: words; `many`: several numbers in one field."""

    name: str
    meaning: str
    quantities: tuple[str, ...] = ()
    plain_number: bool = False
    many: bool = False
    is_day: bool = False
    choices: tuple[str, ...] = ()
    required: bool = False


Cell = str | float | date | tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class ListRow:
    """One row: what its fields hold (amounts in the unit of the header, blanks left out), and where it stands."""

    line: int
    cells: Mapping[str, Cell]
    units: Mapping[str, str]

    def word(self, name: str) -> str:
        """A field of words; empty where it is blank."""
        return str(self.cells.get(name, ""))

    def written(self, name: str) -> str | list[str] | None:
        """A field of amounts as a record writes it, `2 %RH`; None where it is blank."""
        value, unit = self.cells.get(name), self.units.get(name, "")
        if isinstance(value, tuple):
            return [f"{number:.12g} {unit}" for number in value]
        return None if value is None else f"{value:.12g} {unit}".strip()


@dataclass(frozen=True, kw_only=True)
class ListFile:
    """A list as it was given: its name for messages, and its bytes."""

    path: str
    content: bytes

    def fault(self, line: int, field: int | None, message: str, cure: str) -> Fault:
        """A fault of one field (counted from 0) of the row that begins in a line; of the row where it is None."""
        place = field_place(self.path, self.content, line, field or 0)
        return Fault(rule=BAD_LIST, place=place, message=message, cure=cure)


def read_list(
    given: ListFile, columns: Sequence[ListColumn], day_format: str | None = None
) -> tuple[tuple[ListRow, ...], list[Fault]]:
    """Rows and faults; `day_format` (of strptime) reads days that are not written as YYYY-MM-DD."""
    table, faults = split(given.path, given.content)
    if table is None:
        return (), faults
    if not table.rows or not any(text.strip() for text in table.rows[0]):
        return (), [given.fault(1, None, "the list is empty", "export it with a first line that names the columns")]
    reader = _Reader(given, {column.name: column for column in columns}, table, day_format)
    return tuple(reader.rows()), reader.faults


class _Reader:
    def __init__(
        self, given: ListFile, columns: Mapping[str, ListColumn], table: Table, day_format: str | None
    ) -> None:
        self.given, self.columns, self.table, self.day_format = given, columns, table, day_format
        self.faults: list[Fault] = []
        self.fields: dict[int, tuple[ListColumn, str]] = {}
        """field → its column and unit"""
        for index, text in enumerate(table.rows[0]):
            if text.strip():
                self._head(index, text.strip())
        named = {column.name for column, _ in self.fields.values()}
        for column in columns.values():
            if column.required and column.name not in named and not self.faults:
                cure = f"add it: {column.meaning}"
                self.faults.append(given.fault(table.lines[0], None, f"there is no column {column.name!r}", cure))

    def _head(self, index: int, text: str) -> None:
        match = NAME_AND_UNIT.fullmatch(text)
        name = "_".join((match[1] if match else text).split()).casefold()
        column = self.columns.get(name)
        line = self.table.lines[0]
        if match is None or column is None:
            cure = f"rename or delete it; columns are {', '.join(self.columns)}{did_you_mean(name, self.columns)}"
            self.faults.append(self.given.fault(line, index, f"unknown column {text!r}", cure))
            return
        if any(known is column for known, _ in self.fields.values()):
            self.faults.append(self.given.fault(line, index, f"{name!r} stands twice", "delete one of the two"))
            return
        unit = match[2]
        if column.quantities and unit is None:
            cure = f"write the unit in brackets, e.g. {name} [{symbols(*column.quantities)[0]}]"
            self.faults.append(self.given.fault(line, index, f"{name} has no unit", cure))
        elif unit is not None and not column.quantities:
            self.faults.append(self.given.fault(line, index, f"{name} takes no unit", f"write {name} alone"))
        elif unit is not None:
            try:
                header_unit(unit, column.quantities)
            except UnitError as problem:
                self.faults.append(self.given.fault(line, index, f"{name}: {problem}", problem.cure))
        self.fields[index] = (column, (unit or "").strip())

    def rows(self) -> list[ListRow]:
        found = []
        for line, texts in zip(self.table.lines[1:], self.table.rows[1:], strict=True):
            if not any(text.strip() for text in texts):
                continue
            cells: dict[str, Cell] = {}
            for index, (column, unit) in self.fields.items():
                text = texts[index].strip() if index < len(texts) else ""
                if text:
                    value = self._cell(line, index, column, unit, text)
                    if value is not None:
                        cells[column.name] = value
                elif column.required:
                    self._bad(line, index, f"{column.name} is blank", f"fill in: {column.meaning}")
            units = {column.name: unit for column, unit in self.fields.values()}
            found.append(ListRow(line=line, cells=cells, units=units))
        if not found and not self.faults:
            self.faults.append(self.given.fault(1, None, "the list has no rows", "export it with its rows"))
        return found

    def _cell(self, line: int, index: int, column: ListColumn, unit: str, text: str) -> Cell | None:
        if column.is_day:
            return self._day(line, index, text)
        if column.choices and text.casefold() not in column.choices:
            cure = f"write one of {', '.join(column.choices)}{did_you_mean(text, column.choices)}"
            self._bad(line, index, f"{column.name} is {text!r}", cure)
            return None
        if not (column.quantities or column.plain_number):
            return text.casefold() if column.choices else text
        parts = [part for part in _LIST_OF_NUMBERS.split(text) if part] if column.many else [text]
        numbers = [self._number(line, index, column, unit, part) for part in parts]
        if None in numbers:
            return None
        good = tuple(number for number in numbers if number is not None)
        return good if column.many else good[0]

    def _number(self, line: int, index: int, column: ListColumn, unit: str, text: str) -> float | None:
        """In the unit of the header; a decimal comma stands only where fields are not parted by commas."""
        plain = text.replace(",", ".") if self.table.delimiter != "," or column.many else text
        bare = plain.removesuffix(unit).strip() if unit else plain
        try:
            if column.quantities:
                amount_of(f"{bare} {unit}", column.quantities, difference=True)
            return float(bare)
        except (UnitError, ValueError):
            said = f"e.g. 2 under {column.name} [{unit}]" if unit else "e.g. 12"
            self._bad(line, index, f"{column.name} is {text!r}, which is no number", f"write a number, {said}")
            return None

    def _day(self, line: int, index: int, text: str) -> date | None:
        try:
            if self.day_format:
                return datetime.strptime(text, self.day_format).date()
            return parse_day(text)
        except ValueError:
            wanted = self.day_format or "YYYY-MM-DD"
            cure = "write it so, or say how the list writes days, e.g. --days %d.%m.%Y"
            self._bad(line, index, f"{text!r} is no day written as {wanted}", cure)
            return None

    def _bad(self, line: int, index: int, message: str, cure: str) -> None:
        self.faults.append(self.given.fault(line, index, message, cure))
