"""Commits as values, and the one stream that writes them all: `git fast-import`, with every name and date given."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from asfound.refusals import Refusal


@dataclass(frozen=True, kw_only=True)
class Signature:
    """Who, and when; the time knows its zone."""

    name: str
    email: str
    time: datetime


@dataclass(frozen=True, kw_only=True)
class DemoCommit:
    """One commit of a plan: what it changes against its first parent."""

    name: str
    """by which later commits of the plan call it their parent"""
    parents: tuple[str, ...]
    author: Signature
    committer: Signature
    message: str
    changes: Mapping[str, bytes] = field(default_factory=dict)
    """files written, by their path in the repository"""
    branch: str
    """on which it lies when all is done: `main`, a branch that is still open, or "" for one that was merged"""


def fast_import(commits: Sequence[DemoCommit]) -> bytes:
    """The plan as the input of `git fast-import`; the n-th commit has the mark n, from 1."""
    marks = {commit.name: mark for mark, commit in enumerate(commits, start=1)}
    tips = {commit.branch: commit.name for commit in commits if commit.branch}
    parts: list[bytes] = []
    for commit in commits:
        parts += [f"commit refs/demo/c{marks[commit.name]}\n".encode(), f"mark :{marks[commit.name]}\n".encode()]
        parts += [_signed("author", commit.author), _signed("committer", commit.committer)]
        parts.append(_data(commit.message.encode()))
        for kind, parent in zip(("from", *["merge"] * len(commit.parents)), commit.parents, strict=False):
            parts.append(f"{kind} :{marks[parent]}\n".encode())
        for path, content in commit.changes.items():
            parts += [f"M {mode_of(path)} inline {path}\n".encode(), _data(content)]
        parts.append(b"\n")
    for branch, name in tips.items():
        parts.append(f"reset refs/heads/{branch}\nfrom :{marks[name]}\n\n".encode())
    for mark in marks.values():  # scaffolding of the import: only branches remain
        parts.append(f"reset refs/demo/c{mark}\nfrom {'0' * 40}\n\n".encode())
    return b"".join([*parts, b"done\n"])


def mode_of(path: str) -> str:
    """Git's mode of a file: hooks are programs."""
    return "100755" if path.startswith(".githooks/") else "100644"


def write_repository(folder: Path, commits: Sequence[DemoCommit], *, checkout: bool = True) -> dict[str, str]:
    """A new repository at `folder` with this history, `main` checked out; the id of each commit by its name.

    Neither the user's settings nor the clock have a part in it: the ids are the same on every machine. Raises
    Refusal where git is missing or refuses.
    """
    folder.mkdir(parents=True, exist_ok=True)
    _git(folder, "init", "--quiet", "--object-format=sha1", "--template=")
    _git(folder, "symbolic-ref", "HEAD", "refs/heads/main")
    marks = folder.resolve() / ".git" / "demo-marks"  # git is run in the folder
    _git(folder, "fast-import", "--quiet", "--done", f"--export-marks={marks}", given=fast_import(commits))
    ids = dict(_marks(marks.read_text(encoding="ascii")))
    marks.unlink()
    if checkout:
        _git(folder, "reset", "--quiet", "--hard", "main")
    return {commit.name: ids[mark] for mark, commit in enumerate(commits, start=1)}


def _marks(text: str) -> Iterator[tuple[int, str]]:
    for line in text.splitlines():
        mark, commit = line.split()
        yield int(mark[1:]), commit


def _signed(role: str, who: Signature) -> bytes:
    offset = who.time.strftime("%z")
    return f"{role} {who.name} <{who.email}> {int(who.time.timestamp())} {offset}\n".encode()


def _data(content: bytes) -> bytes:
    return b"data %d\n%s\n" % (len(content), content)


def _git(folder: Path, *arguments: str, given: bytes = b"") -> bytes:
    """git, deaf to the settings of the user and of the machine."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
    environment |= {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "LC_ALL": "C"}
    try:
        done = subprocess.run(
            ["git", *arguments], cwd=folder, env=environment, input=given, capture_output=True, check=False
        )
    except FileNotFoundError as problem:
        raise Refusal("there is no git on this machine", "install git") from problem
    if done.returncode:
        said = done.stderr.decode("utf-8", "replace").strip()
        raise Refusal(f"git {arguments[0]}: {said}", "see what git says; version 2.32 or newer serves")
    return done.stdout
