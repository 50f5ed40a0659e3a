"""What a retrace must say, by hand. Each function takes the program and yields what was computed and what must be."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from typing import Any

from tests import builders as b
from tests.assessment.checks import assessed
from tests.humidity.published_checks import Check
from tests.program import Program

ALWAYS = date(2000, 1, 1)
IAPWS = "IAPWS R6-95: 3169.9293 Pa at 25 °C, 4246.9708 Pa at 30 °C"
PER_KELVIN = math.log(4246.9708 / 3169.9293) / 5.0
"""d ln e / dT about 27.5 °C, 1/K."""


def _number(id: str, computed: float, expected: float, tolerance: float, source: str = "by hand") -> Check:
    return Check(id=id, source=source, computed=computed, expected=expected, tolerance=tolerance)


def _same(id: str, computed: object, expected: object) -> Check:
    return _number(f"{id}: {computed!s} for {expected!s}", float(computed == expected), 1.0, 1e-9)


def _retrace(
    program: Program, files: b.Files, quantity: str, size: float, since: date = ALWAYS, until: date | None = None
) -> Any:
    shift = program.shifts.constant("GEN-01", quantity, since, until, size)
    return program.retrace.retrace(assessed(program, files), [shift])


def at_50(shown: float = 50.0, **given: Any) -> list[b.Row]:
    return b.plateau(50, [shown, shown], b.generated(50, saturation_c=27.5, chamber_c=27.5, **given))


def wrong_thermometer(program: Program) -> Iterator[Check]:
    """0.1 K too high in the saturator, at one of three visits: +0.2917 %RH there, and nothing elsewhere."""
    visits = [b.visit(f"2026-0{month}-16-lab", at_50()) for month in (3, 4, 5)]
    found = _retrace(program, b.records(b.sensor(), b.two_pressure(), *visits), "saturation_temperature", 0.1)
    moves = [m.change for m in found.moved]
    expected = -50.0 * math.expm1(-0.1 * PER_KELVIN)
    yield _same("visits", len(moves), 3)
    for move in moves:
        yield _number("change", move, expected, 0.01 * expected, IAPWS)
    files, ends = b.records(b.sensor(), b.two_pressure(), *visits), (date(2026, 3, 16), date(2026, 4, 16))
    early = _retrace(program, files, "saturation_temperature", 0.1, *ends)
    yield _same("days", [m.before.day.month for m in early.moved], [3, 4])


def what_it_calibrated(program: Program) -> Iterator[Check]:
    """A probe that was calibrated here moves, and what it measured moves with it."""
    calibrating = b.visit(
        "2026-02-10-probe",
        *(b.plateau(t, [t + 0.5] * 2, b.generated(t), sensor="PROBE-01", phase="as_left") for t in (20, 50, 80)),
    )
    known = {**b.quantity(b.by_visit("2026-02-10-probe")), "resolution": "0.01 %RH"}
    probe = b.transfer_probe(quantities={"reference_humidity": known})
    used = b.visit("2026-03-16-lab", b.plateau(50, [50.5, 50.5], b.by_probe(50.5)))
    files = b.records(b.sensor(), b.two_pressure(), probe, calibrating, used)
    found = _retrace(program, files, "saturation_temperature", 0.1, until=date(2026, 2, 28))
    changes = {(m.before.sensor, m.before.target): m.change for m in found.moved}
    yield _same(
        "results", sorted(changes), [("PROBE-01", 20.0), ("PROBE-01", 50.0), ("PROBE-01", 80.0), ("RH-1", 50.0)]
    )
    if ("RH-1", 50.0) in changes:
        yield _number("the same change", changes[("RH-1", 50.0)], changes[("PROBE-01", 50.0)], 1e-6)


def what_to_do(program: Program) -> Iterator[Check]:
    """From +1.5 %RH by +1.45 %RH beyond the tolerance of 2 %RH: recall, finding, certificate; and the other way."""
    visit = b.visit("2026-03-16-lab", at_50(51.5))
    found = _retrace(program, b.records(b.sensor(), b.two_pressure(), visit), "saturation_temperature", 0.5)
    yield _same("recall", [c.sensor for c in found.recalls], ["RH-1"])
    yield _same("finding", [c.sensor for c in found.opened], ["RH-1"])
    yield _same("certificate", found.certificates, (("RH-1", "2026-03-16-lab"),))
    visit = b.visit("2026-03-16-lab", at_50(52.9))
    back = _retrace(program, b.records(b.sensor(), b.two_pressure(), visit), "saturation_temperature", -0.5)
    yield _same("no recall", [c.sensor for c in back.recalls], [])
    yield _same("finding falls away", [c.sensor for c in back.dropped], ["RH-1"])
    better = _retrace(program, b.records(b.sensor(), b.two_pressure(), visit), "saturation_temperature", -0.3)
    yield _same(
        "too close, and worse before", [(str(c.after), c.worse) for c in better.states], [("too close to call", False)]
    )
    small = _retrace(program, b.records(b.sensor(), b.two_pressure(), visit), "saturation_temperature", 0.002)
    yield _same("a change of 0.02 U needs no certificate", (len(small.moved), small.certificates), (1, ()))


def distributions(program: Program) -> Iterator[Check]:
    """A distribution that is carried along is what would be drawn with the same seed."""
    family = b.family(humidity={"resolution": "1 %RH", "repeatability": "0.05 %RH"})
    files = b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", at_50(52)))
    assessment = assessed(program, files)
    shift = program.shifts.constant("GEN-01", "saturation_temperature", ALWAYS, None, 0.1)
    (moved,) = program.retrace.retrace(assessment, [shift]).moved
    again = program.measure.measure(assessment.records, [s.sensor_visit for s in assessment.summaries], shifts=[shift])
    drawn = program.monte_carlo.monte_carlo(again, moved.after.line)
    yield _number("U", moved.after.U, drawn.U, 1e-3 * drawn.U, "JCGM 101")
    yield _number("P(outside)", moved.after.p_outside, drawn.outside(2.0), 2e-3, "JCGM 101")
    yield _number("u", moved.after.u, drawn.u, 1e-3 * drawn.u, "JCGM 101")


def half_way(program: Program) -> Iterator[Check]:
    """0.2 K found after 334 days: 0.1 K after 167; as found counts where it is on record."""
    ends = ("-20 degC", "60 degC")
    first = b.calibration(*(b.point(at, "0 degC", "0.03 degC") for at in ends), on="2026-01-12")
    left = [b.point(at, "0 degC", "0.03 degC") for at in ends]
    came = [b.point(at, "0.2 degC", "0.03 degC") for at in ends]
    second = b.calibration(*left, on="2026-12-12", as_found=came)
    known = b.quantity(first, second, resolution="0.01 degC")
    generator = b.two_pressure(quantities={"saturation_temperature": known})
    files = b.records(b.sensor(), generator, b.visit("2026-06-28-lab", at_50()))
    (one,) = program.carried_back.carried_back(assessed(program, files))["GEN-01"]
    expected = -50.0 * math.expm1(-0.1 * PER_KELVIN)
    yield _same("results", len(one.retrace.moved), 1)
    for moved in one.retrace.moved:
        yield _number("change", moved.change, expected, 0.01 * expected, IAPWS)


ALL = (wrong_thermometer, what_it_calibrated, what_to_do, distributions, half_way)
