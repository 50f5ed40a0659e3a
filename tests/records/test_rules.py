"""Rules across records: what no record knows by itself. Each rule's own bad record lies in tests/bad_records/."""

from __future__ import annotations

import inspect
import re

import pytest
from hypothesis import given, settings

from asfound.faults import Fault, Place, Rule
from asfound.records.checking import check
from asfound.records.rules import RULES_ACROSS, cross_check, once_a_file
from tests.records.visits.test_visit_files import damaged
from tests.repositories import laid_over, minimal

VISIT = "visits/2026/2026-03-14-drying.csv"
SENSOR = "sensors/RH-101.yml"
HEADER, FIRST, SECOND = minimal()[VISIT].decode().splitlines()
COLUMNS = [text.split(" [")[0] for text in HEADER.split(",")]

Files = dict[str, str | bytes]


def told(files: Files, *, without: tuple[str, ...] = ()) -> list[str]:
    """`line rule` of every fault, by place."""
    kept = {path: content for path, content in laid_over(files).items() if path not in without}
    return [f"{fault.place.line} {fault.rule.name}" for fault in check(kept)[1]]


def row(base: str = FIRST, **fields: object) -> str:
    """A row of the minimal visit with some fields changed."""
    values = dict(zip(COLUMNS, base.split(","), strict=True)) | {k: str(v) for k, v in fields.items()}
    return ",".join(values[name] for name in COLUMNS)


def visit(*rows: str, header: str = HEADER, path: str = VISIT) -> Files:
    return {path: "\n".join((header, *rows, ""))}


def edited(path: str, before: str, after: str) -> Files:
    text = minimal()[path].decode()
    assert before in text
    return {path: text.replace(before, after, 1)}


def table(*rows: dict[str, object], path: str = VISIT) -> Files:
    """A visit by header and field."""
    header = list(dict.fromkeys(name for fields in rows for name in fields))
    lines = [",".join(str(fields.get(name, "")) for name in header) for fields in rows]
    return visit(*lines, header=",".join(header), path=path)


BASE: dict[str, object] = {"sensor": "RH-102", "time": "2026-03-14 09:40", "phase": "as_found", "technician": "ada"}
MIRROR = BASE | {
    "target [%RH]": 10,
    "output [%RH]": 9.4,
    "reference": "MIR-01",
    "mirror_temperature [degC]": -10.02,
    "condensate": "frost",
    "chamber_temperature [degC]": 23.01,
}
PROBE = BASE | {
    "target [%RH]": 50,
    "output [%RH]": 50.4,
    "reference": "PRB-01",
    "reference_humidity [%RH]": 50.1,
    "reference_temperature [degC]": 22.9,
}


def test_every_rule_across_is_a_named_function_that_says_what_it_holds():
    assert len({rule.__name__ for rule in RULES_ACROSS}) == len(RULES_ACROSS)
    for rule in RULES_ACROSS:
        assert rule.__doc__ and rule.__doc__.endswith("."), rule.__name__
        assert list(inspect.signature(rule).parameters) == ["survey"]


def test_good_records_have_no_faults_across():
    records, _ = check(minimal())
    assert records is not None and cross_check(records) == []


# Rows that a later revision replaces or withdraws.

REASON = f"{HEADER},reason"


def later(*rows: str, header: str = REASON, revision: int = 2) -> Files:
    return visit(*rows, header=header, path=VISIT.replace(".csv", f".r{revision}.csv"))


def test_replaced_rows_have_no_faults():
    wrong = visit(row(reference="GEM-01", output="x"), row(SECOND, technician="nobody"))
    assert told(wrong) == ["2 bad-number", "2 unknown-reference", "3 unknown-person"]
    assert told(wrong | later(f"{FIRST},mistyped", f"{SECOND},")) == []


def test_only_the_sensors_that_a_revision_holds_are_replaced():
    other = row(sensor="RH-102", serial="B7001", output="", loop_meter="", reference="GEM-01", output_="")
    wrong = visit(row(output="x"), f"{other},20.3", header=f"{HEADER},far_end [%RH]")
    assert told(wrong) == ["2 bad-number", "3 unknown-reference"]
    assert told(wrong | later(f"{FIRST},mistyped")) == ["3 unknown-reference"]


def test_withdrawn_rows_have_no_faults():
    wrong = visit(row(reference="GEM-01"))
    gone = later("RH-101,2026-03-14 12:00,withdrawn,wrong probe", header="sensor,time,phase,reason")
    assert told(wrong | gone) == []


