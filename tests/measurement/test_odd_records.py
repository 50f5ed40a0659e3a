"""Records that are valid and unusual: they are measured, neither stopping anything nor changing what is not theirs."""

from __future__ import annotations

import math

import pytest

from tests import builders as b
from tests.measurement.lab import measured


def test_instruments_of_two_families_may_serve_one_position():
    families = [
        b.family(model, humidity={"resolution": "0.01 %RH", "repeatability": "0.05 %RH", "far_end_dead_band": band})
        for model, band in (("teasel", "0.1 %RH"), ("rush", "0.3 %RH"))
    ]
    position = b.sensor(
        installed=[
            {"serial": "A", "family": "teasel", "from": "2000-01-01"},
            {"serial": "B", "family": "rush", "from": "2026-05-01"},
        ]
    )
    visits = [
        b.visit(f"{day}-lab", b.plateau(50, [50.4, 50.5], b.generated(50), far_end=[50.1, 50.2]))
        for day in ("2026-03-16", "2026-06-16")
    ]
    lab = measured(b.records(*families, position, b.two_pressure(), *visits))
    for day, half in (("2026-03-16", 0.1), ("2026-06-16", 0.3)):
        found = lab.source("far_end_dead_band/humidity", 50.0, visit=f"{day}-lab", part="total")
        assert found.contribution == pytest.approx(half / math.sqrt(3.0))


UNDECLARED = b.family(humidity={"repeatability": "0.05 %RH"})


@pytest.mark.parametrize(
    ("outputs", "digit"),
    [
        (["50.1", "50", "50.2"], 0.1),
        (["50", "51", "50"], 1.0),
        (["50.12", "50", "50"], 0.01),
        (["50", "50", "50"], 1.0),
    ],
)
def test_an_undeclared_display_has_the_finest_digit_that_was_written(outputs, digit):
    visit = b.visit("2026-03-16-lab", b.plateau(50, outputs, b.generated(50)))
    lab = measured(b.records(UNDECLARED, b.sensor(), b.two_pressure(), visit))
    assert lab.source("/output_resolution", 50.0).source.u == pytest.approx(digit / 2.0 / math.sqrt(3.0))


def test_zeros_that_a_spreadsheet_dropped_do_not_coarsen_a_display():
    visit = b.visit(
        "2026-03-16-lab",
        b.plateau(50, ["50", "50"], b.generated(50)),
        b.plateau(80, ["80.1", "80.2"], b.generated(80)),
    )
    lab = measured(b.records(UNDECLARED, b.sensor(), b.two_pressure(), visit))
    for target in (50.0, 80.0):
        assert lab.source("/output_resolution", target).source.u == pytest.approx(0.05 / math.sqrt(3.0))


