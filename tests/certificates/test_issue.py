"""What is issued, and what is refused: only what another approved, as it is on record for all, once, for good.

Every history here is a real repository, made and read by git itself. All that the records hold is invented.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from asfound.assessment.assess import assess
from asfound.certificates.issue import NotIssued, issue, write
from asfound.cli import main
from asfound.commands.common import day_of
from asfound.provenance import HistoryOf
from asfound.records.issued import Issued
from asfound.records.snapshot import from_folder
from asfound.refusals import Refusal
from asfound.stated.issued import statement_of
from tests import builders as b
from tests.git_histories import ANN, BEN, ENVIRONMENT, History, Who
from tests.logs import Run, run_files
from tests.provenance.stores import CAL, DORA, STRANGER, VISIT, on_a_branch, store, visit

DAY = date(2026, 4, 10)
NAME = "2026-03-16-lab"
KEY = ("RH-1", NAME)
FIRST = f"issued/RH-1/{NAME}.r1.json"
SECOND = f"issued/RH-1/{NAME}.r2.json"
REVISED = f"visits/2026/{NAME}.r2.csv"
DEMO = Path(__file__).parents[2] / "records"


def tried(records: Path, day: date = DAY, **options: Any) -> tuple[list[Issued], list[NotIssued]]:
    """What issuing in a folder gives, nothing written."""
    history = HistoryOf(records)
    assessment = assess(from_folder(records), day, history)
    return issue(assessment, history.of(assessment.records), day, **options)


def refused(records: Path, day: date = DAY, **options: Any) -> NotIssued:
    """The one refusal, where nothing is issued."""
    issued, refusals = tried(records, day, **options)
    assert not issued
    (refusal,) = refusals
    return refusal


def approved(tmp_path: Path, files: b.Files | None = None) -> History:
    """The store with its visit, which Ben approved by merging it."""
    history = store(tmp_path)
    history.merge(on_a_branch(history, files), by=BEN, on="2026-03-17")
    return history


def certified(tmp_path: Path) -> tuple[History, bytes]:
    """The same with its certificate on record, and the certificate's bytes."""
    history = approved(tmp_path)
    (certificate,), _ = tried(history.records)
    history.commit({certificate.path: certificate.content}, by=BEN, on=DAY.isoformat())
    return history, certificate.content


def revised(history: History, error: float = 0.9) -> None:
    """A later revision of the visit, which Ben approved too."""
    history.branch("revision").commit(visit(error, revision=2), by=ANN, on="2026-04-12")
    history.merge("revision", by=BEN, on="2026-04-13")


def copied(history: History, folder: Path) -> None:
    """The records without their history."""
    shutil.copytree(history.records, folder)


def run(history: History | Path, *arguments: str) -> int:
    """The exit code of the command on DAY."""
    records = history.records if isinstance(history, History) else history
    return main(["issue-certificates", "--records", str(records), "--date", DAY.isoformat(), *arguments])


# Approved by another, who may


def test_what_another_approved_is_issued_and_says_who_and_how(tmp_path: Path):
    history = approved(tmp_path)
    (certificate,), refusals = tried(history.records)
    assert not refusals
    assert (certificate.path, certificate.number, certificate.day) == (FIRST, f"RH-1/{NAME}.r1", DAY)
    evidence = certificate.evidence
    assert (evidence.approved.person, evidence.approved.how, str(evidence.approved.day)) == (
        "ben",
        "merge",
        "2026-03-17",
    )
    assert evidence.commit == evidence.approved.commit == history.head
    assert evidence.blob == history.git("rev-parse", f"HEAD:records/{VISIT}").strip()
    assert certificate.head.authorised.name == "Ben Sedge"


@pytest.mark.parametrize(
    ("technician", "merged_by", "day", "why"),
    [
        ("cal", CAL, "2026-03-17", "merged by Cal Rush, who calibrated there"),
        ("ann", STRANGER, "2026-03-17", "an e-mail that people.yml does not know"),
        ("ann", DORA, "2026-04-01", "Dora Sallow, who may not on 2026-04-01"),
        ("cal", ANN, "2026-03-17", "merged by Ann Tansy, whom people.yml does not let approve"),
    ],
)
def test_what_nobody_independent_and_entitled_approved_is_refused(
    tmp_path: Path, technician: str, merged_by: Who, day: str, why: str
):
    history = store(tmp_path)
    history.merge(on_a_branch(history, visit(technician=technician)), by=merged_by, on=day)
    refusal = refused(history.records)
    assert (refusal.sensor, refusal.visit) == KEY
    assert why in refusal.why
    assert "merge or review it" in refusal.cure


