"""What measuring holds against a plateau, and what it refuses."""

from __future__ import annotations

import pytest

from asfound.assessment.assess import assess_visit
from asfound.measurement.measure import measure
from asfound.records.visits.rows import sensor_visits
from tests import builders as b
from tests.builders import loaded
from tests.measurement.lab import faults, measured


def at_50(*parts, day="2026-03-16", outputs=(50.0, 50.0), reading=None, **columns):
    rows = b.plateau(50, outputs, reading or b.generated(50), **columns)
    return b.records(b.sensor(), *parts, b.visit(f"{day}-lab", rows))


def settling(**rules):
    return b.facility(policies={"rule": "guard_band", "settling": rules})


@pytest.mark.parametrize(("soak", "held"), [(29.5, True), (30, False), (45, False), (None, True)])
def test_a_plateau_needs_the_least_soak_and_it_must_be_written(soak, held):
    lab = measured(at_50(settling(least_soak="30 min"), b.two_pressure(), soak=soak))
    assert lab.reservations(50.0) == (["unsettled-plateau"] if held else [])


@pytest.mark.parametrize(("rows", "held"), [(2, True), (3, False), (4, False)])
def test_a_plateau_needs_the_least_number_of_readings(rows, held):
    lab = measured(at_50(settling(least_rows=3), b.two_pressure(), outputs=[50.0] * rows))
    assert lab.reservations(50.0) == (["unsettled-plateau"] if held else [])


@pytest.mark.parametrize(("step", "held"), [(0.02, False), (-0.3, True), (0.3, True)])
def test_readings_that_still_move_either_way_are_not_settled(step, held):
    lab = measured(
        at_50(settling(largest_slope="0.1 %RH/min"), b.two_pressure(), outputs=[50.0 + i * step for i in range(5)])
    )
    assert lab.reservations(50.0) == (["unsettled-plateau"] if held else [])


def test_a_slope_within_its_own_noise_is_no_movement():
    noisy = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.5 %RH"})
    lab = measured(
        at_50(settling(largest_slope="0.1 %RH/min"), noisy, b.two_pressure(), outputs=[50.0, 49.8, 50.5, 50.1, 50.4])
    )
    assert lab.reservations(50.0) == []


def test_one_reading_has_no_slope_to_hold_against_it():
    lab = measured(at_50(settling(largest_slope="0.01 %RH/min"), b.two_pressure(), outputs=[50.0]))
    assert lab.reservations(50.0) == []


@pytest.mark.parametrize(("day", "held"), [("2028-01-12", False), ("2028-01-13", True)])
def test_a_calibration_holds_to_its_last_day(day, held):
    lab = measured(at_50(b.two_pressure(), day=day))
    assert (lab.reservations(50.0) != []) == held
    assert set(lab.reservations(50.0)) <= {"reference-out-of-date"}


def test_each_quantity_that_is_out_of_date_is_named():
    lab = measured(at_50(b.two_pressure(), day="2028-06-01"))
    messages = [f.message for f in lab.measurement.reservations[lab.line(50.0).cell]]
    assert len(messages) == 4 and len(set(messages)) == 4


def test_a_reference_is_not_used_before_its_first_calibration():
    assert set(faults(at_50(b.two_pressure(), day="2026-01-11"))) == {"not-yet-calibrated"}


def test_the_calibration_of_the_day_is_the_latest_that_is_not_later():
    twice = b.quantity(
        b.calibration(b.point("0 degC", "0.1 degC", "0.03 degC"), b.point("60 degC", "0.1 degC", "0.03 degC")),
        b.calibration(
            b.point("0 degC", "0.5 degC", "0.03 degC"), b.point("60 degC", "0.5 degC", "0.03 degC"), on="2026-03-16"
        ),
    )
    generator = b.two_pressure(quantities={"chamber_temperature": twice})
    before, on = (measured(at_50(generator, day=day)) for day in ("2026-03-15", "2026-03-16"))
    assert before.source("2026-01-12/chamber_temperature/calibration", 50.0)
    assert on.source("2026-03-16/chamber_temperature/calibration", 50.0)
    # 0.4 K colder air is more humid by 2.4 %
    assert on.line(50.0).reference_value / before.line(50.0).reference_value == pytest.approx(1.0241, abs=5e-4)