def test_a_replaced_header_has_no_faults():
    wrong = visit(FIRST, header=HEADER.replace("[mA]", "(mA)"))
    assert told(wrong) == ["1 unknown-column"]
    assert told(wrong | later(f"{FIRST},mistyped")) == []
    two = visit(FIRST, row(sensor="RH-102"), header=HEADER.replace("[mA]", "(mA)"))
    assert told(two | later(f"{FIRST},mistyped")) == ["1 unknown-column"]


def test_a_revision_that_cannot_be_read_replaces_nothing():
    wrong = visit(row(reference="GEM-01"))
    broken = later(f"{FIRST},mistyped", header=f"{REASON} [x]")
    assert told(wrong | broken) == ["2 unknown-reference", "1 unexpected-unit"]


def test_the_faults_of_the_latest_revision_stand():
    assert told(later(f"{row(reference='GEM-01')},mistyped")) == ["2 unknown-reference"]
    again = later(f"{FIRST},mistyped again", revision=3)
    assert told(later(f"{row(reference='GEM-01')},mistyped") | again) == []


def test_a_withdrawal_of_an_unreadable_visit_is_no_second_fault():
    gone = later("RH-101,2026-03-14 12:00,withdrawn,wrong probe", header="sensor,time,phase,reason")
    assert told(visit(FIRST, header=HEADER.replace("[mA]", "(mA)")) | gone) == []


# What could not be read is not also missing or unknown.


def test_a_record_that_cannot_be_read_is_not_unknown():
    assert told({SENSOR: "id: RH-101\n"}) == ["1 missing-key"] * 3
    assert told(edited("references/GEN-01.yml", "kind: two_pressure", "kind: steam")) == ["2 wrong-value"]
    assert told(edited("families/HX-2.yml", "months: 12", "months: no")) == ["9 wrong-value"]


@pytest.mark.parametrize("path", ["facility.yml", "people.yml"])
def test_rules_across_run_without_facility_or_people(path: str):
    wrong = visit(row(reference="GEM-01"))
    assert told(wrong, without=(path,)) == ["1 missing-record", "2 unknown-reference"]
    assert told(wrong | {path: "[]"}) == ["1 wrong-value", "2 unknown-reference"]
    records, _ = check({key: value for key, value in minimal().items() if key != path})
    assert records is None


def test_a_field_that_cannot_be_read_is_not_missing():
    assert told(visit(row(output="7.1x"))) == ["2 bad-number"]
    assert told(visit(row(saturation_pressure="#REF!", chamber_pressure="?"))) == [
        "2 spreadsheet-error",
        "2 bad-number",
    ]
    assert told(visit(row(phase="as_fond"), row(SECOND, phase="as_left"))) == ["2 bad-word"]


def test_other_mistakes_of_such_a_row_are_told_with_it():
    assert told(visit(row(output="x", reference="GEM-01", target=""))) == [
        "2 missing-target",
        "2 bad-number",
        "2 unknown-reference",
    ]


def test_an_unknown_id_is_told_once_a_file_with_the_number_of_its_rows():
    rows = [row(time=f"2026-03-14 09:{minute}", reference="GEM-01") for minute in range(40, 50)]
    (fault,) = check(laid_over(visit(*rows)))[1]
    assert fault.message == "reference 'GEM-01' has no record (and in 9 more rows)"


def test_one_mistake_is_one_fault_a_file():
    rule = Rule(name="a-rule", summary="a rule of a test")

    def fault(path: str, line: int, message: str = "m") -> Fault:
        return Fault(rule=rule, place=Place(path=path, line=line), message=message, cure="c")

    merged = once_a_file([fault("a", 3), fault("a", 2), fault("a", 2), fault("b", 1), fault("a", 9, "other")])
    assert [(f.place.path, f.place.line, f.message) for f in merged] == [
        ("a", 2, "m (and in 1 more row)"),
        ("b", 1, "m"),
        ("a", 9, "other"),
    ]


# Spreadsheets.


def test_ids_that_count_up_are_right_where_each_has_a_record():
    third = edited("sensors/RH-102.yml", "id: RH-102", "id: RH-103")["sensors/RH-102.yml"]
    files: Files = {"sensors/RH-103.yml": str(third).replace("B7001", "B7003")}
    rows = [
        row(sensor=f"RH-10{n}", serial="", time=f"2026-03-14 09:4{n}", output="", loop_meter="") + ",20.3"
        for n in (1, 2, 3)
    ]
    assert told(files | visit(*rows, header=f"{HEADER},far_end [%RH]")) == []