def test_without_git_nothing_is_approved_and_nothing_issued(tmp_path: Path):
    history = approved(tmp_path)
    copied(history, tmp_path / "copy")
    refusal = refused(tmp_path / "copy")
    assert "no git history" in refusal.why
    assert "merge or review it" in refusal.cure


def test_nothing_is_dated_before_the_approval_that_it_rests_on(tmp_path: Path):
    history = approved(tmp_path)
    refusal = refused(history.records, date(2026, 3, 16))
    assert refusal.why == "its record was approved on 2026-03-17, after 2026-03-16"
    assert len(tried(history.records, date(2026, 3, 17))[0]) == 1


def test_a_certificate_on_record_tells_the_approval_of_its_own_bytes_where_no_git_does(tmp_path: Path):
    history, _ = certified(tmp_path)
    copied(history, tmp_path / "copy")
    assert tried(tmp_path / "copy") == ([], [])
    (tmp_path / "copy" / REVISED).write_bytes(visit(0.9, revision=2)[REVISED])
    assert "no git history" in refused(tmp_path / "copy", only=[KEY], reason="a typing error").why


# On record for all


def test_a_visit_that_is_not_merged_is_refused(tmp_path: Path):
    history = store(tmp_path)
    on_a_branch(history)
    assert "the default branch main does not hold it yet" in refused(history.records).why


def test_a_visit_that_differs_from_what_is_committed_is_refused(tmp_path: Path):
    history = approved(tmp_path)
    history.write(visit(0.5))
    assert refused(history.records).why == "the file differs from what is committed"


def test_a_visit_that_was_never_committed_is_refused(tmp_path: Path):
    history = store(tmp_path)
    history.write(visit())
    assert refused(history.records).why == "the file is not committed"


PLACED = b.sensor(place={"place": "lab", "position": "behind the door"})


@pytest.mark.parametrize(
    "edited", [PLACED, b.facility(address="2 Mill Lane"), b.family(name="Probe"), b.two_pressure(serial="GEN-01-B")]
)
def test_a_record_that_the_certificate_leans_on_and_that_differs_from_what_is_committed_is_refused(
    tmp_path: Path, edited: b.Files
):
    history = approved(tmp_path)
    history.write(edited)
    refusal = refused(history.records)
    (path,) = edited
    assert (refusal.why, refusal.cure) == (f"not committed as it is here: {path}", "commit and merge it first")


def test_a_record_that_the_certificate_does_not_lean_on_may_differ(tmp_path: Path):
    history = approved(tmp_path)
    history.write(b.sensor("RH-2", place={"place": "lab", "position": "behind the door"}))
    assert len(tried(history.records)[0]) == 1


def test_a_sensor_s_file_that_only_a_branch_holds_is_refused(tmp_path: Path):
    history = approved(tmp_path)
    history.branch("place").commit(PLACED, by=ANN, on="2026-04-01")
    refusal = refused(history.records)
    assert refusal.why == "the default branch main does not hold it yet: sensors/RH-1.yml"
    history.merge("place", by=BEN, on="2026-04-02")
    assert len(tried(history.records)[0]) == 1


def test_a_log_that_differs_from_what_is_committed_is_refused(tmp_path: Path):
    files = run_files(Run())
    history = approved(tmp_path, files)
    assert len(tried(history.records)[0]) == 1
    log = f"logs/{NAME}.csv"
    history.write({log: files[log].rstrip(b"\n") + b"\r\n"})
    assert refused(history.records).why == f"not committed as it is here: {log}"


# What may be certified


def test_where_reservations_withhold_every_result_nothing_is_issued(tmp_path: Path):
    history = store(tmp_path)
    expired = {
        "saturation_pressure": b.flat(0, 1500, "kPa", 0.4, valid_until="2026-02-01"),
        "saturation_temperature": b.flat(-20, 60, "degC", 0.03, valid_until="2026-02-01"),
    }
    history.commit(b.two_pressure(quantities=expired), by=BEN, on="2026-01-20")
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    refusal = refused(history.records)
    assert refusal.why.startswith("reservations withhold every result: ")
    assert "2026-02-01" in refusal.why


