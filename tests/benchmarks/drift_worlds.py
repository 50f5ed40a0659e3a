"""Families of instruments whose drift is known, in worlds that keep more or less of what was declared constant.

What a record declares of an effect is how large it may be. Whether it is another one each time (world A) or the same
for as long as the instrument lives (world B), and whether the declaration is right, only the world knows: errors are
drawn by it with numpy alone, and the program is told the declaration, the same in every world. All of it is invented.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from asfound.assessment.history.epochs import DAYS_A_YEAR, Epoch, VisitHistory, epochs_of, lasting_of
from asfound.assessment.history.lasting import Lasting
from asfound.assessment.results.table import BLANK, Results
from asfound.measurement.points import LARGEST_REACH_RH
from asfound.records.models import Channel
from asfound.uncertainty.budgets import Budgets, make_budgets
from asfound.uncertainty.sources import RECTANGULAR_DIVISOR, Catalogue, Scope, Source, rectangular
from asfound.uncertainty.terms import Terms

POINTS = ((20.0, "rising"), (50.0, "rising"), (80.0, "rising"), (50.0, "falling"))
STATED_POINTS = POINTS[:3]
MIDDLE = 50.0
TOLERANCE = 2.0
FIRST = date(2010, 3, 16)
PERIOD_DAYS = 731
"""the generator is calibrated anew every second year"""
DUE_DAYS = 365

HYSTERESIS, RESOLUTION, ROUNDING = 0.35, 0.02, 0.005
"""half-widths: the sensor's loop, the reference's digits, the display's step, %RH"""
REPEATABILITY, GRADIENT, CALIBRATION, LONGER, SHIFT = 0.06, 0.15, 0.17, 0.1, 0.1
"""standard uncertainties at 50 %RH; that of a calibration is one of zero and one of span, as large at 0 and 100 %RH"""
STATED_U = 0.3
LEVELS, RATES, SPANS, FIXED_RATE = 0.3, 0.3, 0.006, 0.3
"""standard deviations of levels, rates and span rates, and the size of a rate that is given"""
STEP = 2.0


@dataclass(frozen=True, kw_only=True)
class World:
    """How errors come about, against what is declared."""

    name: str
    constant: bool = False
    """whether loops and gradients last, so that nothing but chance and whole visits is drawn anew"""
    laboratory: float = 0.0
    """part of a calibration's variance that stays over recalibrations"""
    size: float = 1.0
    """true size of every effect for 1 declared"""
    limits: float = 1.0
    """that of what is declared by limits, beside it: what a certificate states is then right"""


@dataclass(frozen=True, kw_only=True)
class Shape:
    """What a family looks like."""

    instruments: int = 8
    fewest: int = 4
    most: int = 10
    adjusted: bool = False
    """whether each instrument is adjusted once"""
    stated: bool = False
    """whether another laboratory stated all results"""


@dataclass(frozen=True, kw_only=True)
class Moves:
    """What the true errors of a family's instruments do."""

    rates: str = "half"
    """of which instruments drift: half (random rates), none, or all (at FIXED_RATE, up or down)"""
    span: bool = False
    """whether those that drift do so in span, too"""
    step: bool = False
    """whether the first instrument steps at one of its visits"""


@dataclass(frozen=True, eq=False, kw_only=True)
class Member:
    """One drawn history: what the program sees, and the truth."""

    epoch: Epoch
    lasting: Lasting
    newest: tuple[VisitHistory, ...]
    """the last two visits"""
    rate: float
    span: float
    level: dict[tuple[float, str], float]
    """true errors of the open segment's points on the day FIRST"""
    shift_due: float
    """of the visit on the due day: the instrument's own, on that day"""
    shown_due: dict[tuple[float, str], float]
    """what is measured then"""

    @property
    def steady(self) -> bool:
        """Whether nothing drifts."""
        return self.rate == 0.0 == self.span

    @property
    def last(self) -> date:
        """Day of the newest visit."""
        return self.newest[-1].day

    @property
    def due(self) -> date:
        """The day of the next one."""
        return self.last + timedelta(days=DUE_DAYS)

    @property
    def calibrated_anew(self) -> bool:
        """Whether the generator is calibrated between the newest visit and the due day."""
        return _period(self.last) != _period(self.due)

    def rate_at(self, target: float) -> float:
        """The true rate of a point, per year."""
        return self.rate + self.span * (target - MIDDLE)

    def truth(self, point: tuple[float, str], day: date) -> float:
        """The true error of a point on a day, but for what that day shifts."""
        return self.level[point] + self.rate_at(point[0]) * _years(day)