def test_a_dragged_serial_number_is_found():
    rows = [row(time=f"2026-03-14 09:4{n}", serial=f"A700{n + 1}") for n in range(4)]
    (fault,) = check(laid_over(visit(*rows)))[1]
    assert (fault.place.line, fault.rule.name) == (3, "dragged-down-id")
    assert fault.cure.endswith("copy 'A7001' into each row")


@pytest.mark.parametrize("written", ["01-Mar", "1-Mar", "Mar-01", "3/1/2026", "2026-03-01", "01.03.2026", "Mar 2026"])
def test_what_a_spreadsheet_makes_of_an_id(written: str):
    assert told(visit(row(reference=written))) == ["2 id-became-date"]


def test_an_id_of_a_known_record_may_look_like_a_date():
    other = minimal()["references/GEN-01.yml"].decode().replace("id: GEN-01", "id: MAR-01")
    assert told({"references/MAR-01.yml": other} | visit(row(reference="MAR-01"))) == []


# Several sensors in one chamber.


def test_rows_of_one_moment_share_the_reference_readings():
    header = HEADER.replace("output [mA]", "output [mA],far_end [%RH]")
    shared = "RH-102,2026-03-14 09:40,as_found,20,B7001,,20.4,,GEN-01,ada,,,,"
    assert told(visit(FIRST.replace("7.251,", "7.251,20.3,"), shared, header=header)) == []
    alone = shared.replace("09:40", "09:41")
    assert told(visit(FIRST.replace("7.251,", "7.251,20.3,"), alone, header=header)) == ["3 missing-reading"]


def test_two_sensors_beside_one_probe_have_their_own_air_temperature():
    air = PROBE | {"medium": "in air", "air_temperature [degC]": 22.8}
    second = air | {"sensor": "RH-101", "air_temperature [degC]": 23.4, "output [%RH]": "", "far_end [%RH]": 50.9}
    assert told(table(air | {"far_end [%RH]": ""}, second)) == []
    other = second | {"reference_humidity [%RH]": 50.2}
    assert told(table(air | {"far_end [%RH]": ""}, other)) == ["3 contradictory-readings"]


# Methods.


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        ({"chamber_pressure [kPa absolute]": 101.3}, []),
        ({"ambient_pressure [hPa absolute]": 1013, "barometer": "BAR-01"}, []),
        ({"ambient_pressure [hPa absolute]": 1013}, ["2 no-barometer"]),
        ({}, ["2 missing-reading"]),
        ({"chamber_pressure [kPa absolute]": 101.3, "condensate": ""}, ["2 dew-or-frost"]),
        (
            {"chamber_pressure [kPa absolute]": 101.3, "ambient_pressure [hPa absolute]": 1013, "barometer": "MIR-01"},
            ["2 wrong-kind-of-reference"],
        ),
        ({"chamber_pressure [kPa absolute]": 101.3, "medium": "in air"}, ["2 medium-mismatch"]),
        ({"chamber_pressure [kPa absolute]": 101.3, "salt": "NaCl"}, ["2 method-mixture"]),
    ],
)
def test_what_a_chilled_mirror_needs(changed: dict[str, object], rules: list[str]):
    assert told(table(MIRROR | changed)) == rules


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        ({}, []),
        ({"medium": "in air", "air_temperature [degC]": 22.8}, []),
        ({"medium": "in air"}, ["2 missing-reading"]),
        ({"air_temperature [degC]": 22.8}, ["2 medium-mismatch"]),
        ({"medium": "salt cell"}, ["2 medium-mismatch"]),
        ({"reference_temperature [degC]": ""}, ["2 missing-reading"]),
        ({"output [%RH]": ""}, ["2 missing-indication"]),
    ],
)
def test_what_a_transfer_probe_needs(changed: dict[str, object], rules: list[str]):
    assert told(table(PROBE | changed)) == rules


def test_a_frosted_mirror_is_below_freezing_within_its_thermometer():
    warm = MIRROR | {"chamber_pressure [kPa absolute]": 101.3, "mirror_temperature [degC]": 0.1}
    assert told(table(warm)) == []
    assert told(table(warm | {"mirror_temperature [degC]": 0.6})) == ["2 frost-above-freezing"]


