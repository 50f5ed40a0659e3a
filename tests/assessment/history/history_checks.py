"""What charts, interval proposals and checks of references must be: by published examples, and worked out apart.

Each function takes the program (see tests/program.py) and yields what was computed beside what it must be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from typing import Any

import numpy as np

from tests import builders as b
from tests.assessment.checks import _number, _word, assessed, old_references, points, standing, yearly
from tests.builders import Files
from tests.humidity.published_checks import Check, table
from tests.program import Program

EXAMPLE_SIGMA, EXAMPLE_TARGET, EXAMPLE_WEIGHT = 2.0539, 50.0, 0.3
"""Of the EWMA example in the NIST/SEMATECH e-Handbook, 6.3.2.4."""


def control_limits(program: Program) -> Iterator[Check]:
    """NIST/SEMATECH e-Handbook 6.3.2.2 and 6.3.2.4: values, averages and limits as printed there."""
    charts = program.control_charts
    for row in table("control_charts"):
        x = [float(value) for value in row["x"].split()]
        if row["chart"] == "individuals":
            chart = charts.individuals(x)
            computed = {
                "centre": chart.centre,
                "mean moving range": charts.moving_range_sigma(x) * charts.D2,
                "upper limit": chart.upper,
                "lower limit": chart.lower,
            }[row["quantity"]]
        elif row["quantity"] == "value":
            computed = charts.ewma(x, EXAMPLE_TARGET, EXAMPLE_SIGMA, EXAMPLE_WEIGHT).values[-1]
        else:
            number = float(row["number"] or math.inf)
            reach = float(charts.ewma_half_width(number, EXAMPLE_SIGMA, EXAMPLE_WEIGHT))
            computed = EXAMPLE_TARGET - reach if "lower" in row["quantity"] else EXAMPLE_TARGET + reach
        yield _number(
            f"{row['id']} {row['quantity']}",
            computed,
            float(row["expected"]),
            float(row["tolerance"]),
            row["source"],
        )
    values = [float(value) for value in table("control_charts")[0]["x"].split()]
    printed = charts.individuals(values, sigma=1.8778 / 1.128)
    source = "NIST/SEMATECH e-Handbook 6.3.2.2, with its rounded d2"
    yield _number("upper limit by the page's d2", printed.upper, 55.8041, 2e-4, source)
    yield _number("the process is in control", len(printed.signals), 0, source=source)


def signals(program: Program) -> Iterator[Check]:
    """A value beyond its limits is a signal, one on them is none; a small lasting shift is the average's to find."""
    charts = program.control_charts
    x = np.array([0.0, 3.0, -3.0, 3.1, -3.1])
    yield _word("limits 0 ± 3·1", charts.individuals(x, centre=0.0, sigma=1.0).signals, (3, 4))
    shifted = np.array([0.4, -0.6, 0.5, -0.3, 1.4, 1.6, 1.3, 1.7, 1.5, 1.4])
    yield _word("a shift of 1.5 σ, single values", charts.individuals(shifted, 0.0, 1.0).signals, ())
    found = charts.ewma(shifted, 0.0, 1.0).signals
    yield _word(f"a shift of 1.5 σ, the average: {found}", bool(found) and min(found) > 5, True)


def used(day: str, error: float = 0.0, reading: b.Row | None = None) -> Files:
    """RH-1 calibrated on a day, with the transfer probe unless another reading is given."""
    rows = b.plateau(50, [50.0 + error] * 2, reading or b.by_probe(50.0))
    return b.visit(f"{day}-lab", rows)


def checked(day: str, error: float, *, name: str = "check", **columns: Any) -> Files:
    """The transfer probe checked on a day against the humidity generator."""
    rows = b.plateau(50, [50.0 + error] * 2, b.generated(50), sensor="PROBE-01", phase="check", **columns)
    return b.visit(f"{day}-{name}", rows)


def probe_records(*parts: Files, **keys: Any) -> Files:
    """RH-1, a humidity generator and a transfer probe whose checks must lie within ± 1.2 %RH."""
    gradients = {"saturator_gradient": "0 degC", "chamber_gradient": "0 degC", "lowest_efficiency": "100 %"}
    probe = b.transfer_probe(**{"check_limit": {"humidity": "1.2 %RH"}, "chamber_gradient": "0 degC"} | keys)
    return b.records(b.sensor(), b.two_pressure(**gradients), probe, *parts)


