"""`asfound review`: what it prints, where, and how it ends."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from asfound.cli import main
from tests.git_histories import ANN, History
from tests.review.stores import FIRST, NEW, edited, path_of, store, visit


@pytest.fixture
def history(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> History:
    """The store with a good branch and a bad one, worked in."""
    history = store(tmp_path)
    history.branch("good").commit(visit(NEW), by=ANN, on="2026-03-16")
    history.branch("bad").commit(edited(visit(FIRST), b"50.22", b"50.12"), by=ANN, on="2026-03-16")
    monkeypatch.chdir(history.root)
    return history


def test_a_change_that_breaks_nothing_ends_with_0(history: History, capsys: pytest.CaptureFixture[str]):
    assert main(["review", "main", "good", "--date", "2026-11-25"]) == 0
    assert capsys.readouterr().out.startswith("## ✓ nothing speaks against a merge\n")


def test_a_broken_rule_ends_with_1(history: History, capsys: pytest.CaptureFixture[str]):
    assert main(["review", "main", "bad", "--date", "2026-11-25"]) == 1
    assert "merged-visit-edited" in capsys.readouterr().out


def test_annotations_put_what_fails_on_its_line(history: History, capsys: pytest.CaptureFixture[str]):
    assert main(["review", "main", "bad", "--annotations", "--output", "review.md", "--date", "2026-11-25"]) == 1
    out = capsys.readouterr().out
    assert re.match(rf"::error file=records/{re.escape(path_of(FIRST))},line=6,col=40,title=merged-visit-edited::", out)
    assert len(out.splitlines()) == 1
    assert (history.root / "review.md").read_text(encoding="utf-8").startswith("## ✗ 1 reason not to merge")


def test_json_goes_where_the_markdown_would(history: History, capsys: pytest.CaptureFixture[str]):
    assert main(["review", "main", "good", "--json", "--date", "2026-11-25"]) == 0
    assert json.loads(capsys.readouterr().out)["fails"] is False


def test_what_cannot_be_read_or_written_ends_with_2_and_a_cure(history: History, capsys: pytest.CaptureFixture[str]):
    assert main(["review", "main", "nowhere"]) == 2
    assert "there is no commit 'nowhere'" in capsys.readouterr().err
    assert main(["review", "main", "good", "--output", "no/such/folder/review.md"]) == 2
    assert "cure: " in capsys.readouterr().err


def test_help_says_that_the_merge_base_is_compared(capsys: pytest.CaptureFixture[str]):
    with pytest.raises(SystemExit):
        main(["review", "--help"])
    assert "compared is where HEAD left it (git: BASE...HEAD)" in re.sub(r"\s+", " ", capsys.readouterr().out)