def test_a_point_that_was_not_done_needs_only_its_reason():
    blank = ",".join(SECOND.split(",")[:5]) + "," * (len(COLUMNS) - 5)
    assert told(visit(f"{FIRST},", f"{blank},door locked", header=f"{HEADER},note")) == []


def test_another_laboratory_s_result_needs_no_reference_technician_or_target():
    stated = {
        "sensor": "RH-102",
        "time": "2026-03-14 09:40",
        "phase": "as_left",
        "stated_reference [%RH]": 50.1,
        "stated_error [%RH]": 0.6,
        "stated_U [%RH]": 1.2,
        "stated_k": 2,
    }
    assert told(table(stated)) == []
    assert told(table(stated | {"stated_k": 0.5})) == ["2 implausible-reading"]


# Implausible readings: the edges are inside, and the cure names the unit that was meant.


@pytest.mark.parametrize(
    ("header", "field", "cure"),
    [
        ("ambient_pressure [kPa absolute]", 50, None),
        ("ambient_pressure [kPa absolute]", 115, None),
        ("ambient_pressure [kPa absolute]", 29.92, "if it was read in inHg, write [inHg absolute] in the header"),
        ("ambient_pressure [kPa absolute]", 1013.2, "if it was read in hPa, write [hPa absolute] in the header"),
        ("ambient_pressure [kPa absolute]", 14.69, "if it was read in psi, write [psi absolute] in the header"),
        ("ambient_pressure [hPa absolute]", 101.3, "if it was read in kPa, write [kPa absolute] in the header"),
        ("room_temperature [degC]", 73.4, "if it was read in degF, write [degF] in the header"),
        ("room_humidity [%RH]", 106, "check the number and the unit in the header"),
        ("room_humidity [%RH]", 105, None),
        ("soak [min]", 30000, "check the number and the unit in the header"),
    ],
)
def test_an_implausible_reading_names_the_unit_that_was_meant(header: str, field: float, cure: str | None):
    barometer = ",BAR-01" if header.startswith("ambient") else ","
    files = visit(f"{FIRST},{field}{barometer}", header=f"{HEADER},{header},barometer")
    found = check(laid_over(files))[1]
    assert [fault.rule.name for fault in found] == (["implausible-reading"] if cure else [])
    assert all(fault.cure.endswith(str(cure)) for fault in found)


def test_psi_typed_under_kpa_puts_the_saturator_below_its_chamber():
    (fault,) = check(laid_over(visit(row(saturation_pressure=73.26))))[1]
    assert fault.rule.name == "saturation-below-chamber"
    assert "kPa or psi, gauge or absolute" in fault.cure


def test_gauge_pressures_count_from_the_room():
    header = HEADER.replace("[kPa absolute]", "[kPa gauge]") + ",ambient_pressure [hPa absolute],barometer"
    gauge = row(saturation_pressure=403.8, chamber_pressure=0.0)
    assert told(visit(f"{gauge},1013.2,BAR-01", header=header)) == []
    assert told(visit(f"{gauge},,", header=header)) == ["2 gauge-without-ambient"] * 2
    assert told(visit(f"{row(saturation_pressure=-5, chamber_pressure=0)},1013.2,BAR-01", header=header)) == [
        "2 saturation-below-chamber"
    ]


# References under test, and what leans on what.


def calibrated_here(reference: str = "GEN-01", day: str = "2026-03-15") -> Files:
    """The probe's humidity calibrated by a visit here."""
    text = minimal()["references/PRB-01.yml"].decode()
    start, end = text.index("      - date"), text.index("  reference_temperature:")
    entry = f"      - {{date: {day}, valid_until: 2027-03-14, from_visit: 2026-03-15-probe, drift: 0 %RH/year}}\n"
    test = row(
        SECOND,
        sensor="PRB-01",
        time="2026-03-15 10:00",
        phase="as_left",
        serial="P1",
        output="50.4",
        loop_meter="",
        reference=reference,
    )
    path = "visits/2026/2026-03-15-probe.csv"
    return {"references/PRB-01.yml": text[:start] + entry + text[end:]} | visit(
        test, header=HEADER.replace("[mA]", "[%RH]"), path=path
    )


def test_a_probe_may_be_calibrated_by_a_visit_here():
    assert told(calibrated_here()) == []
    assert told(calibrated_here(day="2026-03-16")) == ["8 from-visit-date"]


def test_a_calibration_from_a_visit_that_cannot_be_read_is_not_unknown():
    files = calibrated_here()
    path = "visits/2026/2026-03-15-probe.csv"
    assert told(files | {path: str(files[path]).replace("[%RH]", "(%RH)")}) == ["1 unknown-column"] * 2


