"""What verdicts, drift, due dates, findings and advice must be: by published examples, and worked out apart.

Each function takes the program (see tests/program.py) and yields what was computed beside what it must be; words are
compared as 1 for the same and 0 for another.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from typing import Any

import numpy as np

from asfound.records.models import MeasuringRange, Policy, Tolerance
from tests import builders as b
from tests.builders import Files
from tests.humidity.published_checks import Check, table
from tests.program import Program

TARGETS = (20.0, 50.0, 80.0)
CHI_SQUARED = "NIST/SEMATECH e-Handbook, 1.3.6.7.4: upper 1 % of χ² with ν = 7 is 18.475 (from memory)"


def _number(id: str, computed: float, expected: float, tolerance: float = 1e-9, source: str = "by hand") -> Check:
    return Check(id=id, source=source, computed=computed, expected=expected, tolerance=tolerance)


def _word(id: str, computed: object, expected: object, source: str = "by hand") -> Check:
    return _number(f"{id}: {computed!s} for {expected!s}", float(computed == expected), 1.0, source=source)


def policy(rule: str = "guard_band", **keys: Any) -> Policy:
    """A policy of one rule."""
    return Policy(rule=rule, **keys)


def assessed(program: Program, files: Files, day: str = "2026-12-31") -> Any:
    """The whole assessment by the program."""
    return program.assess.assess(files, date.fromisoformat(day))


def standing(program: Program, files: Files, day: str = "2026-12-31") -> Any:
    """Where RH-1 stands on a day."""
    return assessed(program, files, day).standings["RH-1"]


def points(*errors: float, phase: str = "as_found", **columns: Any) -> list[list[b.Row]]:
    """Plateaus at 20, 50 and 80 %RH with these errors."""
    given = errors * 3 if len(errors) == 1 else errors
    return [
        b.plateau(at, [round(at + e, 2), round(at + e, 2)], b.generated(at), phase=phase, **columns)
        for at, e in zip(TARGETS, given, strict=True)
    ]


def decision_rules(program: Program) -> Iterator[Check]:
    """JCGM 106 and ILAC-G8: probabilities, guard bands and statements."""
    outside = program.conformity.probability_outside
    for row in table("decision_rules"):
        kind, expected, source = row["quantity"], row["expected"], row["source"]
        if kind == "statement":
            value, U, limit = float(row["value"]), float(row["uncertainty"]), float(row["upper"])
            r = float(row["r"])
            rule = policy(guard_band=r) if r else policy("simple_acceptance")
            judged = program.conformity.judge(rule, value, U / 2.0, math.inf, U, limit)
            yield _word(row["id"], judged.verdict.value, expected, source)
        elif kind == "conforming":
            value, u = float(row["value"]), float(row["uncertainty"])
            far = 1e3 * u
            low = float(row["lower"]) if row["lower"] else value - far
            high = float(row["upper"]) if row["upper"] else value + far
            p = 1.0 - outside(value - (low + high) / 2.0, u, math.inf, (high - low) / 2.0)
            yield _number(row["id"], p, float(expected), float(row["tolerance"]), source)
        elif kind.startswith("false accept"):
            limit, u, r = 1000.0, 0.5, float(row["r"])
            p = outside(limit - r * 2.0 * u, u, math.inf, limit)
            if kind == "false accept":
                yield _number(row["id"], p, float(expected), 1e-8 * float(expected), source)
            else:
                yield _word(row["id"], p <= float(expected), True, source)
        elif kind == "rejection threshold":
            speed = float(row["upper"]) / (1.0 - 0.02 * 3.090232)
            yield _number(row["id"], speed, float(expected), float(row["tolerance"]), source)
            p = outside(speed - 100.0 + 1000.0, 0.02 * speed, math.inf, 1000.0)
            yield _number(f"{row['id']} p", p, 0.999, 1e-6, source)
        else:
            z = float(expected)
            yield _number(row["id"], outside(1000.0 - z, 1.0, math.inf, 1000.0), 0.001, 1e-8, source)


def two_tails(program: Program) -> Iterator[Check]:
    """Both limits count, by the t distribution of the u that is known so well."""
    outside = program.conformity.probability_outside
    yield _number("normal, no error", outside(0.0, 1.0, math.inf, 2.0), 0.045500264, 1e-8, "2·Φ(−2)")
    yield _number("t with ν = 1, no error", outside(0.0, 1.0, 1.0, 1.0), 0.5, 1e-12, "Cauchy distribution")
    yield _number("t with ν = 1, at the limit", outside(1.0, 1.0, 1.0, 1.0), 0.647583618, 1e-8, "½ + arccot(2)/π")
    yield _number("certain and inside", outside(1.9, 0.0, math.inf, 2.0), 0.0)
    yield _number("certain and outside", outside(2.1, 0.0, math.inf, 2.0), 1.0)


def edges(program: Program) -> Iterator[Check]:
    """A value exactly on a limit is inside; one step beyond it is not."""
    judge = program.conformity.judge
    guard = policy()
    for value, expected in (
        (1.5, "pass"),
        (1.5001, "conditional pass"),
        (2.0, "conditional pass"),
        (2.0001, "conditional fail"),
        (2.5, "conditional fail"),
        (2.5001, "fail"),
    ):
        for sign in (1.0, -1.0):
            yield _word(f"{sign * value}", judge(guard, sign * value, 0.25, math.inf, 0.5, 2.0).verdict, expected)
    simple = policy("simple_acceptance")
    for value, expected in ((2.0, "pass"), (2.0001, "fail")):
        yield _word(f"simple {value}", judge(simple, value, 0.25, math.inf, 0.5, 2.0).verdict, expected)
    # 0.1 + 0.2 − 0.3 is not 0 in binary digits: an edge is an edge all the same
    yield _word("0.1 + 0.2", judge(simple, 0.1 + 0.2, 0.1, math.inf, 0.2, 0.3).verdict, "pass")
    yield _word("U larger than T", judge(guard, 0.0, 1.1, math.inf, 2.2, 2.0).verdict, "U too large")
    yield _word("U equal to T", judge(guard, 0.0, 1.0, math.inf, 2.0, 2.0).verdict, "pass")
    yield _word("far out", judge(guard, 9.0, 1.1, math.inf, 2.2, 2.0).verdict, "fail")
    half = policy(guard_band=0.5)
    yield _word("w = U/2", judge(half, 1.74, 0.25, math.inf, 0.5, 2.0).verdict, "pass")
    yield _word("beyond w = U/2", judge(half, 1.76, 0.25, math.inf, 0.5, 2.0).verdict, "conditional pass")


def specific_risk(program: Program) -> Iterator[Check]:
    """α = 2.5 %: pass at P ≤ α, fail at P ≥ 1 − α, between them by |E| and T."""
    judge = program.conformity.judge
    rule = policy("specific_risk", largest_risk=0.025)
    for value, expected in (
        (2.0 - 1.97 * 0.25, "pass"),
        (2.0 - 1.95 * 0.25, "conditional pass"),
        (2.0 + 1.95 * 0.25, "conditional fail"),
        (2.0 + 1.97 * 0.25, "fail"),
    ):
        yield _word(f"{value:.4f}", judge(rule, value, 0.25, math.inf, 0.5, 2.0).verdict, expected)
    yield _word("few degrees of freedom", judge(rule, 1.5, 0.25, 2.0, 1.1, 2.0).verdict, "conditional pass")
    yield _word("hopeless", judge(rule, 0.0, 1.0, math.inf, 2.0, 2.0).verdict, "U too large")


def tolerances(program: Program) -> Iterator[Check]:
    """Absolute, of reading, of range; sum or maximum; bands whose edges are inside, the upper one rules."""
    at = program.conformity.tolerance_at
    span = MeasuringRange(lowest="0 %RH", highest="100 %RH")
    plain = Tolerance(absolute="1 %RH", of_reading="2 %", of_range="1 %")
    yield _number("sum", at(plain, 50.0, span), 1.0 + 1.0 + 1.0)
    largest = Tolerance(absolute="1 %RH", of_reading="4 %", of_range="1 %", combine="maximum")
    yield _number("maximum", at(largest, 50.0, span), 2.0)
    below = Tolerance(of_reading="2 %")
    yield _number("of a negative reading", at(below, -20.0, span), 0.4)
    bands = [
        {"lowest": "50 %RH", "highest": "80 %RH", "absolute": "3 %RH"},
        {"lowest": "10 %RH", "highest": "50 %RH", "absolute": "2 %RH"},
    ]
    banded = Tolerance(absolute="5 %RH", bands=bands)
    for value, expected in ((10.0, 2.0), (49.999, 2.0), (50.0, 3.0), (80.0, 3.0), (80.001, 5.0), (9.999, 5.0)):
        yield _number(f"at {value}", at(banded, value, span), expected)
    yield _word("share of an unknown range", math.isnan(at(Tolerance(of_range="1 %"), 50.0, None)), True)
    yield _word("outside all bands", math.isnan(at(Tolerance(bands=bands), 90.0, span)), True)


def least_squares(program: Program) -> Iterator[Check]:
    """NIST StRD Norris and NoInt1, and a calibration line of the e-Handbook, with the identity as covariance."""
    certified = table("least_squares")
    for name in ("Norris", "NoInt1", "linewidth"):
        data = [(float(r["x"]), float(r["y"])) for r in table("least_squares_data") if r["dataset"] == name]
        x, y = np.array(data).T
        design = x[:, None] if name == "NoInt1" else np.column_stack([np.ones(len(x)), x])
        fit, _ = program.least_squares.generalised_least_squares(design, y, np.eye(len(x)))
        residual = y - design @ fit
        s = math.sqrt(float(residual @ residual) / (len(x) - design.shape[1]))
        fit, spread = program.least_squares.generalised_least_squares(design, y, s**2 * np.eye(len(x)))
        first = 1 if name == "NoInt1" else 0
        computed = {f"B{first + i}": value for i, value in enumerate(fit)}
        computed |= {f"sd(B{first + i})": math.sqrt(spread[i, i]) for i in range(len(fit))}
        sum_of_squares = program.least_squares.chi_squared(residual, np.eye(len(x)))
        computed |= {"residual sd": s, "residual sum of squares": sum_of_squares}
        if name == "linewidth":
            computed = {
                "intercept a": fit[0],
                "slope b": fit[1],
                "residual sd": s,
                "s(a)": math.sqrt(spread[0, 0]),
                "s(b)": math.sqrt(spread[1, 1]),
                "cov(a,b)": spread[0, 1],
            }
        for row in certified:
            if row["dataset"] == name and row["quantity"] in computed:
                expected = float(row["expected"])
                yield _number(
                    f"{row['id']} {name} {row['quantity']}",
                    computed[row["quantity"]],
                    expected,
                    float(row["tolerance"]) * abs(expected),
                    row["source"],
                )


def e_n_numbers(program: Program) -> Iterator[Check]:
    """Two independent results: the difference over the U of the difference."""
    sources, terms = program.sources, program.terms
    for row in table("e_n_numbers"):
        catalogue = sources.Catalogue()
        for name in ("lab", "ref"):
            catalogue.add(sources.Source(identity=name, label="", u=float(row[f"U_{name}"]) / 2.0, unit=""))
        entries = terms.Terms(np.arange(2), np.arange(2), np.ones(2))
        budgets = program.budgets.make_budgets(catalogue, entries, 2)
        _, _, U = program.covariance.expanded_of_combination(budgets, (0, 1), (1.0, -1.0))
        computed = (float(row["x_lab"]) - float(row["x_ref"])) / U
        yield _number(row["id"], computed, float(row["expected"]), float(row["tolerance"]), row["source"])
        yield _word(f"{row['id']} verdict", abs(computed) <= 1.0, row["verdict"] == "satisfactory", row["source"])


def old_references() -> Files:
    """A generator calibrated in 2019, valid for ten years."""
    quantities = {
        name: b.flat(*ends, on="2019-01-12", valid_until="2029-01-12")
        for name, ends in {
            "saturation_pressure": (0, 1500, "kPa", 0.4),
            "saturation_temperature": (-20, 60, "degC", 0.1),
            "chamber_pressure": (0, 150, "kPa", 0.06),
            "chamber_temperature": (-20, 60, "degC", 0.1),
        }.items()
    }
    return b.two_pressure(quantities=quantities)


def steady() -> Files:
    """A facility whose visits shift by next to nothing: a quarter of what else varies in these histories."""
    return b.facility(policies={"rule": "guard_band", "visit_to_visit": "0.00884 %RH"})


def yearly(errors: dict[str, Any], *parts: Files) -> Files:
    """Visits by day: an error at all three points, or the visit's plateaus. Where no part says otherwise, steady."""
    visits = [
        b.visit(f"{day}-lab", *(points(what) if isinstance(what, float) else what)) for day, what in errors.items()
    ]
    return b.records(steady(), b.sensor(), old_references(), *parts, *visits)


