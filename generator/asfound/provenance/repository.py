"""git as it is asked by this program: the program `git` itself, read only, never one process a file."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path

from asfound.records.snapshot import LOGS, TRENDS, LazySnapshot, Snapshot, held_empty, is_record
from asfound.refusals import Refusal

# What a developer's configuration or a hook's environment would change about the answers.
_OPTIONS = (
    "--no-pager",
    "--no-optional-locks",
    "--no-replace-objects",
    "--literal-pathspecs",
    *("-c", "color.ui=false"),
    *("-c", "core.quotePath=false"),
    *("-c", "log.showSignature=false"),
)
_KEPT = ("GIT_CONFIG", "GIT_EXEC_PATH", "GIT_CEILING_DIRECTORIES", "GIT_DISCOVERY_ACROSS_FILESYSTEM")


class CannotReadHistory(Refusal):
    """Git does not tell what was asked of it."""


@dataclass(frozen=True, kw_only=True)
class Repository:
    """A git repository that holds a folder of records."""

    root: Path
    """its top folder"""
    prefix: str
    """the records' folder inside it, with a slash at the end; empty where the records are the whole repository"""

    def run(self, *arguments: str, given: bytes = b"") -> bytes:
        """What `git` prints. Raises CannotReadHistory where it fails, with what it says."""
        return _git(self.root, arguments, given)

    def resolve(self, revision: str) -> str:
        """The commit that a revision names, e.g. `HEAD` or `origin/main`. Raises CannotReadHistory without one."""
        try:
            found = self.run("rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}")
        except CannotReadHistory:
            cure = "give a commit, branch or tag that is here (`git log`, `git branch --all`), or fetch it first"
            raise CannotReadHistory(f"there is no commit {revision!r}", cure) from None
        return found.decode().strip()

    @cached_property
    def head(self) -> str | None:
        """The commit that is checked out; None before the first."""
        try:
            return self.resolve("HEAD")
        except CannotReadHistory:
            return None

    @cached_property
    def shallow(self) -> bool:
        """Whether the history was cut off when it was cloned."""
        return self.run("rev-parse", "--is-shallow-repository").strip() == b"true"

    @property
    def log_of_head(self) -> Path:
        """A file that grows whenever another commit is checked out or made."""
        return self.root / os.fsdecode(self.run("rev-parse", "--git-path", "logs/HEAD")).strip()

    def tree(self, commit: str) -> Mapping[str, str]:
        """Path below the records' folder → id of its content in a commit, in order of paths; links are left out."""
        listed = self.run("ls-tree", "-r", "-z", "--full-tree", commit, *([self.prefix] if self.prefix else []))
        found = {}
        for entry in _parts(listed):
            about, _, path = entry.partition("\t")
            mode, kind, blob = about.split(" ")
            if kind == "blob" and mode != "120000":
                found[path.removeprefix(self.prefix)] = blob
        return found

    def contents(self, blobs: Collection[str]) -> dict[str, bytes]:
        """The bytes of contents by id, asked for together."""
        if not blobs:
            return {}
        given = "".join(f"{blob}\n" for blob in blobs).encode()
        said = self.run("cat-file", "--batch", given=given)
        found, at = {}, 0
        for blob in blobs:
            end = said.index(b"\n", at)
            _, _, size = said[at:end].split(b" ")
            at = end + 1 + int(size)
            found[blob] = said[end + 1 : at]
            at += 1
        return found

    def snapshot(self, commit: str, paths: Iterable[str] | None = None) -> Snapshot:
        """The records as they are in a commit, or those at some of its paths."""
        tree = {path: blob for path, blob in self.tree(commit).items() if is_record(path)}
        if paths is not None:
            wanted = set(paths)
            tree = {path: blob for path, blob in tree.items() if path in wanted}
        apart = {path for path in tree if path.startswith((TRENDS, LOGS)) or held_empty(path)}
        read = self.contents({blob for path, blob in tree.items() if path not in apart})
        held: dict[str, bytes] = {}
        left: dict[str, Callable[[], bytes]] = {}
        for path, blob in tree.items():
            if path.startswith((TRENDS, LOGS)):
                left[path] = partial(self.run, "cat-file", "blob", blob)
            else:
                held[path] = b"" if held_empty(path) else read[blob]
        return LazySnapshot(held, left)


def repository_of(records: Path) -> Repository | None:
    """The repository that a folder lies in; None where there is none, or no program `git`.

    Raises CannotReadHistory where git refuses to look into it.
    """
    try:
        said = _git(records, ("rev-parse", "--show-toplevel", "--show-prefix"), b"")
    except FileNotFoundError:
        return None
    except CannotReadHistory as problem:
        if any(text in str(problem) for text in ("not a git repository", "must be run in a work tree")):
            return None
        raise
    root, prefix, _ = os.fsdecode(said).split("\n", 2)
    return Repository(root=Path(root), prefix=prefix)


def _git(folder: Path, arguments: Iterable[str], given: bytes) -> bytes:
    environment = {name: value for name, value in os.environ.items() if _kept(name)} | {"LC_ALL": "C"}
    done = subprocess.run(
        ["git", *_OPTIONS, "-C", str(folder), *arguments], input=given, capture_output=True, env=environment
    )
    if done.returncode:
        said = done.stderr.decode("utf-8", "replace").strip() or "git fails without a word"
        first, _, rest = said.partition("\n")
        cure = "do what git advises" if rest else "check the repository with `git status`"
        if "dubious ownership" in first:
            cure = "git refuses a folder of another owner: git config --global --add safe.directory THE-FOLDER"
            rest = ""
        raise CannotReadHistory("\n".join(filter(None, (first, rest))), cure)
    return done.stdout


def _kept(name: str) -> bool:
    """Whether a variable reaches git: none by which a hook points it at another repository."""
    return not name.startswith("GIT_") or name.startswith(_KEPT)


def _parts(listed: bytes) -> list[str]:
    """What stands between the NULs."""
    return listed.decode("utf-8", "surrogateescape").split("\0")[:-1]
