"""What git tells of records: whose folder it is, and the bytes of any commit."""

from __future__ import annotations

from pathlib import Path

import pytest

from asfound.provenance.repository import CannotReadHistory, repository_of
from asfound.records.load import load
from asfound.records.snapshot import from_folder
from tests import builders as b
from tests.git_histories import ANN, BEN, History

FILES = b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", b.plateau(50, [50.4, 50.5], b.generated(50))))


def test_a_folder_outside_of_a_repository_has_none(tmp_path: Path):
    assert repository_of(tmp_path) is None


def test_without_the_program_git_there_is_no_repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    history = History(tmp_path / "store", FILES)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert repository_of(history.records) is None


def test_a_repository_knows_where_its_records_lie(tmp_path: Path):
    deep = History(tmp_path / "deep", FILES, folder="quality/humidity").repository
    assert (deep.root, deep.prefix) == ((tmp_path / "deep").resolve(), "quality/humidity/")
    assert History(tmp_path / "top", FILES, folder="").repository.prefix == ""


@pytest.mark.parametrize("folder", ["", "records", "quality/humidity"])
def test_a_commit_holds_the_records_of_its_day(tmp_path: Path, folder: str):
    extra = {"trends/RH-1/2026.csv": b"time\n", "attachments/sheet.pdf": b"%PDF", ".gitattributes": b"* -text\n"}
    history = History(tmp_path / "store", FILES | extra, folder=folder)
    first = history.head
    history.commit({"sensors/RH-1.yml": None, "notes~": b""}, by=ANN, on="2026-02-01")
    repository = history.repository
    held = repository.snapshot(first)
    assert dict(held) == FILES | {"trends/RH-1/2026.csv": b"time\n", "attachments/sheet.pdf": b""}
    assert load(held)[1] == []
    assert dict(repository.snapshot("HEAD")) == dict(from_folder(history.records))
    assert dict(repository.snapshot(first, ["facility.yml"])) == {"facility.yml": FILES["facility.yml"]}


def test_names_of_files_are_read_as_they_are(tmp_path: Path):
    history = History(tmp_path / "store", {"attachments/Prüfschein 7\t.pdf": b"x", "trends/ø 1.csv": b"y"})
    assert list(history.repository.tree("HEAD")) == ["attachments/Prüfschein 7\t.pdf", "trends/ø 1.csv"]
    assert history.repository.snapshot("HEAD")["trends/ø 1.csv"] == b"y"


def test_links_are_no_records(tmp_path: Path):
    history = History(tmp_path / "store", FILES)
    (history.records / "sensors" / "RH-2.yml").symlink_to("RH-1.yml")
    history.commit(by=ANN, on="2026-02-01")
    assert "sensors/RH-2.yml" not in history.repository.snapshot("HEAD")


def test_a_revision_names_a_commit_or_is_refused_with_a_cure(tmp_path: Path):
    history = History(tmp_path / "store", FILES)
    assert history.repository.resolve("main") == history.head
    with pytest.raises(CannotReadHistory, match=r"there is no commit '--all'\n  cure: "):
        history.repository.resolve("--all")


def test_before_the_first_commit_nothing_is_checked_out(tmp_path: Path):
    history = History(tmp_path / "store")
    assert history.repository.head is None


def test_a_shallow_clone_says_so(tmp_path: Path):
    history = History(tmp_path / "store", FILES)
    history.commit(by=BEN, on="2026-02-01")
    assert not history.repository.shallow
    assert history.clone(tmp_path / "cut", depth=1).repository.shallow


def test_a_hook_s_environment_does_not_lead_elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    elsewhere, here = History(tmp_path / "elsewhere", {"a.yml": b"1"}), History(tmp_path / "here", FILES)
    monkeypatch.setenv("GIT_DIR", str(elsewhere.root / ".git"))
    monkeypatch.setenv("GIT_INDEX_FILE", str(elsewhere.root / ".git" / "index"))
    assert "facility.yml" in here.repository.tree("HEAD")


def test_what_git_refuses_is_told_with_a_cure(tmp_path: Path):
    history = History(tmp_path / "store", FILES)
    with pytest.raises(CannotReadHistory, match="  cure: "):
        history.repository.tree("0" * 40)
