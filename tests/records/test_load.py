"""Every file of a snapshot is read into its model, or refused with the place of each mistake and its cure."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given

from asfound.faults import Fault
from asfound.records.load import Records, load
from asfound.records.models import RECORD_MODELS, in_force
from asfound.records.models.validation import keys_at
from asfound.records.snapshot import from_folder
from tests.examples import examples
from tests.records.visits.test_visit_files import damaged
from tests.repositories import MINIMAL, laid_over, minimal

SENSOR = "sensors/RH-101.yml"
REFERENCE = "references/GEN-01.yml"


def good(files: dict[str, str | bytes] | None = None) -> Records:
    records, faults = load(laid_over(files or {}))
    assert [fault.text() for fault in faults] == []
    assert records is not None
    return records


def faults_of(files: dict[str, str | bytes]) -> list[Fault]:
    return load(laid_over(files))[1]


def sensor(extra: str) -> dict[str, str | bytes]:
    return {SENSOR: minimal()[SENSOR].decode() + extra}


def told(fault: Fault) -> tuple[int, int, str, str]:
    return fault.place.line, fault.place.column, fault.rule.name, fault.message


def test_a_folder_of_records_is_read():
    records = good()
    assert sorted(records.sensors) == ["RH-101", "RH-102"]
    assert sorted(records.references) == ["BAR-01", "DMM-01", "GEN-01", "MIR-01", "PRB-01", "SALT-01"]
    assert sorted(records.people) == ["ada", "bo"]
    assert [visit.name for visit in records.visits] == ["2026-03-14-drying"]
    assert records.zone.key == "Europe/Oslo"
    assert records.place(SENSOR, "installed", 0, "serial").line == 5


def test_amounts_are_canonical_and_days_are_days():
    records = good(sensor("working_temperature: 59 degF\nself_heating: 0.18 degF\ntime_constant: {longest: 90 s}\n"))
    rh = records.sensors["RH-101"]
    assert rh.working_temperature == pytest.approx(15.0)
    assert [entry.value for entry in rh.self_heating] == pytest.approx([0.1])
    assert [entry.longest for entry in rh.time_constant] == [1.5]
    assert rh.installed[0].from_ == date(2024, 1, 1)
    table = records.references["GEN-01"].quantities["saturation_pressure"].calibrations[0].points
    assert (table[1].at.value, table[1].at.quantity, table[1].U.value) == (1.2e6, "pressure", 200.0)


def test_one_undated_entry_holds_always():
    (entry,) = good().families["HX-2"].tolerance or ()
    assert in_force((entry,), date(1990, 1, 1)) is entry


def test_a_setting_is_in_force_from_its_first_day_to_the_last_before_the_next():
    text = "interval:\n  - {from: 2024-01-01, months: 12}\n  - {from: 2026-03-14, months: 6}\n"
    entries = good(sensor(text)).sensors["RH-101"].interval
    days = [date(2023, 12, 31), date(2024, 1, 1), date(2026, 3, 13), date(2026, 3, 14)]
    months = [entry.months if (entry := in_force(entries, day)) else None for day in days]
    assert months == [None, 12, 12, 6]


def test_a_period_holds_its_first_and_last_day():
    bo = good().people["bo"]
    assert [bo.holds(d) for d in (date(2023, 12, 31), date(2024, 1, 1))] == [False, True]
    assert [bo.holds(d) for d in (date(2026, 12, 31), date(2027, 1, 1))] == [True, False]


def test_a_bare_id_or_serial_survives_as_written():
    text = minimal()[SENSOR].decode().replace("A7001", "0815")
    assert good({SENSOR: text}).sensors["RH-101"].installed[0].serial == "0815"


def test_evidence_is_listed_and_not_read():
    assert good({"attachments/C-118.pdf": b"%PDF", "logs/2026/x.csv": b"\xff"})


def test_hidden_files_and_backups_are_no_records(tmp_path):
    for name in (".gitattributes", "facility.yml", "facility.yml~", "sensors/.RH-1.yml.swp", ".git/x.yml"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    assert list(from_folder(tmp_path)) == ["facility.yml"]


def test_a_record_with_faults_is_left_out_and_the_others_are_read():
    records, faults = load(laid_over({SENSOR: "id: RH-101\n"}))
    assert records is not None and sorted(records.sensors) == ["RH-102"]
    assert [told(fault)[2:] for fault in faults] == [
        ("missing-key", f"the key {key!r} is missing") for key in ("name", "place", "installed")
    ]


def test_without_facility_or_people_there_are_no_records():
    for path in ("facility.yml", "people.yml"):
        files = minimal()
        del files[path]
        records, faults = load(files)
        assert records is None
        assert [fault.rule.name for fault in faults] == ["missing-record"]


def test_all_mistakes_of_a_record_are_told_at_once():
    text = "tolerance: {absolute: 2}\npoints: {humidity: []}\ncriticality: urgent\ncolour: red\n"
    assert sorted(told(fault) for fault in faults_of(sensor(text))) == [
        (6, 23, "bad-amount", "absolute: '2' has no unit"),
        (7, 20, "wrong-value", "humidity: nothing is given"),
        (8, 14, "wrong-value", "criticality: 'urgent' is not one of 'high', 'medium' or 'low'"),
        (9, 1, "unknown-key", "unknown key 'colour'"),
    ]


@pytest.mark.parametrize(
    ("extra", "line", "column", "rule", "message"),
    [
        ("note: 5\nid: x\n", 7, 1, "duplicate-key", "key 'id' stands twice here"),
        ("working_humidity:\n", 6, 1, "", ""),
        ("working_humidity: [15 %RH]\n", 6, 19, "bad-amount", "working_humidity: this is not an amount"),
        ("interval: {months: 0}\n", 6, 20, "wrong-value", "months: '0' should be greater than or equal to 1"),
        ("interval: {months: }\n", 6, 20, "wrong-value", "months: nothing is given"),
        ("interval: 12\n", 6, 11, "wrong-value", "interval: '12' stands where keys with values belong"),
        ("controls: maybe\n", 6, 11, "wrong-value", "controls: 'maybe' is neither true nor false"),
        ("working_humidity: 150 %RH\n", 6, 19, "bad-amount", "working_humidity: '150 %RH' is more than can be"),
        ("points: {humidity: [20 %RH, 50 %RH, 20 %RH]}\n", 6, 37, "bad-amount", "humidity: 20 %RH stands twice"),
        ("humidity: {resolution: -0.1 %RH}\n", 6, 24, "bad-amount", "resolution: '-0.1 %RH' is negative"),
        ("tolerance: {absolute: 0 %RH}\n", 6, 12, "empty-tolerance", "tolerance: the limit is zero"),
        (
            "tolerance: {bands: [{lowest: 10 %RH, highest: 10 %RH, absolute: 2 %RH}]}\n",
            6,
            30,
            "bad-range",
            "lowest: the band is empty",
        ),
        ("tolerance: {of_reading: 0 %}\n", 6, 12, "empty-tolerance", "tolerance: the limit is zero"),
        (
            "process_limits: {lowest: 60 %RH, highest: 40 %RH}\n",
            6,
            26,
            "bad-range",
            "lowest: no humidity lies between the limits",
        ),
        (
            "deferred_reason: door replaced\n",
            6,
            18,
            "deferral-without-reason",
            "deferred_reason: a deferral needs a day and a reason",
        ),
        (
            "scaling: {low: 4 mA, high: 10 V, reads_low: 0 %RH, reads_high: 100 %RH}\n",
            6,
            10,
            "bad-scaling",
            "scaling: the two signals are in units of current and voltage",
        ),
        (
            "out_of_service: [{from: 2026-02-01, until: 2026-01-01, reason: x}]\n",
            6,
            44,
            "dates-out-of-order",
            "until: 2026-01-01 lies before the first day 2026-02-01",
        ),
        (
            "interval: [{months: 12}, {months: 6}]\n",
            6,
            11,
            "dates-out-of-order",
            "interval: an undated entry stands behind another undated one",
        ),
    ],
)
def test_a_mistake_in_a_sensor_has_its_place(extra: str, line: int, column: int, rule: str, message: str):
    found = [told(fault) for fault in faults_of(sensor(extra))]
    assert found == ([(line, column, rule, message)] if rule else [])


@pytest.mark.parametrize(
    ("before", "after", "rule", "message"),
    [
        ("declared: error", "declared: wrong", "wrong-value", "declared: 'wrong' is not one of "),
        ("valid_until: 2027-01-09", "valid_until: 2025-01-09", "dates-out-of-order", "valid_until: 2025-01-09 lies"),
        ("U: 0.1 kPa", "U: 0 kPa", "bad-amount", "U: U must be positive"),
        (
            "at: 50 kPa absolute",
            "at: 50 degC",
            "mixed-quantities",
            "value: an amount of pressure stands beside one of ",
        ),
        ("at: 50 kPa absolute", "at: 50 kPa gauge", "mixed-quantities", "points: some readings of the table are gauge"),
        ("value: 0 kPa", "value: 0 kPa gauge", "bad-amount", "value: '0 kPa gauge' is not a number with a unit"),
        ("at: -20 degC", "at: -20 degC gauge", "bad-amount", "at: '-20 degC gauge' is no pressure"),
        (
            "    calibrations:",
            "    unit: psi gauge\n    calibrations:",
            "mixed-quantities",
            "calibrations: the newest table",
        ),
        ("declared: error", "from_visit: x", "calibration-incomplete", "from_visit: both points and from_visit"),
        ("chamber_pressure:", "chamber_pressur:", "unknown-quantity", "chamber_pressur: unknown quantity"),
        ("kind: two_pressure", "kind: chilled_mirror", "quantity-missing", "quantities: a chilled_mirror needs"),
        ("kind: two_pressure", "kind: steam", "wrong-value", "kind: 'steam' is not one of "),
        ("kind: two_pressure", "kind: loop_meter", "quantity-missing", "quantities: a loop_meter needs the quantity "),
        ("drift: 0 kPa/year", "drift: 1 degC/year", "mixed-quantities", "drift: saturation"),
        ("    calibrations:", "    resolution: 1 mA\n    calibrations:", "mixed-quantities", "resolution: saturation"),
        ("    calibrations:", "    lowest: 9 kPa\n    highest: 9 kPa\n    calibrations:", "bad-range", "lowest: the "),
    ],
)
def test_a_mistake_in_a_reference_is_named(before: str, after: str, rule: str, message: str):
    text = minimal()[REFERENCE].decode().replace(before, after, 1)
    (fault,) = faults_of({REFERENCE: text})
    assert fault.rule.name == rule
    assert fault.message.startswith(message)


def test_an_amount_of_another_kind_is_found_wherever_it_stands():
    text = minimal()[REFERENCE].decode()
    chamber = text.index("  chamber_temperature:")
    wrong = text[:chamber] + text[chamber:].replace(
        "{at: -20 degC, value: 0.01 degC, U: 0.04 degC}", "{at: 0.01 kPa, value: 1 kPa, U: 1 kPa}"
    )
    (fault,) = faults_of({REFERENCE: wrong})
    line = 1 + wrong[: wrong.index("at: 0.01 kPa")].count("\n")
    assert told(fault) == (line, 18, "mixed-quantities", "at: chamber_temperature has an amount of pressure")


def test_salt_cells_say_their_salts():
    text = minimal()["references/SALT-01.yml"].decode().replace("salts: [NaCl, LiCl]\n", "")
    (fault,) = faults_of({"references/SALT-01.yml": text})
    assert (fault.rule.name, fault.message) == ("quantity-missing", "a saturated_salt needs its salts")


def test_calibrations_are_in_order_of_date():
    text = minimal()["references/BAR-01.yml"].decode()
    entry = text[text.index("      - date") :]
    assert good({"references/BAR-01.yml": text + entry.replace("2026-01-10", "2026-06-10")})
    (fault,) = faults_of({"references/BAR-01.yml": text + entry})
    assert fault.message == "calibrations: the calibrations are not in order of date"


def test_a_common_component_is_of_its_calibrations():
    common = "common: [{name: bath, u: 0.01 %s, quantities: [%s], date: 2026-01-10}]\nquantities:"
    text = minimal()[REFERENCE].decode()
    both = "saturation_temperature, chamber_temperature"
    assert good({REFERENCE: text.replace("quantities:", common % ("degC", both), 1)})
    for unit, names, rule in (
        ("kPa", both, "mixed-quantities"),
        ("degC", "saturation_temperature, mirror_temperature", "unknown-quantity"),
        ("degC", "saturation_temperature", "wrong-value"),
    ):
        (fault,) = faults_of({REFERENCE: text.replace("quantities:", common % (unit, names), 1)})
        assert (fault.rule.name, fault.place.line) == (rule, 5)


def test_an_unknown_key_is_answered_with_the_keys_of_its_record():
    (fault,) = faults_of(sensor("tolerance: {absolut: 2 %RH, of_reading: 1 %}\n"))
    assert fault.cure == "remove it or correct it (did you mean 'absolute'?)"
    assert keys_at(RECORD_MODELS["sensor"], ("tolerance", "bands", 0)) == [
        "absolute",
        "combine",
        "highest",
        "lowest",
        "of_range",
        "of_reading",
    ]
    assert "resolution" in keys_at(RECORD_MODELS["reference"], ("quantities", "anything"))
    assert keys_at(RECORD_MODELS["people"], ("people", 3)) == ["emails", "from", "id", "may", "name", "until"]


@pytest.mark.parametrize("content", ["", "[]", "just words", "- a\n- b\n", "~", "id: [a]\n", "id: {a: b}\n"])
def test_a_file_that_holds_no_record_is_refused(content: str):
    for path in ("facility.yml", "people.yml", SENSOR, REFERENCE, "families/HX-2.yml"):
        assert faults_of({path: content}), path


@examples(25)
@given(damaged(minimal()[SENSOR]))
def test_no_damage_to_a_sensor_raises(content: bytes):
    records, faults = load(laid_over({SENSOR: content}))
    assert records is not None
    assert "RH-101" in records.sensors or any(fault.place.path == SENSOR for fault in faults)


@examples(15)
@given(damaged(minimal()[REFERENCE]))
def test_no_damage_to_a_reference_raises(content: bytes):
    records, faults = load(laid_over({REFERENCE: content}))
    assert records is not None
    assert "GEN-01" in records.references or any(fault.place.path == REFERENCE for fault in faults)


def test_the_minimal_records_lie_in_their_folder():
    assert sorted(minimal()) == sorted(
        path.relative_to(MINIMAL).as_posix() for path in MINIMAL.rglob("*") if path.is_file()
    )
