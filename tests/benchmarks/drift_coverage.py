"""How often the lines of drift cover, in worlds that keep more or less of what was declared constant.

    python -m tests.benchmarks.drift_coverage [lines]

World A draws every declared source anew as its scope says; in world B loops and gradients last, and only chance, whole
visits and recalibrations are drawn anew (`drift_worlds.py`). In either, declarations may be wide or narrow, families
small, histories short. A line a variant is printed, and what misses a bar is named: then the program ends with 1. Bars
hold where there are data enough (three instruments, four visits); the other variants say what is left where there are
not. Another laboratory's results come without sources; half of their variance lasts.
"""

from __future__ import annotations

import math
import sys
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from asfound.assessment.history.drift import Ahead, Drift, drift
from asfound.assessment.history.epochs import DAYS_A_YEAR
from asfound.assessment.history.outlook import HORIZON_YEARS, Leaves
from asfound.assessment.history.scales import Scales, scales_of
from asfound.records.models import Channel
from asfound.uncertainty.sources import coverage_factor
from tests.benchmarks.drift_worlds import SHIFT, STATED_POINTS, TOLERANCE, Member, Moves, Shape, World, family

REDRAWN = 10
"""How often a family's days are used again, with other errors."""


@dataclass(frozen=True, kw_only=True)
class Bars:
    """What a variant has to keep to: from, to; shares in percent."""

    coverage: tuple[float, float] = (94.5, 97.5)
    z: tuple[float, float] | None = (0.92, 1.06)
    chi: tuple[float, float] | None = (0.95, 1.02)
    significant: tuple[float, float] | None = (2.5, 6.5)
    rejected: tuple[float, float] | None = (0.0, 1.0)
    measured: tuple[float, float] | None = (94.5, 98.0)


NARROW_BARS = Bars(coverage=(92.0, 100.0), z=None, chi=None, significant=None, rejected=None, measured=None)
STEP_FOUND = 95.0


@dataclass(frozen=True, kw_only=True)
class Variant:
    """One way in which histories come about."""

    world: World
    shape: Shape = field(default_factory=Shape)
    moves: Moves = field(default_factory=Moves)
    bars: Bars | None = None
    said: str = ""

    def __str__(self) -> str:
        return ", ".join(filter(None, (self.world.name, self.said)))


A, B = World(name="A"), World(name="B", constant=True)
WIDE, WIDE_B = World(name="A, limits 2 x wide", limits=0.5), World(name="B, limits 2 x wide", constant=True, limits=0.5)
NARROW = World(name="A, limits 1.5 x narrow", limits=1.5)
ALL_WIDE, ALL_NARROW = World(name="A, all 2 x wide", size=0.5), World(name="A, all 1.5 x narrow", size=1.5)
LABORATORY = World(name="B, calibrations 70 % constant", constant=True, laboratory=0.7)
STATED = World(name="another laboratory's")
FULL = Bars()

AS_DECLARED, CONSTANT = Variant(world=A, bars=FULL), Variant(world=B, bars=FULL)
TOO_WIDE, TOO_NARROW = Variant(world=WIDE, bars=FULL), Variant(world=NARROW, bars=NARROW_BARS)
VARIANTS = (
    AS_DECLARED,
    CONSTANT,
    TOO_WIDE,
    Variant(world=WIDE_B, bars=FULL),
    TOO_NARROW,
    Variant(world=ALL_WIDE, bars=FULL),
    Variant(world=ALL_NARROW, bars=NARROW_BARS),
    Variant(world=LABORATORY),
    *(
        Variant(world=world, shape=Shape(instruments=3), bars=bars, said="3 instruments")
        for world, bars in ((A, FULL), (B, FULL), (NARROW, NARROW_BARS))
    ),
    *(Variant(world=world, shape=Shape(instruments=1), said="single") for world in (A, B, NARROW)),
    *(Variant(world=world, shape=Shape(fewest=3, most=3), said="3 visits") for world in (A, B, NARROW)),
    *(Variant(world=world, shape=Shape(adjusted=True), bars=FULL, said="adjusted once") for world in (A, B)),
    *(Variant(world=world, moves=Moves(span=True), bars=FULL, said="span drifts") for world in (A, B)),
    *(Variant(world=world, moves=Moves(step=True), bars=FULL, said="a step of 2 %RH") for world in (A, B)),
    *(
        Variant(world=STATED, shape=Shape(stated=True, instruments=n), moves=Moves(rates=rates), said=f"{said}, {n}")
        for rates, said in (("none", "steady"), ("all", "drifting"))
        for n in (8, 1)
    ),
)  # fmt: skip