def test_far_end_readings_in_some_rows_leave_the_displays_resolution_alone():
    plateau = b.plateau(50, ["50.4", "50", "50.2"], b.generated(50), far_end=["50.1", None, "50.2"])
    lab = measured(b.records(UNDECLARED, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", plateau)))
    for part, n in (("sensor", 3), ("total", 2), ("loop", 2)):
        assert lab.line(50.0, part=part).n == n
    assert lab.line(50.0, part="loop").error == pytest.approx((50.1 - 50.4 + 50.2 - 50.2) / 2.0)


def two_in_one_chamber(second_time="09:01"):
    """Two sensors read at one time; the second also later, when a zero was dropped."""
    thermometer = {"saturation_temperature": b.flat(-20, 60, "degC", 0.03, resolution=None)}
    reading = b.generated(50)
    rows = [
        b.plateau(50, ["50.4", "50.3"], reading | {"saturation_temperature [degC]": ["25.01", "25.01"]}),
        b.plateau(50, ["50.4", "50.3"], reading | {"saturation_temperature [degC]": ["25.01", "25"]}, sensor="RH-2"),
    ]
    for sensor_rows, times in zip(rows, (("09:00", "09:01"), ("09:00", second_time))):
        for number, (row, time) in enumerate(zip(sensor_rows, times)):
            row["time"] = f"2026-03-16 {time}"
            row["saturation_temperature [degC]"] = row["saturation_temperature [degC]"][number]
    return b.records(
        b.sensor(), b.sensor("RH-2"), b.two_pressure(quantities=thermometer), b.visit("2026-03-16-lab", *rows)
    )


def test_two_sensors_read_at_one_time_share_the_references_resolution():
    lab = measured(two_in_one_chamber("09:05"))
    columns = [
        {name for name in lab.budget(50.0, sensor=sensor) if "saturation_temperature/resolution" in name}
        for sensor in ("RH-1", "RH-2")
    ]
    assert columns[0] == columns[1] and len(columns[0]) == 1


def test_a_channel_that_was_not_read_at_a_plateau_has_no_line_there():
    family = b.family(
        channels=["humidity", "temperature"],
        temperature={"resolution": "0.1 degC", "repeatability": "0.05 degC"},
        temperature_tolerance={"absolute": "0.5 degC"},
    )
    visit = b.visit(
        "2026-03-16-lab",
        b.plateau(50, [50.4, 50.2], b.generated(50), output_temperature=[25.1, 25.2]),
        b.plateau(80, [None, None], b.generated(80), output_temperature=[25.1, 25.2]),
    )
    lab = measured(b.records(family, b.sensor(), b.two_pressure(), visit))
    assert [(line.channel, line.n) for line in lab.measurement.lines] == [
        ("humidity", 2),
        ("temperature", 2),
        ("temperature", 2),
    ]
    assert lab.line(80.0, channel="temperature").error == pytest.approx(0.15)


def test_a_later_visit_changes_no_earlier_result():
    policy = b.facility(policies={"rule": "guard_band", "least_pool": 2})
    visits = [
        b.visit(f"2026-0{month}-16-lab", b.plateau(50, [50.0, 50.2, 50.1 + month / 10], b.generated(50)))
        for month in (2, 3, 4, 5)
    ]
    parts = (policy, b.sensor(), b.two_pressure())
    for count in (1, 2, 3):
        fewer, more = measured(b.records(*parts, *visits[:count])), measured(b.records(*parts, *visits[: count + 1]))
        for number, line in enumerate(fewer.measurement.lines):
            assert more.measurement.lines[number] == line
            assert more.measurement.whole().U[number] == fewer.measurement.whole().U[number]


def test_an_unsettled_plateau_enters_no_pool():
    def used(soak):
        rules = {"rule": "guard_band", "least_pool": 2, "settling": {"least_soak": "20 min"}}
        visits = [
            b.visit("2026-02-16-lab", b.plateau(50, [50.0, 51.0, 52.0], b.generated(50), soak=soak)),
            b.visit("2026-03-16-lab", b.plateau(50, [50.0, 50.1, 50.2], b.generated(50))),
        ]
        lab = measured(b.records(b.facility(policies=rules), b.sensor(), b.two_pressure(), *visits))
        return lab.line(50.0, visit="2026-03-16-lab").repeatability.basis

    assert (used(soak=30), used(soak=10)) == ("pooled", "declared")


def test_rising_and_falling_readings_at_one_target_are_not_repeats():
    silent = b.family(humidity={"resolution": "0.01 %RH"})
    visit = b.visit(
        "2026-03-16-lab",
        b.plateau(20, [20.0, 20.1], b.generated(20)),
        b.plateau(50, [49.3, 49.4], b.generated(50)),
        b.plateau(80, [80.0, 80.1], b.generated(80)),
        b.plateau(50, [50.3, 50.4], b.generated(50)),
    )
    lab = measured(b.records(silent, b.sensor(), b.two_pressure(), visit))
    rising, falling = (lab.line(50.0, direction=way) for way in ("rising", "falling"))
    assert (rising.error, falling.error) == (pytest.approx(-0.65, abs=1e-4), pytest.approx(0.35, abs=1e-4))
    # Two readings 1 %RH apart, taken as repeats, would have s = 0.7 %RH, ν = 1 and so U near 7 %RH.
    assert lab.U(50.0, direction="rising") < 1.0


def test_a_withdrawn_visit_is_not_measured():
    first = b.visit("2026-03-16-lab", b.plateau(50, [50.0, 50.1], b.generated(50)))
    void = b.visit("2026-03-16-lab", [{"sensor": "RH-1", "phase": "withdrawn", "reason": "wrong sensor"}], revision=2)
    assert measured(b.records(b.sensor(), b.two_pressure(), first, void)).measurement.lines == []


def test_a_transducers_own_zero_is_applied_before_the_room_is_added():
    """A gauge transducer that shows 1 kPa at no pressure: its table is read at the gauge reading."""
    table = b.quantity(
        b.calibration(b.point("0 kPa", "1 kPa", "0.2 kPa"), b.point("1500 kPa", "1 kPa", "0.2 kPa")),
        resolution="0.01 kPa",
    )
    generator = b.two_pressure(quantities={"saturation_pressure": table})
    reading = b.generated(50, gauge=True)
    header = "saturation_pressure [kPa gauge]"
    shown = reading | {header: reading[header] + 1.0}
    files = b.records(b.sensor(), generator, b.barometer(), b.visit("2026-03-16-lab", b.plateau(50, [50.0], shown)))
    assert measured(files).line(50.0).reference_value == pytest.approx(50.0, abs=1e-3)


@pytest.mark.parametrize(
    ("output", "unit", "expected"), [("5.5", "V", 55.0), ("12.8", "mA", 55.0), ("55", "%RH", 55.0)]
)
def test_volts_milliamperes_and_percent_say_the_same(output, unit, expected):
    signal = {"V": "voltage", "mA": "current", "%RH": "direct"}[unit]
    ends = {"V": ("0 V", "10 V"), "mA": ("4 mA", "20 mA"), "%RH": None}[unit]
    scaling = ends and {"low": ends[0], "high": ends[1], "reads_low": "0 %RH", "reads_high": "100 %RH"}
    plateau = b.plateau(50, [output], b.generated(50), unit=unit, loop_meter=None if ends is None else "METER-01")
    family = b.family(signal=signal, scaling=scaling)
    lab = measured(b.records(family, b.sensor(), b.two_pressure(), b.loop_meter(), b.visit("2026-03-16-lab", plateau)))
    assert lab.line(50.0).indication == pytest.approx(expected)


def test_psi_and_fahrenheit_say_the_same_as_kilopascal_and_celsius():
    metric = b.generated(35.0, 22.0, 23.0, gauge=True)
    customary = {}
    for header, value in metric.items():
        name, _, unit = header.partition(" ")
        if unit == "[degC]":
            customary[f"{name} [degF]"] = repr(value * 1.8 + 32.0)
        elif unit == "[kPa gauge]":
            customary[f"{name} [psi gauge]"] = repr(value * 1e3 / 6894.757293168361)
        elif unit == "[kPa absolute]":
            customary[f"{name} [inHg absolute]"] = repr(value * 1e3 / 3386.389)
        else:
            customary[header] = value
    labs = []
    for reading in (metric, customary):
        visit = b.visit("2026-03-16-lab", b.plateau(35, [35.1, 35.2], reading))
        labs.append(measured(b.records(b.sensor(), b.two_pressure(), b.barometer(), visit)))
    first, second = labs
    assert second.line(35.0).reference_value == pytest.approx(first.line(35.0).reference_value, rel=1e-10)
    assert second.U(35.0) == pytest.approx(first.U(35.0), rel=1e-9)


def test_the_order_in_which_files_are_found_changes_nothing():
    visits = [
        b.visit(f"2026-0{month}-16-lab", b.plateau(50, [50.0, 50.2], b.generated(50), sensor=sensor))
        for month, sensor in ((2, "RH-2"), (3, "RH-1"), (4, "RH-2"))
    ]
    files = b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), *visits)
    forwards, backwards = measured(files), measured(dict(reversed(files.items())))
    assert forwards.measurement.lines == backwards.measurement.lines
    assert list(forwards.measurement.whole().U) == list(backwards.measurement.whole().U)