def test_a_reference_that_is_checked_shows_its_value_itself():
    check_row = row(SECOND, sensor="PRB-01", phase="check", serial="P1", output=12.1)
    assert told(visit(FIRST, check_row)) == ["3 signal-mismatch"]
    assert told(
        visit(
            row(SECOND, sensor="PRB-01", phase="check", serial="P2", output=50.2, loop_meter=""),
            header=HEADER.replace("[mA]", "[%RH]"),
        )
    ) == ["2 serial-not-as-installed"]


def test_a_visit_calibrates_a_probe_by_its_as_left_readings():
    files = calibrated_here()
    path = "visits/2026/2026-03-15-probe.csv"
    assert told(files | {path: str(files[path]).replace("as_left", "as_found")}) == ["8 from-visit-unknown"]


# Findings.

FINDING = "findings/RH-101/2026-03-14-drying.yml"


def finding(**keys: str) -> Files:
    values = {"sensor": "RH-101", "visit": "2026-03-14-drying", "owner": "ada"} | keys
    return {FINDING: "".join(f"{key}: {value}\n" for key, value in values.items())}


@pytest.mark.parametrize(
    ("keys", "rules"),
    [
        ({}, []),
        ({"decision": "dried again", "closed": "2026-04-01", "closed_by": "bo"}, []),
        ({"decision": "dried again", "closed": "2026-04-01", "closed_by": "ada"}, ["6 person-not-entitled"]),
        ({"decision": "dried again", "closed": "2027-04-01", "closed_by": "bo"}, ["6 person-period"]),
        ({"decision": "dried again", "closed": "2026-04-01", "closed_by": "cy"}, ["6 unknown-person"]),
        ({"owner": "cy"}, ["3 unknown-person"]),
    ],
)
def test_a_finding_is_closed_by_who_may_decide(keys: dict[str, str], rules: list[str]):
    assert told(finding(**keys)) == rules


def test_a_finding_names_a_sensor_with_a_record():
    path = FINDING.replace("RH-101", "RH-110")
    assert told({path: str(finding(sensor="RH-110")[FINDING])}) == ["1 unknown-sensor"]


def test_a_finding_of_a_visit_that_cannot_be_read_is_not_without_it():
    assert told(finding() | visit(FIRST, header=HEADER.replace("[mA]", "(mA)"))) == ["1 unknown-column"]


# Signals.


def test_a_scaling_is_in_the_unit_of_the_signal():
    volts = edited("families/HX-2.yml", "low: 4 mA, high: 20 mA", "low: 0 V, high: 10 V")
    assert told(volts) == ["2 signal-mismatch"]
    silent = str(volts["families/HX-2.yml"]).replace("signal: current\n", "")
    assert told({"families/HX-2.yml": silent}) == ["2 signal-mismatch"]


def test_a_channel_that_is_not_there_has_no_signal_either():
    header = f"{HEADER},output_temperature [mA]"
    assert told(visit(f"{FIRST},12.1", header=header)) == ["2 channel-not-there"]


def test_a_sensor_may_say_its_channels_itself():
    family = edited("families/HX-2.yml", "channels: [humidity]\n", "")
    assert told(family | {SENSOR: minimal()[SENSOR].decode() + "channels: [humidity]\n"}) == []
    assert told(family | {SENSOR: minimal()[SENSOR].decode() + "channels: [temperature]\n"}) == [
        "1 tolerance-missing",
        "6 family-without-channel",
    ]


# Settings over time.


def test_a_visit_is_judged_by_the_settings_of_its_day():
    tolerance = "tolerance:\n  - {from: 2024-01-01, absolute: 3 %RH}\n  - {from: 2026-03-14, absolute: 2 %RH}\n"
    assert told({SENSOR: minimal()[SENSOR].decode() + tolerance}) == []
    late = "tolerance: {from: 2026-03-15, absolute: 2 %RH}\n"
    assert told({SENSOR: minimal()[SENSOR].decode() + late}) == ["2 tolerance-missing"]


def test_instruments_follow_each_other_and_keep_their_serials():
    swapped = edited(
        SENSOR, "from: 2024-01-01}", "from: 2024-01-01}\n  - {serial: A7002, family: HX-2, from: 2026-03-14}"
    )
    assert told(swapped) == ["2 serial-not-as-installed"]
    assert told(swapped | visit(row(serial="a7002"))) == []


