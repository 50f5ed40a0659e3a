"""Templates are looked up in the user's own folder first, then in the one that came with us."""

from __future__ import annotations

from pathlib import Path

import pytest

from asfound.printing import templates

ROOT = Path(__file__).parents[2]


def test_a_user_s_folder_comes_before_ours_and_needs_to_hold_only_what_differs(tmp_path: Path):
    (tmp_path / "scripts").mkdir()
    (tmp_path / "scripts" / "tables.js").write_text("", encoding="utf-8")
    folders = templates.template_folders(tmp_path)
    found = templates.template_files(folders, "scripts")
    assert found["tables.js"] == tmp_path / "scripts" / "tables.js"
    assert found["charts.js"] == folders[1] / "scripts" / "charts.js"
    assert list(found) == sorted(found)


def test_our_own_folder_is_looked_through_once():
    assert templates.template_folders(ROOT / "site_templates") == templates.template_folders()


def test_templates_that_are_missing_are_told_with_the_cure(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setattr(templates, "PACKAGE", tmp_path)
    with pytest.raises(FileNotFoundError, match="install asfound again"):
        templates.template_folders()
