"""What lines, outlooks and pools must be, worked out apart; each function takes the program (see tests/program.py).

The years are chosen so that sums come out even: visits at −4, 0 and 4 years (1461 days apart) to 50 %RH, or to 20 and
80 %RH, with 0.06 %RH of each result's own, 0.08 %RH of a reference that all share, and 0.08 %RH that a visit shifts by.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from asfound.records.models import Channel
from tests.assessment.history.histories import Instrument, visit
from tests.humidity.published_checks import Check
from tests.program import Program

DAYS = (date(2010, 3, 16), date(2014, 3, 16), date(2018, 3, 16))
OWN, SHARED, BETWEEN = 0.06, 0.08, 0.08


def _number(id: str, computed: float, expected: float, tolerance: float = 1e-6) -> Check:
    return Check(id=id, source="by hand", computed=float(computed), expected=float(expected), tolerance=tolerance)


def _epoch(
    program: Program, rows: Sequence[Sequence[float]], targets: Sequence[float] = (50.0,), **keys: object
) -> Any:
    """One row a visit, one error a target."""
    instrument = Instrument()
    visits = []
    for day, row in zip(DAYS, rows, strict=True):
        sources = [{f"own/{day}/{at}": OWN, "reference": SHARED} for at in targets]
        found = [instrument.result(day, at, e, s, **keys) for at, e, s in zip(targets, row, sources, strict=True)]
        visits.append(visit(day, found))
    return _epochs(program, visits, instrument)


def _epochs(program: Program, visits: Sequence[Any], instrument: Instrument) -> Any:
    """The epoch of the present element."""
    return program.epochs.epochs_of(visits, program.epochs.lasting_of(visits, instrument.budgets()))[-1]


def _scales(program: Program, shift: float = BETWEEN, u: float = 0.0, **keys: object) -> Any:
    """Everything as declared, each factor known to u on its logarithm."""
    kinds = program.lasting.KINDS
    factors = program.scale_factors.Factors(log=np.zeros(kinds), covariance=u**2 * np.eye(kinds))
    return replace(program.scales.nothing_seen(shift), factors=factors, **({"instruments": 3} | keys))


def _fit(program: Program, epoch: Any, u: float = 0.0) -> Any:
    return program.line.fit_line(epoch, Channel.HUMIDITY, _scales(program, u=u))


def one_point(program: Program) -> Iterator[Check]:
    """0.0, 0.5, 0.8: rate 3.2/32 = 0.1, u² = (0.0036 + 0.0064)/32; residuals −1/30, 2/30, −1/30 over 0.01."""
    fit = _fit(program, _epoch(program, [[0.0], [0.5], [0.8]]))
    yield _number("rate", fit.rate.rate, 0.1)
    yield _number("u of the rate", fit.rate.u, math.sqrt(0.01 / 32.0))
    yield _number("χ²", fit.chi_squared, 2.0 / 3.0, 1e-5)
    then = fit.expected(DAYS[2])
    yield _number("expected at the last visit", then.errors[0], 2.5 / 3.0)
    yield _number("its variance", then.covariance[0, 0], SHARED**2 + 0.01 / 3.0 + 0.01 / 2.0)
    guessed = _fit(program, fit.epoch, u=0.5)
    yield _number("ν of the rate: 2/(0.36² + 0.64²)/0.5²", guessed.rate.nu, 2.0 / 0.5392 / 0.25, 1e-5)


def made_good(program: Program) -> Iterator[Check]:
    """Half a %RH a year until an adjustment takes it back, steady ever since: one rate for both is refused."""
    instrument, visits = Instrument(), []
    for number, shift in enumerate((0.0, 0.5, 1.0, 1.5, 0.0, 0.0, 0.0)):
        day = date(2010 + number, 3, 16)
        found, left = (
            [instrument.result(day, 50.0, e, {f"{phase}/{day}": OWN})] for phase, e in (("f", shift), ("l", 0.0))
        )
        visits.append(visit(day, found, left if number == 3 else None))
    fit = program.line.line_through(_epochs(program, visits, instrument), Channel.HUMIDITY, _scales(program, 0.25))
    yield _number("rate since", fit.rate.rate, 0.0, 1e-9)
    yield _number("visits since, the adjustment's with them", len(fit.epoch.days), 4)


def two_points(program: Program) -> Iterator[Check]:
    """A visit shifts both points alike: (0.0036/2 + 0.0064)/32 at their mean, and nothing of the span's rate."""
    fit = _fit(program, _epoch(program, [[-0.4, 0.0], [0.0, 0.0], [0.4, 0.0]], (20.0, 80.0)))
    yield _number("rate at the mean", fit.rate.rate, 0.05)
    yield _number("u of the rate", fit.rate.u, math.sqrt((OWN**2 / 2.0 + BETWEEN**2) / 32.0))
    yield _number("rate of the span: −0.1 in 60 %RH", fit.span_rate.rate, -0.1 / 60.0)
    yield _number("its u: √(2·0.0036/32)/60", fit.span_rate.u, math.sqrt(2.0 * OWN**2 / 32.0) / 60.0)
    yield _number("zero and span apart", fit.span, 1.0)
    yield _number("rate at 20 %RH", fit.rate_at(20.0).rate, 0.1)


