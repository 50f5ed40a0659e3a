"""Parts from elsewhere: declared packages, found where they are installed, their licences told."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from asfound.printing import templates

ROOT = Path(__file__).parents[2]


def declared_packages() -> set[str]:
    with open(ROOT / "pyproject.toml", "rb") as file:
        dependencies = tomllib.load(file)["project"]["dependencies"]
    names = {re.match(r"[\w.-]+", line) for line in dependencies if "sys_platform" not in line}
    return {_normal(name.group()) for name in names if name}


def _normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def test_every_declared_package_is_listed_with_version_and_licence():
    listed = {_normal(name): (version, licence) for name, version, licence in templates.third_party()}
    assert declared_packages() <= listed.keys()
    for name, (version, licence) in listed.items():
        assert re.match(r"\d", version) and re.search("MIT|BSD|Apache|OFL", licence), (name, version, licence)


def test_the_plotting_script_is_the_installed_package_s_own():
    assert "plotly.js v" in templates.plotly_script().read_text(encoding="utf-8")[:200]


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
