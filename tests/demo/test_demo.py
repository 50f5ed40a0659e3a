"""The demo facility: its records are whole, its numbers reproducible, and every situation is really there.

The readings were simulated with CoolProp and hidden errors that the certificates allow (see `simulate`). So the demo
checks the program from outside too: what it recomputes must lie about the hidden truth as its U says.
"""

from __future__ import annotations

import ast
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from asfound.assessment.assess import Assessment, check
from asfound.assessment.due import DueState
from asfound.assessment.pipeline import LINEAR, doubted, judged, measured, summarised
from asfound.assessment.results.table import Result
from asfound.assessment.standing import Standing, State
from asfound.faults import Severity
from asfound.records.snapshot import Snapshot, from_folder
from asfound.records.visits.rows import sensor_visits
from asfound.scaffold.demo.repository import OWN, VISIT
from asfound.soak.checking_with_logs import check as check_records

if TYPE_CHECKING:
    from tests.demo.simulate import TrueError

HERE = Path(__file__).parent
RECORDS = HERE.parents[1] / "records"
TODAY = date(2026, 11, 25)

Simulation = tuple[dict[str, bytes], "tuple[TrueError, ...]"]


@pytest.fixture(scope="module")
def files() -> Snapshot:
    return from_folder(RECORDS)


@pytest.fixture(scope="module")
def demo(files: Snapshot) -> Assessment:
    """The assessment by the linear answers: Monte Carlo changes no situation, and takes its time."""
    records, faults = check_records(files)
    assert records is not None
    found = measured(records, sensor_visits(records), faults)
    return summarised(doubted(judged(found, LINEAR), TODAY), TODAY)


@pytest.fixture(scope="module")
def simulation() -> Simulation:
    pytest.importorskip("CoolProp", reason="the simulator needs CoolProp: install the dev extra")
    from tests.demo.simulate import simulate

    return simulate()


def test_the_records_hold_no_error(files: Snapshot):
    assert [fault.text() for fault in check(files) if fault.rule.severity is Severity.ERROR] == []


def test_the_simulator_writes_the_committed_visits_byte_for_byte(files: Snapshot, simulation: Simulation):
    written = ("visits/", "logs/")
    committed = {p: content for p, content in files.items() if p.startswith(written) and p.endswith(".csv")}
    simulated, _ = simulation
    assert simulated.keys() == committed.keys()
    assert [path for path in simulated if simulated[path] != committed[path]] == []