def drift_of_an_instrument(program: Program) -> Iterator[Check]:
    """0.3 %RH a year over four visits; the reference's shared errors leave the rate alone."""
    files = yearly({"2022-03-16": 0.0, "2023-03-16": 0.3, "2024-03-16": 0.6, "2025-03-16": 0.9})
    (found,) = standing(program, files).drifts
    yield _number("rate", found.rate, 0.3, 1e-3)
    yield _word("state", found.state, "drifting")
    yield _word("visits", found.visits, 4)
    yield _word("first and last", (found.first, found.last), (date(2022, 3, 16), date(2025, 3, 16)))
    yield _number("level at 50 %RH", dict(found.levels)[50.0], 0.0, 2e-3)
    shared = max(r.U for r in assessed(program, files).results)
    yield _word("U of the rate is not that of one result over the years", 0.25 * shared / 3.0 > found.U, True)
    (change,) = [c for c in found.changes if c.target == 50.0]
    yield _number("newest change", change.change, 0.3, 1e-6)
    yield _word("it stands out of the U of the difference", change.significant, True)
    naive = math.hypot(change.before.U, change.now.U)
    yield _word("and would not by the plain root sum", abs(change.change) > naive, False)


def lines_that_do_not_hold(program: Program) -> Iterator[Check]:
    """A step among steady years has no rate: χ² = rᵀ V⁻¹ r is far beyond its degrees of freedom."""
    line = {"2022-03-16": 0.0, "2023-03-16": 0.3, "2024-03-16": 0.6, "2025-03-16": 0.9}
    step = {"2022-03-16": 0.0, "2023-03-16": 0.0, "2024-03-16": 0.0, "2025-03-16": 1.2}
    (drifting,), (stepping,) = (standing(program, yearly(errors)).drifts for errors in (line, step))
    yield _word("freedom: 12 results less 3 levels and 2 rates", (drifting.freedom, stepping.freedom), (7, 7))
    yield _word("the line stands", (drifting.state, drifting.chi_squared < 18.475), ("drifting", True), CHI_SQUARED)
    yield _word("the step does not", (stepping.state, stepping.chi_squared > 18.475), ("watch", True), CHI_SQUARED)
    yield _word("its sentence has no rate", "per year" in stepping.sentence, False)
    said = "a step of +1.20 %RH between 2024-03-16 and 2025-03-16"
    yield _word(f"{stepping.sentence} says {said}", said in stepping.sentence, True)
    yield _word("the line says how well it fits", "(χ² 0.0 for 7 degrees" in drifting.sentence, True)


