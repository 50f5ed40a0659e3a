"""Who approves a visit: another than its technicians, who may on that day, of exactly these bytes.

Every history here is a real repository, made and read by git itself.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from asfound.provenance import Approval, ApprovalState
from tests import builders as b
from tests.git_histories import ANN, BEN, FORGE, Who
from tests.provenance.stores import CAL, DORA, STRANGER, VISIT, on_a_branch, store, told, visit, whole

APPROVED, NOT_REVIEWED = ApprovalState.APPROVED, ApprovalState.NOT_REVIEWED
BY_BEN = f"Reviewed-by: {BEN}"


def by_ben(commit: str, how: str = "reviewed-by", day: str = "2026-03-17") -> dict[str, Approval]:
    on = date.fromisoformat(day)
    return {"RH-1": Approval(person="ben", name="Ben Sedge", day=on, how=how, commit=commit)}  # type: ignore[arg-type]


def test_whoever_may_approve_and_merges_another_s_visit_approves_it(tmp_path: Path):
    history = store(tmp_path)
    merge = history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    found = told(history)
    assert (found.state, found.why) == (APPROVED, "")
    assert found.approvals == by_ben(merge, "merge")
    assert whole(history).approved == {(VISIT, "RH-1")}


def test_an_approval_is_of_all_sensors_of_the_visit(tmp_path: Path):
    history = store(tmp_path)
    rows = [b.plateau(50, [50.1, 50.2], b.generated(50), sensor=name) for name in ("RH-1", "RH-2")]
    history.merge(on_a_branch(history, b.visit("2026-03-16-lab", *rows)), by=BEN, on="2026-03-17")
    assert whole(history).approved == {(VISIT, "RH-1"), (VISIT, "RH-2")}


def test_a_technician_who_merges_their_own_visit_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history, visit(technician="cal"), by=CAL), by=CAL, on="2026-03-17")
    found = told(history)
    assert found.state is NOT_REVIEWED
    assert found.why == "merged by Cal Rush, who calibrated there: another must approve"
    assert whole(history).approved == frozenset()


def test_who_calibrates_may_approve_what_others_calibrated(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=CAL, on="2026-03-17")
    assert told(history).approvals["RH-1"].person == "cal"


def test_whoever_types_a_visit_in_for_its_technician_may_still_not_approve_without_the_right(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history, visit(technician="cal"), by=CAL), by=ANN, on="2026-03-17")
    assert told(history).why == "merged by Ann Tansy, whom people.yml does not let approve"


@pytest.mark.parametrize(
    ("who", "day", "why"),
    [
        (STRANGER, "2026-03-17", "merged by eve@elsewhere.example, an e-mail that people.yml does not know"),
        (DORA, "2026-04-01", "merged by Dora Sallow, who may not on 2026-04-01: people.yml gives another time"),
        (Who("Ben Sedge", "ben@home.example"), "2026-03-17", "merged by ben@home.example, an e-mail that people"),
    ],
)
def test_only_a_person_in_office_with_a_known_e_mail_approves(tmp_path: Path, who: Who, day: str, why: str):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=who, on=day)
    found = told(history)
    assert found.state is NOT_REVIEWED
    assert found.why.startswith(why)


def test_the_last_day_in_office_counts(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=DORA, on="2026-03-31")
    assert told(history).approvals["RH-1"].person == "dora"


def test_the_day_of_an_approval_is_the_facility_s(tmp_path: Path):
    history = store(tmp_path)
    history.commit(b.facility(time_zone="Pacific/Auckland"), by=BEN, on="2026-02-01")
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17T20:00:00+00:00")
    assert told(history).approvals["RH-1"].day == date(2026, 3, 18)


def test_an_e_mail_is_the_same_in_capitals(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=Who("B. Sedge", "Ben@Alder.EXAMPLE"), on="2026-03-17")
    assert told(history).approvals["RH-1"].name == "Ben Sedge"


def test_an_e_mail_that_a_technician_shares_approves_nothing(tmp_path: Path):
    """A mailbox of the laboratory: who of them merged is not known."""
    history = store(tmp_path)
    shared = ["ann@alder.example", "lab@alder.example"]
    people = [
        {"id": "ann", "name": "Ann Tansy", "may": ["calibrate"], "from": "2000-01-01", "emails": shared},
        {"id": "ben", "name": "Ben Sedge", "may": ["approve"], "from": "2000-01-01", "emails": ["LAB@alder.example"]},
    ]
    history.commit({"people.yml": json.dumps({"people": people}).encode()}, by=BEN, on="2026-02-01")
    history.merge(on_a_branch(history), by=Who("Lab", "lab@alder.example"), on="2026-03-17")
    assert told(history).why == "merged by Ann Tansy, who calibrated there: another must approve"


def test_a_squashed_visit_is_approved_by_the_trailer_that_names_its_reviewer(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    squash = history.squash(name, by=ANN, on="2026-03-17", trailers=[BY_BEN], committer=FORGE)
    found = told(history)
    assert found.approvals == by_ben(squash)
    assert found.history is not None and found.history.merged is not None
    assert found.history.merged.commit == squash


def test_a_squashed_visit_without_trailer_awaits_review(tmp_path: Path):
    history = store(tmp_path)
    history.squash(on_a_branch(history), by=ANN, on="2026-03-17", committer=BEN)
    assert told(history).why == "brought by a commit of Ann Tansy, which names no reviewer"


def test_a_trailer_of_the_technician_is_no_review(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history, visit(technician="cal"), by=CAL)
    history.squash(name, by=CAL, on="2026-03-17", trailers=[f"Reviewed-by: {CAL}"])
    assert told(history).why == "named as reviewer by Cal Rush, who calibrated there: another must approve"


def test_one_of_several_reviewers_is_enough(tmp_path: Path):
    history = store(tmp_path)
    named = [f"Reviewed-by: {STRANGER}", BY_BEN]
    assert history.squash(on_a_branch(history), by=ANN, on="2026-03-17", trailers=named)
    assert told(history).approvals["RH-1"].person == "ben"


def test_words_in_a_message_are_no_trailer(tmp_path: Path):
    history = store(tmp_path)
    history.commit(visit(), by=ANN, on="2026-03-17", message=f"{BY_BEN}\n\nhe says; more tomorrow")
    assert told(history).state is NOT_REVIEWED


def test_a_rebased_visit_keeps_the_trailers_of_its_commits(tmp_path: Path):
    history = store(tmp_path)
    history.branch("visit").commit(visit(), by=ANN, on="2026-03-16", trailers=[BY_BEN])
    history.checkout().commit({"attachments/plan.pdf": b"%PDF"}, by=BEN, on="2026-03-16")
    brought = history.rebase("visit", by=BEN, on="2026-03-18")
    found = told(history)
    assert found.approvals == by_ben(brought, day="2026-03-18")
    assert found.history is not None and found.history.recorded is not None
    assert (found.history.recorded.author, str(found.history.recorded.day)) == ("Ann Tansy", "2026-03-16")


def test_a_rebased_visit_is_not_approved_by_whoever_rebased_it(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    history.checkout().commit({"attachments/plan.pdf": b"%PDF"}, by=BEN, on="2026-03-16")
    history.rebase(name, by=BEN, on="2026-03-18")
    assert told(history).state is NOT_REVIEWED


def test_a_fast_forward_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    history.checkout().git("merge", "--ff-only", name, by=BEN, on="2026-03-17")
    assert told(history).state is NOT_REVIEWED


def test_an_approver_s_own_commit_on_the_main_branch_is_no_approval(tmp_path: Path):
    history = store(tmp_path)
    history.commit(visit(), by=BEN, on="2026-03-17")
    assert told(history).why == "brought by a commit of Ben Sedge, which names no reviewer"


def test_a_review_on_the_branch_counts_though_the_technician_merges(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    review = history.commit(by=FORGE, on="2026-03-17", message="Approved in review", trailers=[BY_BEN])
    history.merge(name, by=ANN, on="2026-03-18")
    assert told(history).approvals == by_ben(review)


def test_a_technician_s_own_commit_on_the_branch_names_no_reviewer(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    history.commit(by=ANN, on="2026-03-17", trailers=[BY_BEN])
    history.merge(name, by=ANN, on="2026-03-18")
    assert told(history).why == "merged by Ann Tansy, who calibrated there: another must approve"


def test_a_review_of_an_earlier_version_on_the_branch_approves_nothing_of_the_later(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    history.commit(by=FORGE, on="2026-03-17", trailers=[BY_BEN])
    history.commit(visit(error=0.1), by=ANN, on="2026-03-18")
    history.merge(name, by=ANN, on="2026-03-18")
    assert told(history).state is NOT_REVIEWED


def test_an_amended_commit_is_approved_by_who_merges_it(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    amended = history.commit(visit(error=0.1), by=ANN, on="2026-03-17", amend=True)
    merge = history.merge(name, by=BEN, on="2026-03-18")
    found = told(history)
    assert found.history is not None and found.history.recorded is not None
    assert (found.history.recorded.commit, found.approvals["RH-1"].commit) == (amended, merge)


def test_a_visit_that_was_merged_first_is_approved_by_a_later_commit_that_names_it(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=ANN, on="2026-03-17")
    assert told(history).state is NOT_REVIEWED
    trailers = [f"Reviewed-file: records/{VISIT}", BY_BEN]
    later = history.commit(by=FORGE, on="2026-03-20", message="Reviewed", trailers=trailers)
    assert told(history).approvals == by_ben(later, day="2026-03-20")


def test_an_approver_may_name_the_file_in_a_commit_of_their_own(tmp_path: Path):
    history = store(tmp_path)
    history.commit(visit(), by=ANN, on="2026-03-17")
    trailers = [f"Reviewed-file: records/{VISIT}"]
    history.branch("review").commit(by=BEN, on="2026-03-20", message="Reviewed", trailers=trailers)
    history.merge("review", by=ANN, on="2026-03-21")
    assert told(history).approvals["RH-1"].day == date(2026, 3, 20)


def test_a_technician_who_names_the_file_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    history.commit(visit(technician="cal"), by=CAL, on="2026-03-17")
    history.commit(by=CAL, on="2026-03-20", trailers=[f"Reviewed-file: records/{VISIT}"])
    assert told(history).state is NOT_REVIEWED


def test_a_technician_s_own_commit_that_names_the_file_names_no_reviewer(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    trailers = [f"Reviewed-file: records/{VISIT}", BY_BEN]
    history.commit(by=ANN, on="2026-03-17", message="Tidy", trailers=trailers)
    history.merge(name, by=ANN, on="2026-03-18")
    assert told(history).state is NOT_REVIEWED
    history.commit(by=ANN, on="2026-03-20", message="Reviewed", trailers=trailers)
    assert told(history).state is NOT_REVIEWED


def test_naming_a_file_before_it_was_as_it_is_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    history.commit(visit(), by=ANN, on="2026-03-17")
    history.commit(by=BEN, on="2026-03-18", trailers=[f"Reviewed-file: records/{VISIT}"])
    assert told(history).state is APPROVED
    history.commit(visit(error=0.1), by=ANN, on="2026-03-19")
    assert told(history).state is NOT_REVIEWED


def test_a_visit_that_was_edited_after_its_approval_awaits_review_again(tmp_path: Path):
    history = store(tmp_path)
    merge = history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    history.commit(visit(error=0.1), by=ANN, on="2026-03-19")
    assert told(history).state is NOT_REVIEWED
    # Approved are bytes: the ones that were approved come back.
    history.commit(visit(), by=ANN, on="2026-03-20")
    assert told(history).approvals == by_ben(merge, "merge")


def test_an_approval_under_another_name_is_none(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    moved = "visits/2026/2026-03-16-laboratory.csv"
    renamed = history.commit({VISIT: None, moved: visit()[VISIT]}, by=ANN, on="2026-03-18")
    found = told(history, moved)
    assert found.state is NOT_REVIEWED
    assert found.history is not None and found.history.recorded is not None and found.history.merged is not None
    assert (str(found.history.recorded.day), found.history.merged.commit) == ("2026-03-16", renamed)


def test_who_is_technician_of_another_revision_approves_none_of_them(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=CAL, on="2026-03-17")
    assert told(history).state is APPROVED
    history.branch("revision").commit(visit(0.1, technician="cal", revision=2), by=CAL, on="2026-03-19")
    history.merge("revision", by=BEN, on="2026-03-20")
    assert told(history).state is NOT_REVIEWED
    second = VISIT.replace(".csv", ".r2.csv")
    assert told(history, second).approvals["RH-1"].person == "ben"
    assert whole(history).approved == {(second, "RH-1")}