@dataclass
class Tally:
    """Sums of what was seen, and how often it was looked at."""

    sums: defaultdict[str, float] = field(default_factory=lambda: defaultdict(float))
    looked: defaultdict[str, float] = field(default_factory=lambda: defaultdict(float))

    def note(self, what: str, value: float, weight: float = 1.0) -> None:
        self.sums[what] += float(value)
        self.looked[what] += weight

    def mean(self, what: str) -> float:
        """What was seen a look: the share of what held, the mean of a size; nan where nobody looked."""
        return self.sums[what] / self.looked[what] if self.looked[what] else math.nan


def look(member: Member, scales: Scales, tally: Tally) -> Drift:
    """Notes what the program says of one history, and whether it is so."""
    ahead = Ahead(today=member.last, due=member.due, months=12, tolerance_at=lambda _: TOLERANCE)
    found = drift(member.newest, member.epoch, member.lasting, Channel.HUMIDITY, scales, ahead)
    tally.note("rejected", found.fit is None)
    tally.note("chi", found.chi_squared, found.freedom)
    for change in found.changes:
        moved = member.rate_at(change.target) * (change.now.day - change.before.day).days / DAYS_A_YEAR
        tally.note("change", abs(change.change - moved) <= change.U)
    if member.steady:
        tally.note("significant", found.fit is not None and abs(found.rate) > found.U)
        tally.note("drifting", found.state == "drifting")
        tally.note("watch", found.state == "watch")
    if found.fit is None:
        return found
    tally.note("alone", found.fit.alone)
    for at in sorted({outlook.target for outlook in found.outlooks}):
        said, true = found.fit.rate_at(at), member.rate_at(at)
        covered = abs(said.rate - true) <= said.U
        tally.note("rate", covered)
        tally.note(f"rate {at:g}", covered)
        tally.note("z", ((said.rate - true) / said.u) ** 2)
    then = found.fit.expected(member.due)
    u, nu = then.true()
    for i, (outlook, U) in enumerate(zip(found.outlooks, coverage_factor(nu) * u, strict=True)):
        point = (outlook.target, outlook.direction or STATED_POINTS[0][1])
        predicted = abs(outlook.error_due - member.shown_due[point]) <= outlook.U_due
        tally.note("measured", predicted)
        if member.calibrated_anew:
            tally.note("measured anew", predicted)
        true_then = member.truth(point, member.due) + member.shift_due
        tally.note("true", abs(then.errors[i] - true_then) <= U)
        assert outlook.leaves is not None
        left = leaving(member, point, outlook.limit)
        tally.note("leaves", _within(outlook.leaves, left))
    return found


def _within(leaves: Leaves, left: date) -> bool:
    earliest, latest = leaves.earliest or date.max, leaves.latest or date.max
    return earliest <= left <= latest


def leaving(member: Member, point: tuple[float, str], limit: float) -> date:
    """The day on which the true error leaves the limit; `date.max` where it does not within the horizon."""
    at, rate = member.truth(point, member.last), member.rate_at(point[0])
    if abs(at) > limit:
        return member.last
    if rate == 0.0:
        return date.max
    days = math.ceil((math.copysign(limit, rate) - at) / rate * DAYS_A_YEAR)
    return member.last + timedelta(days=days) if days <= round(HORIZON_YEARS * DAYS_A_YEAR) else date.max