def like_with_like(program: Program) -> Iterator[Check]:
    """A point of the history is a target, gone through one way, at one temperature."""
    loop = yearly({day: _loop(0.3 * i) for i, day in enumerate(("2023-03-16", "2024-03-16", "2025-03-16"))})
    (found,) = standing(program, loop).drifts
    yield _number("levels: 20, 50 rising, 80, 50 falling", len(found.levels), 4)
    yield _word("2 %RH of hysteresis is no scatter about the line", found.state, "drifting")
    for between, same in ((4.0, True), (6.0, False)):
        c = 25.0 - between
        cold = [b.plateau(at, [at + 3.0, at + 3.0], b.generated(at, c, c)) for at in TARGETS]
        warm = {day: 0.0 for day in ("2022-03-16", "2023-03-16", "2024-03-16")}
        (found,) = standing(program, yearly({**warm, "2025-03-16": cold})).drifts
        yield _number(f"{between} K apart: 12 results less levels and 2 rates", found.freedom, 7 if same else 4)
        yield _number(f"{between} K apart: changes", len(found.changes), 3 if same else 0)
        yield _word(f"{between} K apart: state", found.state, "watch" if same else "steady")


def _loop(shift: float) -> list[list[b.Row]]:
    """20, 50 rising, 80, 50 falling, with 2 %RH of hysteresis at 50 %RH."""
    errors = ((20, 0.0), (50, -1.0), (80, 0.0), (50, 1.0))
    return [b.plateau(at, [round(at + e + shift, 2)] * 2, b.generated(at)) for at, e in errors]