def recalibrated(found: float, *, drift: float = 0.0, as_found: bool = True, k: float = 2.0) -> b.Keys:
    """Saturation pressure calibrated on 2026-01-12 and a year later, when it was found so many kPa off."""
    ends = [b.point(f"{at} kPa", "0 kPa", "0.4 kPa") for at in (0, 1500)]
    wrong = [b.point(f"{at} kPa", f"{found} kPa", "0.3 kPa", k) for at in (0, 700, 1500)]
    first = b.calibration(*ends, drift=f"{drift} kPa/year")
    keys = {"as_found": wrong} if as_found else {"points": wrong}
    return b.quantity(first, b.calibration(*ends, on="2027-01-12", **keys), resolution="0.004 kPa")


def doubted(program: Program, files: Files, day: str = "2027-12-31") -> dict[str, str]:
    """Visits with results in doubt, each with the message."""
    return {
        r.visit: f.message
        for r in assessed(program, files, day).results
        for f in r.reservations
        if f.rule.name == "reference-in-doubt"
    }


def failed_checks(program: Program) -> Iterator[Check]:
    """Doubt reaches from the last good check or calibration to the next, the failed check's day inside."""
    visits = {f"2026-{month:02d}-10": used(f"2026-{month:02d}-10") for month in (2, 4, 6, 8)}
    story = (
        checked("2026-03-10", 0.2),
        checked("2026-05-10", 3.0),
        used("2026-05-10"),
        checked("2026-07-10", -0.1),
        *visits.values(),
    )
    found = doubted(program, probe_records(*story))
    between = ["2026-04-10-lab", "2026-05-10-lab", "2026-06-10-lab"]
    yield _word(f"between two good checks: {sorted(found)}", sorted(found), between)
    said = "PROBE-01 is in doubt from 2026-03-11 to 2026-07-09: the check 2026-05-10-check found +3.00 ± "
    yield _word(f"{found['2026-04-10-lab']} begins {said}", found["2026-04-10-lab"].startswith(said), True)
    yield _word("and names the limit", "its limit is 1.2 %RH" in found["2026-04-10-lab"], True)
    early = doubted(program, probe_records(*story), "2026-06-30")
    yield _word("before the next good one it has no end", "from 2026-03-11 on" in early["2026-06-10-lab"], True)
    good = doubted(program, probe_records(checked("2026-05-10", 1.0), *visits.values()))
    yield _word("a good check casts no doubt", good, {})
    first = doubted(program, probe_records(checked("2026-05-10", 3.0), *visits.values()))
    yield _word("without an earlier check since the calibration", len(first), 4)
    plain = probe_records(checked("2026-05-10", 3.0), *visits.values(), check_limit=None)
    yield _word("without a limit no check fails", doubted(program, plain), {})
    fine = probe_records(*story[:3], *visits.values(), checked("2026-07-10", 0.1), check_limit={"humidity": "0.3 %RH"})
    undecided = doubted(program, fine)
    yield _word(
        f"a check that its U cannot decide ends nothing: {sorted(undecided)}", "2026-08-10-lab" in undecided, True
    )
    reading = {"2026-04-10": used("2026-04-10", reading=b.generated(50))}
    other = doubted(program, probe_records(*story[:4], *(visits | reading).values()))
    yield _word("what leans on another reference", sorted(other), between[1:])


def found_off(program: Program) -> Iterator[Check]:
    """2·√(0.2² + 0.15² + (0.3·1/√3)²) kPa: the change that two certificates and a year's drift allow.

    Of four quantities each may stand out by chance: 1 % over all of them is 3.023 u for one, 1.51 U.
    """
    visits = [used(day, reading=b.generated(50)) for day in ("2026-01-12", "2026-06-10", "2027-01-12", "2027-06-10")]

    def compared(found: float, **keys: Any) -> Any:
        files = b.records(b.sensor(), b.two_pressure(quantities={"saturation_pressure": recalibrated(found, **keys)}))
        for visit in visits:
            files |= visit
        whole = assessed(program, files, "2027-12-31")
        (one,) = program.recalibrations.recalibrations(whole.records, whole.measurement)
        return one, doubted(program, files)

    years = 365 / 365.25
    for drift in (0.0, 0.3):
        U = 2e3 * math.sqrt(0.2**2 + 0.15**2 + (drift * years / math.sqrt(3.0)) ** 2)
        for size, sound in ((1.49, True), (1.53, False)):
            change = round(size * U / 1e3, 4)
            one, doubts = compared(-change, drift=drift)
            yield _number(f"U with {drift} kPa a year", one.U, U, 1e-3)
            yield _number("change", one.change, -1e3 * change, 1e-6)
            expected = [] if sound else ["2026-06-10-lab"]
            yield _word(f"{size} of U, drift {drift}: {sorted(doubts)}", sorted(doubts), expected)
    # k = 4.53 at 95.45 % is Student's t for ν = 2: then half the U counts, and k of the difference is larger than 2.
    one, _ = compared(1.0, k=4.5266)
    u = 1e3 * math.hypot(0.2, 0.3 / 4.5266)
    nu = u**4 / ((300.0 / 4.5266) ** 4 / 2.0)
    k = float(program.sources.coverage_factor(nu))
    yield _number("few degrees of freedom", one.U, k * u, 0.05, "JCGM 100:2008, G.4.1 and table G.2")
    one, doubts = compared(1.0, as_found=False)
    yield _word("without as found nothing was adjusted: what was left was found", sorted(doubts), ["2026-06-10-lab"])
    said = doubts["2026-06-10-lab"]
    begins = "GEN-01 is in doubt from 2026-01-13 to 2027-01-11: C-2027-01-12 of 2027-01-12 found saturation pressure "
    yield _word(f"{said} begins {begins}", said.startswith(begins), True)


