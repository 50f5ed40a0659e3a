"""What a calibration found is carried back over the days since the one before, in proportion to the time."""

from __future__ import annotations

import json
from datetime import date

import pytest

from asfound.measurement.measure import measure
from asfound.retrace.carried_back import CarriedBack, carried_back
from tests import builders as b

FIRST, SECOND = "2026-01-12", "2026-12-12"  # 334 days apart
HALF_WAY = "2026-06-28"  # 167 days


def carried(files: b.Files, reference: str = "GEN-01", day: str = "2026-12-31") -> CarriedBack:
    (one,) = carried_back(b.assessed(files, day))[reference]
    return one


def thermometer(*errors: str, second: b.Keys | None = None) -> b.Files:
    """A saturation thermometer: its errors on two days, the same at −20 and 60 °C unless `second` says otherwise."""
    points = [[b.point(at, error, "0.03 degC") for at in ("-20 degC", "60 degC")] for error in errors]
    tables = [b.calibration(*points[0], on=FIRST), b.calibration(*points[1], on=SECOND, **(second or {}))]
    return b.two_pressure(quantities={"saturation_temperature": b.quantity(*tables, resolution="0.01 degC")})


def visits(*days: str) -> list[b.Files]:
    return [b.visit(f"{day}-lab", b.plateau(50, [50.0, 50.0], b.generated(50))) for day in days]


def change_by_shift(files: b.Files, size: float) -> float:
    """What a thermometer that read `size` too high does to the error at 50 %RH, from the certificate's own table."""
    here = json.loads(files["references/GEN-01.yml"])
    for calibration in here["quantities"]["saturation_temperature"]["calibrations"]:
        calibration.pop("as_found", None)
        for point in calibration["points"]:
            point["value"] = f"{size} degC"
    (moved,) = b.results(files | {"references/GEN-01.yml": json.dumps(here).encode()})
    (before,) = b.results(files)
    return moved.error - before.error


def test_a_visit_half_way_gets_half_of_what_was_found():
    files = b.records(b.sensor(), thermometer("0 degC", "0.2 degC"), *visits(HALF_WAY))
    (moved,) = carried(files).retrace.moved
    assert moved.change == pytest.approx(change_by_shift(files, 0.1), rel=1e-9)


@pytest.mark.parametrize(
    ("day", "share"), [("2026-02-11", 30 / 334), ("2026-11-12", 304 / 334), ("2026-12-11", 333 / 334)]
)
def test_the_share_grows_with_the_days(day, share):
    files = b.records(b.sensor(), thermometer("0 degC", "0.2 degC"), *visits(day))
    (moved,) = carried(files).retrace.moved
    assert moved.change == pytest.approx(change_by_shift(files, 0.2 * share), rel=1e-9)


@pytest.mark.parametrize("day", [FIRST, SECOND, "2026-12-20"])
def test_the_days_of_the_calibrations_and_those_after_stay_as_they_are(day):
    assert carried(b.records(b.sensor(), thermometer("0 degC", "0.2 degC"), *visits(day))).retrace.moved == ()


def test_what_was_found_counts_and_not_what_the_adjustment_left():
    found = [b.point(at, "0.2 degC", "0.03 degC") for at in ("-20 degC", "60 degC")]
    files = b.records(b.sensor(), thermometer("0 degC", "0 degC", second={"as_found": found}), *visits(HALF_WAY))
    (moved,) = carried(files).retrace.moved
    assert moved.change == pytest.approx(change_by_shift(files, 0.1), rel=1e-9)


def test_a_table_of_corrections_is_turned_round():
    declared = thermometer("0 degC", "-0.2 degC", second={"declared": "correction"})
    files = b.records(b.sensor(), declared, *visits(HALF_WAY))
    (moved,) = carried(files).retrace.moved
    assert moved.change == pytest.approx(-change_by_shift(files, -0.1), rel=0.02)


def test_the_change_is_taken_at_the_reading():
    """Found 0 at −20 °C and +0.4 °C at 60 °C: 0.225 °C at the reading of 25 °C."""
    points = [b.point("-20 degC", "0 degC", "0.03 degC"), b.point("60 degC", "0.4 degC", "0.03 degC")]
    second = thermometer("0 degC", "0 degC", second={"points": points})
    files = b.records(b.sensor(), second, *visits(HALF_WAY))
    flat = b.records(b.sensor(), thermometer("0 degC", "0.225 degC"), *visits(HALF_WAY))
    (moved,), (same,) = carried(files).retrace.moved, carried(flat).retrace.moved
    assert moved.change == pytest.approx(same.change, rel=1e-9)