@dataclass(frozen=True, eq=False, kw_only=True)
class _Rows:
    """All results of a family, one entry each; those of the due days stand last and are never shown."""

    instrument: np.ndarray
    visit: np.ndarray
    """numbered through the family"""
    number: np.ndarray
    """of the visit in its instrument's history"""
    day: list[date]
    phase: np.ndarray
    """0: as found, 1: as left"""
    segment: np.ndarray
    """0 until an adjustment left something else, then 1"""
    point: np.ndarray
    """position in the points"""
    shown: int

    @property
    def period(self) -> np.ndarray:
        """Of the generator's calibrations."""
        return np.array([_period(day) for day in self.day])


@dataclass(frozen=True, eq=False)
class Family:
    """What of a family's histories no draw changes: days, points, declared sources."""

    shape: Shape
    rows: _Rows
    table: Results
    epochs: tuple[Epoch, ...]
    histories: tuple[tuple[VisitHistory, ...], ...]
    budgets: Budgets
    lastings: tuple[Lasting, ...] = field(repr=False)

    @property
    def points(self) -> tuple[tuple[float, str], ...]:
        """(target, direction) of what is read in each visit."""
        return _points(self.shape)

    def drawn(self, world: World, moves: Moves, rng: np.random.Generator) -> list[Member]:
        """The same family with other errors."""
        rows, n = self.rows, self.shape.instruments
        rate, span = _rates(moves, n, rng)
        target = np.array([at for at, _ in self.points])[rows.point]
        levels = rng.normal(0.0, LEVELS, (n, 2, len(self.points)))
        years = np.array([_years(day) for day in rows.day])
        shifts = world.size * SHIFT * rng.standard_normal(rows.visit.max() + 1)[rows.visit]
        errors = levels[rows.instrument, rows.segment, rows.point] + shifts
        errors += (rate + np.multiply.outer(target - MIDDLE, span))[range(len(target)), rows.instrument] * years
        errors += world.size * (_stated(rows, rng) if self.shape.stated else _sources(rows, target, world, rng))
        if moves.step:
            after = rng.integers(1, rows.number[: rows.shown][rows.instrument[: rows.shown] == 0].max() + 1)
            errors += STEP * rng.choice([-1.0, 1.0]) * ((rows.instrument == 0) & (rows.number >= after))
        shown = self.table.replaced(error=errors[: rows.shown])
        members = []
        for i, (epoch, history) in enumerate(zip(self.epochs, self.histories, strict=True)):
            own = copy.copy(epoch)
            at = [r.at for r in epoch.results]
            own.__dict__.update(results=tuple(shown[i] for i in at), errors=errors[at])
            coming = [j for j in range(rows.shown, len(errors)) if rows.instrument[j] == i]
            members.append(
                Member(
                    epoch=own,
                    lasting=self.lastings[i],
                    newest=tuple(_with(visit, shown) for visit in history[-2:]),
                    rate=float(rate[i]),
                    span=float(span[i]),
                    level={p: float(levels[i, int(self.shape.adjusted), k]) for k, p in enumerate(self.points)},
                    shift_due=float(shifts[coming[0]]),
                    shown_due={self.points[rows.point[j]]: float(errors[j]) for j in coming},
                )
            )
        return members


