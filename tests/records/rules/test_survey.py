"""What a later revision replaces has no faults, and what could not be read is not also missing or unknown."""

from __future__ import annotations

import pytest

from asfound.faults import Fault, Place, Rule
from asfound.records.checking import check
from asfound.records.rules import once_a_file
from tests.records.rules.written import (
    FIRST,
    HEADER,
    SECOND,
    SENSOR,
    VISIT,
    Files,
    edited,
    row,
    told,
    visit,
)
from tests.repositories import laid_over, minimal

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
