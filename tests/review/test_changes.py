"""Which commits are compared, in every shape that a repository comes in."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from asfound.provenance.repository import CannotReadHistory
from asfound.review.changes import change_between, repository_at
from asfound.review.report import review
from tests.git_histories import ANN, BEN, History
from tests.review.stores import DAY, NEW, path_of, reviewed, rules, store, visit


def with_a_visit(root: Path, **options: str) -> History:
    history = store(root, **options)
    history.branch("work").commit(visit(NEW), by=ANN, on="2026-03-16")
    return history


def test_any_two_commits_are_compared_without_checking_them_out(tmp_path: Path):
    history = with_a_visit(tmp_path)
    head = history.head
    history.checkout()
    assert {r.visit for r in reviewed(history, "main", head).meaning.new} == {NEW}  # type: ignore[union-attr]


def test_a_detached_head_is_reviewed_like_a_branch(tmp_path: Path):
    history = with_a_visit(tmp_path)
    history.checkout(history.head)
    assert change_between(history.repository, "main", "HEAD").added == (path_of(NEW),)


def test_a_bare_clone_is_reviewed_though_no_folder_of_records_is_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    history = with_a_visit(tmp_path)
    history.git("clone", "--quiet", "--bare", str(history.root), str(tmp_path / "bare.git"))
    monkeypatch.chdir(tmp_path / "bare.git")
    repository = repository_at(Path("records"))
    assert repository.prefix == "records/"
    found = review(repository, "main", "work", DAY)
    assert found.meaning is not None and {r.visit for r in found.meaning.new} == {NEW}


def test_records_that_are_the_whole_repository_are_reviewed(tmp_path: Path):
    history = with_a_visit(tmp_path, folder="")
    change = change_between(repository_at(history.records), "main", "work")
    assert change.added == (path_of(NEW),)


def test_records_in_a_folder_inside_the_repository_are_told_from_what_lies_beside_them(tmp_path: Path):
    history = with_a_visit(tmp_path, folder="quality/records")
    (history.root / "notes.txt").write_text("no record")
    history.commit(by=ANN, on="2026-03-17")
    assert change_between(history.repository, "main", "work").paths == {path_of(NEW)}


def test_a_shallow_clone_is_refused_with_its_cure(tmp_path: Path):
    shallow = with_a_visit(tmp_path).clone(tmp_path / "shallow", depth=1)
    with pytest.raises(CannotReadHistory, match="cure: git fetch --unshallow"):
        change_between(shallow.repository, "HEAD", "HEAD")


def test_a_commit_that_is_not_there_is_refused_with_its_cure(tmp_path: Path):
    with pytest.raises(CannotReadHistory, match=r"there is no commit 'nowhere'(?s:.*)cure: "):
        reviewed(store(tmp_path), "nowhere")


def test_histories_without_a_common_commit_are_refused_with_their_cure(tmp_path: Path):
    history = with_a_visit(tmp_path)
    history.git("checkout", "--quiet", "--orphan", "other")
    history.commit(visit(NEW), by=ANN, on="2026-03-20")
    with pytest.raises(CannotReadHistory, match=r"share no commit(?s:.*)cure: "):
        reviewed(history, "main", "other")


def test_without_any_repository_there_is_nothing_to_review_and_the_cure_is_told(tmp_path: Path):
    (tmp_path / "records").mkdir()
    with pytest.raises(CannotReadHistory, match=r"no git repository(?s:.*)cure: "):
        repository_at(tmp_path / "records")


@pytest.mark.parametrize("how", ["merge", "squash", "rebase"])
def test_once_it_is_in_the_main_branch_a_branch_changes_nothing_more(tmp_path: Path, how: str):
    history = with_a_visit(tmp_path)
    getattr(history, how)("work", by=BEN, on="2026-03-18")
    assert change_between(history.repository, "main", "main").paths == frozenset()
    assert rules(reviewed(history, "main~1", "main")) == []


def test_an_amended_commit_leaves_no_edit_behind(tmp_path: Path):
    """What was never pushed was never there: only commits of the branch are compared."""
    history = with_a_visit(tmp_path)
    history.commit(visit(NEW, 0.3), by=ANN, on="2026-03-17", amend=True)
    assert reviewed(history).edits == ()


def test_names_with_blanks_and_signs_are_read_as_they_are(tmp_path: Path):
    history = with_a_visit(tmp_path)
    history.commit({'attachments/sheet ü "1".txt': b"x"}, by=ANN, on="2026-03-17")
    assert change_between(history.repository, "main", "HEAD").added == (
        'attachments/sheet ü "1".txt',
        path_of(NEW),
    )


def test_a_message_that_looks_like_output_of_git_deceives_nobody(tmp_path: Path):
    history = with_a_visit(tmp_path)
    forged = f":100644 100644 {'1' * 40} {'2' * 40} M\trecords/{path_of(NEW)}"
    history.commit(by=ANN, on="2026-03-17", message=f"subject\n\n{forged}\n")
    commits = change_between(history.repository, "main", "HEAD").commits
    assert [len(commit.edits) for commit in commits] == [1, 0]


def test_a_hook_or_configuration_of_the_developer_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    history = with_a_visit(tmp_path)
    expected = change_between(history.repository, "main", "HEAD").commits
    subprocess.run(["git", "-C", str(history.root), "config", "diff.renames", "copies"], check=True)
    subprocess.run(["git", "-C", str(history.root), "config", "log.date", "relative"], check=True)
    monkeypatch.setitem(os.environ, "GIT_DIR", str(tmp_path / "elsewhere"))
    assert change_between(history.repository, "main", "HEAD").commits == expected