def test_what_another_laboratory_stated_gets_no_certificate_of_ours(tmp_path: Path):
    history = approved(tmp_path, b.visit(NAME, b.stated(50, 0.3, 0.8)))
    assert tried(history.records) == ([], [])
    assert refused(history.records, only=[KEY]).why == "it holds no result of our own"


def test_a_part_that_was_withdrawn_gets_none(tmp_path: Path):
    history = approved(tmp_path)
    withdrawn = b.visit(
        NAME, [{"sensor": "RH-1", "phase": "withdrawn", "reason": "wrong cell", "technician": "ann"}], revision=2
    )
    history.branch("revision").commit(withdrawn, by=ANN, on="2026-04-01")
    history.merge("revision", by=BEN, on="2026-04-02")
    assert tried(history.records) == ([], [])
    assert refused(history.records, only=[KEY]).why == "withdrawn: wrong cell"


def test_a_certificate_whose_record_was_withdrawn_is_told_of_and_never_issued_again(tmp_path: Path):
    history, _ = certified(tmp_path)
    withdrawn = b.visit(
        NAME, [{"sensor": "RH-1", "phase": "withdrawn", "reason": "wrong cell", "technician": "ann"}], revision=2
    )
    history.branch("revision").commit(withdrawn, by=ANN, on="2026-04-12")
    history.merge("revision", by=BEN, on="2026-04-13")
    for options in ({}, {"only": [KEY], "reason": "withdrawn"}):
        refusal = refused(history.records, date(2026, 4, 20), **options)
        assert refusal.why == f"its record was withdrawn (wrong cell) after RH-1/{NAME}.r1 had been issued"
        assert refusal.replaces == f"RH-1/{NAME}.r1"


def test_what_no_visit_holds_is_refused_with_what_may_have_been_meant(tmp_path: Path):
    history = approved(tmp_path)
    refusal = refused(history.records, only=[("RH-1", "2026-03-16-lap")])
    assert refusal.why == "no visit of that name holds it"
    assert f"RH-1/{NAME}" in refusal.cure


def test_a_visit_after_the_day_is_refused_as_what_it_is(tmp_path: Path):
    refusal = refused(approved(tmp_path).records, date(2026, 3, 1), only=[KEY])
    assert refusal.why == "the visit is after 2026-03-01"


# Once, and again only by name and reason


def test_what_is_issued_and_unchanged_is_left_alone(tmp_path: Path):
    history, _ = certified(tmp_path)
    assert tried(history.records, date(2026, 5, 1)) == ([], [])
    assert "is issued and unchanged" in refused(history.records, date(2026, 5, 1), only=[KEY]).why
    assert "states the same already" in refused(history.records, date(2026, 5, 1), only=[KEY], reason="lost").why


def test_a_later_revision_of_the_visit_is_proposed_by_name_and_issued_with_a_reason_only(tmp_path: Path):
    history, first = certified(tmp_path)
    revised(history)
    later = date(2026, 4, 20)
    for options in ({}, {"only": [KEY]}):
        proposal = refused(history.records, later, **options)
        assert proposal.replaces == f"RH-1/{NAME}.r1"
        assert f"{REVISED} replaces {VISIT}" in proposal.why
        assert f'issue-certificates RH-1/{NAME} --reason "…"' in proposal.cure
    (second,), refusals = tried(history.records, later, only=[KEY], reason="a typing error")
    assert not refusals
    assert second.path == SECOND and second.evidence.visit == REVISED
    assert second.head.replaces is not None
    assert (second.head.replaces.number, second.head.replaces.reason) == (f"RH-1/{NAME}.r1", "a typing error")
    write([second], history.records)
    assert (history.records / FIRST).read_bytes() == first
    history.commit(by=BEN, on="2026-04-20")
    assert tried(history.records, later) == ([], [])


def test_a_reason_without_an_approval_of_the_revision_issues_nothing(tmp_path: Path):
    history, _ = certified(tmp_path)
    history.commit(visit(0.9, revision=2), by=ANN, on="2026-04-12")
    refusal = refused(history.records, date(2026, 4, 20), only=[KEY], reason="a typing error")
    assert "names no reviewer" in refusal.why


