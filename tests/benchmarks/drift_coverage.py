"""How often the intervals of drift cover, by simulated histories with a visit-to-visit component.

    python -m tests.benchmarks.drift_coverage [histories]

Each history is drawn from what the model supposes: a reference calibrated anew every two years (its error shared by
all results until then), each result's own error, a shift of each visit, levels that an adjustment moves, and a rate,
with span drift of its own or without. Families of eight instruments share one visit-to-visit standard deviation, which
is declared or has to be estimated from them. All of it is invented; only the frequencies are looked at.
"""

from __future__ import annotations

import copy
import math
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from asfound.assessment.history.drift import Ahead, Drift, drift
from asfound.assessment.history.epochs import DAYS_A_YEAR, Epoch, VisitHistory, epochs_of
from asfound.assessment.history.outlook import HORIZON_YEARS
from asfound.assessment.history.visit_to_visit import VisitToVisit, component, pool_of
from asfound.assessment.results.table import Result, blank_result
from asfound.records.models import Channel, Policy
from asfound.uncertainty.budgets import Budgets, make_budgets
from asfound.uncertainty.sources import Catalogue, Source
from asfound.uncertainty.terms import Terms

TARGETS = (20.0, 50.0, 80.0)
TOLERANCE = 2.0
REFERENCE_U, OWN_U = 0.3, 0.06
FIRST = date(2010, 3, 16)
FAMILY = 8


@dataclass(frozen=True, kw_only=True)
class Case:
    """One way in which histories are drawn."""

    pooled: bool
    between: float
    segments: int
    drifting: bool
    span: bool

    def __str__(self) -> str:
        known = "pooled" if self.pooled else "declared"
        truth = ("drifting" if self.drifting else "steady") + (", span apart" if self.span else "")
        return f"σ_v {self.between:g} {known}, {self.segments} segment{'s' if self.segments > 1 else ''}, {truth}"


CASES = tuple(
    Case(pooled=pooled, between=between, segments=segments, drifting=drifting, span=span)
    for pooled in (False, True)
    for between in (0.1, 0.3)
    for segments in (1, 2)
    for drifting, span in ((False, False), (True, False), (True, True))
)


@dataclass
class Tally:
    """Counts of what held, by what was looked at."""

    held: Counter[str] = field(default_factory=Counter)
    looked: Counter[str] = field(default_factory=Counter)

    def note(self, what: str, held: bool) -> None:
        self.looked[what] += 1
        self.held[what] += bool(held)

    def share(self, what: str) -> float:
        return self.held[what] / self.looked[what] if self.looked[what] else math.nan

    def add(self, other: Tally) -> None:
        self.held += other.held
        self.looked += other.looked


@dataclass(frozen=True, kw_only=True)
class History:
    """One drawn history: what the program sees, and the truth."""

    epoch: Epoch
    budgets: Budgets
    rate: float
    span: float
    levels: np.ndarray
    """true errors of the open segment at the three points on the day `FIRST`"""

    def truth(self, point: int, day: date) -> float:
        years = (day - FIRST).days / DAYS_A_YEAR
        return float(self.levels[point]) + (self.rate + self.span * (TARGETS[point] - 50.0)) * years


def history(case: Case, rng: np.random.Generator) -> History:
    """A history of three to ten visits, about a year apart."""
    visits = int(rng.integers(3, 11))
    gaps = rng.choice([183, 365, 365, 365, 548], visits - 1)
    days = [FIRST + timedelta(days=int(d)) for d in np.concatenate([[0], np.cumsum(gaps)])]
    adjusted = {int(rng.integers(1, visits))} if case.segments == 2 else set()
    results: list[list[list[Result]]] = []
    count = 0
    for number, day in enumerate(days):
        phases: list[list[Result]] = [[], []]
        for phase in range(1 + (number in adjusted)):
            for at in TARGETS:
                phases[phase].append(_result(day, phase, at, count))
                count += 1
        results.append(phases)
    budgets = _budgets(results, count)
    shown = [
        VisitHistory(day=day, as_found=tuple(found), as_left=tuple(left), adjusted=number in adjusted)
        for number, (day, (found, left)) in enumerate(zip(days, results, strict=True))
    ]
    (epoch,) = epochs_of(shown, budgets)
    assert epoch is not None
    rate = 0.4 * rng.standard_normal() if case.drifting else 0.0
    span = 0.006 * rng.standard_normal() if case.span else 0.0
    levels = rng.normal(0.0, 0.3, len(epoch.levels))
    targets = np.array([r.target for r in epoch.results])
    truth = levels[epoch.level] + (rate + span * (targets - 50.0)) * epoch.years
    root = np.linalg.cholesky(epoch.covariance)
    shifts = case.between * epoch.visits @ rng.standard_normal(epoch.visits.shape[1])
    drawn = copy.copy(epoch)
    drawn.__dict__["errors"] = truth + root @ rng.standard_normal(len(targets)) + shifts
    return History(epoch=drawn, budgets=budgets, rate=rate, span=span, levels=levels[list(epoch.open_levels)])