def segments(program: Program) -> Iterator[Check]:
    """An adjustment opens a segment with its as left; as found without adjustment is as left, counted once."""
    adjusting = [*points(1.2), b.adjusted("span"), *points(0.0, phase="as_left")]
    files = yearly(
        {
            "2021-03-16": 1.1,
            "2022-03-16": adjusting,
            "2023-03-16": 0.1,
            "2024-03-16": [*points(0.2), *points(0.7, phase="as_left")],
            "2025-03-16": 0.3,
        }
    )
    (found,) = standing(program, files).drifts
    yield _word("visits and segments", (found.visits, found.segments), (5, 2))
    yield _word("days of the open segment", (found.first, found.last), (date(2022, 3, 16), date(2025, 3, 16)))
    yield _number("rate before and after the adjustment", found.rate, 0.1, 1e-3)
    yield _number("freedom: 18 results less 6 levels and 2 rates", found.freedom, 10)
    yield _number("level as left", dict(found.levels)[20.0], 0.0, 3e-3)
    element = yearly({"2023-03-16": 0.6, "2024-03-16": [*points(1.2), b.adjusted("element")], "2025-03-16": 0.1})
    (found,) = standing(program, element).drifts
    yield _word("too few after a new element", (found.state, found.visits), ("too few visits", 1))
    looked_at = yearly({"2023-03-16": 0.0, "2024-03-16": [*points(0.1), b.adjusted("none")], "2025-03-16": 0.2})
    (found,) = standing(program, looked_at).drifts
    yield _word("nothing was changed", (found.visits, found.segments), (3, 1))