def test_a_re_issue_is_not_dated_before_what_it_replaces(tmp_path: Path):
    history, _ = certified(tmp_path)
    history.commit(PLACED, by=BEN, on="2026-04-01")
    refusal = refused(history.records, date(2026, 4, 9), only=[KEY], reason="it hangs behind the door")
    assert refusal.why == f"RH-1/{NAME}.r1 was issued on 2026-04-10, after 2026-04-09"


def test_a_certificate_that_was_deleted_here_is_not_issued_anew(tmp_path: Path):
    history, _ = certified(tmp_path)
    (history.records / FIRST).unlink()
    refusal = refused(history.records, date(2026, 5, 1))
    assert refusal.why == f"{FIRST} is committed and was deleted here"
    assert "git restore" in refusal.cure


# Two branches


def _issued_on(history: History, branch: str, day: date) -> None:
    history.branch(branch)
    found, _ = tried(history.records, day)
    write(found, history.records)
    history.commit(by=BEN, on=day.isoformat())


def test_two_branches_that_issue_one_certificate_on_one_day_agree_to_the_byte(tmp_path: Path):
    history = approved(tmp_path)
    for branch in ("one", "two"):
        _issued_on(history, branch, DAY)
    history.merge("one", by=BEN, on="2026-04-11")
    history.merge("two", by=BEN, on="2026-04-11")
    listed = history.git("ls-files", "records/issued").split()
    assert listed == [f"records/{FIRST}"]
    assert history.git("rev-parse", f"one:records/{FIRST}") == history.git("rev-parse", f"two:records/{FIRST}")


def test_two_branches_that_issue_it_on_two_days_conflict_instead_of_both_landing(tmp_path: Path):
    history = approved(tmp_path)
    _issued_on(history, "one", DAY)
    _issued_on(history, "two", date(2026, 4, 11))
    history.merge("one", by=BEN, on="2026-04-12")
    merging = ["git", "-C", str(history.root), "-c", "user.name=Ben", "-c", "user.email=ben@alder.example"]
    done = subprocess.run([*merging, "merge", "two"], env=ENVIRONMENT, capture_output=True, text=True)
    assert done.returncode == 1
    assert f"CONFLICT (add/add): Merge conflict in records/{FIRST}" in done.stdout


# Who authorises


def test_another_who_may_approve_authorises_where_named(tmp_path: Path):
    (certificate,), _ = tried(approved(tmp_path).records, who="cal")
    assert (certificate.head.authorised.id, certificate.evidence.approved.person) == ("cal", "ben")
    assert "Cal Rush" in certificate.head.authorised.words


@pytest.mark.parametrize(
    ("who", "why"),
    [
        ("cal", "Cal Rush read at this visit"),
        ("ann", "people.yml does not let Ann Tansy approve on 2026-04-10"),
        ("dora", "people.yml does not let Dora Sallow approve on 2026-04-10"),
        ("cat", "people.yml knows no 'cat'"),
    ],
)
def test_nobody_authorises_who_read_or_who_may_not(tmp_path: Path, who: str, why: str):
    assert refused(approved(tmp_path, visit(technician="cal")).records, who=who).why == why


def test_whoever_read_only_for_an_earlier_revision_authorises_nothing(tmp_path: Path):
    history = approved(tmp_path, visit(technician="cal"))
    revised(history)
    assert refused(history.records, date(2026, 4, 20), who="cal").why == "Cal Rush read at this visit"


# The command


def test_a_dry_run_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    history = approved(tmp_path)
    assert run(history, "--dry-run") == 0
    said = capsys.readouterr().out
    assert f"RH-1/{NAME}.r1 would be issued" in said and "1 certificate would be issued, 0 not" in said
    assert not (history.records / "issued").exists()
    assert history.git("status", "--porcelain") == ""


def test_the_command_writes_the_same_bytes_wherever_it_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    history = approved(tmp_path)
    clone = history.clone(tmp_path / "clone")
    assert run(history) == run(clone) == 0
    assert f"{FIRST}\n" in capsys.readouterr().out
    assert (history.records / FIRST).read_bytes() == (clone.records / FIRST).read_bytes()


