"""What a change means: both sides assessed and compared, result by result and sensor by sensor."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from asfound.assessment.findings.cases import Case
from asfound.assessment.results.table import Result
from asfound.assessment.standing import State
from asfound.faults import Fault
from asfound.records.models import Finding
from asfound.records.visits.visit_files import NAME
from asfound.review.assessed_side import LEAST_SHARE, Key, Side, Standing
from asfound.review.changes import Change

LEAST_DRAWN = 1e-4
"""of U, for Monte Carlo answers: both sides draw the same numbers, and what is less is their scatter (our choice)"""
_NUMBERS = ("reference_value", "error", "error_sensor", "error_loop", "settling_correction", "u", "U", "tolerance")
_BARE_NUMBERS = ("k", "p_outside")
_WORDS = ("verdict", "rule", "status", "part", "serial", "revision")


@dataclass(frozen=True, kw_only=True)
class Pair:
    """One result before and after; None where there is none."""

    before: Result | None
    after: Result | None

    @property
    def either(self) -> Result:
        """The result after, else the one before."""
        found = self.after if self.after is not None else self.before
        assert found is not None
        return found

    @property
    def verdict_changed(self) -> bool:
        """Whether something else is said about conformity."""
        return self.before is None or self.after is None or self.before.verdict is not self.after.verdict

    @property
    def size(self) -> float:
        """By how many U the error moved, or its U changed; without end where there is only one side."""
        if self.before is None or self.after is None:
            return math.inf
        U = max(self.before.U, self.after.U)
        moved = max(abs(self.after.error - self.before.error), abs(self.after.U - self.before.U))
        return moved / U if U > 0 and math.isfinite(moved) else math.inf


@dataclass(frozen=True, kw_only=True)
class StandingChange:
    """Where a sensor stood and stands; None where it is new or gone."""

    sensor: str
    before: Standing | None
    after: Standing | None

    @property
    def state(self) -> bool:
        """Whether its state is another."""
        said = [standing.state if standing else State.NEVER for standing in (self.before, self.after)]
        return said[0] is not said[1]

    @property
    def due(self) -> bool:
        """Whether its due day is another."""
        before, after = (standing.due if standing else None for standing in (self.before, self.after))
        if before is None or after is None:
            return bool((before or after) and (before or after).day)  # type: ignore[union-attr]
        return (before.day, before.state) != (after.day, after.state)


@dataclass(frozen=True, kw_only=True)
class Reserved:
    """A reservation that is new, and the results that carry it (none: the record itself)."""

    fault: Fault
    results: tuple[Result, ...]


@dataclass(frozen=True, kw_only=True)
class Meaning:
    """What two assessments say differently."""

    new: tuple[Result, ...]
    """of visits that the base does not have"""
    revised: tuple[Pair, ...]
    """of visits whose files the change touches"""
    moved: tuple[Pair, ...]
    """of visits that it leaves as they are"""
    standings: tuple[StandingChange, ...]
    opened: tuple[Case, ...]
    """out-of-tolerance results that nobody has decided about yet"""
    dropped: tuple[Case, ...]
    """cases whose results are no longer out of tolerance"""
    reservations: tuple[Reserved, ...]


@dataclass(frozen=True, kw_only=True)
class FindingChange:
    """A finding's file before and after."""

    sensor: str
    visit: str
    before: Finding | None
    after: Finding | None


def meaning_of(change: Change, before: Side | None, after: Side) -> Meaning:
    """What the head says that the base does not, and the other way round."""
    visits = {name[2] for name in map(NAME.fullmatch, change.paths) if name}
    known = {name[2] for name in map(NAME.fullmatch, change.before) if name}
    touched, left = visits & known, known - visits
    was: Mapping[Key, Result] = before.results if before else {}
    now = after.results
    pairs = [Pair(before=was.get(key), after=now.get(key)) for key in dict.fromkeys([*now, *was])]
    differing = [pair for pair in pairs if differs(pair.before, pair.after)]
    standings = [
        StandingChange(
            sensor=name,
            before=before.standings.get(name) if before else None,
            after=after.standings.get(name),
        )
        for name in sorted({*after.standings, *(before.standings if before else ())})
    ]
    cases = before.cases if before else {}
    return Meaning(
        new=tuple(r for key, r in now.items() if key[0] not in known),
        revised=tuple(pair for pair in differing if pair.either.visit in touched),
        moved=tuple(pair for pair in differing if pair.either.visit in left),
        standings=tuple(one for one in standings if one.state or one.due),
        opened=tuple(case for key, case in after.cases.items() if key not in cases),
        dropped=tuple(case for key, case in cases.items() if key not in after.cases),
        reservations=tuple(_new_reservations(before, after)),
    )


def differs(before: Result | None, after: Result | None, names: Sequence[str] = ()) -> bool:
    """Whether a number differs by more than a millionth of its U, or a word; `names`: only these numbers.

    Monte Carlo answers differ by more than a ten-thousandth.
    """
    if before is None or after is None:
        return before is not after
    U = max(U for U in (before.U, after.U, 0.0) if not math.isnan(U))
    least = LEAST_DRAWN if before.answer == after.answer == "monte carlo" else LEAST_SHARE
    in_unit = any(_apart(getattr(before, name), getattr(after, name), least * U) for name in names or _NUMBERS)
    if in_unit or names:
        return in_unit
    return any(getattr(before, name) != getattr(after, name) for name in _WORDS) or any(
        _apart(getattr(before, name), getattr(after, name), least) for name in _BARE_NUMBERS
    )


def _apart(one: float, other: float, least: float) -> bool:
    if math.isnan(one) or math.isnan(other):
        return math.isnan(one) is not math.isnan(other)
    return one != other and not abs(one - other) <= least


def _new_reservations(before: Side | None, after: Side) -> Iterator[Reserved]:
    """Each reservation that a result did not carry before, once; then those that records bring along."""
    carried: dict[Fault, list[Result]] = {}
    attached: set[Fault] = set()
    for key, result in after.results.items():
        old = before.results.get(key) if before else None
        known = {fault.rule.name for fault in old.reservations} if old else set()
        attached.update(result.reservations)
        for fault in result.reservations:
            if fault.rule.name not in known:
                carried.setdefault(fault, []).append(result)
    for fault, results in carried.items():
        yield Reserved(fault=fault, results=tuple(results))
    old_ones = {(f.rule.name, f.place.path, f.message) for f in (before.faults if before else ())}
    for fault in after.faults:
        of_records = fault.rule.severity == "reservation" and fault not in attached
        if of_records and (fault.rule.name, fault.place.path, fault.message) not in old_ones:
            yield Reserved(fault=fault, results=())