def _outlook(program: Program, tolerance: float, loop: float = 0.0) -> Any:
    fit = _fit(program, _epoch(program, [[0.0], [0.5], [0.8]], loop=loop))
    (found,) = program.outlook.outlooks(fit, DAYS[2], DAYS[2], lambda _: tolerance)
    return found


def ahead(program: Program) -> Iterator[Check]:
    """The crossing days of tests/assessment/test_outlook.py, and what stands around the line at the last visit."""
    found = _outlook(program, 1.8)
    line = SHARED**2 + 0.01 / 3.0 + 0.01 / 2.0
    yield _number("limit: U of a measurement is 2·√(0.0036 + 0.0064)", found.limit, 1.6)
    yield _number("U today", found.U_today, 2.0 * math.sqrt(line + BETWEEN**2))
    used = _outlook(program, 1.8, loop=0.3)
    yield _number("in use: ± half of 0.6", used.U_today, 2.0 * math.sqrt(line + BETWEEN**2 + 0.3**2))
    yield _number("about the middle of the loop", used.error_today - found.error_today, 0.3)
    due = line - SHARED**2 + BETWEEN**2 + OWN**2  # what all share is in the measurement as in the line
    yield _number("U when due: own again", found.U_due, 2.0 * math.sqrt(due))
    yield _number("U of the rate", found.U_rate, 2.0 * math.sqrt(0.01 / 32.0))
    yield _number("median", (found.leaves.median - DAYS[2]).days, 2801)
    yield _number("earliest", (found.leaves.earliest - DAYS[2]).days, 1444)
    yield _number("latest: beyond ten years", found.leaves.latest is None, 1.0)
    yield _number("latest with 1.1 %RH", (_outlook(program, 1.1).leaves.latest - DAYS[2]).days, 1656)
    yield _number("U above the tolerance", "cannot be decided" in _outlook(program, 0.19).leaves.sentence, 1.0)


def plainly(program: Program) -> Iterator[Check]:
    """Ordinary least squares of 0.0, 0.5, 0.8: s² = 0.006667 with ν = 1, u = √(s²/32), k = 13.97: U = 0.2016."""
    said = program.drift.naive_sentence(_fit(program, _epoch(program, [[0.0], [0.5], [0.8]])), Channel.HUMIDITY)
    yield _number(said, "+0.10 ± 0.20 %RH per year (ν = 1): not significant" in said, 1.0)
    yield _number("and that ours is", said.endswith("where with the covariance of the results it is."), 1.0)