@pytest.mark.parametrize(
    ("celsius", "held"),
    [
        (9.98, []),
        (9.96, ["beyond-reference-table"]),
        (9.71, ["beyond-reference-table"]),
        (9.69, ["outside-reference-range"]),
        (40.19, []),
        (40.29, ["beyond-reference-table"]),
        (40.31, ["outside-reference-range"]),
    ],
)
def test_beyond_its_table_a_reading_is_told_from_u_on_and_outside_from_a_hundredth_of_the_span(celsius, held):
    """The table goes from 10 °C, with U = 0.03 K, to 40 °C, with U = 0.2 K."""
    ends = (b.point("10 degC", "0 degC", "0.03 degC"), b.point("40 degC", "0 degC", "0.2 degC"))
    table = b.quantity(b.calibration(*ends), resolution="0.001 degC")
    generator = b.two_pressure(quantities={"chamber_temperature": table})
    reading = b.generated(50, celsius, celsius)
    assert measured(at_50(generator, reading=reading)).reservations(50.0) == held


@pytest.mark.parametrize(
    ("celsius", "held"),
    [
        (25.02, []),
        (25.9, ["beyond-reference-table"]),
        (22.0, ["outside-reference-range"]),
        (28.0, ["outside-reference-range"]),
    ],
)
def test_a_certificate_of_one_point_holds_near_it(celsius, held):
    one = b.quantity(b.calibration(b.point("25 degC", "0.1 degC", "0.03 degC")), resolution="0.01 degC")
    generator = b.two_pressure(quantities={"chamber_temperature": one})
    assert measured(at_50(generator, reading=b.generated(50, celsius, celsius))).reservations(50.0) == held


@pytest.mark.parametrize(
    ("shown", "held"),
    [(95.5, []), (95.8, ["beyond-reference-table"]), (95.9, ["outside-reference-range"])],
)
def test_a_probe_that_was_calibrated_here_is_told_beyond_its_last_point_by_the_u_found_there(shown, held):
    """Calibrated at 10 and 95 %RH, with U of 0.7 %RH there; a hundredth of the span is 0.85 %RH."""
    points = [b.plateau(at, [at, at], b.generated(at), sensor="PROBE-01", phase="as_left") for at in (10, 95)]
    humidity = b.quantity(b.by_visit("2026-02-02-probe"))
    probe = b.transfer_probe(quantities={"reference_humidity": humidity})
    files = at_50(b.two_pressure(), probe, b.visit("2026-02-02-probe", *points), reading=b.by_probe(shown))
    assert measured(files).reservations(50.0) == held


@pytest.mark.parametrize("read", ["gauge", "absolute"])
@pytest.mark.parametrize("of_table", ["gauge", "absolute", ""])
@pytest.mark.parametrize("said_by", ["points", "unit"])
def test_a_table_of_gauge_pressures_is_not_applied_to_absolute_ones_nor_the_reverse(read, of_table, said_by):
    """A table that says neither is taken as it was read; `check` says so."""
    kind = f" {of_table}" if of_table and said_by == "points" else ""
    points = [b.point(f"{at} kPa{kind}", "0 kPa", "0.4 kPa") for at in (0, 1500)]
    unit = f"psi {of_table}" if of_table and said_by == "unit" else None
    pressure = b.quantity(b.calibration(*points), unit=unit)
    generator = b.two_pressure(quantities={"saturation_pressure": pressure})
    reading = b.generated(50)
    shown = reading.pop(SATURATION) - (101.325 if read == "gauge" else 0.0)
    reading |= {f"saturation_pressure [kPa {read}]": shown} | b.room()
    found = faults(at_50(generator, b.barometer(), reading=reading))
    assert set(found) == ({"gauge-or-absolute"} if of_table not in ("", read) else set())


CURRENT_LOOP = {"low": "4 mA", "high": "20 mA", "reads_low": "0 %RH", "reads_high": "100 %RH"}


@pytest.mark.parametrize(
    ("milliampere", "is_read"), [(3.79, False), (3.8, True), (12.0, True), (20.5, True), (20.51, False)]
)
def test_a_loop_outside_3_8_to_20_5_milliampere_has_no_reading(milliampere, is_read):
    family = b.family(signal="current", scaling=CURRENT_LOOP, humidity={"repeatability": "0.05 %RH"})
    files = at_50(
        family,
        b.two_pressure(),
        b.loop_meter(),
        outputs=[12.0, milliampere],
        unit="mA",
        loop_meter="METER-01",
    )
    lab = measured(files)
    assert lab.line(50.0).n == (2 if is_read else 1)
    assert ("loop-out-of-range" in lab.reservations(50.0)) != is_read


def test_a_single_reading_needs_a_declared_repeatability():
    silent = b.family(humidity={"resolution": "0.01 %RH"})
    assert faults(at_50(silent, b.two_pressure(), outputs=[50.0])) == ["no-repeatability"]
    assert faults(at_50(silent, b.two_pressure(), outputs=[50.0, 50.1])) == []
    assert faults(at_50(b.two_pressure(), outputs=[50.0])) == []