def test_a_later_calibration_than_the_day_is_not_known_yet():
    files = b.records(b.sensor(), thermometer("0 degC", "0.2 degC"), *visits(HALF_WAY))
    assert carried_back(b.assessed(files, "2026-12-11")) == {}


def test_a_reference_with_one_calibration_has_nothing_to_carry_back():
    assert carried_back(b.assessed(b.records(b.sensor(), b.two_pressure(), *visits(HALF_WAY)))) == {}


def test_each_calibration_is_carried_back_by_itself_newest_first():
    tables = [
        b.calibration(*(b.point(at, error, "0.03 degC") for at in ("-20 degC", "60 degC")), on=on)
        for on, error in (("2024-01-12", "0 degC"), ("2025-01-12", "0.2 degC"), ("2026-01-12", "0.1 degC"))
    ]
    generator = b.two_pressure(
        quantities={
            "saturation_temperature": b.quantity(*tables, resolution="0.01 degC"),
            "saturation_pressure": b.flat(0, 1500, "kPa", 0.4, on="2024-01-12"),
            "chamber_pressure": b.flat(0, 150, "kPa", 0.06, on="2024-01-12"),
            "chamber_temperature": b.flat(-20, 60, "degC", 0.03, on="2024-01-12"),
        }
    )
    files = b.records(b.sensor(), generator, *visits("2024-07-16", "2025-07-16"))
    newest, older = carried_back(b.assessed(files))["GEN-01"]
    assert (newest.day, older.day) == (date(2026, 1, 12), date(2025, 1, 12))
    assert [m.before.day for m in newest.retrace.moved] == [date(2025, 7, 16)]
    assert [m.before.day for m in older.retrace.moved] == [date(2024, 7, 16)]
    assert newest.retrace.moved[0].change * older.retrace.moved[0].change < 0


def read_probe(phase: str, error: float) -> list[list[b.Row]]:
    return [b.plateau(t, [t + error] * 2, b.generated(t), sensor="PROBE-01", phase=phase) for t in (20, 50, 80)]


def probe(*plateaus: list[b.Row]) -> b.Files:
    """A probe that its certificate calls right, used half-way, and then calibrated here with these plateaus."""
    known = b.flat(5, 95, "%RH", 0.6)
    known["calibrations"] = [*known["calibrations"], b.by_visit("2026-12-12-probe")]
    used = b.visit(f"{HALF_WAY}-lab", b.plateau(50, [50.0, 50.0], b.by_probe(50.0)))
    calibrating = b.visit("2026-12-12-probe", *plateaus)
    parts = (b.transfer_probe(quantities={"reference_humidity": known}), calibrating, used)
    return b.records(b.sensor(), b.two_pressure(), *parts)


ADJUSTED = b.adjusted(sensor="PROBE-01")


@pytest.mark.parametrize(
    "plateaus",
    [read_probe("as_left", 0.6), [*read_probe("as_found", 0.6), ADJUSTED, *read_probe("as_left", 0.0)]],
    ids=["left as found", "adjusted"],
)
def test_what_a_visit_here_found_of_a_reference_is_carried_back_too(plateaus):
    """Half of 0.6 %RH: the air was drier than the probe said, so the sensor's error was larger by 0.3 %RH."""
    (moved,) = carried(probe(*plateaus), "PROBE-01").retrace.moved
    assert moved.before.sensor == "RH-1"
    assert moved.change == pytest.approx(0.3, abs=2e-3)


def test_a_visit_that_adjusted_before_it_read_found_nothing_to_carry_back():
    files = probe(ADJUSTED, *read_probe("as_left", 0.6))
    assert "PROBE-01" not in carried_back(b.assessed(files))


def test_carrying_back_alters_nothing_that_is_published():
    assessment = b.assessed(b.records(b.sensor(), thermometer("0 degC", "0.2 degC"), *visits(HALF_WAY)))
    before = [r.error for r in assessment.results]
    carried_back(assessment)
    again = measure(assessment.records, [s.sensor_visit for s in assessment.summaries])
    assert [line.error for line in again.lines] == before == [r.error for r in assessment.results]
