"""Reliability of a model of sensor: how often it was in tolerance as found, and what that bounds.

The bound is exact (Clopper and Pearson 1934, one-sided). The interval for a target follows from R(t) = exp(−λ·t), the
simplest of the reliability models of NCSLI RP-1 and NASA-HDBK-8739.19-2 (from memory): information, not a proposal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from scipy.special import betaincinv

from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.table import Result
from asfound.measurement.calibrations import DAYS_A_YEAR
from asfound.records.load import Records
from asfound.records.models import in_force

CONFIDENCE = 0.95
"""Of the lower bound."""
LEAST_FAILURES = 3
"""Fewer say too little of λ for an interval (our choice)."""
IN_TOLERANCE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)


@dataclass(frozen=True, kw_only=True)
class Reliability:
    """What was found of one model of sensor, everywhere or at one place."""

    model: str
    place: str
    """id of the place; "" for all"""
    in_tolerance: int
    visits: int
    """a sensor's visits with judged as found values, the worst of which counts"""
    rate: float
    lower_bound: float
    """one-sided, 95 %"""
    months: float
    """mean time since the instrument's visit before, months; nan where none had one"""
    target: float | None
    """share that should be in tolerance, by the policy; None: it names none"""
    target_months: float
    """interval at which the exponential model gives the target; nan without a target or with too few found outside"""


def lower_bound(successes: int, trials: int, confidence: float = CONFIDENCE) -> float:
    """One-sided lower bound of a proportion (Clopper and Pearson), 0…1; 0 without a trial."""
    if not 0 <= successes <= trials:
        raise ValueError("there are no more successes than trials")
    if successes == 0:
        return 0.0
    return float(betaincinv(successes, trials - successes + 1, 1.0 - confidence))


def exponential_months(months: float, observed: float, target: float) -> float:
    """Interval at which R(t) = exp(−λ·t) falls to the target, from the share observed at the present interval."""
    if observed >= 1.0:
        return math.inf
    return months * math.log(target) / math.log(observed) if observed > 0.0 else 0.0


@dataclass(frozen=True, kw_only=True)
class _Found:
    """One sensor's as found at one visit."""

    model: str
    place: str
    good: bool
    months: float


def reliabilities(records: Records, results: Sequence[Result], target: float | None = None) -> tuple[Reliability, ...]:
    """By model, then by model and place, in order of their ids; `results` in order of days."""
    groups: dict[tuple[str, str], list[_Found]] = {}
    for found in _as_found(records, results):
        for place in ("", found.place):
            groups.setdefault((found.model, place), []).append(found)
    return tuple(_reliability(model, place, groups[model, place], target) for model, place in sorted(groups))


def _as_found(records: Records, results: Sequence[Result]) -> list[_Found]:
    """A sensor's visit counts where something was judged as found; what cannot be decided with its U is not judged."""
    judged: dict[tuple[str, str], list[Result]] = {}
    before: dict[tuple[str, str], date | None] = {}
    newest: dict[tuple[str, str], date] = {}
    for r in results:
        visit, sensor = r.visit, r.sensor
        if sensor not in records.sensors or r.status == "not done":
            continue
        instrument = (sensor, r.serial)
        before.setdefault((visit, sensor), newest.get(instrument))
        newest[instrument] = r.day
        if r.phase == "as_found" and r.verdict not in (Verdict.NONE, Verdict.UNDECIDED):
            judged.setdefault((visit, sensor), []).append(r)
    found = []
    for key, mine in judged.items():
        day, since = mine[0].day, before[key]
        places = records.sensors[mine[0].sensor].place
        found.append(
            _Found(
                model=mine[0].model,
                place=(in_force(places, day) or places[0]).place,
                good=all(r.verdict in IN_TOLERANCE for r in mine),
                months=(day - since).days * 12.0 / DAYS_A_YEAR if since else math.nan,
            )
        )
    return found


def _reliability(model: str, place: str, found: Sequence[_Found], target: float | None) -> Reliability:
    good, visits = sum(f.good for f in found), len(found)
    times = [f.months for f in found if not math.isnan(f.months)]
    months = sum(times) / len(times) if times else math.nan
    return Reliability(
        model=model,
        place=place,
        in_tolerance=good,
        visits=visits,
        rate=good / visits,
        lower_bound=lower_bound(good, visits),
        months=months,
        target=target,
        target_months=(
            math.nan
            if target is None or visits - good < LEAST_FAILURES
            else exponential_months(months, good / visits, target)
        ),
    )
