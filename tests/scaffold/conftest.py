"""What the tests of new folders share: a user of git, a facility of theirs, the program on the path."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from asfound.cli import main
from asfound.commands.common import CLEAN

ROOT = Path(__file__).parents[2]


@pytest.fixture
def author(monkeypatch: pytest.MonkeyPatch) -> None:
    """A user of git with a name, and no settings of this machine."""
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    for role in ("AUTHOR", "COMMITTER"):
        monkeypatch.setenv(f"GIT_{role}_NAME", "Ada Thorn")
        monkeypatch.setenv(f"GIT_{role}_EMAIL", "ada@example.org")


@pytest.fixture
def facility(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, author: None) -> Path:
    folder = tmp_path / "ours"
    assert main(["new", str(folder), "--git"]) == CLEAN
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """`asfound` of this source tree on the path."""
    bin_folder = tmp_path / "bin"
    bin_folder.mkdir()
    script = bin_folder / "asfound"
    source = ROOT / "generator"
    script.write_text(f'#!/bin/sh\nPYTHONPATH="{source}" exec "{sys.executable}" -m asfound "$@"\n', encoding="utf-8")
    script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{bin_folder}{os.pathsep}{os.environ['PATH']}")
    return str(script)