def simulate(lines: int, seed: int = 2, variants: Sequence[Variant] = VARIANTS) -> dict[Variant, Tally]:
    """Tallies by variant, each of so many lines; the same lines whatever other variants are asked for."""
    tallies = {}
    for variant in variants:
        tally = tallies[variant] = Tally()
        rng = np.random.default_rng([seed, VARIANTS.index(variant)])
        # Of a family with a step only the instrument that stepped is looked at.
        families = math.ceil(lines / (1 if variant.moves.step else variant.shape.instruments))
        for number in range(families):
            if number % REDRAWN == 0:
                days = family(variant.shape, rng)
            members = days.drawn(variant.world, variant.moves, rng)
            scales = scales_of([member.epoch for member in members], Channel.HUMIDITY, SHIFT)
            for k, log in enumerate(scales.factors.log.tolist(), 1):
                tally.note(f"theta {k}", log)
            if variant.moves.step:
                found = look(members[0], scales, Tally())
                tally.note("step", found.state == "watch" or scales.left_out > 0)
                tally.note("step rejected", found.fit is None)
                tally.note("step drifting", found.state == "drifting")
            else:
                for member in members:
                    look(member, scales, tally)
    return tallies


COLUMNS: dict[str, Callable[[Tally], float]] = {
    **{f"r{at}": lambda t, at=at: 100.0 * t.mean(f"rate {at}") for at in (20, 50, 80)},
    "rate": lambda t: 100.0 * t.mean("rate"),
    "z": lambda t: math.sqrt(t.mean("z")),
    "chi²/f": lambda t: t.mean("chi"),
    **{
        short: lambda t, name=name: 100.0 * t.mean(name)
        for short, name in {
            "signif": "significant", "drift": "drifting", "watch": "watch", "reject": "rejected", "alone": "alone",
            "measd": "measured", "anew": "measured anew", "true": "true", "leaves": "leaves", "change": "change",
            "step": "step", "s.rej": "step rejected", "s.drft": "step drifting",
        }.items()
    },
    **{f"th{k}": lambda t, k=k: math.exp(t.mean(f"theta {k}")) for k in (1, 2, 3, 4)},
}  # fmt: skip


def lines_of(tally: Tally) -> int:
    """How many lines were looked at."""
    return int(tally.looked["rejected"] or tally.looked["step"])


def missed(variant: Variant, tally: Tally) -> list[str]:
    """The bars that a variant misses, in words."""
    if variant.bars is None:
        return []
    bars = variant.bars
    if variant.moves.step:
        asked = {"step": (STEP_FOUND, 100.0)}
    else:
        asked = {
            "rate": bars.coverage, "z": bars.z, "chi²/f": bars.chi, "signif": bars.significant,
            "reject": bars.rejected, "measd": bars.measured,
        }  # fmt: skip
    said = []
    for name, bar in asked.items():
        value = COLUMNS[name](tally)
        if bar is not None and not bar[0] <= value <= bar[1]:
            said.append(f"{variant}: {name} is {value:.3g}, to be {bar[0]:g} … {bar[1]:g}")
    return said


def _shown(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.{2 if value < 10.0 else 1}f}"


def main(arguments: Sequence[str]) -> int:
    """Prints the table; 1 where a bar is missed."""
    lines = int(arguments[0]) if arguments else 2_000
    print(f"{'':42s}{'lines':>6s}" + "".join(f"{name:>7s}" for name in COLUMNS))
    names = []
    for variant in VARIANTS:
        tally = simulate(lines, variants=(variant,))[variant]
        values = (column(tally) for column in COLUMNS.values())
        cells = "".join(
            f"{'-' if math.isnan(value) else f'{value:.{2 if value < 10 else 1}f}':>7s}" for value in values
        )
        print(f"{variant!s:42s}{lines_of(tally):6d}{cells}", flush=True)
        names += missed(variant, tally)
    print("\n".join(f"misses its bar: {name}" for name in names) or "every bar is kept")
    return int(bool(names))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