def test_programs_read_what_was_issued_and_what_was_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    files = visit() | b.visit("2026-03-18-lab", b.plateau(50, [50.1, 50.2], b.generated(50), sensor="RH-2"))
    history = approved(tmp_path, visit())
    history.commit({path: files[path] for path in files if path != VISIT}, by=ANN, on="2026-03-18")
    assert run(history, "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["issued"] == [{"number": f"RH-1/{NAME}.r1", "sensor": "RH-1", "visit": NAME, "path": FIRST}]
    (refusal,) = said["refused"]
    assert (refusal["sensor"], refusal["visit"], refusal["replaces"]) == ("RH-2", "2026-03-18-lab", "")
    assert refusal["why"] and refusal["cure"]


def test_a_certificate_asked_for_and_refused_fails_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    history, first = certified(tmp_path)
    assert run(history, f"RH-1/{NAME}") == 1
    assert "cure:" in capsys.readouterr().out
    assert run(history, "--reason", "all of them") == 2
    assert "cure: name them" in capsys.readouterr().err
    assert (history.records / FIRST).read_bytes() == first


def test_no_certificate_is_written_over_and_none_is_written_beside_one_that_is_there(tmp_path: Path):
    files = b.visit(NAME, *(b.plateau(50, [50.1, 50.2], b.generated(50), sensor=name) for name in ("RH-1", "RH-2")))
    history = approved(tmp_path, files)
    found, _ = tried(history.records)
    there = history.records / found[-1].path
    there.parent.mkdir(parents=True)
    there.write_bytes(b"mine")
    with pytest.raises(Refusal, match="is there already\n  cure: look at it; no certificate is written over"):
        write(found, history.records)
    assert there.read_bytes() == b"mine"
    assert not (history.records / found[0].path).exists()


def test_a_history_that_was_cut_off_issues_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    clone = approved(tmp_path).clone(tmp_path / "shallow", depth=1)
    assert run(clone) == 2
    assert "git fetch --unshallow" in capsys.readouterr().err


def test_the_day_of_a_certificate_is_the_facility_s_as_that_of_an_approval_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.delenv("ASFOUND_DATE", raising=False)
    days = []
    for folder, zone in (("west", "Etc/GMT+12"), ("east", "Pacific/Kiritimati")):
        (tmp_path / folder).mkdir()
        facility = b.records(b.facility(time_zone=zone))["facility.yml"]
        (tmp_path / folder / "facility.yml").write_bytes(facility)
        days.append(day_of(argparse.Namespace(date=None, records=tmp_path / folder)))
    west, east = days
    assert 1 <= (east - west).days <= 2, "their clocks are 26 hours apart"


# References calibrated here


def test_a_reference_calibrated_here_gets_a_certificate_which_sensors_that_lean_on_it_name():
    documents = [json.loads(path.read_bytes()) for path in sorted((DEMO / "issued").rglob("*.json"))]
    numbers = {(one["sensor"], one["visit"]): one["number"] for one in documents}
    links = [(one, link) for one in documents for link in one["traceability"] if link["from_visit"]]
    assert {link["reference"] for _, link in links} == {"PROBE-01"}
    for one, link in links:
        assert link["certificate_issued"], one["number"]
        assert link["certificate_number"] == numbers[link["reference"], link["from_visit"]]


def test_a_reference_is_certified_before_what_leans_on_it(tmp_path: Path):
    history = store(tmp_path)
    quantities = {"reference_humidity": b.quantity(b.by_visit("2026-02-10-probe"), resolution="0.01 %RH")}
    probe = b.transfer_probe(quantities=quantities)
    calibrated = b.visit(
        "2026-02-10-probe",
        *(
            b.plateau(rh, [rh + 0.1, rh + 0.2, rh + 0.1], b.generated(rh), sensor="PROBE-01", phase="as_left")
            for rh in (20, 50, 80)
        ),
    )
    used = b.visit(NAME, b.plateau(50, [50.4, 50.5], b.by_probe(50)))
    history.commit(probe, by=BEN, on="2026-02-01")
    history.merge(on_a_branch(history, calibrated | used), by=BEN, on="2026-03-17")
    found, refusals = tried(history.records)
    assert not refusals
    assert [one.sensor for one in found] == ["PROBE-01", "RH-1"]
    named = [link.certificate_number for link in statement_of(found[1]).traceability if link.from_visit]
    assert named == ["PROBE-01/2026-02-10-probe.r1"]
    (alone,), _ = tried(history.records, only=[KEY])
    write([alone], history.records)
    history.commit(by=BEN, on="2026-04-10")
    later, refusals = tried(history.records)
    assert [one.sensor for one in later] == ["PROBE-01"]
    assert not refusals, "that the reference has a certificate now changes no number of the sensor's"
