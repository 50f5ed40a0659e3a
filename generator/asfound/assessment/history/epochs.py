"""The history of one instrument and channel: its visits, cut into epochs of one element and segments of one level.

As found without adjustment is as left, counted once. An adjustment or another position opens a segment: its as left
belongs to the new one, what was found before to the old one. A change of element begins an epoch, with a rate of its
own. Within a segment results belong to one level by point, direction and temperature.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import NamedTuple

import numpy as np

from asfound.assessment.history.lasting import Lasting, Parts
from asfound.assessment.results.table import Result
from asfound.measurement.calibrations import DAYS_A_YEAR
from asfound.uncertainty.budgets import Budgets

SAME_TEMPERATURE_K = 5.0
"""Plateaus whose temperatures differ by more than this are different points of the history (our choice)."""


@dataclass(frozen=True, kw_only=True)
class VisitHistory:
    """One visit's results of one channel of one instrument, and what was changed there."""

    day: date
    as_found: tuple[Result, ...]
    as_left: tuple[Result, ...]
    adjusted: bool
    element: bool = False
    """an element change happened there"""
    position: str = ""
    """where the instrument served: another position has another loop"""

    @property
    def left(self) -> tuple[Result, ...]:
        """How the visit left the instrument: as left; without adjustment as found."""
        return self.as_left or (() if self.adjusted else self.as_found)


@dataclass(frozen=True, kw_only=True)
class Level:
    """One point of one segment: an error that only the common rate moves."""

    segment: int
    first: Result
    """decides what else is the same point"""

    @cached_property
    def direction(self) -> str:
        """The way in which its readings were approached."""
        return self.first.direction

    @cached_property
    def condition(self) -> Condition:
        """What its readings were taken at."""
        return condition_of(self.first)

    def takes(self, result: Result, *, any_direction: bool = False) -> bool:
        """Whether a result of its segment belongs here."""
        directed = any_direction or result.direction == self.direction
        return directed and same_condition(self.condition, condition_of(result))


@dataclass(frozen=True, eq=False, kw_only=True)
class Epoch:
    """The results of one element in order of days: n results, in q visits, on levels that the segments open."""

    results: tuple[Result, ...]
    visit: np.ndarray
    """number of each result's visit, shape (n,)"""
    level: np.ndarray
    """number of each result's level, shape (n,)"""
    levels: tuple[Level, ...]
    open_segment: int
    """number of the newest segment, which may hold no result yet"""
    lasting: Lasting
    """what stands behind the results of the whole history"""

    @property
    def opened(self) -> date:
        """Day of the first result."""
        return self.results[0].day

    @property
    def segments(self) -> int:
        """How many segments results were read in."""
        return len({level.segment for level in self.levels})

    @cached_property
    def years(self) -> np.ndarray:
        """Years since the epoch opened, shape (n,)."""
        years = {day: self.years_at(day) for day in self.days}
        return np.array([years[result.day] for result in self.results])

    def years_at(self, day: date) -> float:
        """Years from the opening to a day."""
        return (day - self.opened).days / DAYS_A_YEAR

    @cached_property
    def errors(self) -> np.ndarray:
        """Errors in the channel's unit, shape (n,)."""
        return np.array([result.error for result in self.results])

    @cached_property
    def reference_values(self) -> np.ndarray:
        """Mean reference value of each level, shape (levels,)."""
        values = np.array([result.reference_value for result in self.results])
        return np.bincount(self.level, values) / np.bincount(self.level)

    @cached_property
    def days(self) -> tuple[date, ...]:
        """The days on which results were read."""
        return tuple(sorted({result.day for result in self.results}))

    @cached_property
    def open_levels(self) -> tuple[int, ...]:
        """The levels of the open segment by point, then as they were first read."""
        numbers = [i for i, level in enumerate(self.levels) if level.segment == self.open_segment]
        return tuple(sorted(numbers, key=lambda i: self.levels[i].first.point))

    def open_segment_alone(self) -> Epoch | None:
        """The open segment as if nothing had been before; None where nothing was read of it, or nothing else."""
        if len(self.open_levels) in (0, len(self.levels)):
            return None
        kept = np.isin(self.level, self.open_levels)
        numbers, level = np.unique(self.level[kept], return_inverse=True)
        return replace(
            self,
            results=tuple(result for result, keep in zip(self.results, kept, strict=True) if keep),
            visit=self.visit[kept],
            level=level,
            levels=tuple(self.levels[number] for number in numbers),
        )

    def newest(self, level: int) -> Result:
        """The newest result of a level."""
        return self.results[int(np.flatnonzero(self.level == level)[-1])]

    @cached_property
    def days_seen(self) -> np.ndarray:
        """On how many days each level was seen, shape (levels,)."""
        seen = {(number, result.day) for number, result in zip(self.level.tolist(), self.results, strict=True)}
        return np.bincount([number for number, _ in seen], minlength=len(self.levels))

    @property
    def recurs(self) -> bool:
        """Whether a level was seen on two days: without that, levels alone explain all and no rate can be told."""
        return bool((self.days_seen > 1).any())

    @cached_property
    def parts(self) -> Parts:
        """Covariance of the errors by how long what makes them lasts."""
        return self.lasting.parts(self.results, self.visit)


