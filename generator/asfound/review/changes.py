"""What lies between two commits: the files that differ below the records' folder, and the commits of the branch."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path

from asfound.provenance.repository import CannotReadHistory, Repository, repository_of
from asfound.records.issued import NAME as ISSUED_NAME
from asfound.records.snapshot import EVIDENCE, ISSUED, LazySnapshot, Snapshot, is_record

_FIELDS = ("%H", "%aN", "%aE", "%aI", "%(trailers:key=Reviewed-by,key=Reviewed-file,unfold=true)")
_ADDRESS = re.compile(r"\s*(?P<name>.*?)\s*<(?P<email>[^<>]*)>\s*")


@dataclass(frozen=True, kw_only=True)
class Trailer:
    """Someone whom a commit names as its reviewer."""

    name: str
    email: str


@dataclass(frozen=True, kw_only=True)
class Edit:
    """One file in one commit of the branch: its blob before (none: added) and after (none: deleted)."""

    path: str
    before: str | None
    after: str | None


@dataclass(frozen=True, kw_only=True)
class BranchCommit:
    """One commit of the branch: who wrote it when, whom it names as reviewers, what it did to the records."""

    commit: str
    author: str
    email: str
    day: str
    reviewers: tuple[Trailer, ...]
    reviewed_files: tuple[str, ...]
    """below the records' folder; none: the whole branch"""
    edits: tuple[Edit, ...]


@dataclass(frozen=True, kw_only=True)
class Change:
    """Two commits compared: the head of a branch, and where it left the commit that it is to be merged into."""

    repository: Repository
    base: str
    """the merge base"""
    head: str
    before: Mapping[str, str]
    """path below the records' folder → blob, at the base"""
    after: Mapping[str, str]
    commits: tuple[BranchCommit, ...]
    """of the branch, oldest first; commits that it shares with the base are none of them"""

    @cached_property
    def added(self) -> tuple[str, ...]:
        """Files that the base does not have."""
        return tuple(sorted(self.after.keys() - self.before.keys()))

    @cached_property
    def deleted(self) -> tuple[str, ...]:
        """Files that the head does not have any more."""
        return tuple(sorted(self.before.keys() - self.after.keys()))

    @cached_property
    def edited(self) -> tuple[str, ...]:
        """Files with other bytes."""
        return tuple(sorted(p for p, blob in self.before.items() if self.after.get(p, blob) != blob))

    @cached_property
    def paths(self) -> frozenset[str]:
        """All files that differ."""
        return frozenset((*self.added, *self.deleted, *self.edited))

    @cached_property
    def head_files(self) -> Snapshot:
        """The records at the head; of issued certificates those that the change concerns."""
        return _snapshot(self.repository, self.after, self._records_of(self.after), {})

    @cached_property
    def base_files(self) -> Snapshot:
        """The records at the base, likewise."""
        known = {p: self.head_files[p] for p in self.head_files if self._same(p) and not _left(p)}
        return _snapshot(self.repository, self.before, self._records_of(self.before), known)

    def _same(self, path: str) -> bool:
        return self.before.get(path) == self.after.get(path)

    def _records_of(self, tree: Mapping[str, str]) -> set[str]:
        """All but certificates that lie beside the change: there may be thousands, each longer than its visit."""
        touched = {path.rpartition(".r")[0] for path in self.paths if path.startswith(ISSUED)}
        return {path for path in tree if not path.startswith(ISSUED) or path.rpartition(".r")[0] in touched}

    def certificates(self, visits: Collection[str], tree: Mapping[str, str]) -> dict[str, bytes]:
        """The issued certificates of some visits, by path."""
        names = {path: ISSUED_NAME.fullmatch(path) for path in tree if path.startswith(ISSUED)}
        paths = [path for path, name in names.items() if name and name[2] in visits]
        read = self.repository.contents({tree[path] for path in paths})
        return {path: read[tree[path]] for path in paths}


def _left(path: str) -> bool:
    """Whether a file's bytes are read only when they are asked for: no or few numbers are computed from it."""
    return path.startswith(EVIDENCE)


def _snapshot(repository: Repository, tree: Mapping[str, str], paths: Collection[str], known: Snapshot) -> Snapshot:
    """Some records of a tree, what is known of them not read again."""
    read = repository.contents({tree[path] for path in paths if path not in known and not _left(path)})
    held = {path: known[path] if path in known else read[tree[path]] for path in paths if not _left(path)}
    left = {path: partial(repository.run, "cat-file", "blob", tree[path]) for path in paths if _left(path)}
    return LazySnapshot(held, left)