def _rates(moves: Moves, n: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    match moves.rates:
        case "half":
            drifts = rng.random(n) < 0.5
            rate = RATES * drifts * rng.standard_normal(n)
        case "all":
            drifts = np.ones(n, bool)
            rate = FIXED_RATE * rng.choice([-1.0, 1.0], n)
        case _:
            drifts, rate = np.zeros(n, bool), np.zeros(n)
    return rate, SPANS * drifts * rng.standard_normal(n) if moves.span else np.zeros(n)


def _sources(rows: _Rows, target: np.ndarray, world: World, rng: np.random.Generator) -> np.ndarray:
    """What the declared sources do to each result, where they are as large as declared."""
    n = len(target)

    def limits(count: int) -> np.ndarray:
        return rng.uniform(-1.0, 1.0, count)

    place = rows.instrument * len(POINTS) + rows.point
    loops = limits(place.max() + 1)[place] if world.constant else limits(n)
    visits = rows.visit * (not world.constant)
    gradient = GRADIENT * RECTANGULAR_DIVISOR * limits(visits.max() + 1)[visits]
    period = rows.period - rows.period.min()
    zero, slope = (
        math.sqrt(1.0 - world.laboratory) * rng.standard_normal(period.max() + 1)[period]
        + math.sqrt(world.laboratory) * rng.standard_normal()
        for _ in range(2)
    )
    longer = LONGER * rng.standard_normal(rows.instrument.max() + 1)[rows.instrument]
    limited = HYSTERESIS * loops + gradient * _warmer(target) + RESOLUTION * limits(n) + ROUNDING * limits(n)
    calibration = CALIBRATION * (zero + slope * _spanned(target))
    return world.limits * limited + REPEATABILITY * rng.standard_normal(n) + calibration + longer


def _stated(rows: _Rows, rng: np.random.Generator) -> np.ndarray:
    """Of another laboratory half of the variance lasts; what does not is half a visit's and half a result's own."""
    place = rows.instrument * len(STATED_POINTS) + rows.point
    lasts, visits = rng.standard_normal(place.max() + 1)[place], rng.standard_normal(rows.visit.max() + 1)[rows.visit]
    return STATED_U * (math.sqrt(0.5) * lasts + 0.5 * visits + 0.5 * rng.standard_normal(len(place)))


def family(shape: Shape, rng: np.random.Generator) -> Family:
    """A family with its days and declarations."""
    points = _points(shape)
    entries: list[tuple[int, int, int, date, int, int, int]] = []
    coming: list[tuple[int, int, int, date, int, int, int]] = []
    visits = 0
    for i in range(shape.instruments):
        count = int(rng.integers(shape.fewest, shape.most + 1))
        gaps = rng.choice([183, 365, 365, 365, 548], count - 1)
        start = FIRST + timedelta(days=int(rng.integers(0, PERIOD_DAYS)))
        days = [start + timedelta(days=int(d)) for d in np.concatenate([[0], np.cumsum(gaps)])]
        adjusted = int(rng.integers(1, count)) if shape.adjusted else count
        for number, day in enumerate(days):
            for phase in range(1 + (number == adjusted)):
                segment = int(number > adjusted or phase == 1)
                entries += [(i, visits, number, day, phase, segment, k) for k in range(len(points))]
            visits += 1
        due = days[-1] + timedelta(days=DUE_DAYS)
        coming += [(i, visits, count, due, 0, int(shape.adjusted), k) for k in range(len(points))]
        visits += 1
    instrument, visit, number, day, phase, segment, point = zip(*entries, *coming, strict=True)
    rows = _Rows(
        instrument=np.array(instrument),
        visit=np.array(visit),
        number=np.array(number),
        day=list(day),
        phase=np.array(phase),
        segment=np.array(segment),
        point=np.array(point),
        shown=len(entries),
    )
    budgets = _budgets(rows, points, stated=shape.stated)
    table = _table(rows, points, budgets, stated=shape.stated)
    histories = tuple(_history(rows, table, i) for i in range(shape.instruments))
    lastings = tuple(lasting_of(history, budgets) for history in histories)
    epochs = []
    for history, lasting in zip(histories, lastings, strict=True):
        (epoch,) = epochs_of(history, lasting)
        assert epoch is not None
        _ = epoch.parts, epoch.years, epoch.days, epoch.days_seen, epoch.reference_values  # once for all draws
        epochs.append(epoch)
    return Family(shape, rows, table, tuple(epochs), histories, budgets, lastings)


def _points(shape: Shape) -> tuple[tuple[float, str], ...]:
    return STATED_POINTS if shape.stated else POINTS


def _years(day: date) -> float:
    return (day - FIRST).days / DAYS_A_YEAR


def _period(day: date) -> int:
    return (day - FIRST).days // PERIOD_DAYS


def _warmer(target: np.ndarray | float) -> np.ndarray | float:
    """What a temperature gradient does at a humidity, for 1 at 50 %RH."""
    return target / MIDDLE


def _spanned(target: np.ndarray | float) -> np.ndarray | float:
    """What an error of span does, for 1 at the ends."""
    return (target - MIDDLE) / MIDDLE


def _budgets(rows: _Rows, points: Sequence[tuple[float, str]], *, stated: bool) -> Budgets:
    """The declared sources of the results that are shown; none of those that another laboratory stated."""
    catalogue = Catalogue()
    if stated:
        # A facility that imports histories has a reference of its own, too; no result here leans on it.
        catalogue.add(Source(identity="GEN-01/zero", label="", u=CALIBRATION, unit="%RH", scope=Scope.CALIBRATION))
        return make_budgets(catalogue, Terms.none(), 0)
    entries: list[tuple[int, int, float]] = []

    def normal(identity: str, u: float, scope: Scope) -> Source:
        return Source(identity=identity, label="", u=u, unit="%RH", scope=scope)

    def limits(identity: str, half_width: float, scope: Scope, *, rounding: bool = False) -> Source:
        return rectangular(identity, "", half_width, "%RH", scope, rounding=rounding)

    for i, period in enumerate(rows.period[: rows.shown].tolist()):
        at = points[rows.point[i]][0]
        visit, instrument = rows.visit[i], rows.instrument[i]
        sources = (
            (limits(f"result-{i}/hysteresis", HYSTERESIS, Scope.LONGER), 1.0),
            (normal(f"result-{i}/repeatability", REPEATABILITY, Scope.READING), 1.0),
            (limits(f"result-{i}/reference resolution", RESOLUTION, Scope.READING), 1.0),
            (limits(f"result-{i}/display", ROUNDING, Scope.READING, rounding=True), 1.0),
            (limits(f"visit-{visit}/gradient", GRADIENT * RECTANGULAR_DIVISOR, Scope.VISIT), _warmer(at)),
            (normal(f"GEN-01/{period}/zero", CALIBRATION, Scope.CALIBRATION), 1.0),
            (normal(f"GEN-01/{period}/span", CALIBRATION, Scope.CALIBRATION), _spanned(at)),
            (normal(f"instrument-{instrument}/formula", LONGER, Scope.LONGER), 1.0),
        )
        entries += [(i, catalogue.add(source), float(weight)) for source, weight in sources]
    line, source, weight = (np.array(column) for column in zip(*entries, strict=True))
    return make_budgets(catalogue, Terms(line, source, weight), rows.shown)


def _table(rows: _Rows, points: Sequence[tuple[float, str]], budgets: Budgets, *, stated: bool) -> Results:
    n = rows.shown
    target = [points[k][0] for k in rows.point[:n]]
    u = np.full(n, STATED_U) if stated else budgets.u
    columns = {name: [value] * n for name, value in BLANK.items()} | {
        "visit": [f"{day}-{i}" for day, i in zip(rows.day[:n], rows.instrument, strict=False)],
        "revision": [1] * n,
        "day": rows.day[:n],
        "sensor": [f"RH-{i}" for i in rows.instrument[:n]],
        "serial": [f"A-{i}" for i in rows.instrument[:n]],
        "model": ["rush"] * n,
        "plateau": list(range(n)),
        "phase": [("as_found", "as_left")[phase] for phase in rows.phase[:n]],
        "target": target,
        "point": target,
        "reach": [LARGEST_REACH_RH] * n,
        "direction": ["" if stated else points[k][1] for k in rows.point[:n]],
        "medium": ["chamber"] * n,
        "reference": ["GEN-01"] * n,
        "time_utc": [0] * n,
        "note": [""] * n,
        "rule": [""] * n,
        "channel": [Channel.HUMIDITY] * n,
        "temperature_c": [math.nan if stated else 23.0] * n,
        "reference_value": target,
        "error": [0.0] * n,
        "u": u,
        "nu_eff": [math.inf] * n,
        "U": 2.0 * u,
        "tolerance": [TOLERANCE] * n,
        "status": ["stated" if stated else "done"] * n,
        "line": [None] * n if stated else list(range(n)),
    }
    return Results.table(columns)


def _history(rows: _Rows, table: Results, instrument: int) -> tuple[VisitHistory, ...]:
    own = np.flatnonzero(rows.instrument[: rows.shown] == instrument)
    history = []
    for number in np.unique(rows.number[own]):
        at = own[rows.number[own] == number]
        found, left = (tuple(table[int(i)] for i in at[rows.phase[at] == phase]) for phase in (0, 1))
        history.append(VisitHistory(day=rows.day[at[0]], as_found=found, as_left=left, adjusted=bool(left)))
    return tuple(history)


def _with(visit: VisitHistory, shown: Results) -> VisitHistory:
    """The visit with other errors."""
    found, left = (tuple(shown[r.at] for r in results) for results in (visit.as_found, visit.as_left))
    return VisitHistory(day=visit.day, as_found=found, as_left=left, adjusted=visit.adjusted)