@dataclass(frozen=True, kw_only=True)
class _Entry:
    """One result with its visit's number, its element and its segment, each counted from the first of the history."""

    visit: int
    element: int
    segment: int
    result: Result


def lasting_of(history: Sequence[VisitHistory], budgets: Budgets) -> Lasting:
    """What stands behind all results of a history."""
    every = [(r, number) for number, visit in enumerate(history) for r in (*visit.as_found, *visit.as_left)]
    return Lasting(budgets, [r for r, _ in every], [number for _, number in every])


def epochs_of(history: Sequence[VisitHistory], lasting: Lasting) -> tuple[Epoch | None, ...]:
    """One epoch for each element of a history (visits in order of days), the present one last.

    None stands where nothing was read of an element.
    """
    entries, element, segment = _entries(history)
    openings = {e.element: e.segment for e in entries} | {element: segment}
    return tuple(
        _epoch([e for e in entries if e.element == number], openings[number], lasting)
        if any(e.element == number for e in entries)
        else None
        for number in range(element + 1)
    )


def _entries(history: Sequence[VisitHistory]) -> tuple[list[_Entry], int, int]:
    """Results that count, and the numbers of the present element and of the open segment."""
    entries: list[_Entry] = []
    element = segment = 0
    position = history[0].position if history else ""

    def take(visit: int, results: Iterable[Result]) -> None:
        entries.extend(_Entry(visit=visit, element=element, segment=segment, result=r) for r in results)

    for number, visit in enumerate(history):
        if visit.position != position:
            segment, position = segment + 1, visit.position
        if visit.adjusted:
            take(number, visit.as_found)
            segment, element = segment + 1, element + visit.element
            take(number, visit.as_left)
        else:
            take(number, visit.as_found or visit.as_left)
    return entries, element, segment


def _epoch(entries: Sequence[_Entry], open_segment: int, lasting: Lasting) -> Epoch:
    levels: list[Level] = []
    of_segment: dict[int, list[int]] = {}
    which = []
    for e in entries:
        numbers = of_segment.setdefault(e.segment, [])
        near = next((i for i in numbers if levels[i].takes(e.result)), None)
        if near is None and e.result.status == "stated":
            # Another laboratory's order of points says nothing of the direction: any of the target will do.
            near = next((i for i in numbers if levels[i].takes(e.result, any_direction=True)), None)
        if near is None:
            near = len(levels)
            numbers.append(near)
            levels.append(Level(segment=e.segment, first=e.result))
        which.append(near)
    return Epoch(
        results=tuple(e.result for e in entries),
        visit=np.array([e.visit for e in entries]),
        level=np.array(which),
        levels=tuple(levels),
        open_segment=open_segment,
        lasting=lasting,
    )


class Condition(NamedTuple):
    """At what a result was read."""

    point: float
    reach: float
    temperature_c: float


def condition_of(result: Result) -> Condition:
    """The condition of a result."""
    return Condition(result.point, result.reach, result.temperature_c)


def same_condition(one: Condition, other: Condition) -> bool:
    """Same point and temperature; another laboratory's result has no temperature on record and is let pass."""
    apart = abs(one.temperature_c - other.temperature_c) > SAME_TEMPERATURE_K
    return abs(one.point - other.point) < min(one.reach, other.reach) and not apart