def published_intervals(program: Program) -> Iterator[Check]:
    """Staircases, exponential reliability, drift-limited intervals and exact bounds, each with its source."""
    interval, reliability = program.interval, program.reliability
    for row in table("calibration_intervals"):
        given = {name: float(row[name]) for name in _NUMBERS if row[name]}
        if row["quantity"] == "staircase":
            months = given["months"]
            factors = {name: given[name] for name in ("extend_below", "extend_by", "reduce_by")}
            for share, expected in zip(row["shares"].split(), row["expected"].split(), strict=True):
                months = interval.staircase(months, float(share), **factors)
                yield _number(f"{row['id']} after {share}", months, float(expected), given["tolerance"], row["source"])
            continue
        if row["quantity"] == "exponential":
            computed = reliability.exponential_months(given["months"], given["observed"], given["target"])
        elif row["quantity"] == "drift-limited":
            computed = interval.drift_limited_years(
                given["offset"], given["rate"], given["u_rate"], given["u"], given["tolerated"]
            )
        else:
            computed = reliability.lower_bound(int(row["successes"]), int(row["trials"]))
        yield _number(
            f"{row['id']} {row['quantity']}", computed, float(row["expected"]), given["tolerance"], row["source"]
        )


_NUMBERS = (
    "months", "extend_below", "extend_by", "reduce_by", "observed", "target", "offset", "rate", "u_rate", "u",
    "tolerated", "tolerance",
)  # fmt: skip


def intervals(method: str, **keys: Any) -> Files:
    """A facility whose policy proposes intervals by a method, of 2 to 30 months."""
    rule = {"method": method, "shortest": 2, "longest": 30} | keys
    return b.facility(policies={"rule": "guard_band", "visit_to_visit": "0.00884 %RH", "intervals": rule})


def proposed(program: Program, errors: dict[str, Any], *parts: Files, day: str = "2026-04-01") -> Any:
    """What is proposed for RH-1."""
    return standing(program, yearly(errors, *parts), day).proposal


def staircases(program: Program) -> Iterator[Check]:
    """Found within 80 % of ± 2 %RH: longer. Outside: shorter. Between: kept. Once for each as found."""
    for error, months, day in (
        (1.6, 15, "2027-06-16"),
        (1.62, 12, ""),
        (2.02, 6, "2026-09-16"),
        (-2.5, 6, "2026-09-16"),
    ):
        found = proposed(program, {"2025-03-16": 0.1, "2026-03-16": points(0.0, error, 0.1)}, intervals("staircase"))
        changes = f"next due {day} instead of 2027-03-16" if day else "nothing: the interval stays 12 months"
        yield _word(f"{error}: {found}", (found.months_now, found.months, found.changes), (12, months, changes))
    found = proposed(program, {"2025-03-16": 0.1, "2026-03-16": points(0.0, 1.0, 0.0)}, intervals("staircase"))
    reason = "found at 50 % of the tolerance on 2026-03-16 at 50 %RH: within 80 %, so 12 months are multiplied by 1.25"
    yield _word(found.reason, found.reason, reason)
    longer = b.family(interval=[{"months": 12}, {"from": "2026-03-20", "months": 15}])
    found = proposed(program, {"2025-03-16": 0.1, "2026-03-16": 0.1}, intervals("staircase"), longer)
    yield _word(f"what was taken up is not proposed twice: {found}", (found.months_now, found.months), (15, 15))
    found = proposed(program, {"2025-03-16": 0.1, "2026-03-16": 0.1}, intervals("staircase", extend_by=4.0))
    yield _word(f"clamped: {found}", (found.months, "longest interval is 30 months" in found.reason), (30, True))
    found = proposed(program, {"2025-03-16": 0.1, "2026-03-16": 2.5}, intervals("staircase", reduce_by=0.1))
    yield _word(f"clamped: {found}", (found.months, "shortest interval is 2 months" in found.reason), (2, True))
    found = proposed(program, {}, intervals("staircase"))
    yield _word(f"nothing found yet: {found}", (found.months, found.changes), (None, ""))
    found = proposed(program, {"2026-03-16": 0.1}, intervals("staircase"))
    yield _word(f"the first visit ended no interval: {found}", (found.months, found.changes), (None, ""))
    yield _word("no method, no proposal", proposed(program, {"2025-03-16": 0.1, "2026-03-16": 0.1}), None)