def repository_at(records: Path) -> Repository:
    """The repository of a folder of records, which need not be checked out: a bare clone serves.

    Raises CannotReadHistory where there is none.
    """
    found = repository_of(records) if records.is_dir() else None
    if found is not None:
        return found
    above = next(folder for folder in records.absolute().parents if folder.is_dir())
    around = repository_of(above)
    if around is not None:
        inside = records.absolute().relative_to(above).as_posix()
        return Repository(root=around.root, prefix=f"{around.prefix}{inside}/")
    bare = Repository(root=above, prefix=f"{records.absolute().relative_to(above).as_posix()}/")
    try:
        bare.run("rev-parse", "--git-dir")
    except (CannotReadHistory, FileNotFoundError):
        cure = "run it inside a clone, with the program `git` installed; --records names the folder inside it"
        raise CannotReadHistory(f"{records}: no git repository holds it", f"{cure}") from None
    return bare


def change_between(repository: Repository, base: str, head: str) -> Change:
    """What the branch of `head` changed since it left `base`.

    Raises CannotReadHistory where a commit is not there, the two share no history, or the clone is shallow.
    """
    if repository.shallow:
        raise CannotReadHistory("the clone is shallow: where the branch began is not known", "git fetch --unshallow")
    ours, theirs = repository.resolve(base), repository.resolve(head)
    try:
        start = repository.run("merge-base", ours, theirs).decode().strip()
    except CannotReadHistory:
        raise CannotReadHistory(
            f"{base} and {head} share no commit", "name the branch that the change is to be merged into as BASE"
        ) from None
    return Change(
        repository=repository,
        base=start,
        head=theirs,
        before=_records(repository, start),
        after=_records(repository, theirs),
        commits=tuple(_commits(repository, start, theirs)),
    )


def _records(repository: Repository, commit: str) -> dict[str, str]:
    return {path: blob for path, blob in repository.tree(commit).items() if is_record(path)}


def _commits(repository: Repository, base: str, head: str) -> Iterator[BranchCommit]:
    """Commits of the branch, oldest first; of a merge only what it made other than all its parents."""
    said = repository.run(
        *("-c", "trailer.separators=:", "log", "--reverse", "--topo-order", "-c", "--raw", "-z"),
        *("--no-renames", "--no-abbrev", "--no-ext-diff", "--encoding=UTF-8", f"--format=%x00{'%x00'.join(_FIELDS)}"),
        f"{base}..{head}",
    )
    words, at = said.decode("utf-8", "replace").split("\0"), 0
    while at + len(_FIELDS) < len(words):
        commit, author, email, time, trailers = words[at + 1 : at + 1 + len(_FIELDS)]
        at += 1 + len(_FIELDS)
        edits: list[Edit] = []
        if words[at : at + 1] == [""] and words[at + 1 : at + 2] and words[at + 1].startswith(":"):
            at += 1  # the edits of a merge stand apart
        while at + 1 < len(words) and words[at].lstrip("\n").startswith(":"):
            edits += _edit(repository.prefix, words[at].lstrip("\n"), words[at + 1])
            at += 2
        named = [line.partition(":")[::2] for line in trailers.splitlines()]
        people = (_ADDRESS.fullmatch(value) for key, value in named if key.strip().lower() == "reviewed-by")
        files = [value.strip() for key, value in named if key.strip().lower() == "reviewed-file"]
        yield BranchCommit(
            commit=commit,
            author=author,
            email=email,
            day=time[:10],
            reviewers=tuple(Trailer(name=found["name"], email=found["email"]) for found in people if found),
            reviewed_files=tuple(path.removeprefix(repository.prefix) for path in files if path),
            edits=tuple(edits),
        )


def _edit(prefix: str, told: str, path: str) -> list[Edit]:
    """One line of `--raw`: modes, then blobs, of each parent and of the commit; none where it is no record."""
    parents = len(told) - len(told.lstrip(":"))
    blobs = told.lstrip(":").split(" ")[parents + 1 : 2 * parents + 2]
    if not path.startswith(prefix):
        return []
    before, after = (None if set(blob) == {"0"} else blob for blob in (blobs[0], blobs[-1]))
    return [Edit(path=path.removeprefix(prefix), before=before, after=after)]