def pools(program: Program) -> Iterator[Check]:
    """Many equal instruments of three visits shifted by 0, d and 0: the one contrast is (1, −2, 1)/√6, squared d²·4/6.

    Own 0.0036 and shift 0.0064 as declared; d² = 0.015·9 makes nine times the variance of as declared. The prior pulls
    both factors, so the likeliest are found from the penalised score: θ_k/2·share_k·n·(9/s − 1)/s = p(ln θ)·ln θ.
    """
    for targets, own in (((50.0,), OWN**2), ((20.0, 80.0), OWN**2 / 2.0)):
        d = math.sqrt(1.5 * 9.0 * (own + BETWEEN**2))
        epoch = _epoch(program, [[0.0] * len(targets), [d] * len(targets), [0.0] * len(targets)], targets)
        found = program.scales.scales_of([_named(epoch, f"A{n}") for n in range(40)], Channel.HUMIDITY, BETWEEN)
        theta = found.factors.theta
        if len(targets) == 1:
            size = theta[0] * own + theta[2] * BETWEEN**2
            for kind, variance in ((0, own), (2, BETWEEN**2)):
                score = 20.0 * theta[kind] * variance / size * (9.0 * (own + BETWEEN**2) / size - 1.0)
                prior = 5.0 * math.log(theta[kind]) / (4.0 + math.log(theta[kind]) ** 2)
                yield _number(f"score of kind {kind} less its prior", score - prior, 0.0, 0.05)
        yield _number("χ² as declared, an instrument", found.chi_squared / 40.0, 9.0, 1e-5)
        yield _number("left out", found.left_out, 0.0)
        yield _number("more than declared", theta[2] > 1.0, 1.0)
    steady = [_named(_epoch(program, [[0.0], [0.1 * sign], [0.0]]), f"{sign}") for sign in (1.0, -1.0) * 6]
    jumped = _named(_epoch(program, [[0.0], [9.0], [0.0]]), "B")
    found = program.scales.scales_of([*steady, jumped], Channel.HUMIDITY, BETWEEN)
    yield _number("left out", found.left_out, 1.0)


def _named(epoch: Any, serial: str) -> Any:
    return replace(epoch, results=tuple(result.altered(serial=serial) for result in epoch.results))


def from_elsewhere(program: Program) -> Iterator[Check]:
    """Another laboratory's two points share u = 0.2, nothing with ours; another position is another level."""
    instrument = Instrument()
    ours = instrument.result(DAYS[0], 20.0, 0.0, {"own": OWN, "reference": SHARED})
    theirs = [ours.altered(target=at, point=at, line=None, status="stated", u=0.2, day=DAYS[1]) for at in (20.0, 80.0)]
    visits = [visit(DAYS[0], [ours]), visit(DAYS[1], theirs)]
    kinds, fixed = _scales(program, 0.0).covariances(_epochs(program, visits, instrument).parts)
    matrix = kinds.sum(axis=0) + fixed
    for id, computed, expected in (
        ("ours", matrix[0, 0], 0.01),
        ("ours with theirs", matrix[0, 1], 0.0),
        ("theirs with each other: three quarters", matrix[1, 2], 0.03),
        ("theirs", matrix[1, 1], 0.04),
    ):
        yield _number(id, computed, expected, 1e-9)
    moved = [visits[0], replace(visits[1], position="RH-2")]
    found = _epochs(program, moved, instrument)
    yield _number("segments", found.segments, 2.0)
    yield _number("levels", len(found.levels), 3.0)
    yield _number("nothing to compare", len(_changes(program, moved, instrument, 0.0)), 0.0)


def _changes(program: Program, visits: Sequence[Any], instrument: Instrument, shift: float) -> Sequence[Any]:
    lasting = program.epochs.lasting_of(visits, instrument.budgets())
    return program.changes.changes_between(*visits, lasting, _scales(program, shift))


def changes(program: Program) -> Iterator[Check]:
    """0.3 between two visits that share the reference: u² = 2·0.0036 + 2·0.0064, E_n = 0.3/(2·√0.02)."""
    instrument = Instrument()
    found = [
        instrument.result(day, 50.0, error, {f"own/{day}": OWN, "reference": SHARED})
        for day, error in zip(DAYS, (0.0, 0.3))
    ]
    visits = [visit(result.day, [result]) for result in found]
    (change,) = _changes(program, visits, instrument, BETWEEN)
    yield _number("U", change.U, 2.0 * math.sqrt(0.02))
    yield _number("E_n", change.e_n, 0.3 / (2.0 * math.sqrt(0.02)))
    yield _number("days apart", (found[1].day - found[0].day) / timedelta(days=1), 1461)
    yield _number("significant", change.significant, float(np.abs(change.e_n) > 1.0))


ALL = (one_point, made_good, two_points, ahead, plainly, pools, from_elsewhere, changes)