def hours_of_use(program: Program) -> Iterator[Check]:
    """200 h in a year of 365.25 days are 16.7 h a month: 400 h last 24 months."""

    def read(*counters: float | None, errors: float = 0.1, **keys: Any) -> Any:
        days = ("2024-03-16", "2025-03-16", "2026-03-16")
        visits = {day: points(errors, **{"in_use [h]": hours}) for day, hours in zip(days, counters)}
        return proposed(program, visits, intervals("in_use_time", **{"hours": "400 h"} | keys))

    found = read(50.0, 1000.0, 1200.0)
    yield _word(f"by the newest two: {found}", (found.months, found.changes[:19]), (23, "next due 2028-02-16"))
    yield _word(f"{found.reason} has the rate", "17 h a month: 400 h last 24.0 months" in found.reason, True)
    found = read(1000.0, None, 1200.0)
    yield _word(f"over two years the half of it: {found}", found.months, 30)
    found = read(1000.0, 1200.0, 1190.0)
    yield _word(f"a counter that went back: {found}", (found.months, "no rate of use" in found.reason), (None, True))
    found = read(None, None, 1200.0)
    yield _word(f"one reading: {found}", (found.months, "two readings are needed" in found.reason), (None, True))
    found = read(50.0, 1000.0, 1200.0, errors=2.5)
    yield _word(f"never longer after a fail: {found}", (found.months, "not lengthened" in found.reason), (12, True))
    found = read(None, 1200.0, 1200.0)
    yield _word(f"not in use: {found}", found.months, 30)


def intervals_by_drift(program: Program) -> Iterator[Check]:
    """0.3 %RH a year from about zero: the control chart's arithmetic, and the earliest day of the prediction."""
    errors = {"2023-03-16": -0.88, "2024-03-16": -0.65, "2025-03-16": -0.26, "2026-03-16": 0.0}
    whole = standing(program, yearly(errors, intervals("control_chart", longest=200)), "2026-04-01")
    (drift,) = whole.drifts
    k = float(program.sources.coverage_factor(drift.nu))

    def line(t: float, number: int) -> float:
        outlook, expected = drift.outlooks[number], drift.fit.expected(date(2026, 3, 16))
        u = math.hypot(math.sqrt(expected.covariance[number, number]), drift.between)
        band = k * math.hypot(u, outlook.U_rate / k * t)
        return abs(float(expected.errors[number])) + abs(outlook.rate) * t + band

    months = whole.proposal.months
    tolerated = [line(months / 12.0, number) <= 2.0 for number in range(3)]
    reached = [line((months + 1) / 12.0, number) > 2.0 for number in range(3)]
    yield _word(f"within at every point: {whole.proposal}", tolerated, [True] * 3)
    yield _word("and no longer a month later, somewhere", any(reached), True)
    yield _word("neither bound at work", 2 < months < 200, True)
    found = proposed(program, errors, intervals("drift", longest=200))
    earliest = min(outlook.leaves.earliest for outlook in drift.outlooks)
    after = program.due.add_months(date(2026, 3, 16), found.months)
    later = program.due.add_months(date(2026, 3, 16), found.months + 1)
    yield _word(f"the last whole month before {earliest}: {found}", after <= earliest < later, True)
    steady = {f"{year}-03-16": 0.1 for year in (2023, 2024, 2025, 2026)}
    for method in ("drift", "control_chart"):
        found = proposed(program, steady, intervals(method))
        yield _word(f"steady: {found}", (found.months, "longest" in found.reason), (30, True))
        found = proposed(program, {"2026-03-16": 0.1}, intervals(method))
        yield _word(f"too few visits: {found}", (found.months, "too few" in found.reason), (None, True))