def due_dates(program: Program) -> Iterator[Check]:
    """Calendar months from the last complete visit; a month's last day where it has no such day."""
    months = program.due.add_months
    for day, more, expected in (
        ("2026-01-31", 1, "2026-02-28"),
        ("2028-01-31", 1, "2028-02-29"),
        ("2026-08-31", 6, "2027-02-28"),
        ("2026-12-15", 1, "2027-01-15"),
        ("2028-02-29", 12, "2029-02-28"),
        ("2026-03-16", 120, "2036-03-16"),
    ):
        yield _word(f"{day} + {more}", months(date.fromisoformat(day), more), date.fromisoformat(expected))
    files = yearly({"2025-03-31": 0.1})
    for day, expected in (
        ("2025-04-01", "in date"),
        ("2026-02-28", "in date"),
        ("2026-03-01", "due soon"),
        ("2026-03-31", "due soon"),
        ("2026-04-01", "overdue"),
    ):
        due = standing(program, files, day).due
        yield _word(day, due.state, expected)
        yield _word(f"{day}, due", due.day, date(2026, 3, 31))


def incomplete_visits(program: Program) -> Iterator[Check]:
    """A point not done, unsettled or against a reference out of date leaves the due date where it was."""
    complete = points(0.1)
    unsettled = b.facility(policies={"rule": "guard_band", "settling": {"least_soak": "20 min"}})
    cases = {
        "complete": (complete, True),
        "a point not done": ([*complete[:2], b.not_done(80.0)], False),
        "a point missing": (complete[:2], False),
        "a point unsettled": ([*complete[:2], b.plateau(80, [80.1], b.generated(80), soak=5)], False),
        "points within 3 %RH": ([b.plateau(at + 2.9, [at + 3], b.generated(at + 2.9)) for at in TARGETS], True),
        "points further off": ([b.plateau(at + 3.1, [at + 3], b.generated(at + 3.1)) for at in TARGETS], False),
        "another laboratory's": ([b.stated(at, 0.1, 0.5) for at in TARGETS], True),
    }
    for name, (rows, counts) in cases.items():
        files = yearly({"2024-03-16": 0.1, "2025-03-16": rows}, unsettled)
        yield _word(name, standing(program, files).due.since, date(2025 if counts else 2024, 3, 16))
    late = yearly({"2028-06-01": 0.1, "2029-06-01": 0.1})
    yield _word("reference out of date", standing(program, late, "2029-07-01").due.since, date(2028, 6, 1))


