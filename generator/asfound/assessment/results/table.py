"""The results: one table of columns, a row for each plateau and channel, and light views of its rows."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any, overload

import numpy as np

from asfound.assessment.results.conformity import Verdict
from asfound.faults import Fault
from asfound.measurement.cell_sources import Part
from asfound.records.models import Channel
from asfound.records.visits.rows import WAYS

Columns = Mapping[str, np.ndarray]
"""A column by its name, each of shape (rows of the table,); what is no number stands in arrays of objects."""


def across_the_loop(direction: str, error: float, loop: float) -> float:
    """From an error to that on the other side of a loop; `loop`: half of its width.

    What falls reads higher (common practice, no source). From the start, whose side is not known, to the one further
    out.
    """
    if not loop > 0.0:
        return 0.0
    return {"rising": 2.0 * loop, "falling": -2.0 * loop}.get(direction, math.copysign(2.0 * loop, error))


class Result:
    """One row of the table: numbers in the channel's unit, nan where there is none. It holds no value of its own.

    The annotations are the table's columns, declared here and nowhere else.
    """

    __slots__ = ("at", "columns")

    visit: str
    revision: int
    day: date
    sensor: str
    serial: str
    model: str
    plateau: int
    phase: str
    target: float
    point: float
    """at which its plateau counts, %RH: a set point of the day, or one of its own"""
    reach: float
    """what lies nearer to the point than this is the same one, %RH"""
    direction: str
    medium: str
    reference: str
    time_utc: int
    note: str
    rule: str
    """the decision rule in words"""
    channel: Channel
    method: str
    temperature_c: float
    """at the probe"""
    n: int
    s: float
    repeatability: str
    reference_value: float
    output: float
    """the sensor's own reading, scaled"""
    far_end: float
    error: float
    """of the part that is judged"""
    part: Part
    error_sensor: float
    error_loop: float
    U_sensor: float
    U_loop: float
    settling_correction: float
    u: float
    nu_eff: float
    k: float
    U: float
    answer: str
    """linear, monte carlo, or stated"""
    tolerance: float
    verdict: Verdict
    p_outside: float
    tur: float
    one_way: str
    """rising or falling, where the other way to the point was not read at this visit"""
    loop: float
    """half of the declared width of the loop where the other way was not read, else 0"""
    other_way: Verdict
    """what the verdict would be on the other side of the declared loop"""
    status: str
    """done, unsettled, not done, or stated"""
    reservations: tuple[Fault, ...]
    line: int | None
    """row in the budgets; None for stated and not-done ones"""

    def __init__(self, columns: Columns, at: int) -> None:
        self.columns, self.at = columns, at

    @property
    def unit(self) -> str:
        """Unit of all its numbers."""
        return self.channel.unit

    @property
    def has_verdict(self) -> bool:
        """Whether anything is said about conformity."""
        return self.verdict is not Verdict.NONE

    def at_point_of(self, other: Result) -> bool:
        """Whether both were read at one point."""
        return abs(self.point - other.point) < min(self.reach, other.reach)

    def counts_at(self, set_point: float) -> bool:
        """Whether it was read at a set point of its day, %RH."""
        return abs(self.point - set_point) < self.reach

    @property
    def to_the_middle(self) -> float:
        """From its error to the middle of the declared loop; from the start neither side is known."""
        return self.across / 2.0 if self.direction in WAYS else 0.0

    @property
    def across(self) -> float:
        """From its error to that on the other side of the declared loop."""
        return across_the_loop(self.direction, self.error, self.loop)

    @property
    def in_use(self) -> float:
        """Standard uncertainty about the middle of the loop for either side of it, two-valued.

        From the start the side that was read is not known: half the time the use is on it, else a whole width away.
        """
        if not self.loop > 0.0:
            return 0.0
        return self.loop if self.direction in WAYS else math.sqrt(2.0) * self.loop

    @property
    def from_the_middle(self) -> float:
        """By how much either side lies from the middle of the declared loop; from the start, from its error."""
        return abs(self.across - self.to_the_middle)

    @property
    def badness(self) -> tuple[float, float]:
        """By which the worst of several is the largest: (|error| + U)/tolerance, without a tolerance |error|."""
        used = (abs(self.error) + self.U) / self.tolerance if self.tolerance > 0.0 else 0.0
        return used, abs(self.error)

    @property
    def key(self) -> tuple[str, str, str, int]:
        """visit, sensor, channel, plateau."""
        return (self.visit, self.sensor, self.channel.value, self.plateau)

    def altered(self, **values: object) -> Result:
        """The row with other values, as a table of its own."""
        own = {name: column[self.at : self.at + 1] for name, column in self.columns.items()}
        return Result({**own, **{name: _column(name, [value]) for name, value in values.items()}}, 0)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Result):
            return NotImplemented
        if self.columns is other.columns and self.at == other.at:
            return True
        return all(_same(getattr(self, name), getattr(other, name)) for name in NAMES)

    def __hash__(self) -> int:
        return hash(self.key)

    def __repr__(self) -> str:
        return f"Result({', '.join(f'{name}={getattr(self, name)!r}' for name in NAMES)})"


