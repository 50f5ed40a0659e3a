"""Whole invented facilities through the whole program, against what is true behind them.

    python -m tests.benchmarks.facility_worlds [facilities]

Records are written as bytes, read and assessed as anybody's (`invented_facilities.py` draws them, with the references
of `invented_references.py`). In world A every declared source is drawn anew when its scope has ended, in B loops and
gradients are constants. Of every result the error that was found is held against the instrument's true error at that
point as it was approached, of every line the rate against the true one, and what is expected when due against a visit
on that day.

At a first point, whose side is not known, a budget holds half of the declared loop, though the error that was found is
that of one side: "without" says what would cover if it held none (u without it, k = 2).

Sources that last are drawn once a facility, so results of one facility are not independent: intervals (99 %) are
bootstrapped by facility. What misses a bar is named, and the program ends with 1.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from asfound.assessment.assess import Assessment, assess
from asfound.assessment.history.design import LEAST_VISITS
from asfound.assessment.history.drift import Drift
from asfound.assessment.pipeline import LINEAR, judged, measured
from asfound.records.visits.rows import sensor_visits
from asfound.uncertainty.sources import coverage_factor
from tests import builders as b
from tests.benchmarks.invented_facilities import (
    BEFORE_DUE,
    VISITS,
    Facility,
    Group,
    facility,
    one_way,
)
from tests.benchmarks.invented_references import WORLDS, World

DRY, HUMID = 20.0, 70.0
RESAMPLED, INTERVAL = 4_000, (0.5, 99.5)
ENOUGH = 10
"""Of fewer facilities no interval can be bootstrapped, and bars of intervals are not asked."""
ALL, FINE, WHOLE_STEPS = "all results", "all but whole steps", "whole steps"
TEMPERATURE = f"{FINE}, temperature"
ONE_WAY, BOTH_WAYS = "one way", "both ways"
LINES, LARGE, SMALL = "all lines", "pools of 3 or more", "pools of 1"

U_BAR, CELL_BAR = (94.5, 96.5), (93.0, 97.5)
DRIFT_BARS = {"rms": (0.9, 1.1), "chi": (0.85, 1.15)}
"""of the whole program"""
LINE_BARS = {"rate": (94.5, 97.5), "rejected": (0.0, 1.0), "due": (94.5, 98.0)}
"""of thousands of lines; here missed where the interval lies outside"""


@dataclass
class Tally:
    """Sums by what was looked at and facility, from which shares, means and their intervals are made."""

    facilities: list[dict[tuple[str, str], np.ndarray]] = field(default_factory=list)

    def begin(self) -> None:
        """The next facility."""
        self.facilities.append({})

    def note(self, row: str, what: str, value: float, weight: float = 1.0) -> None:
        """One more look at `what`, of the facility that is being looked at."""
        seen = self.facilities[-1]
        seen[row, what] = seen.get((row, what), np.zeros(2)) + np.array([value, weight])

    def looked(self, row: str, what: str) -> int:
        """How often it was looked at."""
        return int(self._sums(row, what)[:, 1].sum())

    def mean(self, row: str, what: str) -> float:
        """Sum of what was seen by the sum of weights; nan where nobody looked."""
        total, weight = self._sums(row, what).sum(axis=0)
        return total / weight if weight else math.nan

    def interval(self, row: str, what: str) -> tuple[float, float]:
        """Where 99 % of the means lie that other facilities could have given."""
        sums = self._sums(row, what)
        if not sums[:, 1].any():
            return math.nan, math.nan
        drawn = np.random.default_rng(1).integers(0, len(sums), (RESAMPLED, len(sums)))
        total, weight = sums[drawn].sum(axis=1).T
        low, high = np.percentile(total[weight > 0.0] / weight[weight > 0.0], INTERVAL)
        return float(low), float(high)

    def rows(self, what: str) -> list[str]:
        """All that was looked at for this."""
        return sorted({row for seen in self.facilities for row, name in seen if name == what})

    def _sums(self, row: str, what: str) -> np.ndarray:
        return np.array([seen.get((row, what), np.zeros(2)) for seen in self.facilities]).reshape(-1, 2)


def simulate(world: World, facilities: int, *, visits: tuple[int, int] = VISITS, due: bool = True, seed: int = 7):
    """Tallies (of results, of lines) of so many facilities; `due`: whether a visit on the due day is read, too."""
    of_results, of_lines = Tally(), Tally()
    for number in range(facilities):
        start = time.monotonic()
        invented = facility(world, np.random.default_rng([seed, WORLDS.index(world), number]), visits)
        look(invented, of_results, of_lines, due=due)
        took = time.monotonic() - start
        print(f"{world.name}: facility {number + 1} of {facilities}, {took:.1f} s", file=sys.stderr, flush=True)
    return of_results, of_lines


def look(invented: Facility, of_results: Tally, of_lines: Tally, *, due: bool) -> None:
    """Assesses a facility, and notes what is said of it."""
    assessment = assess(invented.files, BEFORE_DUE)
    for tally in (of_results, of_lines):
        tally.begin()
    look_at_results(invented, assessment, of_results)
    look_at_lines(invented, assessment, errors_when_due(invented) if due else {}, of_lines)


def look_at_results(invented: Facility, assessment: Assessment, tally: Tally) -> None:
    """Notes how far each error that was found is from the true one, in u and against U."""
    groups = {sensor: group for group in invented.groups for sensor in group.sensors}
    budgets = assessment.measurement.whole()
    for result in assessment.results:
        away = result.error - invented.errors[result.key]
        assert result.line is not None
        behind = budgets.lines(result.line)
        loops = (one.contribution for one in behind if one.source.identity.endswith("/hysteresis"))
        without = math.sqrt(result.u**2 - sum(c**2 for c in loops))
        for row in _rows_of(groups[result.sensor], result.target, result.direction, result.channel.value):
            tally.note(row, "covered", abs(away) <= result.U)
            tally.note(row, "z", away / result.u)
            tally.note(row, "z²", (away / result.u) ** 2)
            tally.note(row, "covered without", abs(away) <= 2.0 * without)
            tally.note(row, "z² without", (away / without) ** 2)


def _rows_of(group: Group, target: float, direction: str, channel: str) -> tuple[str, ...]:
    method = {"GEN-01": "two-pressure", "MIR-01": "mirror", "SALT-01": "salt"}[group.reference]
    region = "dry" if target < DRY else "humid" if target > HUMID else "middle"
    ways = ONE_WAY if one_way(group.points, (target, direction)) else BOTH_WAYS
    # Temperature has no loop, and is the same at every humidity.
    cell = f"{channel} {method} {region} {direction}"
    if channel == "temperature":
        return ALL, FINE, TEMPERATURE, cell
    if group.model.display >= 1.0:
        return ALL, WHOLE_STEPS, f"{WHOLE_STEPS}: {cell}"
    return ALL, FINE, f"{FINE}, humidity, {ways}", f"{cell}, {ways}"


def errors_when_due(invented: Facility) -> dict[tuple[str, str, float, str], float]:
    """What a visit on the due day shows, by sensor, channel, target and direction.

    By the linear answers: Monte Carlo gives another U, not another error.
    """
    records = b.loaded(invented.files)
    results = judged(measured(records, sensor_visits(records)), LINEAR).results
    due = (r for r in results if r.day > BEFORE_DUE)
    return {(r.sensor, r.channel.value, r.target, r.direction): r.error for r in due}


def look_at_lines(
    invented: Facility, assessment: Assessment, shown: dict[tuple[str, str, float, str], float], tally: Tally
) -> None:
    """Notes of each line whether it stands, and what it says against what is so; `shown`: errors when due."""
    groups = {sensor: group for group in invented.groups for sensor in group.sensors}
    for sensor, standing in assessment.standings.items():
        for drift in standing.drifts:
            if drift.visits >= LEAST_VISITS:
                for row in (LINES, *_rows_of_line(groups[sensor], drift)):
                    _look_at_line(row, sensor, drift, invented, shown, tally)


def _rows_of_line(group: Group, drift: Drift) -> tuple[str, str]:
    size = LARGE if len(group.sensors) >= 3 else SMALL
    kind = f"{drift.channel.value} {group.model.name}{', whole steps,' if group.model.display >= 1.0 else ''}"
    return size, f"{size}: {kind} {group.reference}"


def _look_at_line(
    row: str,
    sensor: str,
    drift: Drift,
    invented: Facility,
    shown: dict[tuple[str, str, float, str], float],
    tally: Tally,
) -> None:
    tally.note(row, "rejected", drift.fit is None)
    tally.note(row, "chi", drift.chi_squared, drift.freedom)
    if drift.fit is None:
        return
    true = invented.rates[sensor, drift.channel.value]
    for outlook in drift.outlooks:
        tally.note(row, "rate", abs(outlook.rate - true) <= outlook.U_rate)
        u = outlook.U_rate / float(coverage_factor(drift.fit.rate_at(outlook.reference_value).nu))
        tally.note(row, "z²", ((outlook.rate - true) / u) ** 2)
        key = (sensor, drift.channel.value, outlook.target, outlook.direction)
        if key in shown:
            assert outlook.due > BEFORE_DUE
            tally.note(row, "due", abs(outlook.error_due - shown[key]) <= outlook.U_due)


def table_of_results(tally: Tally) -> str:
    """Shares within U, mean and root mean square of deviations in u."""
    heads = {"results": 8, "≤ U, %": 8, "99 %": 14, "mean z": 8, "rms z": 7, "without, %": 12, "rms": 6}
    lines = [" " * 54 + "".join(f"{head:>{width}s}" for head, width in heads.items())]
    for row in _ordered(tally.rows("covered")):
        low, high = tally.interval(row, "covered")
        share, without = (100.0 * tally.mean(row, what) for what in ("covered", "covered without"))
        size, rest = (math.sqrt(tally.mean(row, what)) for what in ("z²", "z² without"))
        between = f"{100.0 * low:.1f}–{100.0 * high:.1f}"
        said = f"{row:54s}{tally.looked(row, 'covered'):8d}{share:8.1f}{between:>14s}"
        lines.append(f"{said}{tally.mean(row, 'z'):8.2f}{size:7.2f}{without:12.1f}{rest:6.2f}")
    return "\n".join(lines)


def table_of_lines(tally: Tally) -> str:
    """Whether rates and what is expected when due cover, and whether healthy lines stand."""
    heads = {"lines": 7, "rate, %": 9, "rms": 6, "99 %": 12, "χ²/f": 7, "99 % ": 12, "rejected, %": 13, "due, %": 8}
    lines = [" " * 54 + "".join(f"{head:>{width}s}" for head, width in heads.items())]
    for row in _ordered(tally.rows("chi")):
        rms = [math.sqrt(x) for x in (tally.mean(row, "z²"), *tally.interval(row, "z²"))]
        chi = (tally.mean(row, "chi"), *tally.interval(row, "chi"))
        share = {what: f"{100.0 * tally.mean(row, what):.1f}" for what in ("rate", "rejected", "due")}
        cells = (
            str(tally.looked(row, "rejected")), share["rate"], f"{rms[0]:.2f}", f"{rms[1]:.2f}–{rms[2]:.2f}",
            f"{chi[0]:.2f}", f"{chi[1]:.2f}–{chi[2]:.2f}", share["rejected"], share["due"],
        )  # fmt: skip
        lines.append(f"{row:54s}" + "".join(f"{c:>{w}s}" for c, w in zip(cells, heads.values(), strict=True)))
    return "\n".join(lines)


def missed(world: str, of_results: Tally, of_lines: Tally) -> list[str]:
    """The bars that are missed, in words."""
    said = []

    def hold(what: str, value: float, bar: tuple[float, float]) -> None:
        if not bar[0] <= value <= bar[1]:
            said.append(f"{world}: {what} is {value:.3g}, to be {bar[0]:g} … {bar[1]:g}")

    def hold_interval(what: str, share: float, interval: tuple[float, float], bar: tuple[float, float]) -> None:
        low, high = (100.0 * end for end in interval)
        if len(of_results.facilities) >= ENOUGH and (high < bar[0] or low > bar[1]):
            between = f"{100.0 * share:.1f} % ({low:.1f}–{high:.1f})"
            said.append(f"{world}: {what} is {between}, to be {bar[0]:g} … {bar[1]:g}")

    hold("share within U", 100.0 * of_results.mean(ALL, "covered"), U_BAR)
    for row in of_results.rows("covered"):
        if not row.startswith((ALL, FINE, WHOLE_STEPS)):  # whole steps have their own figure, and no bar
            share = of_results.mean(row, "covered")
            hold_interval(f"share within U, {row},", share, of_results.interval(row, "covered"), CELL_BAR)
    hold(f"rms of rate error/u, {LARGE},", math.sqrt(of_lines.mean(LARGE, "z²")), DRIFT_BARS["rms"])
    hold(f"χ²/f, {LARGE},", of_lines.mean(LARGE, "chi"), DRIFT_BARS["chi"])
    for what, bar in LINE_BARS.items():
        hold_interval(f"{what}, {LARGE},", of_lines.mean(LARGE, what), of_lines.interval(LARGE, what), bar)
    return said


def _ordered(rows: Sequence[str]) -> list[str]:
    """What sums up first, then the cells."""
    first = (ALL, FINE, WHOLE_STEPS, LINES, LARGE, SMALL)
    ranks = {row: first.index(row) for row in first if row in rows}
    return sorted(rows, key=lambda row: (ranks.get(row, len(first)), row.startswith(WHOLE_STEPS), row))


def main(arguments: Sequence[str]) -> int:
    """Prints both tables of each world; 1 where a bar is missed."""
    facilities = int(arguments[0]) if arguments else 10
    names = []
    for world in WORLDS:
        tallies = simulate(world, facilities)
        print(f"\n{world.name}, {facilities} facilities\n\n{table_of_results(tallies[0])}\n")
        print(table_of_lines(tallies[1]), flush=True)
        names += missed(world.name, *tallies)
    print("\n" + ("\n".join(f"misses its bar: {name}" for name in names) or "every bar is kept"))
    return int(bool(names))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
