"""Checks of references between their calibrations: a chart with limits, and what brackets a day."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.table import Result
from asfound.records.load import Records
from asfound.records.models import Channel, Reference
from asfound.rounding import expanded, fixed, value_with
from asfound.statistics.control_charts import FIRM_VALUES, LEAST_VALUES, Individuals, individuals

GOOD = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
FAILED = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


@dataclass(frozen=True, kw_only=True)
class ReferenceCheck:
    """One visit's check of one reference against another one, in humidity."""

    reference: str
    visit: str
    day: date
    results: tuple[Result, ...]

    @property
    def worst(self) -> Result:
        """The result that uses most of its limit."""
        return max(self.results, key=lambda r: r.badness)

    @property
    def failed(self) -> bool:
        """Whether an error lies beyond the limit."""
        return any(r.verdict in FAILED for r in self.results)

    @property
    def good(self) -> bool:
        """Whether every error lies within the limit, and there is one; on the side of a loop that was not read, too."""
        return all(r.verdict in GOOD and r.other_way in GOOD for r in self.results)


@dataclass(frozen=True, kw_only=True, eq=False)
class CheckChart:
    """All checks of one reference: one entry a result, in order of time; humidity, %RH."""

    reference: str
    days: tuple[date, ...]
    targets: tuple[float, ...]
    errors: tuple[float, ...]
    U: tuple[float, ...]
    limit: float | None
    """largest |error| of a check; None: none is on record"""
    visit_days: tuple[date, ...]
    """one entry a check: where the values of `individuals` stand"""
    individuals: Individuals | None
    """of the mean error of each check; None with fewer than LEAST_VALUES of them"""
    sentence: str


def checks_of(results: Sequence[Result]) -> dict[str, list[ReferenceCheck]]:
    """The checks of each reference, in order of time; what has no settled reading is none."""
    found: dict[tuple[str, str], list[Result]] = {}
    for r in results:
        if r.phase == "check" and r.channel is Channel.HUMIDITY and r.status == "done":
            found.setdefault((r.sensor, r.visit), []).append(r)
    checks: dict[str, list[ReferenceCheck]] = {}
    for (reference, visit), read in sorted(found.items(), key=lambda item: (item[1][0].day, item[1][0].time_utc)):
        check = ReferenceCheck(reference=reference, visit=visit, day=read[0].day, results=tuple(read))
        checks.setdefault(reference, []).append(check)
    return checks


def check_charts(records: Records, results: Sequence[Result]) -> Mapping[str, CheckChart]:
    """A chart for each reference that was checked."""
    return {name: _chart(records.references[name], checks) for name, checks in sorted(checks_of(results).items())}


def _chart(reference: Reference, checks: Sequence[ReferenceCheck]) -> CheckChart:
    means = np.array([np.mean([r.error for r in check.results]) for check in checks])
    own = individuals(means) if len(checks) >= LEAST_VALUES else None
    results = [r for check in checks for r in check.results]
    return CheckChart(
        reference=reference.id,
        days=tuple(r.day for r in results),
        targets=tuple(r.target for r in results),
        errors=tuple(r.error for r in results),
        U=tuple(r.U for r in results),
        limit=reference.check_limit.humidity if reference.check_limit else None,
        visit_days=tuple(check.day for check in checks),
        individuals=own,
        sentence=_sentence(reference, checks, own),
    )


def _sentence(reference: Reference, checks: Sequence[ReferenceCheck], own: Individuals | None) -> str:
    """How many checks, which failed, what the newest found, and what their own limits say."""
    count = f"{len(checks)} check{'s' if len(checks) != 1 else ''} since {checks[0].day}"
    failed = [str(check.day) for check in checks if check.failed]
    if reference.check_limit is None:
        verdict = "no limit for them is on record"
    elif failed:
        verdict = f"beyond the limit of {reference.check_limit.humidity:g} %RH on {', '.join(failed)}"
    else:
        verdict = f"none beyond the limit of {reference.check_limit.humidity:g} %RH"
    said = [f"{count}, {verdict}", f"the newest, of {checks[-1].day}, found at most {size_of(checks[-1].worst)}"]
    if own is not None:
        odd = [str(checks[number].day) for number in own.signals]
        provisional = " (provisional)" if len(checks) < FIRM_VALUES else ""
        limits = (
            f"their own limits{provisional} {fixed(own.lower, 2, sign=True)} to {fixed(own.upper, 2, sign=True)} %RH"
        )
        said.append(f"the mean error left {limits} on {', '.join(odd)}" if odd else f"every mean lies within {limits}")
    return "; ".join(said)


def size_of(result: Result) -> str:
    """An error with its U and where it was found."""
    return f"{value_with(result.error, result.U, sign=True)} ± {expanded(result.U)} %RH at {result.target:g} %RH"


def good_days(records: Records, results: Sequence[Result], day: date) -> Mapping[str, tuple[date, ...]]:
    """By reference, the days up to a day on which it was calibrated (in any quantity) or checked as good, in order."""
    checks = checks_of(results)
    found = {}
    for name, reference in records.references.items():
        days = {c.date for quantity in reference.calibrated.values() for c in quantity.calibrations if c.date <= day}
        found[name] = tuple(sorted(days | {check.day for check in checks.get(name, ()) if check.good}))
    return found


def bracket(good: Sequence[date], day: date) -> tuple[date | None, date | None]:
    """The last good day on or before a day, and the first after it; None: not on record, or not yet."""
    after = bisect_right(good, day)
    return (good[after - 1] if after else None), (good[after] if after < len(good) else None)
