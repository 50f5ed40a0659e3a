"""Who recorded and merged what, and when, whatever became of the branches; and where there is no history to ask."""

from __future__ import annotations

import random
from datetime import date
from pathlib import Path

import pytest

from asfound.assessment.assess import assess
from asfound.provenance import ApprovalState, HistoryOf, Step, provenance_at
from asfound.provenance.repository import CannotReadHistory
from asfound.records.snapshot import from_folder
from tests import builders as b
from tests.git_histories import ANN, BEN, MAIN, History, Who
from tests.provenance.stores import CAL, VISIT, on_a_branch, store, told, visit, whole


def step(found: Step | None) -> tuple[str, str]:
    assert found is not None
    return found.author, str(found.day)


def test_a_visit_was_recorded_by_its_commit_and_merged_by_the_merge(tmp_path: Path):
    history = store(tmp_path)
    merge = history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    found = whole(history)
    assert (found.head, found.branch) == (merge, MAIN)
    known = found.visits[VISIT].history
    assert known is not None and known.merged is not None
    assert (step(known.recorded), step(known.merged)) == (("Ann Tansy", "2026-03-16"), ("Ben Sedge", "2026-03-17"))
    assert known.merged.commit == merge
    assert known == found.files[VISIT]
    assert step(found.files["facility.yml"].merged) == ("Ben Sedge", "2026-01-15")


def test_what_a_branch_holds_is_not_merged_until_the_main_branch_holds_it(tmp_path: Path):
    history = store(tmp_path)
    on_a_branch(history)
    found = told(history)
    assert (found.state, found.why) == (ApprovalState.NOT_MERGED, "the default branch main does not hold it yet")
    assert found.history is not None
    assert step(found.history.recorded) == ("Ann Tansy", "2026-03-16")
    assert whole(history).approved == frozenset()


def test_what_a_branch_took_over_from_the_main_branch_keeps_its_approval(tmp_path: Path):
    history = store(tmp_path)
    history.branch("later").commit({"attachments/plan.pdf": b"%PDF"}, by=ANN, on="2026-03-16")
    merge = history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    history.checkout("later").git("merge", "--quiet", "-m", "Take over", MAIN, by=ANN, on="2026-03-18")
    assert told(history).approvals["RH-1"].commit == merge


def test_a_merge_of_the_main_branch_into_a_branch_approves_nothing_there(tmp_path: Path):
    history = store(tmp_path)
    name = on_a_branch(history)
    history.checkout().commit({"attachments/plan.pdf": b"%PDF"}, by=CAL, on="2026-03-17")
    history.checkout(name).git("merge", "--quiet", "-m", "Take over", MAIN, by=BEN, on="2026-03-18")
    assert told(history).state is ApprovalState.NOT_MERGED
    history.checkout().git("merge", "--quiet", "--ff-only", name)
    assert told(history).history is not None
    # Now the branch's own commits are the main branch's: nobody merged them.
    assert told(history).state is ApprovalState.NOT_REVIEWED


def test_the_main_branch_of_origin_counts_on_other_branches(tmp_path: Path):
    history = store(tmp_path)
    merge = history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    clone = history.clone(tmp_path / "clone")
    clone.branch("later").git("branch", "--delete", "--force", MAIN)
    clone.commit({"attachments/plan.pdf": b"%PDF"}, by=ANN, on="2026-03-19")
    found = whole(clone)
    assert (found.branch, found.visits[VISIT].approvals["RH-1"].commit) == (MAIN, merge)


def test_a_main_branch_that_is_checked_out_counts_before_it_is_pushed(tmp_path: Path):
    clone = store(tmp_path).clone(tmp_path / "clone")
    clone.merge(on_a_branch(clone), by=BEN, on="2026-03-17")
    assert told(clone).state is ApprovalState.APPROVED


def test_clocks_that_go_wrong_change_nothing(tmp_path: Path):
    history = store(tmp_path)
    history.commit({"attachments/plan.pdf": b"%PDF"}, by=ANN, on="2031-01-01")
    merge = history.merge(on_a_branch(history, on="2026-03-16"), by=BEN, on="2026-03-12")
    history.commit({"attachments/plan.pdf": b"%PDF-2"}, by=ANN, on="2019-01-01")
    known = told(history)
    assert known.approvals["RH-1"].commit == merge
    assert known.history is not None and step(known.history.recorded) == ("Ann Tansy", "2026-03-16")


def test_what_somebody_put_in_the_place_of_a_commit_here_is_not_looked_at(tmp_path: Path):
    history = store(tmp_path)
    merge = history.merge(on_a_branch(history), by=ANN, on="2026-03-17")
    history.git("commit", "--quiet", "--amend", "--reset-author", "--no-edit", by=BEN, on="2026-03-17")
    other = history.head
    assert told(history).state is ApprovalState.APPROVED
    history.git("reset", "--quiet", "--hard", merge)
    history.git("replace", merge, other)
    assert told(history).state is ApprovalState.NOT_REVIEWED


