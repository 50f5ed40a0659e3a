"""The first commit of a new facility, by the user's own git and in the user's own name."""

from __future__ import annotations

import subprocess
from pathlib import Path

from generator.scaffold.commits import CannotMakeRepository

HOOK = ".githooks/pre-commit"
CURE = (
    'git config --global user.name "First Last" && git config --global user.email you@example.org, '
    "then git add --all && git commit in the new folder"
)


def first_commit(folder: Path) -> str:
    """Make the folder a repository where it is none, commit everything, switch the hook on; the commit's id.

    Raises CannotMakeRepository where git is missing, or does not know who commits.
    """
    if not (folder / ".git").exists():
        _git(folder, "init", "--quiet")
        _git(folder, "symbolic-ref", "HEAD", "refs/heads/main")
    _git(folder, "add", "--all")
    _git(folder, "add", "--chmod=+x", HOOK)  # on Windows the file system does not know it
    _git(folder, "commit", "--quiet", "--message", "Begin the records")
    _git(folder, "config", "core.hooksPath", ".githooks")
    return _git(folder, "rev-parse", "HEAD").strip()


def _git(folder: Path, *arguments: str) -> str:
    try:
        done = subprocess.run(["git", *arguments], cwd=folder, capture_output=True, text=True, check=False)
    except FileNotFoundError as problem:
        raise CannotMakeRepository(
            f"{folder}: the files are written, but there is no git on this machine\n  cure: install git"
        ) from problem
    if done.returncode:
        said = done.stderr.strip() or done.stdout.strip()
        raise CannotMakeRepository(f"{folder}: the files are written, not committed; git says: {said}\n  cure: {CURE}")
    return done.stdout
