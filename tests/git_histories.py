"""Real git repositories of records for tests, made by the real git: one person acts at a time, on days that are given.

    history = History(tmp_path / "store", files)                   # Ann commits the first records on the main branch
    history.branch("visit").commit(visit(…), by=ANN, on="2026-03-16")
    history.merge("visit", by=BEN, on="2026-03-17")                # a merge commit on the main branch
    provenance(history.records, records_of(history))

Names, days and everything else that a commit's id is made of are fixed, and the developer's own configuration of git
stays out: the same calls give the same ids everywhere.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from asfound.provenance.repository import Repository, repository_of

MAIN = "main"


@dataclass(frozen=True)
class Who:
    """A person as commits name them."""

    name: str
    email: str

    def __str__(self) -> str:
        return f"{self.name} <{self.email}>"


ANN = Who("Ann Tansy", "ann@alder.example")
"""calibrates, in tests/builders.py"""
BEN = Who("Ben Sedge", "ben@alder.example")
"""approves there"""
FORGE = Who("Forge", "noreply@forge.example")
"""what a forge commits as; nobody in people.yml"""

ENVIRONMENT = {
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_CONFIG_SYSTEM": os.devnull,
    "GIT_CONFIG_NOSYSTEM": "1",
    "LC_ALL": "C",
    "TZ": "UTC",
    # Nothing here lives long enough to be tidied up: each commit and merge would start a process that looks whether.
    "GIT_CONFIG_COUNT": "1",
    "GIT_CONFIG_KEY_0": "maintenance.auto",
    "GIT_CONFIG_VALUE_0": "false",
}


class History:
    """A repository with its working folder; every act gives the id of the commit that it made."""

    def __init__(
        self,
        root: Path,
        files: Mapping[str, bytes] | None = None,
        *,
        folder: str = "records",
        by: Who = ANN,
        on: str = "2026-01-05",
    ) -> None:
        """`folder`: where the records lie inside; empty for the top."""
        self.root = root
        self.records = root / folder
        self.records.mkdir(parents=True)
        self.git("init", "--quiet", "--template=", f"--initial-branch={MAIN}")
        if files is not None:
            self.commit(files, by=by, on=on, message="The records so far")

    @property
    def repository(self) -> Repository:
        """As the program sees it."""
        found = repository_of(self.records)
        assert found is not None
        return found

    @property
    def head(self) -> str:
        """The commit that is checked out."""
        return self.git("rev-parse", "HEAD").strip()

    def git(self, *arguments: str, by: Who = ANN, on: str = "2026-01-05", committer: Who | None = None) -> str:
        """What git prints; `on`: a day, or a time with its offset."""
        moment = on if "T" in on else f"{on}T12:00:00+00:00"
        made_by = committer or by
        identities = {
            "GIT_AUTHOR_NAME": by.name,
            "GIT_AUTHOR_EMAIL": by.email,
            "GIT_AUTHOR_DATE": moment,
            "GIT_COMMITTER_NAME": made_by.name,
            "GIT_COMMITTER_EMAIL": made_by.email,
            "GIT_COMMITTER_DATE": moment,
        }
        kept = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
        done = subprocess.run(
            ["git", "-C", str(self.root), *arguments],
            env=kept | ENVIRONMENT | identities,
            capture_output=True,
            text=True,
            encoding="utf-8",
        )
        assert done.returncode == 0, f"git {' '.join(arguments)}: {done.stderr}"
        return done.stdout

    def write(self, files: Mapping[str, bytes | None]) -> None:
        """Write files below the records' folder, without committing them; None deletes one."""
        for path, content in files.items():
            at = self.records / path
            if content is None:
                at.unlink()
            else:
                at.parent.mkdir(parents=True, exist_ok=True)
                at.write_bytes(content)

    def commit(
        self,
        files: Mapping[str, bytes | None] | None = None,
        *,
        by: Who,
        on: str,
        message: str = "A change",
        trailers: Sequence[str] = (),
        committer: Who | None = None,
        amend: bool = False,
    ) -> str:
        """Commit these files on the branch that is checked out, or none of them. `amend`: over the last commit."""
        self.write(files or {})
        self.git("add", "--all")
        options = ["--quiet", "--allow-empty", "--no-gpg-sign", *(["--amend", "--reset-author"] if amend else [])]
        self.git("commit", *options, "-m", _message(message, trailers), by=by, on=on, committer=committer)
        return self.head

    def branch(self, name: str, at: str = MAIN) -> History:
        """Begin a branch and check it out."""
        self.git("checkout", "--quiet", "-b", name, at)
        return self

    def checkout(self, revision: str = MAIN) -> History:
        """Check a branch out; a commit's id detaches the head."""
        self.git("checkout", "--quiet", revision)
        return self

    def merge(self, name: str, *, by: Who, on: str, message: str = "", trailers: Sequence[str] = ()) -> str:
        """A merge commit of two parents on the main branch."""
        self.checkout()
        said = _message(message or f"Merge {name}", trailers)
        self.git("merge", "--quiet", "--no-ff", "--no-gpg-sign", "-m", said, name, by=by, on=on)
        return self.head

    def squash(self, name: str, *, by: Who, on: str, trailers: Sequence[str] = (), committer: Who | None = None) -> str:
        """A branch as one commit of one parent on the main branch."""
        self.checkout()
        self.git("merge", "--quiet", "--squash", name)
        return self.commit(by=by, on=on, message=f"All of {name}", trailers=trailers, committer=committer)

    def rebase(self, name: str, *, by: Who, on: str) -> str:
        """A branch's commits one by one on the main branch: authors stay, `by` commits them."""
        self.git("rebase", "--quiet", "--no-ff", "--no-gpg-sign", MAIN, name, by=by, on=on)
        self.checkout()
        self.git("merge", "--quiet", "--ff-only", name)
        return self.head

    def clone(self, root: Path, *, depth: int | None = None) -> History:
        """A clone of it, which may be shallow."""
        shallow = [f"--depth={depth}"] if depth else []
        self.git("clone", "--quiet", *shallow, self.root.as_uri(), str(root))
        cloned = History.__new__(History)
        cloned.root, cloned.records = root, root / self.records.relative_to(self.root)
        return cloned


def _message(message: str, trailers: Sequence[str]) -> str:
    return "\n\n".join([message, *(["\n".join(trailers)] if trailers else [])])
