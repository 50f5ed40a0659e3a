"""What the tests of new folders share: a user of git, a facility of theirs, the program on the path."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from asfound.cli import main
from asfound.commands.common import CLEAN
from tests.installed import install


def _ada(patch: pytest.MonkeyPatch) -> None:
    patch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    patch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    for role in ("AUTHOR", "COMMITTER"):
        patch.setenv(f"GIT_{role}_NAME", "Ada Thorn")
        patch.setenv(f"GIT_{role}_EMAIL", "ada@example.org")


@pytest.fixture
def author(monkeypatch: pytest.MonkeyPatch) -> None:
    """A user of git with a name, and no settings of this machine."""
    _ada(monkeypatch)


@pytest.fixture(scope="module")
def as_new(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A facility as `new --git` made it; tests work on copies."""
    folder = tmp_path_factory.mktemp("new") / "ours"
    with pytest.MonkeyPatch.context() as patch:
        _ada(patch)
        assert main(["new", str(folder), "--git"]) == CLEAN
    return folder


@pytest.fixture
def facility(as_new: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, author: None) -> Path:
    folder = tmp_path / "ours"
    shutil.copytree(as_new, folder)
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """`asfound` of this source tree on the path."""
    return str(install(tmp_path, monkeypatch))