def states(program: Program) -> Iterator[Check]:
    """From the latest phase that has a verdict, of the present instrument."""
    for name, visits, expected in (
        ("in tolerance", {"2025-03-16": 0.1}, "in tolerance"),
        ("out of tolerance", {"2024-03-16": 0.1, "2025-03-16": points(0.1, 0.1, 4.0)}, "out of tolerance"),
        ("near the limit", {"2025-03-16": points(0.1, 0.1, 1.9)}, "too close to call"),
        ("one fails, one near", {"2025-03-16": points(0.1, 1.95, 4.0)}, "out of tolerance"),
        ("repaired", {"2025-03-16": [*points(4.0), b.adjusted(), *points(0.1, phase="as_left")]}, "in tolerance"),
        ("nothing", {}, "never calibrated"),
        ("not done", {"2025-03-16": [b.not_done(50.0)]}, "no verdict"),
        ("older verdict stands", {"2024-03-16": 4.0, "2025-03-16": [b.not_done(50.0)]}, "out of tolerance"),
    ):
        yield _word(name, standing(program, yearly(visits)).state, expected)
    swapped = b.sensor(
        installed=[
            {"serial": "A", "family": "rush", "from": "2000-01-01"},
            {"serial": "B", "family": "rush", "from": "2025-06-01"},
        ]
    )
    found = standing(program, yearly({"2025-03-16": 4.0}, swapped))
    yield _word("a new instrument", (found.state, found.due.state), ("never calibrated", "never calibrated"))
    before = standing(program, yearly({"2025-03-16": 4.0}, swapped), "2025-05-31")
    yield _word("the old one on its last day", before.state, "out of tolerance")


