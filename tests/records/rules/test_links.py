"""References under test and what leans on what, findings, and rules that a review fails on."""

from __future__ import annotations

import pytest

from tests.records.rules.written import (
    FIRST,
    HEADER,
    SECOND,
    Files,
    row,
    told,
    visit,
)
from tests.repositories import minimal

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