def test_the_simulator_owes_nothing_to_the_program():
    for path in HERE.glob("*.py"):
        if path.name.startswith("test_"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(name.split(".")[0] == "asfound" for name in names), path.name


def test_the_hidden_truth_lies_within_the_stated_uncertainty(demo: Assessment, simulation: Simulation):
    """95 % of the errors at least; the errors were drawn a little smaller than the records declare them."""
    _, truths = simulation
    true_error = {(t.visit, t.sensor, t.phase, t.channel, t.plateau): t.error for t in truths}
    covered = []
    counted: dict[tuple[str, str, str, str], int] = {}
    for result in demo.results:
        if result.line is None:
            continue
        key = (result.visit, result.sensor, result.phase, result.channel.value)
        number = counted[key] = counted.get(key, -1) + 1
        covered.append(abs(result.error - true_error[(*key, number)]) <= result.U)
    assert len(covered) > 700
    assert sum(covered) >= 0.95 * len(covered)


def test_the_facility_is_as_large_as_a_real_one(demo: Assessment):
    records = demo.records
    assert len(records.sensors) >= 24
    assert len({i.family for s in records.sensors.values() for i in s.installed}) >= 4
    kinds = {reference.kind for reference in records.references.values()}
    assert kinds == {
        "two_pressure",
        "chilled_mirror",
        "saturated_salt",
        "transfer_probe",
        "loop_meter",
        "barometer",
    }
    days = [visit.day for visit in records.visits]
    assert (max(days) - min(days)).days > 3 * 365
    technicians = {name for visit in records.visits for name in visit.text["technician"] if name}
    assert len(technicians) == 3
    assert any(records.people[name].until is not None for name in technicians), "one has left"
    assert any("approve" in person.may for person in records.people.values())
    assert any("decide" in person.may for person in records.people.values())


def test_readings_stand_in_si_and_in_us_units(demo: Assessment):
    units = {header[header.index("[") + 1 : -1] for v in demo.records.visits for header in v.header if "[" in header}
    assert {"kPa absolute", "hPa absolute", "degC", "psi gauge", "inHg absolute", "degF"} <= units
    assert {"%RH", "mA", "V"} <= units


def standing(demo: Assessment, sensor: str) -> Standing:
    return demo.standings[sensor]


def results(demo: Assessment, sensor: str, visit: str = "", phase: str = "") -> list[Result]:
    return [r for r in demo.results if r.sensor == sensor and r.visit.startswith(visit) and r.phase.startswith(phase)]


def events(demo: Assessment, sensor: str) -> set[str]:
    return {e.kind for s in demo.summaries if s.sensor_visit.sensor == sensor for e in s.sensor_visit.events}


def reserved(demo: Assessment, sensor: str, visit: str) -> set[str]:
    return {f.rule.name for r in results(demo, sensor, visit) for f in r.reservations}


def verdicts(found: list[Result]) -> set[str]:
    return {r.verdict.value for r in found}


def case(demo: Assessment, sensor: str) -> str:
    (only,) = standing(demo, sensor).cases
    return only.state


def policy_words(demo: Assessment, sensor: str, year: str) -> str:
    return results(demo, sensor, year)[0].rule.split(":")[0]


SITUATIONS: dict[str, Callable[[Assessment], bool]] = {
    "fine": lambda d: standing(d, "DRY-11").state is State.IN and not standing(d, "DRY-11").cases,
    "out of tolerance, finding open": lambda d: (
        standing(d, "DRY-22").state is State.OUT and case(d, "DRY-22") == "open"
    ),
    "out of tolerance, nobody has it yet": lambda d: (
        standing(d, "GER-21").state is State.OUT and case(d, "GER-21") == "nobody has it yet"
    ),
    "out of tolerance, finding closed": lambda d: (
        case(d, "DRY-13") == "closed" and standing(d, "DRY-13").state is State.IN
    ),
    "temperature channel out of tolerance": lambda d: (
        {r.channel.value for r in results(d, "GER-12") if r.verdict.value == "fail"} == {"temperature"}
    ),
    "too close to call": lambda d: standing(d, "DRY-23").state is State.CLOSE,
    "drifting, in tolerance": lambda d: (
        standing(d, "DRY-12").drifting and standing(d, "DRY-12").state is State.IN
    ),
    "a step, so no rate: no trim left, temperature reading high, worn element": lambda d: all(
        drift.state == "watch"
        and drift.sentence.startswith("no single rate")
        and f"a step of {size}" in drift.sentence
        for sensor, channel, size in (
            ("DRY-22", "humidity", "+2.0"), ("GER-12", "temperature", "+0.60"), ("GER-21", "humidity", "−4.4"),
        )
        for drift in standing(d, sensor).drifts
        if drift.channel.value == channel
    ),
    "adjusted: as found, adjusted, as left": lambda d: (
        events(d, "DRY-13") == {"zero"}
        and verdicts(results(d, "DRY-13", "2024-10-09", "as_found")) >= {"fail"}
        and verdicts(results(d, "DRY-13", "2024-10-09", "as_left")) == {"pass"}
    ),
    "adjusted while in tolerance": lambda d: (
        events(d, "GER-11") == {"span"}
        and verdicts(results(d, "GER-11", "2025-03-18", "as_found")) == {"pass"}
    ),
    "element changed": lambda d: events(d, "DRY-21") == {"element"},
    "instrument swapped": lambda d: len({r.serial for r in results(d, "HRB-13")}) == 2,
    "position moved": lambda d: len(d.records.sensors["HRB-12"].place) == 2,
    "overdue": lambda d: standing(d, "VLT-21").due.state is DueState.OVERDUE,
    "due soon": lambda d: standing(d, "PAK-11").due.state is DueState.DUE_SOON,
    "never calibrated": lambda d: standing(d, "VLT-13").state is State.NEVER,
    "out of service": lambda d: standing(d, "REC-12").due.state is DueState.OUT_OF_SERVICE,
    "deferred": lambda d: standing(d, "HRB-23").due.state is DueState.DEFERRED,
    "reference out of date on the day": lambda d: (
        "reference-out-of-date" in reserved(d, "REC-11", "2024-06-19")
        and "reference-out-of-date" not in reserved(d, "REC-11", "2024-07-16")
    ),
    "unsettled: soak too short, and still moving": lambda d: (
        {r.target for r in results(d, "GER-22", "2025-11-18") if r.status == "unsettled"} == {50.0, 90.0}
    ),
    "not done": lambda d: {r.status for r in results(d, "VLT-21", "2026-06-09")} == {"not done"},
    "in air": lambda d: {r.medium for r in results(d, "HRB-21", "2026-04-28")} == {"in air"},
    "stated by another laboratory": lambda d: (
        {r.status for r in results(d, "HRB-22", "2025-10-28")} == {"stated"}
    ),
    "amended": lambda d: (
        {r.revision for r in results(d, "DRY-21", "2024-04-16")} == {2}
        and {r.revision for r in results(d, "DRY-22", "2024-04-16")} == {1}
    ),
    "withdrawn, and repeated": lambda d: (
        not results(d, "PAK-11", "2023-12-13")
        and verdicts(results(d, "PAK-11", "2023-12-20")) == {"pass", "U too large"}
    ),
    "a U too large for simple acceptance": lambda d: (
        "large-uncertainty" in {f.rule.name for r in results(d, "PROBE-01", "2023-03") for f in r.reservations}
    ),
    "a nominal time constant, and the longest": lambda d: (
        any(r.settling_correction for r in results(d, "DRY-13"))
        and any(r.settling_correction for r in results(d, "HRB-13"))
    ),
    "dated change of tolerance": lambda d: (
        {r.tolerance for r in results(d, "HRB-11", "2024")} == {3.0}
        and {r.tolerance for r in results(d, "HRB-11", "2025", "as_found")} == {2.0}
    ),
    "dated change of policy": lambda d: (
        policy_words(d, "DRY-11", "2023") == "simple acceptance"
        and policy_words(d, "DRY-11", "2024").startswith("guard band")
    ),
    "judged at the sensor, the loop being off": lambda d: all(
        r.part.value == "sensor" and abs(r.error_loop) > 1.0 and r.verdict.value == "pass"
        for r in results(d, "REC-11")
    ),
    "several sensors in one chamber share its readings": lambda d: (
        [
            (r.sensor, r.target, r.reference_value)
            for r in d.results
            if r.visit == "2026-10-14-drying-a" and r.target == 15.0 and r.unit == "%RH"
        ]
        == [
            (sensor, 15.0, results(d, "DRY-11", "2026-10-14")[0].reference_value)
            for sensor in ("DRY-11", "DRY-12", "DRY-13")
        ]
        and d.records.files["visits/2026/2026-10-14-drying-a.csv"].count(b",GEN-01,varlund,,,,,") > 0
    ),
    "hysteresis loop": lambda d: any(
        s.hysteresis for s in d.summaries if s.sensor_visit.sensor == "GER-11" and s.sensor_visit.visit.day.year == 2026
    ),
    "over ice and over water below 0 °C": lambda d: (
        {standing(d, s).settings.whole("rh_over") for s in ("VLT-11", "VLT-21")} == {"ice", "water"}
    ),
    "dew and frost on the mirror": lambda d: (
        {r.method for r in d.results if r.reference == "MIR-01"}
        == {"chilled_mirror (dew)", "chilled_mirror (frost)"}
    ),
    "reference checked between calibrations": lambda d: (
        {r.reference for r in results(d, "PROBE-01", phase="check")} == {"SALT-01", "GEN-01"}
    ),
    "reference in doubt since its last good check": lambda d: (
        {
            (r.sensor, r.visit)
            for r in d.results
            if r.sensor in d.standings and any(f.rule.name == "reference-in-doubt" for f in r.reservations)
        }
        == {("HRB-12", "2026-04-28-herbarium-air"), ("HRB-21", "2026-04-28-herbarium-air")}
    ),
    "an interval that drift shortens and one that it lengthens": lambda d: (
        standing(d, "DRY-12").proposal.months < 6 and standing(d, "DRY-11").proposal.months == 24
    ),
    "reference calibrated here": lambda d: (
        d.records.references["PROBE-01"].quantities["reference_humidity"].calibrations[-1].from_visit
        == "2026-09-22-probe"
    ),
    "read from a log before it had settled": lambda d: (
        {logged.path for logged in d.measurement.logged.values()} == {"logs/2026-11-24-dry-12.csv"}
        and verdicts(results(d, "DRY-12", "2026-11-24")) == {"pass"}
        and all(r.settling_correction for r in results(d, "DRY-12", "2026-11-24"))
    ),
    "saved by a spreadsheet": lambda d: (
        d.records.files["visits/2026/2026-04-15-drying-a.csv"].startswith(b"\xef\xbb\xbfsensor;")
        and b"6,440" in d.records.files["visits/2026/2026-04-15-drying-a.csv"]
    ),
}  # fmt: skip


@pytest.mark.parametrize("situation", SITUATIONS)
def test_the_situation_is_there(demo: Assessment, situation: str):
    assert SITUATIONS[situation](demo)


def test_nothing_else_is_out_of_tolerance(demo: Assessment):
    """What the Overview shows is what was meant."""
    out = {(r.sensor, r.visit) for r in demo.results if r.verdict.value == "fail" and r.sensor in demo.standings}
    assert out == {(c.sensor, c.visit) for s in demo.standings.values() for c in s.cases}
    assert {sensor for sensor, _ in out} == {"DRY-13", "DRY-21", "DRY-22", "GER-12", "GER-21", "HRB-11"}
    # GER-22 for the side of its loop that was not read
    assert {name for name, s in demo.standings.items() if s.state is State.CLOSE} == {"DRY-23", "GER-22"}


def test_the_open_visit_is_what_the_simulator_makes_of_that_day():
    pytest.importorskip("CoolProp", reason="the simulator needs CoolProp: install the dev extra")
    from tests.demo.rounds import Trip
    from tests.demo.simulate import visit_files

    trip = Trip(day="2026-11-24", route="packing", technician="varlund")
    files, _ = visit_files(trip)
    assert files == {f"visits/2026/{VISIT}.csv": (OWN / f"{VISIT}.csv").read_bytes()}
