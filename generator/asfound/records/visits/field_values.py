"""The fields of visits under one header → columns in canonical units; the rows of many files are read together."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import nan

import numpy as np

from asfound.faults import Rule, did_you_mean, error
from asfound.records.visits.columns import REQUIRED, Column
from asfound.records.visits.header import Field, Header
from asfound.units import NUMBER

BAD_NUMBER = error("bad-number", "a field is not a number")
DECIMAL_COMMA = error("decimal-comma", "a number is written with a decimal comma between commas")
SPREADSHEET_ERROR = error("spreadsheet-error", "a field holds a spreadsheet's error value")
TWO_UNITS_FILLED = error("two-units-filled", "one row gives a reading in two units")
BAD_WORD = error("bad-word", "a field holds none of the words that may stand there")
BLANK_FIELD = error("blank-field", "a field that every row needs is blank")

_SPREADSHEET_ERROR = re.compile(r"#(REF!|DIV/0!|N/A|NAME\?|VALUE!|NUM!|NULL!|SPILL!|CALC!|#+)")
_LARGEST = 1e12
_NOTHING = (nan, nan)

Tell = Callable[[Rule, int, int, str, str], None]
"""Takes a fault: rule, row, field, message and cure."""


@dataclass(frozen=True, kw_only=True)
class Words:
    """One column of words over rows: a code for each row; code 0 is blank."""

    values: tuple[str, ...]
    code: np.ndarray

    def where(self, test: Callable[[str], bool]) -> np.ndarray:
        """Rows whose word passes a test; a blank never does."""
        passed = np.array([bool(value) and test(value) for value in self.values])
        return passed[self.code]

    def among(self, words: Collection[str]) -> np.ndarray:
        """Rows that hold one of these words."""
        return self.where(lambda word: word in words)

    @property
    def filled(self) -> np.ndarray:
        """Rows that hold a word."""
        return self.code > 0

    @cached_property
    def texts(self) -> tuple[str, ...]:
        """The word of each row."""
        return tuple(map(self.values.__getitem__, self.code.tolist()))

    def __getitem__(self, row: int) -> str:
        return self.values[self.code[row]]


def coded(words: Sequence[str]) -> Words:
    """A column of words, each held once."""
    at = {word: code for code, word in enumerate(dict.fromkeys(["", *words]))}
    return Words(values=tuple(at), code=np.fromiter(map(at.__getitem__, words), np.int32, len(words)))


@dataclass(frozen=True, kw_only=True)
class Block:
    """Columns over n rows; one that is not there is blank in every row."""

    n: int
    text: Mapping[str, Words]
    number: Mapping[str, np.ndarray]
    step: Mapping[str, np.ndarray]
    quantity: Mapping[str, Words]
    gauge: Mapping[str, np.ndarray]

    def numbers(self, kind: str, name: str) -> np.ndarray:
        """A column of `number`, `step` or `gauge`."""
        column: np.ndarray | None = getattr(self, kind).get(name)
        return _blank(self.n, False if kind == "gauge" else nan) if column is None else column

    def words(self, kind: str, name: str) -> Words:
        """A column of `text` or `quantity`."""
        column: Words | None = getattr(self, kind).get(name)
        return _no_words(self.n) if column is None else column

    def taken(self, rows: np.ndarray) -> Block:
        """The block of some of its rows."""

        def words(columns: Mapping[str, Words]) -> dict[str, Words]:
            return {name: Words(values=held.values, code=held.code[rows]) for name, held in columns.items()}

        def numbers(columns: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
            return {name: column[rows] for name, column in columns.items()}

        return Block(
            n=len(rows),
            text=words(self.text),
            number=numbers(self.number),
            step=numbers(self.step),
            quantity=words(self.quantity),
            gauge=numbers(self.gauge),
        )


@lru_cache(maxsize=256)
def _blank(n: int, value: float | bool) -> np.ndarray:
    """A blank column that nobody can write to."""
    values = np.full(n, value)
    values.flags.writeable = False
    return values


@lru_cache(maxsize=256)
def _no_words(n: int) -> Words:
    return Words(values=("",), code=_blank(n, False).astype(np.int32))


def read_columns(header: Header, written: Sequence[Sequence[str]], decimal_comma: bool, tell: Tell) -> Block:
    """Columns from the fields of rows as they were written, one sequence a field of the header; tells every fault."""
    n = len(written[0])
    text = {field.column.name: _words(field, written[field.index], tell) for field in header.words}
    number: dict[str, np.ndarray] = {}
    step: dict[str, np.ndarray] = {}
    quantity: dict[str, Words] = {}
    gauge: dict[str, np.ndarray] = {}
    read = [_numbers(field, written[field.index], decimal_comma, tell) for field in header.numbers]
    for field, (value, last_digit, filled) in zip(header.numbers, read, strict=True):
        name, unit = field.column.name, field.unit
        kinds: tuple[str, ...] = ("", unit.quantity if unit else "number")
        code = filled.astype(np.int32)
        if unit is not None:
            value, last_digit = (value + unit.shift) * unit.scale, last_digit * unit.scale
        if unit is not None and unit.gauge is not None:
            gauge[name] = np.where(filled, unit.gauge, gauge.get(name, False))
        if name in number:  # the column stands twice, with two units: a row fills one
            before = quantity[name]
            for row in np.flatnonzero(filled & before.filled).tolist():
                cure = "keep the unit that was read"
                tell(TWO_UNITS_FILLED, row, field.index, f"{name} is given in two units", cure)
            value, last_digit = np.where(filled, value, number[name]), np.where(filled, last_digit, step[name])
            kinds, code = (*before.values, kinds[1]), np.where(filled, len(before.values), before.code)
        number[name], step[name], quantity[name] = value, last_digit, Words(values=kinds, code=code)
    for name in REQUIRED:
        index = header.indices[name][0]
        if not all(map(str.strip, written[index])):
            for row in (row for row, word in enumerate(written[index]) if not word.strip()):
                tell(BLANK_FIELD, row, index, f"{name} is blank", f"fill in {name}")
    return Block(n=n, text=text, number=number, step=step, quantity=quantity, gauge=gauge)


def _distinct(column: Sequence[str]) -> tuple[list[str], np.ndarray]:
    """Each text of a column once, without blanks around it, and by row its number."""
    at = {text: number for number, text in enumerate(dict.fromkeys(column))}
    return [text.strip() for text in at], np.fromiter(map(at.__getitem__, column), np.int32, len(column))


def _words(field: Field, column: Sequence[str], tell: Tell) -> Words:
    name, choices = field.column.name, field.column.choices
    texts, which = _distinct(column)
    meant = [_word(field.column, text) for text in texts]
    for row in _rows_of(which, [word is None for word in meant]):
        text = texts[which[row]]
        if _SPREADSHEET_ERROR.fullmatch(text):
            tell(SPREADSHEET_ERROR, row, field.index, f"{name}: {text!r} is a spreadsheet's error", "type it again")
        else:
            cure = f"write one of {', '.join(choices)}{did_you_mean(text, choices)}"
            tell(BAD_WORD, row, field.index, f"{name}: {text!r} is not known", cure)
    words = coded([word or "" for word in meant])
    return Words(values=words.values, code=words.code[which])


def _word(column: Column, written: str) -> str | None:
    """The word that is meant; nothing where none is known."""
    if not column.choices or not written or written in column.choices:
        return None if written[:1] == "#" and _SPREADSHEET_ERROR.fullmatch(written) else written
    word = " ".join(written.casefold().replace("_", " ").split())
    return next((choice for choice in column.choices if choice.replace("_", " ") == word), None)


def _numbers(
    field: Field, column: Sequence[str], decimal_comma: bool, tell: Tell
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A column of numbers as written, the weights of their last digits, and which rows are filled."""
    texts, which = _distinct(column)
    read = [_number(text, decimal_comma) for text in texts]
    for row in _rows_of(which, [pair is None for pair in read]):
        tell(*_no_number(field, row, texts[which[row]]))
    value, last_digit = np.array([pair or _NOTHING for pair in read]).T
    return value[which], last_digit[which], np.array([text != "" for text in texts])[which]


@lru_cache(maxsize=100_000)
def _number(written: str, decimal_comma: bool) -> tuple[float, float] | None:
    """The number as written and the weight of its last digit; nothing where it is none."""
    if not written:
        return _NOTHING
    comma = decimal_comma and written.count(",") == 1 and "." not in written
    text = written.replace(",", ".") if comma else written
    if not NUMBER.fullmatch(text):
        return None
    mantissa, _, exponent = text.lower().partition("e")
    last_digit = 10.0 ** max(-300, min(300, int(exponent or 0) - len(mantissa.partition(".")[2])))
    value = float(text)
    return (value, last_digit) if max(abs(value), last_digit) <= _LARGEST else None


def _no_number(field: Field, row: int, written: str) -> tuple[Rule, int, int, str, str]:
    """The fault of a field that is no number."""
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
    return rule, row, field.index, message, cure


def _rows_of(which: np.ndarray, marked: Sequence[bool]) -> list[int]:
    """Rows whose text is marked."""
    return [int(row) for row in np.flatnonzero(np.array(marked)[which])] if any(marked) else []
