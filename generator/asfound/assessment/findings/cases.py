"""Findings: each out-of-tolerance as found opens a case; only its file in the records closes it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from asfound.assessment.due import points_met
from asfound.assessment.findings.exposure import Exposure
from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.records.models import Finding


@dataclass(frozen=True, kw_only=True)
class Case:
    """One out-of-tolerance as found of one sensor at one visit."""

    sensor: str
    visit: str
    day: date
    worst: Result
    """the failing result with the largest |error| against its tolerance"""
    found: tuple[Result, ...]
    """all judged as found of its channel at the visit"""
    last_good: date | None
    """day on which the instrument was last left in tolerance at every set point; None: not on record"""
    last_good_visit: str | None
    record: Finding | None
    exposure: Exposure | None = None
    """None where only the visit itself is looked at"""

    @property
    def state(self) -> str:
        """Nobody has it yet, open, or closed."""
        if self.record is None:
            return "nobody has it yet"
        return "closed" if self.record.closed else "open"

    @property
    def direction(self) -> str:
        """What the error meant for the air: showing high means that it was drier (or colder) than shown."""
        return direction_of(self.worst)


def direction_of(result: Result) -> str:
    """What one error meant for the air."""
    one = result.channel.declaration
    air = one.air_if_high if result.error > 0 else one.air_if_low
    return f"the air was {air} than shown"


def find_cases(by_sensor: Mapping[str, Sequence[SensorVisitSummary]], records: Sequence[Finding]) -> tuple[Case, ...]:
    """All cases, newest last; `by_sensor`: each sensor's visits that stand, in order of days."""
    filed = {(finding.visit, finding.sensor): finding for finding in records}
    cases = []
    for visits in by_sensor.values():
        for number, visit in enumerate(visits):
            judged = [r for r in visit.results if r.phase == "as_found" and r.has_verdict]
            failing = [r for r in judged if r.verdict is Verdict.FAIL]
            if not failing:
                continue
            worst = max(failing, key=lambda r: r.badness)
            good = _last_good(visits[:number], worst)
            cases.append(
                Case(
                    sensor=worst.sensor,
                    visit=worst.visit,
                    day=worst.day,
                    worst=worst,
                    found=tuple(r for r in judged if r.channel is worst.channel),
                    last_good=good.sensor_visit.visit.day if good else None,
                    last_good_visit=good.sensor_visit.visit.id if good else None,
                    record=filed.get((worst.visit, worst.sensor)),
                )
            )
    return tuple(sorted(cases, key=lambda case: (case.day, case.visit, case.sensor)))


def _last_good(earlier: Sequence[SensorVisitSummary], worst: Result) -> SensorVisitSummary | None:
    """The newest earlier visit that left the same instrument and channel without a fail, at every set point.

    What was found before an adjustment does not say how the instrument was left, and a pass at one point says nothing
    of the others.
    """
    for visit in reversed(earlier):
        same = [r for r in visit.results if r.serial == worst.serial and r.channel is worst.channel and r.has_verdict]
        left = [r for r in same if r.phase == "as_left"]
        if not visit.adjusted:
            left += [r for r in same if r.phase == "as_found"]
        whole = points_met(left, visit.points) == len(visit.points)
        if left and whole and all(r.verdict in (Verdict.PASS, Verdict.CONDITIONAL_PASS) for r in left):
            return visit
    return None