def test_an_instrument_may_move_to_another_position():
    moved = edited(SENSOR, "from: 2024-01-01}", "from: 2024-01-01, until: 2026-04-01}")
    there = edited(
        "sensors/RH-102.yml",
        "from: 2024-01-01}",
        "from: 2024-01-01}\n  - {serial: A7001, family: HX-2, from: 2026-04-02}",
    )
    assert told(moved | there) == []
    assert told(there) == ["6 instrument-in-two-places"]


def test_a_long_stay_overlaps_with_every_later_one():
    twice = edited(
        "sensors/RH-102.yml",
        "from: 2024-01-01}",
        "from: 2024-01-01}\n  - {serial: A7001, family: HX-2, from: 2026-04-02, until: 2026-05-01}"
        "\n  - {serial: A7009, family: HX-2, from: 2026-05-02}\n  - {serial: A7001, family: HX-2, from: 2026-06-01}",
    )
    assert told(twice) == ["6 instrument-in-two-places", "8 instrument-in-two-places"]


def test_a_gap_between_instruments_is_no_position_to_visit():
    gap = edited(
        SENSOR,
        "from: 2024-01-01}",
        "from: 2024-01-01, until: 2026-03-13}\n  - {serial: A7002, family: HX-2, from: 2026-03-15}",
    )
    assert told(gap) == ["2 not-installed"]


def test_a_sensor_read_below_freezing_says_which_humidity_it_shows():
    cold = visit(row(saturation_temperature=-4.98, chamber_temperature=-5.01))
    assert told(cold) == ["2 rh-over-undeclared"]
    assert told(cold | edited("families/HX-2.yml", "model: HX-2", "model: HX-2\nrh_over: water")) == []


# Order within a visit.

ADJUSTED = f"{HEADER},adjustment"


def adjusted(time: str, word: str) -> str:
    blank = dict.fromkeys(COLUMNS, "") | {
        "sensor": "RH-101",
        "time": f"2026-03-14 {time}",
        "phase": "adjusted",
        "technician": "ada",
    }
    return ",".join(blank[name] for name in COLUMNS) + f",{word}"


def test_as_found_adjusted_as_left():
    left = row(SECOND, phase="as_left", time="2026-03-14 11:30")
    assert told(visit(f"{FIRST},", adjusted("10:30", "span"), f"{left},", header=ADJUSTED)) == []
    assert told(visit(f"{FIRST},", adjusted("10:30", "none"), header=ADJUSTED)) == []
    assert told(visit(f"{FIRST},", adjusted("10:30", "span"), header=ADJUSTED)) == ["3 adjusted-without-as-left"]
    again = row(time="2026-03-14 12:00", phase="as_found")
    assert told(visit(f"{FIRST},", adjusted("10:30", "span"), f"{left},", f"{again},", header=ADJUSTED)) == [
        "5 phases-out-of-order"
    ]


def test_repeats_at_one_target_lean_on_one_reference():
    second = {"references/GEN-02.yml": minimal()["references/GEN-01.yml"].decode().replace("GEN-01", "GEN-02")}
    repeat = row(time="2026-03-14 09:42", reference="GEN-02")
    assert told(second | visit(FIRST, repeat)) == ["3 plateau-of-two-references"]
    assert told(second | visit(FIRST, row(SECOND, reference="GEN-02"))) == []


def test_a_review_fails_on_a_registered_reservation_only():
    text = minimal()["facility.yml"].decode()
    assert told({"facility.yml": f"{text}review_fails_on: [serial-not-as-installed]\n"}) == []
    assert told({"facility.yml": f"{text}review_fails_on: [bad-luck]\n"}) == ["13 review-rule-unknown"]


# Damage of any kind.


@settings(max_examples=150)
@given(damaged(minimal()[VISIT]))
def test_no_damage_to_a_visit_raises(content: bytes):
    _, faults = check(laid_over({VISIT: content}))
    for fault in faults:
        assert re.fullmatch(r"\S.*", fault.message) and re.fullmatch(r"\S.*", fault.cure)
        assert fault.place.path == VISIT


@settings(max_examples=60)
@given(damaged(minimal()[SENSOR]))
def test_no_damage_to_a_sensor_raises(content: bytes):
    check(laid_over({SENSOR: content}))


@settings(max_examples=60)
@given(damaged(minimal()["references/PRB-01.yml"]))
def test_no_damage_to_a_reference_raises(content: bytes):
    check(laid_over({"references/PRB-01.yml": content}))