def test_a_quantitys_own_range_of_use_stands_for_its_tables_ends():
    wide = b.two_pressure()
    narrow = {
        path: text.replace(b'"chamber_temperature": {', b'"chamber_temperature": {"lowest": "26 degC", ')
        for path, text in wide.items()
    }
    visit = b.visit("2026-03-16-lab", b.plateau(50, [50.1, 50.1], b.generated(50)))
    assert narrow != wide
    for reference, reserved in ((wide, []), (narrow, ["outside-reference-range"])):
        (result,) = b.results(b.records(b.sensor(), reference, visit))
        assert [fault.rule.name for fault in result.reservations] == reserved
    assert "lies outside its range of use (26 to 60 degC)" in result.reservations[0].message


def test_an_end_of_use_that_a_record_leaves_out_is_its_tables():
    """A wider upper end says nothing of readings below the lowest point of the certificate."""
    chamber_c = b.flat(26, 60, "degC", 0.03)
    visit = b.visit("2026-03-16-lab", b.plateau(50, [50.1, 50.1], b.generated(50)))
    for use in ({}, {"highest": "80 degC"}):
        reference = b.two_pressure(quantities={"chamber_temperature": {**use, **chamber_c}})
        (result,) = b.results(b.records(b.sensor(), reference, visit))
        assert [fault.rule.name for fault in result.reservations] == ["outside-reference-range"], use


def test_lag_behind_a_changing_room_is_the_slope_of_its_readings_times_the_lag():
    still, changing = [b.by_probe(50.0, air_c=23.0)] * 3, [b.by_probe(rh, air_c=23.0) for rh in (50.0, 50.2, 50.4)]
    probe = b.transfer_probe(response_lag="2 min")
    for readings, half in ((still, 0.0), (changing, 2.0 * 0.2)):
        rows = [row | {"output [%RH]": 50.3} for row in b.plateau(50, [50.3] * 3, {})]
        visit = b.visit("2026-03-16-lab", [row | reading for row, reading in zip(rows, readings, strict=True)])
        lab = measured(b.records(b.sensor(), probe, b.barometer(), visit))
        found = [s for s in lab.measurement.whole().catalogue if s.identity.endswith("response_lag")]
        assert [source.u for source in found] == pytest.approx([half / math.sqrt(3.0)])


def test_a_point_that_was_not_done_is_no_step_to_settle_from():
    family = b.family(time_constant={"longest": "10 min"})
    done = b.visit(
        "2026-03-16-lab", b.plateau(20, [20.1] * 2, b.generated(20)), b.plateau(80, [80.1] * 2, b.generated(80))
    )
    skipped = b.visit("2026-03-16-lab", b.not_done(20), b.plateau(80, [80.1] * 2, b.generated(80)))
    corrections = [
        b.results(b.records(family, b.sensor(), b.two_pressure(), visit))[-1].settling_correction
        for visit in (done, skipped)
    ]
    assert corrections == pytest.approx([60.0 * (math.exp(-3.0) + math.exp(-3.1)) / 4.0, 0.0])