def reliability_of_a_model(program: Program) -> Iterator[Check]:
    """Worst of a sensor's as found at a visit; by model, and by model and place; what is not judged is not counted."""
    places = [{"id": "lab", "name": "Laboratory"}, {"id": "yard", "name": "Yard"}]
    files = b.records(
        b.facility(places=places, policies={"rule": "guard_band", "intervals": {"method": "staircase"}}),
        b.sensor("RH-1"),
        b.sensor("RH-2", place={"place": "yard"}),
        old_references(),
        b.visit("2023-03-16-a", *points(0.1), *points(4.0, sensor="RH-2")),
        b.visit("2024-03-16-a", *points(0.1, 0.1, 4.0), *points(1.9, sensor="RH-2")),
        b.visit("2025-03-16-a", *points(0.1), [*b.not_done(50.0, sensor="RH-2")]),
        b.visit("2026-03-16-a", [*points(4.0), b.adjusted(), *points(0.1, phase="as_left")][0]),
    )
    found = assessed(program, files, "2026-12-31").reliabilities
    keys = [(r.model, r.place, r.in_tolerance, r.visits) for r in found]
    expected = [("rush", "", 3, 6), ("rush", "lab", 2, 4), ("rush", "yard", 1, 2)]
    yield _word(f"{keys}", keys, expected)
    # x of 6 for which P(3 or more of 6) = 5 %: the sum of C(6,i)·x^i·(1−x)^(6−i) over i = 3…6.
    x = found[0].lower_bound
    tail = sum(math.comb(6, i) * x**i * (1.0 - x) ** (6 - i) for i in range(3, 7))
    yield _number("Clopper and Pearson: 5 % at the bound", tail, 0.05, 1e-9, "binomial distribution")
    yield _number("months between visits", found[2].months, 366 * 12 / 365.25, 1e-9)
    yield _number("months for 95 %", found[0].target_months, found[0].months * math.log(0.95) / math.log(0.5), 1e-9)
    yield _word("two found outside tell no interval", math.isnan(found[1].target_months), True)


def changes_charted(program: Program) -> Iterator[Check]:
    """As found less as left before, mean of the points; what two visits share cancels, an adjustment is no change."""
    errors = {
        "2020-03-16": 0.0,
        "2021-03-16": 0.2,
        "2022-03-16": [*points(0.1, 0.4, 0.1), b.adjusted("span"), *points(-0.1, phase="as_left")],
        "2023-03-16": 0.1,
        "2024-03-16": 0.1,
        "2025-03-16": 1.3,
    }
    (chart,) = standing(program, yearly(errors), "2026-01-01").charts
    for computed, expected in zip(chart.changes, (0.2, 0.0, 0.2, 0.0, 1.2), strict=True):
        yield _number(f"change {expected}", computed, expected, 1e-9)
    yield _word("days", [day.year for day in chart.days], [2021, 2022, 2023, 2024, 2025])
    # two means over three points, each of two readings with s = 0.05 %RH: 2·0.05·√(1/3)
    # and by a declared shift of a quarter of 0.05/√2 at each visit; of one instrument, as far as the prior knows it
    own, shift = 0.05**2 / 3.0, 2.0 * 0.05**2 / 32.0
    k = float(program.sources.coverage_factor(2.5 * (own + shift) ** 2 / (own**2 + shift**2)))
    yield _number("U of a change", chart.U[0], k * math.sqrt(own + shift), 4e-3)
    spread = np.mean([0.2, 0.2, 0.2, 1.2]) / program.control_charts.D2
    yield _number("limits by the moving range", chart.individuals.upper, 0.32 + 3.0 * spread, 1e-9)
    yield _number("moving average", chart.ewma.values[-1], 0.2 * 1.2 + 0.8 * (0.2 * 0.2 * (1 + 0.8**2)) * 0.8, 1e-9)
    yield _word(chart.sentence, chart.sentence.startswith("5 changes from visit to visit, too few for more than"), True)
    component = b.facility(policies={"rule": "guard_band", "visit_to_visit": "0.3 %RH"})
    (wider,) = standing(program, yearly(errors, component), "2026-01-01").charts
    k = float(program.sources.coverage_factor(2.5 * (own + 0.18) ** 2 / (own**2 + 0.18**2)))
    yield _number("with a component", wider.U[0], k * math.sqrt(own + 0.18), 2e-2)
    few = dict(list(errors.items())[:4])
    (short,) = standing(program, yearly(few), "2026-01-01").charts
    yield _word(short.sentence, (short.individuals, short.ewma, "4 are needed" in short.sentence), (None, None, True))


ALL = (
    control_limits,
    signals,
    changes_charted,
    published_intervals,
    staircases,
    hours_of_use,
    intervals_by_drift,
    reliability_of_a_model,
    failed_checks,
    found_off,
)