def test_readings_that_give_no_humidity_are_refused_row_by_row():
    reading = b.generated(50) | {"saturation_pressure [kPa absolute]": 20.0}
    rows = b.plateau(50, [50.0], reading) + b.plateau(50, [50.0], b.generated(50))
    files = b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", rows))
    assert faults(files) == ["no-humidity"]


SATURATION = "saturation_pressure [kPa absolute]"
CHAMBER_C = "chamber_temperature [degC]"
REFUSED = [
    (SATURATION, 20.0, "computed relative humidity 505.3792"),
    (SATURATION, 2600.0, "absolute saturation pressure 2600000 Pa is outside"),
    (SATURATION, 2700.0, "absolute saturation pressure 2700000 Pa is outside"),
    (CHAMBER_C, 180.0, "chamber temperature over water 180 °C is outside"),
    (CHAMBER_C, 110.0, "chamber temperature over water 110 °C is outside"),
]


def by_target(files):
    """The lines of each target with their uncertainties, in all their digits, and the errors."""
    records = loaded(files)
    found = measure(records, sensor_visits(records))
    budgets = found.whole()
    shown = {}
    for number, line in enumerate(found.lines):
        target = found.cells[line.cell].plateau.target
        figures = (line.error, line.reference_value, line.s, budgets.u[number], budgets.nu[number], budgets.U[number])
        shown[target, line.channel, line.part] = [float(figure).hex() for figure in figures]
    return shown, found.faults


def test_refused_readings_leave_all_others_their_very_numbers_and_each_its_own_message():
    targets = (20, 35, 50, 65, 80)
    good = [b.plateau(target, [target + 0.1, target + 0.4], b.generated(target)) for target in targets]
    refused = [
        b.plateau(40.0 + number, [50.0], b.generated(50) | {column: value})
        for number, (column, value, _) in enumerate(REFUSED)
    ]
    mixed = [plateau for pair in zip(good, refused, strict=True) for plateau in pair]

    def files(plateaus):
        return b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *plateaus))

    without, none = by_target(files(good))
    with_them, faults_of_rows = by_target(files(mixed))
    assert not none and {target for target, *_ in without} == set(targets)
    assert with_them == without
    assert [fault.place.line for fault in faults_of_rows] == [4, 7, 10, 13, 16]
    for fault, (_, _, message) in zip(faults_of_rows, REFUSED, strict=True):
        assert fault.rule.name == "no-humidity" and fault.message.startswith(message)


def test_a_salt_beyond_its_published_temperatures_and_an_unknown_one_are_refused():
    assert set(faults(at_50(b.saturated_salt(), reading=b.over_salt("NaCl", 95.0)))) == {"no-humidity"}
    assert faults(at_50(b.saturated_salt(), reading=b.over_salt("NaBrO", 25.0))) == ["unknown-salt"]


def test_a_quantity_without_a_record_is_refused():
    mirror = b.reference(
        "MIR-01",
        "chilled_mirror",
        {"mirror_temperature": b.flat(-40, 60, "degC", 0.1), "chamber_temperature": b.flat(-40, 60, "degC", 0.05)},
    )
    assert faults(at_50(mirror, reading=b.mirrored(10.0, 25.0, "dew"))) == ["quantity-not-recorded"]


def test_a_probe_whose_calibrating_visit_gave_no_temperatures_is_refused():
    calibrating = b.visit(
        "2026-02-02-probe", b.plateau(50, [51.0, 51.0], b.generated(50), sensor="PROBE-01", phase="as_left")
    )
    probe = b.transfer_probe(
        quantities={
            "reference_humidity": b.quantity(b.by_visit("2026-02-02-probe")),
            "reference_temperature": b.quantity(b.by_visit("2026-02-02-probe")),
        }
    )
    files = at_50(b.two_pressure(), probe, calibrating, reading=b.by_probe(50.0))
    assert set(faults(files)) == {"from-visit-without-results"}


def test_a_loop_without_a_reference_value_is_no_result():
    """The loop's own error is known, the sensor's is not: nothing is judged by the sensor's tolerance."""
    rows = b.plateau(50, [50.1] * 2, b.generated(50), far_end=[50.1] * 2)
    blank = [{k: ("" if k.startswith("saturation_pressure") else v) for k, v in row.items()} for row in rows]
    files = b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", blank))
    explained, faults = assess_visit(files, "visits/2026/2026-03-16-lab.csv")
    assert "missing-reading" in {fault.rule.name for fault in faults}
    assert [line.part for line in explained.measurement.lines] == ["loop"]
    assert [(result.status, result.has_verdict) for result in explained.results] == [("not done", False)]
