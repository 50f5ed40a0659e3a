"""What charts, interval proposals and checks of references must be: by published examples, and worked out apart.

Each function takes the program (see tests/program.py) and yields what was computed beside what it must be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from tests import builders as b
from tests.assessment.checks import _number, _word, assessed
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
    reading = {"2026-04-10": used("2026-04-10", reading=b.generated(50))}
    other = doubted(program, probe_records(*story[:4], *(visits | reading).values()))
    yield _word("what leans on another reference", sorted(other), between[1:])


def found_off(program: Program) -> Iterator[Check]:
    """2·√(0.2² + 0.15² + (0.3·1/√3)²) kPa: the change that two certificates and a year's drift allow."""
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
        for size, conforms in ((0.98, True), (1.02, False)):
            change = round(size * U / 1e3, 4)
            one, doubts = compared(-change, drift=drift)
            yield _number(f"U with {drift} kPa a year", one.U, U, 1e-3)
            yield _number("change", one.change, -1e3 * change, 1e-6)
            expected = [] if conforms else ["2026-06-10-lab"]
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


ALL = (control_limits, signals, failed_checks, found_off)
