"""What a branch must not do to records: each broken rule fails the review and names its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from asfound.assessment.all_rules import rules_in
from asfound.records.models.stated import SCHEMA
from asfound.review import rules as review_rules
from tests import builders as b
from tests.git_histories import ANN, BEN, Who
from tests.review.stores import FIRST, NEW, SECOND, edited, on_a_branch, only, path_of, reviewed, rules, store, visit

CAL = Who("Cal Rush", "cal@alder.example")
BY_ANN, BY_BEN, BY_CAL = (f"Reviewed-by: {who}" for who in (ANN, BEN, CAL))


def test_a_new_visit_breaks_no_rule_though_nobody_has_approved_it(tmp_path: Path):
    found = on_a_branch(store(tmp_path), visit(NEW))
    assert not found.fails and rules(found) == []


def test_an_edited_merged_visit_fails_the_review_and_names_the_row(tmp_path: Path):
    fault = only(on_a_branch(store(tmp_path), edited(visit(FIRST), b"50.22", b"50.12")), "merged-visit-edited")
    assert "output [%RH] of RH-1 2026-01-20 08:14: 50.22 → 50.12" in fault.message
    assert (fault.place.path, fault.place.line) == (path_of(FIRST), 6)
    assert f"{FIRST}.r2.csv" in fault.cure


def test_line_ends_of_a_merged_visit_count_as_an_edit_for_its_bytes_were_approved(tmp_path: Path):
    saved = {path: content.replace(b"\n", b"\r\n") for path, content in visit(FIRST).items()}
    fault = only(on_a_branch(store(tmp_path), saved), "merged-visit-edited")
    assert "only its bytes differ" in fault.message


def test_a_deleted_merged_visit_fails_the_review(tmp_path: Path):
    fault = only(on_a_branch(store(tmp_path), {path_of(SECOND): None}), "merged-visit-deleted")
    assert fault.place.path == path_of(SECOND) and "withdrawn" in fault.cure


def test_a_renamed_merged_visit_is_told_with_its_new_name(tmp_path: Path):
    moved = {path_of(SECOND): None, "visits/2026/2026-02-20-store.csv": visit(SECOND)[path_of(SECOND)]}
    fault = only(on_a_branch(store(tmp_path), moved), "merged-visit-deleted")
    assert "it lies at visits/2026/2026-02-20-store.csv now" in fault.message


def test_a_correction_in_a_later_revision_breaks_no_rule(tmp_path: Path):
    found = on_a_branch(store(tmp_path), visit(SECOND, 0.3, revision=2))
    assert rules(found) == []


def test_a_visit_edited_between_the_commits_of_its_own_branch_fails_nothing_and_is_told(tmp_path: Path):
    found = on_a_branch(store(tmp_path), visit(NEW), edited(visit(NEW), b"50.22", b"50.12"))
    assert rules(found) == []
    (edit,) = found.edits
    assert (edit.path, edit.author, edit.day) == (path_of(NEW), "Ann Tansy", "2026-03-17")
    assert [one.sentence for one in edit.alterations] == ["output [%RH] of RH-1 2026-03-16 08:14: 50.22 → 50.12"]


def test_rows_added_from_commit_to_commit_are_no_altered_readings(tmp_path: Path):
    whole = visit(NEW)
    begun = {path: b"\n".join(content.split(b"\n")[:4]) + b"\n" for path, content in whole.items()}
    assert on_a_branch(store(tmp_path), begun, whole).edits == ()


def test_an_edit_hidden_in_a_merge_of_the_main_branch_is_told(tmp_path: Path):
    history = store(tmp_path)
    history.branch("work").commit(visit(NEW), by=ANN, on="2026-03-16")
    history.checkout().commit(b.sensor("RH-2"), by=BEN, on="2026-03-17")
    history.checkout("work").git("merge", "--quiet", "--no-commit", "main", by=ANN)
    history.commit(edited(visit(NEW), b"50.22", b"50.12"), by=ANN, on="2026-03-18", message="Merge main")
    (edit,) = reviewed(history).edits
    assert [one.sentence for one in edit.alterations] == ["output [%RH] of RH-1 2026-03-16 08:14: 50.22 → 50.12"]


def test_a_technician_named_as_reviewer_of_their_own_visit_fails_the_review(tmp_path: Path):
    fault = only(on_a_branch(store(tmp_path), visit(NEW), trailers=(BY_ANN,)), "own-approval")
    assert "Ann Tansy" in fault.message and fault.place.path == path_of(NEW)


def test_a_technician_may_not_review_their_own_visit_even_where_people_yml_lets_them_approve(tmp_path: Path):
    history = store(tmp_path, b.people(b.person("cal", "Cal Rush", "calibrate", "approve")))
    found = on_a_branch(history, visit(NEW, technician="cal"), trailers=(BY_CAL,))
    assert rules(found) == ["own-approval"]
    assert [one.refused for one in found.reviewers] == ["they calibrated there themselves"]


def test_emails_are_compared_whatever_their_case(tmp_path: Path):
    found = on_a_branch(store(tmp_path), visit(NEW), trailers=("Reviewed-by: A <ANN@Alder.Example>",))
    assert rules(found) == ["own-approval"]


def test_a_reviewer_who_may_approve_and_read_nothing_counts(tmp_path: Path):
    found = on_a_branch(store(tmp_path), visit(NEW), trailers=(BY_BEN,))
    assert rules(found) == []
    assert [(one.trailer.name, one.refused) for one in found.reviewers] == [("Ben Sedge", "")]


def test_a_reviewer_of_other_files_by_name_is_no_reviewer_of_ones_own(tmp_path: Path):
    history = store(tmp_path, b.people(b.person("cal", "Cal Rush", "calibrate", "approve")))
    named = (BY_CAL, f"Reviewed-file: records/{path_of(FIRST)}")
    assert rules(on_a_branch(history, visit(NEW, technician="cal"), trailers=named)) == []


def test_a_tolerance_widened_together_with_the_visit_that_it_lets_pass_fails_the_review(tmp_path: Path):
    wider = b.sensor(tolerance={"absolute": "4 %RH"})
    fault = only(on_a_branch(store(tmp_path), {**visit(NEW, 2.9), **wider}), "verdict-by-edit")
    assert fault.place.path == "sensors/RH-1.yml"
    assert f"RH-1 at {NEW} at 20 %RH (as found): fail before this edit, pass by it" in fault.message


def test_a_policy_edit_that_changes_an_old_verdict_may_not_stand_beside_a_visit(tmp_path: Path):
    history = store(tmp_path, visit(SECOND, 1.95))
    fault = only(
        on_a_branch(history, {**visit(NEW), **b.facility(policies={"rule": "simple_acceptance"})}), "verdict-by-edit"
    )
    assert fault.place.path == "facility.yml"
    assert f"RH-1 at {SECOND} at 50 %RH (as found): conditional pass before this edit, pass by it" in fault.message


def test_a_tolerance_that_changes_no_verdict_may_stand_beside_a_visit(tmp_path: Path):
    found = on_a_branch(store(tmp_path), {**visit(NEW), **b.sensor(tolerance={"absolute": "3 %RH"})})
    assert rules(found) == []


def test_a_tolerance_alone_may_change_verdicts(tmp_path: Path):
    found = on_a_branch(store(tmp_path), b.sensor(tolerance={"absolute": "0.1 %RH"}))
    assert rules(found) == []
    assert found.meaning is not None and any(pair.verdict_changed for pair in found.meaning.moved)


def test_a_new_sensor_comes_with_its_tolerance_and_its_first_visit(tmp_path: Path):
    found = on_a_branch(store(tmp_path), {**b.sensor("RH-2"), **visit(NEW, sensor="RH-2")})
    assert rules(found) == []


def test_a_leaver_whom_visits_name_stays_in_people_yml(tmp_path: Path):
    history = store(tmp_path, b.people(b.person("cal", "Cal Rush", "calibrate")), visit(SECOND, technician="cal"))
    fault = only(on_a_branch(history, b.people()), "person-removed")
    assert fault.place.path == "people.yml"
    assert "Cal Rush (cal)" in fault.message and "until" in fault.cure


def test_somebody_whom_nothing_names_may_be_taken_out(tmp_path: Path):
    history = store(tmp_path, b.people(b.person("cal", "Cal Rush", "calibrate")))
    assert rules(on_a_branch(history, b.people())) == []


def test_whoever_could_approve_stays_on_record(tmp_path: Path):
    history = store(tmp_path)
    without = {"people.yml": b.people()["people.yml"].replace(b"ben", b"benjamin", 1)}
    assert without != b.people()
    fault = only(on_a_branch(history, without), "person-removed")
    assert "what they approved rests on the entry" in fault.message


def certificate(error: str = "0.2") -> b.Files:
    """A certificate by its head; nothing here recomputes it."""
    return {f"issued/RH-1/{FIRST}.r1.json": f'{{"schema": "{SCHEMA}", "error": {error}}}'.encode()}


@pytest.mark.parametrize(
    ("after", "rule"), [(certificate("0.1"), "issued-edited"), (dict.fromkeys(certificate()), "issued-deleted")]
)
def test_an_issued_certificate_is_neither_edited_nor_deleted(tmp_path: Path, after: dict[str, bytes | None], rule: str):
    found = on_a_branch(store(tmp_path, certificate()), after)
    assert [fault.place.path for fault in found.broken if fault.rule.name == rule] == list(certificate())


def test_a_reservation_that_the_facility_names_fails_the_review(tmp_path: Path):
    settled = b.facility(
        policies={"rule": "guard_band", "settling": {"least_soak": "40 min"}}, review_fails_on=["unsettled-plateau"]
    )
    found = on_a_branch(store(tmp_path, settled), visit(NEW))
    assert rules(found) == ["unsettled-plateau"]
    assert {fault.place.path for fault in found.faults} == {path_of(NEW)}, "those of merged visits are not new"


def test_a_change_does_not_let_itself_through_by_naming_less(tmp_path: Path):
    policies = {"rule": "guard_band", "settling": {"least_soak": "40 min"}}
    history = store(tmp_path, b.facility(policies=policies, review_fails_on=["unsettled-plateau"]))
    assert rules(on_a_branch(history, {**visit(NEW), **b.facility(policies=policies)})) == ["unsettled-plateau"]


def test_a_reservation_that_the_facility_does_not_name_is_only_told(tmp_path: Path):
    settled = b.facility(policies={"rule": "guard_band", "settling": {"least_soak": "40 min"}})
    found = on_a_branch(store(tmp_path, settled), visit(NEW))
    assert rules(found) == []
    assert found.meaning is not None
    assert {one.fault.rule.name for one in found.meaning.reservations} == {"unsettled-plateau"}


def test_an_error_of_the_records_fails_the_review_and_nothing_is_computed_from_them(tmp_path: Path):
    found = on_a_branch(store(tmp_path), edited(visit(NEW), b"GEN-01", b"GEN-O1"))
    assert rules(found) == ["unknown-reference"] and found.meaning is None


def test_an_edited_log_that_was_merged_fails_the_review(tmp_path: Path):
    history = store(tmp_path, {"logs/march.csv": b"time,value\n"})
    assert "merged-log-changed" in rules(on_a_branch(history, {"logs/march.csv": b"time,value\n1,2\n"}))


def test_rules_about_changes_are_errors_that_are_told_apart_from_those_about_records():
    own = {name: rule for name, rule in rules_in([review_rules]).items() if rule.of_changes}
    assert {"merged-visit-edited", "own-approval", "verdict-by-edit"} <= own.keys()
    assert all(rule.severity == "error" and len(rule.summary.split()) >= 4 for rule in own.values())
