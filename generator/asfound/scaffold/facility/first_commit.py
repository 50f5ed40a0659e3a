"""The first commit of a new facility, by the user's own git and in the user's own name."""

from __future__ import annotations

import subprocess
from pathlib import Path

from asfound.refusals import Refusal

HOOK = ".githooks/pre-commit"
NAME_YOURSELF = (
    'git config --global user.name "First Last" && git config --global user.email you@example.org, then try again'
)


def refuse_without_identity(folder: Path) -> None:
    """Raises Refusal where git is missing or does not know who commits: before anything is written.

    A commit that failed afterwards would leave a folder without main and without the hook, which no second try mends.
    """
    where = next(path for path in (folder.absolute(), *folder.absolute().parents) if path.is_dir())
    for role in ("AUTHOR", "COMMITTER"):
        done = _called(where, "var", f"GIT_{role}_IDENT")
        if done is None:
            raise Refusal(
                f"{folder}: nothing is written: there is no git on this machine", "install git, or leave out --git"
            )
        if done.returncode:
            raise Refusal(f"{folder}: nothing is written: git does not know who commits", f"{NAME_YOURSELF}")


def first_commit(folder: Path) -> str:
    """Make the folder a repository where it is none, commit everything, switch the hook on; the commit's id.

    Raises Refusal where git is missing or refuses.
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
    done = _called(folder, *arguments)
    if done is None or done.returncode:
        said = "there is no git on this machine" if done is None else done.stderr.strip() or done.stdout.strip()
        cure = "mend what git says, remove the new folder, and try again"
        raise Refusal(f"{folder}: the files are written, not committed; git says: {said}", cure)
    return done.stdout


def _called(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str] | None:
    """What git answers; None where there is none."""
    try:
        return subprocess.run(["git", *arguments], cwd=folder, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        return None