NAMES: tuple[str, ...] = tuple(Result.__annotations__)
"""The columns, in order."""
NUMBERS = frozenset(name for name, kind in Result.__annotations__.items() if kind == "float")
"""Columns of floating-point numbers; all others hold objects."""


def _reading(name: str) -> property:
    def value(row: Result) -> Any:
        return row.columns[name].item(row.at)

    return property(value)


for _name in NAMES:
    setattr(Result, _name, _reading(_name))


def _column(name: str, values: Sequence[object]) -> np.ndarray:
    """One column, shape (len(values),)."""
    if name in NUMBERS:
        return np.array(values, float)
    return np.fromiter(values, object, len(values))


def _same(one: object, other: object) -> bool:
    return one == other or (isinstance(one, float) and math.isnan(one) and isinstance(other, float) and other != other)


class Results(Sequence[Result]):
    """Rows of a table, in order. A part of it (`results[2:5]`, `where`, `by_visit`) shares the table's columns."""

    __slots__ = ("_at", "_columns")

    def __init__(self, columns: Columns, at: Sequence[int]) -> None:
        self._columns, self._at = columns, at

    @classmethod
    def table(cls, columns: Mapping[str, Sequence[object] | np.ndarray]) -> Results:
        """A table of these columns, one entry each for every row; ValueError where a column is missing or unknown."""
        if set(columns) != set(NAMES):
            raise ValueError(f"not the columns of results: {sorted(set(columns) ^ set(NAMES))}")
        made = {name: _column(name, list(columns[name])) for name in NAMES}
        return cls(made, range(len(made["visit"])))

    @classmethod
    def of(cls, rows: Iterable[Result]) -> Results:
        """These rows, of whatever tables."""
        rows = tuple(rows)
        if not rows:
            return NO_RESULTS
        shared = rows[0].columns
        if all(row.columns is shared for row in rows):
            return cls(shared, tuple(row.at for row in rows))
        return cls.table({name: [getattr(row, name) for row in rows] for name in NAMES})

    def column(self, name: str) -> np.ndarray:
        """One column, shape (rows,)."""
        at = self._at
        if isinstance(at, range):
            return self._columns[name][at.start : at.stop : at.step]
        return self._columns[name][np.array(at, np.int64)]

    def replaced(self, **columns: Sequence[object] | np.ndarray) -> Results:
        """The same rows with some columns exchanged, as a table of its own; each new column has shape (rows,)."""
        kept = {name: self.column(name) for name in NAMES if name not in columns}
        return Results(kept | {name: _column(name, list(values)) for name, values in columns.items()}, range(len(self)))

    def where(self, chosen: np.ndarray) -> Results:
        """The rows at which `chosen`, shape (rows,), is true."""
        return Results(self._columns, tuple(self._at[i] for i in np.flatnonzero(chosen).tolist()))

    def by_visit(self) -> dict[tuple[str, str], Results]:
        """The rows of each (visit, sensor), in order."""
        groups: dict[tuple[str, str], list[int]] = {}
        for at, key in zip(self._at, zip(self.column("visit"), self.column("sensor"), strict=True), strict=True):
            groups.setdefault(key, []).append(at)
        return {key: Results(self._columns, _compact(at)) for key, at in groups.items()}

    @overload
    def __getitem__(self, number: int) -> Result: ...
    @overload
    def __getitem__(self, number: slice) -> Results: ...
    def __getitem__(self, number: int | slice) -> Result | Results:
        if isinstance(number, slice):
            return Results(self._columns, self._at[number])
        return Result(self._columns, self._at[number])

    def __len__(self) -> int:
        return len(self._at)

    def __iter__(self) -> Iterator[Result]:
        columns = self._columns
        return (Result(columns, at) for at in self._at)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence):
            return NotImplemented
        return len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"Results({list(self)!r})"


def _compact(at: list[int]) -> Sequence[int]:
    """Neighbours as a range, which keeps a fleet's summaries small."""
    return range(at[0], at[-1] + 1) if at[-1] - at[0] + 1 == len(at) else tuple(at)


NO_RESULTS = Results.table({name: () for name in NAMES})

BLANK: Mapping[str, object] = {
    **dict.fromkeys(NUMBERS, math.nan),
    "method": "",
    "n": 0,
    "repeatability": "",
    "part": Part.SENSOR,
    "settling_correction": 0.0,
    "answer": "",
    "verdict": Verdict.NONE,
    "one_way": "",
    "loop": 0.0,
    "other_way": Verdict.NONE,
    "reservations": (),
    "line": None,
}
"""What stands in the columns where nothing is known."""


def blank_result(common: Mapping[str, object], channel: Channel, **given: object) -> Result:
    """A row without numbers of its own but for those given, as a table of its own.

    `common`: what is known of its plateau, from `visit` to `rule`.
    """
    values = {**BLANK, **common, "channel": channel, **given}
    return Results.table({name: [values[name]] for name in values})[0]
