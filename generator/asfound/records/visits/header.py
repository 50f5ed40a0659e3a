"""The header of a visit's CSV: which column and unit each field holds."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

from asfound.faults import Rule, did_you_mean, error
from asfound.records.visits.columns import COLUMNS, REQUIRED, Column
from asfound.units import Unit, UnitError, header_unit, symbols

UNKNOWN_COLUMN = error("unknown-column", "a header names no column of a visit")
REPEATED_COLUMN = error("repeated-column", "a column stands twice with the same unit")
MISSING_COLUMN = error("missing-column", "a column that every visit needs is not there")
MISSING_UNIT = error("missing-unit", "a column of numbers has no unit in brackets")
BAD_UNIT = error("bad-unit", "a header's unit is unknown, of another quantity, or does not say gauge or absolute")
UNEXPECTED_UNIT = error("unexpected-unit", "a column of words has a unit")

NAME_AND_UNIT = re.compile(r"([A-Za-z_]+)\s*(?:\[(.*)\])?")
"""A field of a header: `output [%RH]`, or a name alone."""


@dataclass(frozen=True)
class Field:
    """One field of the header: its number, column and unit."""

    index: int
    column: Column
    unit: Unit | None


@dataclass(frozen=True, kw_only=True)
class Problem:
    """What is wrong with one field of the header."""

    rule: Rule
    index: int
    message: str
    cure: str
    column: str = ""
    """the column's name, where it is known"""


@dataclass(frozen=True, kw_only=True)
class Header:
    """A header read: its fields in order, and what is wrong with it."""

    fields: tuple[Field, ...]
    problems: tuple[Problem, ...]

    @cached_property
    def words(self) -> tuple[Field, ...]:
        """The fields that hold words."""
        return tuple(field for field in self.fields if not field.column.is_number)

    @cached_property
    def numbers(self) -> tuple[Field, ...]:
        """The fields that hold numbers."""
        return tuple(field for field in self.fields if field.column.is_number)

    @cached_property
    def indices(self) -> Mapping[str, tuple[int, ...]]:
        """Column name → its field numbers."""
        names = dict.fromkeys(field.column.name for field in self.fields)
        return {name: tuple(field.index for field in self.of(name)) for name in names}

    def of(self, name: str) -> tuple[Field, ...]:
        """The fields of one column: none, one, or one for each unit."""
        return tuple(field for field in self.fields if field.column.name == name)


@lru_cache(maxsize=256)
def read_header(texts: tuple[str, ...]) -> Header:
    """Read the first line of a visit; fields without a name are left out."""
    fields: list[Field] = []
    problems: list[Problem] = []
    for index, text in enumerate(texts):
        if not text.strip():
            continue
        found = _field(index, text.strip())
        if isinstance(found, Problem):
            problems.append(found)
            continue
        if any(f.column is found.column and f.unit == found.unit for f in fields):
            message = f"{text.strip()!r} stands twice"
            problems.append(Problem(rule=REPEATED_COLUMN, index=index, message=message, cure="delete one of the two"))
        fields.append(found)
    named = {field.column.name for field in fields} | {problem.column for problem in problems}
    for name in REQUIRED:
        if name not in named:
            message = f"there is no column {name!r}"
            problems.append(Problem(rule=MISSING_COLUMN, index=0, message=message, cure=f"add a column {name!r}"))
    return Header(fields=tuple(fields), problems=tuple(problems))


def _field(index: int, text: str) -> Field | Problem:
    match = NAME_AND_UNIT.fullmatch(text)
    by_folded_name = {name.casefold(): column for name, column in COLUMNS.items()}
    column = by_folded_name.get(match[1].casefold()) if match else None
    if match is None or column is None:
        return _unknown(index, text)
    name, unit = column.name, match[2]

    def problem(rule: Rule, message: str, cure: str) -> Problem:
        return Problem(rule=rule, index=index, message=message, cure=cure, column=name)

    if not column.quantities:
        if unit is None:
            return Field(index, column, None)
        return problem(UNEXPECTED_UNIT, f"{name} takes no unit", f"write {name} alone")
    if unit is None:
        pressure = "pressure" in column.quantities
        example = "kPa absolute" if pressure else symbols(*column.quantities)[0]
        cure = f"write the unit in brackets, e.g. {name} [{example}]"
        return problem(MISSING_UNIT, f"{name} has no unit", cure)
    try:
        return Field(index, column, header_unit(unit, column.quantities))
    except UnitError as wrong:
        return problem(BAD_UNIT, f"{name}: {wrong}", wrong.cure)


def _unknown(index: int, text: str) -> Problem:
    """A name that is no column: often one with spaces, or with its unit in round brackets."""
    name, _, unit = text.replace("(", "[").replace(")", "]").partition("[")
    word = "_".join(name.split()).casefold()
    cure = f"use a column of the manual's list{did_you_mean(word, COLUMNS)}"
    if word in COLUMNS:
        cure = f"write {word}{f' [{unit}' if unit else ''}"
    return Problem(rule=UNKNOWN_COLUMN, index=index, message=f"unknown column {text!r}", cure=cure)
