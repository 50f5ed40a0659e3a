"""Findings: each out-of-tolerance as found opens a case; only its file in the records closes it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from generator.assessment.conformity import Verdict
from generator.assessment.result import Result
from generator.records.models import Channel, Finding


@dataclass(frozen=True, kw_only=True)
class Case:
    """One out-of-tolerance as found of one sensor at one visit."""

    sensor: str
    visit: str
    day: date
    worst: Result
    """the failing result with the largest |error| against its tolerance"""
    last_good: date | None
    """day on which the instrument was last left in tolerance; None: not on record"""
    record: Finding | None

    @property
    def state(self) -> str:
        """nobody has it yet, open, or closed."""
        if self.record is None:
            return "nobody has it yet"
        return "closed" if self.record.closed else "open"

    @property
    def direction(self) -> str:
        """What the error meant for the air: showing high means that it was drier (or colder) than shown."""
        high = self.worst.error > 0
        if self.worst.channel is Channel.TEMPERATURE:
            return "the air was colder than shown" if high else "the air was warmer than shown"
        return "the air was drier than shown" if high else "the air was damper than shown"


def find_cases(by_sensor: Mapping[str, Sequence[Sequence[Result]]], records: Sequence[Finding]) -> tuple[Case, ...]:
    """All cases, newest last; `by_sensor`: each sensor's results, a sequence a visit, in order of days."""
    filed = {(finding.visit, finding.sensor): finding for finding in records}
    cases = []
    for visits in by_sensor.values():
        for number, results in enumerate(visits):
            failing = [r for r in results if r.phase == "as_found" and r.verdict is Verdict.FAIL]
            if not failing:
                continue
            worst = max(failing, key=lambda r: abs(r.error) / r.tolerance)
            cases.append(
                Case(
                    sensor=worst.sensor,
                    visit=worst.visit,
                    day=worst.day,
                    worst=worst,
                    last_good=_last_good(visits[:number], worst),
                    record=filed.get((worst.visit, worst.sensor)),
                )
            )
    return tuple(sorted(cases, key=lambda case: (case.day, case.visit, case.sensor)))


def _last_good(earlier: Sequence[Sequence[Result]], worst: Result) -> date | None:
    """The newest earlier visit that left the same instrument and channel without a fail."""
    for results in reversed(earlier):
        same = [r for r in results if r.serial == worst.serial and r.channel is worst.channel and r.has_verdict]
        left = [r for r in same if r.phase == "as_left"] or [r for r in same if r.phase == "as_found"]
        if left and all(r.verdict in (Verdict.PASS, Verdict.CONDITIONAL_PASS) for r in left):
            return left[0].day
    return None
