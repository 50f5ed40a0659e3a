"""A reference was wrong: what leaned on it moves by the physics of its error, and nothing else moves at all."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.assessment.results.conformity import Verdict
from asfound.assessment.standing import State
from asfound.measurement.measure import measure
from asfound.measurement.monte_carlo import monte_carlo
from asfound.measurement.shifts import constant
from asfound.retrace.retrace import Retrace, retrace
from tests import builders as b

DAY = date(2026, 12, 31)
VISIT = "2026-03-16-lab"
ALWAYS = date(2000, 1, 1)


def shifted(files: b.Files, reference: str, quantity: str, size: float, since=ALWAYS, until=None) -> Retrace:
    return retrace(b.assessed(files), [constant(reference, quantity, since, until, size)])


def lab(*plateaus: list[b.Row], parts: tuple[b.Files, ...] = (), on: str = VISIT) -> b.Files:
    return b.records(b.sensor(), b.two_pressure(), *parts, b.visit(on, *plateaus))


def at_50(shown: float = 50.0, **given) -> list[b.Row]:
    return b.plateau(50, [shown, shown], b.generated(50, **given))


# IAPWS R6-95: e = 3169.9293 Pa at 25 °C and 4246.9708 Pa at 30 °C, so ln e grows by ln(4246.9708 / 3169.9293) / 5
# = 0.05850 a kelvin about 27.5 °C. Air from a saturator 0.1 K colder than it read is damp by 0.05850 · 0.1 = 0.585 %
# of its humidity less: 0.2917 %RH of 50 %RH. (The enhancement factor's own change is below 0.1 % of that.)
PER_KELVIN = math.log(4246.9708 / 3169.9293) / 5.0


@pytest.mark.parametrize(("quantity", "sign"), [("saturation_temperature", 1.0), ("chamber_temperature", -1.0)])
def test_a_thermometer_that_read_high_moves_humidity_by_the_slope_of_the_published_vapour_pressure(quantity, sign):
    files = lab(at_50(saturation_c=27.5, chamber_c=27.5))
    (moved,) = shifted(files, "GEN-01", quantity, 0.1).moved
    assert moved.after.reference_value - moved.before.reference_value == pytest.approx(
        50.0 * math.expm1(-sign * 0.1 * PER_KELVIN), rel=0.01
    )
    assert moved.change == pytest.approx(-50.0 * math.expm1(-sign * 0.1 * PER_KELVIN), rel=0.01)


def test_a_barometer_that_read_high_moves_both_gauge_pressures():
    """(101325 − 100) / (202650 − 100) against 101325 / 202650 (nearly: the air is not quite ideal)."""
    files = lab(at_50(gauge=True), parts=(b.barometer(),))
    (moved,) = shifted(files, "BAR-01", "ambient_pressure", 100.0).moved
    ratio = 101_225.0 / 202_550.0 - 101_325.0 / 202_650.0
    assert moved.change == pytest.approx(-100.0 * ratio, rel=0.02)


def test_a_gauge_pressure_is_corrected_as_its_transducer_reads_it():
    """A pressure 500 Pa too high at 202.6 kPa absolute: the true one is lower by 0.247 %, the humidity higher."""
    files = lab(at_50(gauge=True), parts=(b.barometer(),))
    (moved,) = shifted(files, "GEN-01", "saturation_pressure", 500.0).moved
    assert moved.change == pytest.approx(-50.0 * 500.0 / 202_650.0, rel=0.02)


def in_a_loop(**columns) -> b.Files:
    scaling = {"low": "4 mA", "high": "20 mA", "reads_low": "0 %RH", "reads_high": "100 %RH"}
    family = b.family(signal="current", scaling=scaling)
    rows = b.plateau(50, [12.0, 12.0], b.generated(50), unit="mA", loop_meter="METER-01", **columns)
    return b.records(family, b.sensor(), b.two_pressure(), b.loop_meter(), b.visit(VISIT, rows))


def test_a_loop_meter_that_read_high_moves_the_error_at_the_sensor():
    """0.02 mA of 16 mA is 0.125 % of 100 %RH."""
    (moved,) = shifted(in_a_loop(), "METER-01", "current", 0.02).moved
    assert (moved.part, moved.change) == ("error", pytest.approx(-0.125))


def test_a_loop_meter_moves_only_the_split_where_the_far_end_is_judged():
    (moved,) = shifted(in_a_loop(far_end=50.0), "METER-01", "current", 0.02).moved
    assert moved.part in ("error_sensor", "error_loop")
    assert moved.after.error == moved.before.error
    assert moved.change_of("error_sensor") == pytest.approx(-0.125)
    assert moved.change_of("error_loop") == pytest.approx(0.125)


def test_a_shift_undoes_an_equal_and_opposite_error_in_the_certificate():
    def files(table: float) -> b.Files:
        quantities = {"saturation_temperature": b.flat(-20, 60, "degC", 0.03, value=table)}
        generator = b.two_pressure(quantities=quantities)
        visits = [b.visit(f"2026-0{m}-16-lab", at_50(50.0 + 0.3 * m, saturation_c=24.7)) for m in (3, 4, 5)]
        return b.records(b.sensor(), generator, *visits)

    right = b.assessed(files(0.0)).results
    moved = shifted(files(-0.1), "GEN-01", "saturation_temperature", 0.1).moved
    assert len(moved) == len(right) == 3
    for m, r in zip(moved, right, strict=True):
        assert (m.after.error, m.after.U) == (pytest.approx(r.error, abs=1e-9), pytest.approx(r.U, rel=1e-6))
        assert (m.after.verdict, m.after.reference_value) == (r.verdict, pytest.approx(r.reference_value, abs=1e-9))


def calibrated_here(*later: b.Files) -> b.Files:
    """A probe that the humidity generator calibrated at 20, 50 and 80 %RH on 2026-02-10, and what it then measured."""
    calibrating = b.visit(
        "2026-02-10-probe",
        *(b.plateau(t, [t + 0.5] * 2, b.generated(t), sensor="PROBE-01", phase="as_left") for t in (20, 50, 80)),
    )
    known = {**b.quantity(b.by_visit("2026-02-10-probe")), "resolution": "0.01 %RH"}
    probe = b.transfer_probe(quantities={"reference_humidity": known})
    return b.records(b.sensor(), b.two_pressure(), probe, calibrating, *later)


def test_what_a_shifted_reference_calibrated_here_moves_with_it():
    later = b.visit(VISIT, b.plateau(35, [35.0, 35.0], b.by_probe(35.0)))
    until = date(2026, 2, 28)  # the shift itself ends before the probe is used
    found = shifted(calibrated_here(later), "GEN-01", "chamber_temperature", 0.2, until=until)
    changes = {m.before.target: m.change for m in found.moved if m.before.sensor == "PROBE-01"}
    shown = {m.before.target: m.before.output for m in found.moved if m.before.sensor == "PROBE-01"}
    (used,) = [m for m in found.moved if m.before.sensor == "RH-1"]
    at, change = [shown[t] for t in (20, 50, 80)], [changes[t] for t in (20, 50, 80)]
    # Where the probe is now held to read too low, what it measured was damper, and the sensor read too low.
    assert used.change == pytest.approx(float(np.interp(35.0, at, change)), rel=1e-6)
    assert used.change == pytest.approx(-0.2 * PER_KELVIN * 35.0, rel=0.05)


def test_a_check_is_made_with_the_correction_that_is_then_known():
    check = b.visit(VISIT, b.plateau(50, [50.5] * 2, b.generated(50), sensor="PROBE-01", phase="check"))
    (moved,) = shifted(calibrated_here(check), "PROBE-01", "reference_humidity", 0.5).moved
    assert (moved.before.phase, moved.change) == ("check", pytest.approx(-0.5))


def three_visits(*shown: float) -> b.Files:
    days = ("2026-03-16", "2026-04-16", "2026-05-16")
    visits = [b.visit(f"{day}-lab", at_50(s)) for day, s in zip(days, shown or (50.0,) * 3, strict=True)]
    return b.records(b.sensor(), b.two_pressure(), *visits)


@pytest.mark.parametrize(
    ("since", "until", "months"),
    [
        ("2026-03-16", "2026-05-16", [3, 4, 5]),
        ("2026-03-17", "2026-05-15", [4]),
        ("2026-04-16", "2026-04-16", [4]),
        ("2026-04-17", None, [5]),
        ("2026-05-17", None, []),
        ("2020-01-01", "2026-03-15", []),
    ],
)
def test_both_ends_of_a_shift_are_among_its_days(since, until, months):
    end = date.fromisoformat(until) if until else None
    found = shifted(three_visits(), "GEN-01", "saturation_temperature", 0.1, date.fromisoformat(since), end)
    assert [m.before.day.month for m in found.moved] == months


def mixed() -> b.Files:
    """A pool of scatter over two references and two sensors, and a probe calibrated here."""
    visits = [
        b.visit(
            f"2026-{m:02d}-16-lab",
            b.plateau(50, [50.0, 50.1 + m / 100, 49.9], b.generated(50)),
            b.plateau(50, [50.2, 50.1], b.mirrored(14.0, 25.0, "dew"), sensor="RH-2"),
        )
        for m in range(3, 11)
    ]
    later = b.visit("2026-11-16-air", b.plateau(50, [50.0, 50.1], b.by_probe(50.0)))
    parts = (b.sensor("RH-2"), b.chilled_mirror(), *visits, later)
    return calibrated_here(*parts)


def test_nothing_moves_but_what_leaned_on_it():
    files = mixed()
    leaning = shifted(files, "MIR-01", "mirror_temperature", 0.05)
    assert {m.before.reference for m in leaning.moved} == {"MIR-01"}
    assert len(leaning.moved) == 8
    assert all(m.after.s == pytest.approx(m.before.s) for m in leaning.moved)
    assert all(m.after.repeatability == m.before.repeatability for m in leaning.moved)


def test_measuring_again_what_leaned_on_it_gives_what_measuring_everything_gives():
    assessment = b.assessed(mixed())
    shift = constant("GEN-01", "saturation_temperature", ALWAYS, None, 0.15)
    found = {m.after.key: m.after.error for m in retrace(assessment, [shift]).moved}
    every = measure(assessment.records, [s.sensor_visit for s in assessment.summaries], shifts=[shift])
    numbers = {every.key(line): line.error for line in every.lines}
    for r in assessment.results:
        cell = assessment.measurement.lines[r.line]
        anew = numbers[assessment.measurement.key(cell)]
        if r.key in found:
            assert found[r.key] == pytest.approx(anew, abs=1e-12)
        else:
            assert r.error == anew
    assert len(found) == 8 + 3 + 1


@settings(max_examples=15, deadline=None)
@given(st.floats(-0.02, 0.02).filter(lambda size: abs(size) > 1e-4))
def test_small_shifts_act_in_proportion(size):
    assessment = b.assessed(lab(at_50(), b.plateau(80, [80.0, 80.2], b.generated(80))))

    def changes(of: float) -> np.ndarray:
        shift = constant("GEN-01", "saturation_temperature", ALWAYS, None, of)
        return np.array([m.change for m in retrace(assessment, [shift]).moved])

    assert changes(2.0 * size) == pytest.approx(2.0 * changes(size), rel=0.01)
    assert changes(-size) == pytest.approx(-changes(size), rel=0.01)


@pytest.mark.parametrize("quantity", ["saturation_temperature", "chamber_pressure"])
def test_no_shift_moves_nothing(quantity):
    found = shifted(mixed(), "GEN-01", quantity, 0.0)
    assert (found.moved, found.states, found.largest, found.certificates) == ((), (), None, ())


def test_two_shifts_of_one_quantity_add():
    assessment = b.assessed(three_visits())
    halves = [constant("GEN-01", "chamber_temperature", ALWAYS, None, 0.05)] * 2
    whole = [constant("GEN-01", "chamber_temperature", ALWAYS, None, 0.1)]
    one, other = retrace(assessment, halves).moved, retrace(assessment, whole).moved
    assert [m.change for m in one] == pytest.approx([m.change for m in other], rel=1e-9)


# The tolerance is ± 2 %RH, the guard band U (0.3 %RH or so). The shift of 0.5 K moves the error by +1.45 %RH.
def test_a_sensor_that_is_now_out_of_tolerance_is_to_be_recalled():
    found = shifted(lab(at_50(51.5)), "GEN-01", "saturation_temperature", 0.5)
    (moved,) = found.verdicts
    assert (moved.before.verdict, moved.after.verdict) == (Verdict.PASS, Verdict.FAIL)
    (change,) = found.recalls
    assert (change.sensor, change.before, change.after) == ("RH-1", State.IN, State.OUT)
    assert [(c.sensor, c.visit) for c in found.opened] == [("RH-1", VISIT)]
    assert found.dropped == ()
    assert found.certificates == (("RH-1", VISIT),)


def test_an_older_visit_that_would_have_failed_recalls_nothing():
    early = date(2026, 3, 31)
    found = shifted(three_visits(51.5, 50.0, 50.0), "GEN-01", "saturation_temperature", 0.5, until=early)
    assert [m.before.day.month for m in found.verdicts] == [3]
    assert len(found.opened) == 1
    assert (found.states, found.recalls) == ((), ())


def test_a_finding_that_a_wrong_reference_made_falls_away():
    found = shifted(lab(at_50(52.8)), "GEN-01", "saturation_temperature", -0.5)
    assert [(c.sensor, c.visit) for c in found.dropped] == [("RH-1", VISIT)]
    assert [(c.before, c.after) for c in found.states] == [(State.OUT, State.IN)]
    assert (found.opened, found.recalls) == ((), ())


@pytest.mark.parametrize(("share", "reissue"), [(0.095, False), (0.105, True)])
def test_a_certificate_is_issued_anew_from_a_tenth_of_its_uncertainty_on(share, reissue):
    files = lab(at_50())
    (result,) = b.results(files)
    size = share * result.U / (50.0 * PER_KELVIN * 1.013)  # ln e is 1.3 % steeper at 25 °C than at 27.5 °C
    found = shifted(files, "GEN-01", "saturation_temperature", size)
    assert found.moved[0].share == pytest.approx(share, rel=0.01)
    assert bool(found.certificates) is reissue


def test_a_result_that_has_no_certificate_asks_for_none():
    unsettled = b.facility(policies={"rule": "guard_band", "settling": {"least_soak": "60 min"}})
    files = b.records(unsettled, b.sensor(), b.two_pressure(), b.visit(VISIT, at_50()))
    found = shifted(files, "GEN-01", "saturation_temperature", 0.2)
    assert len(found.moved) == 1
    assert found.certificates == ()


def coarse(*plateaus: list[b.Row]) -> b.Files:
    family = b.family(humidity={"resolution": "1 %RH", "repeatability": "0.05 %RH"})
    return b.records(family, b.sensor(), b.two_pressure(), b.visit(VISIT, *plateaus))


def test_a_distribution_is_carried_along_as_it_would_be_drawn_again():
    assessment = b.assessed(coarse(at_50(50)))
    shift = constant("GEN-01", "saturation_temperature", ALWAYS, None, 0.1)
    (moved,) = retrace(assessment, [shift]).moved
    again = measure(assessment.records, [s.sensor_visit for s in assessment.summaries], shifts=[shift])
    drawn = monte_carlo(again, moved.after.line)
    assert moved.after.answer == "monte carlo"
    assert moved.after.error == pytest.approx(drawn.estimate, abs=1e-12)
    assert pytest.approx(drawn.U, rel=1e-3) == moved.after.U
    assert moved.after.p_outside == pytest.approx(drawn.outside(2.0), abs=1e-3)


def test_near_saturation_the_distribution_is_drawn_anew():
    wet = b.plateau(99, [99, 99], b.generated(99))
    assessment = b.assessed(coarse(wet))
    shift = constant("GEN-01", "saturation_temperature", ALWAYS, None, 0.1)
    (moved,) = retrace(assessment, [shift]).moved
    again = measure(
        assessment.records,
        [s.sensor_visit for s in assessment.summaries],
        shifts=[shift],
        known={assessment.measurement.key(line): line.repeatability for line in assessment.measurement.lines},
    )
    assert moved.after.U == monte_carlo(again, moved.after.line).U


def test_what_can_no_longer_be_computed_is_said():
    files = lab(at_50(saturation_c=2.0, chamber_c=2.0))
    found = shifted(files, "GEN-01", "saturation_temperature", 5.0)
    assert {f.rule.name for f in found.faults} == {"frozen-saturator"}
    (moved,) = found.moved
    assert math.isnan(moved.after.error)
    assert moved.after.verdict is Verdict.NONE
    assert found.largest is None
    assert found.certificates == (("RH-1", VISIT),)


def test_what_can_no_longer_be_computed_acquits_no_sensor():
    """The visit that failed cannot be computed any more: the one before it that passed says nothing of today."""
    files = b.records(
        b.sensor(),
        b.two_pressure(),
        b.visit("2026-01-16-lab", at_50(50.0)),
        b.visit(VISIT, at_50(54.0, saturation_c=2.0, chamber_c=2.0)),
    )
    assert b.assessed(files).standings["RH-1"].state is State.OUT
    found = shifted(files, "GEN-01", "saturation_temperature", 5.0, since=date(2026, 3, 1))
    assert [m.before.visit for m in found.lost] == [VISIT]
    assert found.states == ()
    assert found.dropped == ()


def test_what_is_left_without_a_verdict_acquits_no_sensor():
    """Such an error puts the failed visit below the range that the sensor is specified for, where nothing is judged."""
    files = b.records(
        b.family(range={"lowest": "40 %RH", "highest": "100 %RH"}, points={"humidity": ["50 %RH"]}),
        b.sensor(),
        b.two_pressure(),
        b.visit("2026-01-16-lab", at_50(50.0)),
        b.visit(VISIT, at_50(54.0)),
    )
    assert b.assessed(files).standings["RH-1"].state is State.OUT
    found = shifted(files, "GEN-01", "saturation_temperature", 6.0, since=date(2026, 3, 1))
    (moved,) = found.lost
    assert moved.after.verdict is Verdict.NONE
    assert moved.after.error > 10.0
    assert found.states == ()
    assert found.dropped == ()