def findings(program: Program) -> Iterator[Check]:
    """An as found that fails opens a case: what it meant for the air, and since when the air may have been so."""
    files = yearly(
        {
            "2022-03-16": 0.1,
            "2023-03-16": points(0.1, 0.1, 3.0),
            "2024-03-16": [*points(0.1, 4.0, 3.5), b.adjusted(), *points(0.0, phase="as_left")],
            "2025-03-16": points(-3.0, 0.0, 0.0),
        },
        b.finding("RH-1", "2024-03-16-lab", closed="2024-05-01", closed_by="ben", decision="goods kept"),
        b.finding("RH-1", "2025-03-16-lab"),
    )
    cases = {case.visit: case for case in assessed(program, files).cases}
    yield _word("visits", sorted(cases), ["2023-03-16-lab", "2024-03-16-lab", "2025-03-16-lab"])
    for visit, target, last, direction, state in (
        ("2023-03-16-lab", 80.0, date(2022, 3, 16), "drier", "nobody has it yet"),
        ("2024-03-16-lab", 50.0, date(2022, 3, 16), "drier", "closed"),
        ("2025-03-16-lab", 20.0, date(2024, 3, 16), "damper", "open"),
    ):
        case = cases[visit]
        yield _word(f"{visit}: worst", case.worst.target, target)
        yield _word(f"{visit}: last good", case.last_good, last)
        yield _word(f"{visit}: direction", case.direction, f"the air was {direction} than shown")
        yield _word(f"{visit}: state", case.state, state)


def advice(program: Program) -> Iterator[Check]:
    """Within the limit or within the noise: leave. All alike: zero. A slope: zero and span. One point: nothing."""
    limit = b.family(adjustment_limit={"absolute": "0.5 %RH"})
    coarse = b.family(
        adjustment_limit={"absolute": "0.5 %RH"}, humidity={"resolution": "0.01 %RH", "repeatability": "2 %RH"}
    )
    for name, family, rows, expected in (
        ("small", limit, points(0.3), "leave"),
        ("alike", limit, points(0.8), "zero"),
        ("a slope", limit, points(-1.0, 0.0, 1.0), "zero and span"),
        ("in the noise", coarse, points(0.8), "leave"),
        ("one point", limit, points(4.0)[:1], "none"),
        ("one settled target twice", limit, [*points(4.0)[:1], b.not_done(50.0), *points(4.0)[:1]], "none"),
        ("a pass needs none", b.family(), points(1.2), "leave"),
        ("near the limit", b.family(), points(1.95), "zero"),
    ):
        (summary,) = assessed(program, yearly({"2025-03-16": rows}, family)).summaries
        yield _word(name, summary.advice.action, expected)
    (summary,) = assessed(program, yearly({"2025-03-16": points(0.8)}, limit)).summaries
    yield _word("against the error", "adjust zero by −0.80" in summary.advice.sentence.replace("-", "−"), True)


def both_ways(program: Program) -> Iterator[Check]:
    """Rising and falling at one target: 49.3 and 50.5 are 1.2 %RH of hysteresis, with the U of the difference."""
    rows = [
        b.plateau(20, [20.0, 20.0], b.generated(20)),
        b.plateau(50, [49.3, 49.3], b.generated(50)),
        b.plateau(80, [80.0, 80.0], b.generated(80)),
        b.plateau(50, [50.5, 50.5], b.generated(50)),
    ]
    (summary,) = assessed(program, yearly({"2025-03-16": rows})).summaries
    (found,) = summary.hysteresis
    yield _number("width", found.width, 1.2, 1e-9)
    yield _number("U", found.U, 2.0 * 0.05, 2e-3)  # √2 means of two readings with s = 0.05 each: the reference cancels


ALL = (
    decision_rules,
    two_tails,
    edges,
    specific_risk,
    tolerances,
    least_squares,
    e_n_numbers,
    drift_of_an_instrument,
    lines_that_do_not_hold,
    like_with_like,
    segments,
    due_dates,
    incomplete_visits,
    states,
    findings,
    advice,
    both_ways,
)