def _result(day: date, phase: int, at: float, line: int) -> Result:
    common = {
        "visit": str(day), "revision": 1, "day": day, "sensor": "RH-1", "serial": "A", "model": "rush",
        "plateau": 1, "phase": ("as_found", "as_left")[phase], "target": at, "direction": "rising",
        "medium": "chamber", "reference": "GEN-01", "time_utc": 0, "note": "", "rule": "",
    }  # fmt: skip
    u = math.hypot(REFERENCE_U, OWN_U)
    numbers = {"temperature_c": 23.0, "reference_value": at, "error": 0.0, "u": u, "nu_eff": math.inf, "U": 2.0 * u}
    return blank_result(common, Channel.HUMIDITY, status="done", tolerance=TOLERANCE, line=line, **numbers)


def _budgets(results: list[list[list[Result]]], count: int) -> Budgets:
    """A source for each result, and one for each two years of the reference."""
    catalogue = Catalogue()
    rows, sources, weights = [], [], []
    for result in (r for visit in results for phase in visit for r in phase):
        years = (result.day - FIRST).days // 731
        calibration = Source(identity=f"reference/{years}", label="", u=REFERENCE_U, unit="%RH")
        own = Source(identity=f"own/{result.line}", label="", u=OWN_U, unit="%RH")
        # the reference's error grows a little with the humidity, so that no difference of points is free of it
        for source, weight in ((calibration, 0.8 + 0.4 * result.target / 100.0), (own, 1.0)):
            rows.append(result.line)
            sources.append(catalogue.add(source))
            weights.append(weight)
    return make_budgets(catalogue, Terms(np.array(rows), np.array(sources), np.array(weights)), count)


def family(case: Case, rng: np.random.Generator) -> Iterator[tuple[History, Drift, date]]:
    """Eight instruments, each with what the program says of it, and its due day."""
    members = [history(case, rng) for _ in range(FAMILY)]
    policy = Policy.model_validate({"rule": "guard_band", "visit_to_visit": f"{case.between} %RH"})
    known: VisitToVisit
    if case.pooled:
        known = component(pool_of("rush", Channel.HUMIDITY, [m.epoch for m in members]), Channel.HUMIDITY, policy)
    else:
        known = component(None, Channel.HUMIDITY, policy)
    for member in members:
        last = member.epoch.days[-1]
        due = last + timedelta(days=365)
        ahead = Ahead(today=last, due=due, months=12, tolerance_at=lambda _: TOLERANCE)
        yield member, drift((), member.epoch, member.budgets, Channel.HUMIDITY, known, ahead), due


def look(member: History, found: Drift, due: date, case: Case, rng: np.random.Generator, tally: Tally) -> None:
    """Notes what held of one history."""
    tally.note("line rejected", found.fit is None)
    if not case.drifting:
        tally.note("steady called drifting", found.state == "drifting")
        tally.note("steady with a significant rate", found.fit is not None and abs(found.rate) > found.U)
    if found.fit is None:
        return
    tally.note("pooled", found.fit.information < math.inf)
    tally.note("span apart", found.span)
    middle = member.rate + member.span * (found.fit.centre - 50.0)
    tally.note("rate at the middle", abs(found.fit.rate.rate - middle) <= found.fit.rate.U)
    for i, outlook in enumerate(found.outlooks):
        rate = member.rate + member.span * (outlook.target - 50.0)
        tally.note("rate at each point", abs(outlook.rate - rate) <= outlook.U_rate)
        shown = (
            member.truth(i, due)
            + math.hypot(REFERENCE_U * (0.8 + 0.004 * outlook.target), OWN_U, case.between) * rng.standard_normal()
        )
        tally.note("prediction when due", abs(outlook.error_due - shown) <= outlook.U_due)
        assert outlook.leaves is not None
        left = leaving(member, i, found.fit.epoch.days[-1], outlook.limit)
        never = date.max
        earliest, latest = outlook.leaves.earliest or never, outlook.leaves.latest or never
        tally.note("leaving day", earliest <= left <= latest or left == earliest == never)


def leaving(member: History, point: int, start: date, limit: float) -> date:
    """The day on which the true error leaves the limit; `date.max` where it does not within the horizon."""
    horizon = round(HORIZON_YEARS * DAYS_A_YEAR)
    if abs(member.truth(point, start)) > limit:
        return start
    at, rate = member.truth(point, start), member.rate + member.span * (TARGETS[point] - 50.0)
    if rate == 0.0:
        return date.max
    days = math.ceil((math.copysign(limit, rate) - at) / rate * DAYS_A_YEAR)
    return start + timedelta(days=days) if days <= horizon else date.max


def simulate(histories: int, seed: int = 2) -> dict[Case, Tally]:
    """Tallies by case, of so many histories in all."""
    tallies = {}
    families = max(1, round(histories / FAMILY / len(CASES)))
    for number, case in enumerate(CASES):
        tally = tallies[case] = Tally()
        rng = np.random.default_rng([seed, number])
        for _ in range(families):
            for member, found, due in family(case, rng):
                look(member, found, due, case, rng, tally)
    return tallies


def main(arguments: list[str]) -> None:
    tallies = simulate(int(arguments[0]) if arguments else 10_000)
    whole = Tally()
    for tally in tallies.values():
        whole.add(tally)
    names = list(whole.looked)
    print(f"{whole.looked['line rejected']:,} histories")
    for case, tally in [*tallies.items(), ("all", whole)]:
        print(f"{case!s:50s} " + ", ".join(f"{n} {tally.share(n):.1%}" for n in names if tally.looked[n]))


if __name__ == "__main__":
    main(sys.argv[1:])