def test_a_default_branch_of_another_name_is_known_from_origin(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    history.git("branch", "--move", MAIN, "trunk")
    assert whole(history).branch is None
    clone = history.clone(tmp_path / "clone")
    assert whole(clone).branch == "trunk"
    clone.branch("later", "trunk").commit(visit(0.1), by=ANN, on="2026-03-19")
    assert told(clone).state is ApprovalState.NOT_MERGED


def test_where_no_default_branch_is_known_the_line_that_is_checked_out_counts(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    history.git("branch", "--move", MAIN, "bench")
    assert told(history).state is ApprovalState.APPROVED


def test_an_earlier_commit_tells_what_was_known_then(tmp_path: Path):
    history = store(tmp_path)
    merged = history.merge(on_a_branch(history), by=ANN, on="2026-03-17")
    history.commit(by=BEN, on="2026-03-20", trailers=[f"Reviewed-file: records/{VISIT}"])
    assert told(history).state is ApprovalState.APPROVED
    history.checkout(merged)
    assert told(history).state is ApprovalState.NOT_REVIEWED
    history.checkout(MAIN)
    then = provenance_at(history.repository, merged, b.loaded(dict(from_folder(history.records))))
    assert then.visits[VISIT].state is ApprovalState.NOT_REVIEWED


def test_a_detached_head_changes_nothing(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    before = whole(history)
    history.checkout(history.head)
    assert whole(history) == before


def test_a_history_that_was_cut_off_is_refused_with_its_cure(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    with pytest.raises(CannotReadHistory, match=r"cut off when it was cloned.*\n  cure: git fetch --unshallow"):
        whole(history.clone(tmp_path / "cut", depth=1))


def test_a_merge_that_writes_something_new_recorded_it(tmp_path: Path):
    history = store(tmp_path)
    history.commit(visit(0.3), by=ANN, on="2026-03-16")
    history.branch("other").commit(visit(0.5), by=ANN, on="2026-03-17")
    history.checkout().commit(visit(0.7), by=ANN, on="2026-03-17")
    history.git("merge", "--quiet", "--no-commit", "--strategy=ours", "other", by=BEN, on="2026-03-18")
    merge = history.commit(visit(0.9), by=BEN, on="2026-03-18")
    known = told(history).history
    assert known is not None and known.recorded is not None and known.merged is not None
    assert (known.recorded.commit, known.merged.commit) == (merge, merge)


def test_a_time_that_no_calendar_holds_is_no_obstacle(tmp_path: Path):
    history = store(tmp_path)
    history.git("commit", "--quiet", "--allow-empty", "-m", "Begin")
    tree = history.git("rev-parse", "HEAD^{tree}").strip()
    author = "author A <a@b.example> 999999999999999 +0000\ncommitter A <a@b.example> 99999999999 +9999\n"
    (tmp_path / "commit").write_text(f"tree {tree}\nparent {history.head}\n{author}\nOdd\n", encoding="utf-8")
    odd = history.git("hash-object", "-t", "commit", "-w", "--literally", str(tmp_path / "commit")).strip()
    history.git("reset", "--quiet", "--hard", odd)
    history.commit(visit(), by=ANN, on="2026-03-16")
    assert told(history).state is ApprovalState.NOT_REVIEWED


def test_records_in_a_folder_of_a_larger_repository(tmp_path: Path):
    history = store(tmp_path, folder="quality/humidity")
    (history.root / "program.txt").write_text("something else", encoding="utf-8")
    history.commit(by=ANN, on="2026-03-01")
    merge = history.merge(on_a_branch(history), by=ANN, on="2026-03-17")
    trailers = [f"Reviewed-file: quality/humidity/{VISIT}"]
    (history.root / "program.txt").write_text("something new", encoding="utf-8")
    later = history.commit(by=BEN, on="2026-03-20", trailers=trailers)
    found = whole(history)
    known = found.visits[VISIT].history
    assert known is not None and known.merged is not None
    assert (found.head, known.merged.commit) == (later, merge)
    assert found.visits[VISIT].approvals["RH-1"].commit == later
    assert "program.txt" not in found.files


def test_what_lies_in_the_folder_otherwise_than_committed_is_not_committed(tmp_path: Path):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    second = b.visit("2026-03-20-lab", b.plateau(50, [50.1, 50.2], b.generated(50)))
    history.write(visit(0.1) | second | b.sensor("RH-2", criticality="high"))
    found = whole(history)
    states = {path: (known.state, known.why) for path, known in found.visits.items()}
    assert states == {
        VISIT: (ApprovalState.NOT_COMMITTED, "the file differs from what is committed"),
        "visits/2026/2026-03-20-lab.csv": (ApprovalState.NOT_COMMITTED, "the file is not committed"),
    }
    assert found.uncommitted == ("sensors/RH-2.yml", VISIT, "visits/2026/2026-03-20-lab.csv")
    assert found.approved == frozenset()


def test_before_the_first_commit_of_records_there_is_no_history(tmp_path: Path):
    history = History(tmp_path / "store")
    history.write(b.records(b.sensor(), b.two_pressure()) | visit())
    assert whole(history).head is None
    (history.root / "README").write_text("soon", encoding="utf-8")
    history.git("add", "README")
    history.git("commit", "--quiet", "-m", "Begin")
    assert (whole(history).head, whole(history).approved) == (None, None)


def test_without_git_everything_works_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    history = store(tmp_path)
    history.merge(on_a_branch(history), by=BEN, on="2026-03-17")
    monkeypatch.setenv("PATH", str(tmp_path))
    found = whole(history)
    assert (found.head, found.files, found.approved) == (None, {}, None)
    assert found.visits[VISIT].state is ApprovalState.NO_HISTORY
    assert found.visits[VISIT].why == "no git history of these records is at hand"


def test_a_developer_s_configuration_of_git_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    history = store(tmp_path)
    history.branch("visit").commit(visit(), by=ANN, on="2026-03-16", message="Überfällig: Ø 3")
    history.merge("visit", by=BEN, on="2026-03-17")
    before = whole(history)
    contrary = tmp_path / "contrary"
    contrary.write_text(
        "[log]\n showRoot = false\n follow = true\n showSignature = true\n diffMerges = off\n"
        "[color]\n ui = always\n[diff]\n renames = copies\n noprefix = true\n[i18n]\n logOutputEncoding = latin1\n"
        "[core]\n quotePath = true\n[trailer]\n separators = '#'\n",
        encoding="utf-8",
    )
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(contrary))
    assert whole(history) == before
    monkeypatch.setenv("GIT_DIR", str(tmp_path))
    assert whole(history) == before


@pytest.mark.parametrize("seed", range(3))
def test_git_itself_says_the_same_of_every_file(tmp_path: Path, seed: int):
    """By `git log --find-object`, one question a file: the first that held it, and the first on the main line."""
    chance = random.Random(seed)
    history = store(tmp_path)
    people = (ANN, BEN, CAL, Who("Eve Teasel", "eve@elsewhere.example"))
    open_branches: list[str] = []
    for number in range(25):
        day, who = f"2026-04-{number + 1:02d}", chance.choice(people)
        name = f"attachments/{chance.randrange(6)}.txt"
        match chance.randrange(4):
            case 0 if open_branches:
                branch = open_branches.pop(chance.randrange(len(open_branches)))
                history.checkout()
                history.git("merge", "--quiet", "--no-ff", "-X", "theirs", "-m", "Merge", branch, by=who, on=day)
            case 1:
                open_branches.append(f"branch-{number}")
                history.branch(open_branches[-1]).commit({name: b"%d" % number}, by=who, on=day)
            case 2 if open_branches:
                history.checkout(open_branches[-1]).commit({name: b"%d" % number}, by=who, on=day)
            case _:
                history.checkout().commit({name: b"%d" % number}, by=who, on=day)
    history.checkout()
    found = whole(history)
    assert len(found.files) > 8
    for path, known in found.files.items():
        asked = ("log", "--format=%H", "--reverse", "--topo-order", f"--find-object={known.blob}")
        first = history.git(*asked).split()[0]
        mainline = history.git(*asked, "--first-parent", "-m").split()[0]
        assert known.recorded is not None and known.merged is not None
        assert (known.recorded.commit, known.merged.commit) == (first, mainline), path


def test_pools_hold_only_what_is_approved(tmp_path: Path):
    """Twelve repeats of earlier days serve the thirteenth day, if somebody approved them."""
    history = store(tmp_path)
    history.commit(b.facility(policies={"rule": "guard_band", "least_pool": 10}), by=BEN, on="2026-01-20")
    days = [f"2026-02-{day:02d}" for day in range(1, 14)]
    rows = b.plateau(50, [50.0, 50.1], b.generated(50))
    history.branch("visits").commit(
        {path: content for day in days for path, content in b.visit(f"{day}-lab", rows).items()},
        by=ANN,
        on="2026-02-13",
    )

    def basis() -> str:
        files = from_folder(history.records)
        assessed = assess(files, date(2026, 12, 31), HistoryOf(history.records))
        line = assessed.results[-1].line
        assert line is not None
        return assessed.measurement.lines[line].repeatability.basis

    assert basis() == "declared"
    history.merge("visits", by=ANN, on="2026-02-14")
    assert basis() == "declared"
    history.commit(by=BEN, on="2026-02-15", trailers=[f"Reviewed-file: records/visits/2026/{d}-lab.csv" for d in days])
    assert basis() == "pooled"
