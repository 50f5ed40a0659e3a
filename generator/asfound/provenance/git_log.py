"""The history of one commit, read in one pass: who brought which content where, on the default branch and beside it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import cached_property

from asfound.provenance.repository import CannotReadHistory, Repository

REVIEWED_BY, REVIEWED_FILE = "reviewed-by", "reviewed-file"
_FIELDS = ("%H", "%P", "%an", "%ae", "%at", "%ct", "%s", "%(trailers:key=Reviewed-by,key=Reviewed-file,unfold=true)")
_CONFIGURED = ("log.showRoot=true", "log.follow=false", "trailer.separators=:")
_LATEST = 253_000_000_000
"""in the year 9987: any time zone can show it"""
_DEFAULT_NAMES = ("main", "master")


@dataclass(frozen=True, slots=True)
class Commit:
    """One commit; `number`: its place in the log, ancestors first."""

    number: int
    id: str
    parents: tuple[int, ...]
    author: str
    email: str
    authored: int
    """seconds since 1970 UTC, as `committed`"""
    committed: int
    subject: str
    trailers: tuple[tuple[str, str], ...]
    """key in small letters, and value"""
    changes: tuple[tuple[str, str], ...]
    """path below the records' folder and content that it brought beyond its first parent"""

    def trailer(self, key: str) -> list[str]:
        """The values of a trailer."""
        return [value for name, value in self.trailers if name == key]


class Log:
    """All commits that one commit holds.

    `wanted`: contents whose coming is told. The chain is what the default branch was, commit by commit: first parents
    of the newest commit of the default branch's own chain that is held here. A merge on it brings what it holds beyond
    its first parent.
    """

    def __init__(self, repository: Repository, head: str, wanted: Collection[str]) -> None:
        if repository.shallow:
            raise CannotReadHistory(
                f"{repository.root}: the history was cut off when it was cloned, so approvals cannot be told",
                "git fetch --unshallow (in CI: check out with the whole history, depth 0)",
            )
        self.commits = list(_commits(repository, head, frozenset(wanted)))
        self._number = {commit.id: commit.number for commit in self.commits}
        self.branch, tip = default_branch(repository)
        start = self._number[head] if tip is None else self._newest_held(repository, tip, head)
        self.chain = self._first_parents(start)
        """numbers, oldest first"""
        self.brought_at = self._brought_at()
        """by commit, the place in the chain where the default branch came to hold it; None: it does not"""

    @cached_property
    def recorded(self) -> dict[str, Commit]:
        """By content, the commit that first held it, wherever."""
        found: dict[str, Commit] = {}
        for commit in self.commits:
            for _, blob in commit.changes:
                found.setdefault(blob, commit)
        return found

    @cached_property
    def bringing(self) -> dict[tuple[str, str], list[Commit]]:
        """By path and content, every commit of the chain that brought it, oldest first."""
        found: dict[tuple[str, str], list[Commit]] = {}
        for number in self.chain:
            for change in self.commits[number].changes:
                found.setdefault(change, []).append(self.commits[number])
        return found

    @cached_property
    def writing(self) -> dict[tuple[str, str], list[Commit]]:
        """By path and content, every commit that brought it anywhere, ancestors first."""
        found: dict[tuple[str, str], list[Commit]] = {}
        for commit in self.commits:
            for change in commit.changes:
                found.setdefault(change, []).append(commit)
        return found

    @cached_property
    def with_reviews(self) -> dict[int, list[Commit]]:
        """By place in the chain, the commits with trailers that came there."""
        found: dict[int, list[Commit]] = {}
        for commit in self.commits:
            place = self.brought_at[commit.number]
            if commit.trailers and place is not None:
                found.setdefault(place, []).append(commit)
        return found

    def place(self, commit: Commit) -> int:
        """Where a commit of the default branch came into its chain."""
        place = self.brought_at[commit.number]
        assert place is not None
        return place

    def holds(self, later: Commit, earlier: Commit) -> bool:
        """Whether a commit that the default branch holds is another or descends from it."""
        where = self.brought_at[earlier.number]
        if where is None:
            return False
        waiting, seen = [later.number], {later.number}
        while waiting:
            number = waiting.pop()
            if number == earlier.number:
                return True
            place = self.brought_at[number]
            if place is not None and self.chain[place] == number:  # it holds all that came up to here
                if where <= place:
                    return True
                continue
            fresh = [p for p in self.commits[number].parents if p >= earlier.number and p not in seen]
            seen.update(fresh)
            waiting += fresh
        return False

    def _first_parents(self, number: int | None) -> list[int]:
        chain = []
        while number is not None:
            chain.append(number)
            parents = self.commits[number].parents
            number = parents[0] if parents else None
        return chain[::-1]

    def _newest_held(self, repository: Repository, tip: str, head: str) -> int | None:
        """The newest commit of the default branch's own chain that is held here."""
        if tip == head:
            return self._number[head]
        listed = repository.run("rev-list", "--first-parent", tip).decode().split()
        return next((self._number[commit] for commit in listed if commit in self._number), None)

    def _brought_at(self) -> list[int | None]:
        brought: list[int | None] = [None] * len(self.commits)
        for place, number in enumerate(self.chain):
            waiting = [number]
            while waiting:
                one = waiting.pop()
                if brought[one] is None:
                    brought[one] = place
                    waiting += self.commits[one].parents
        return brought


def default_branch(repository: Repository) -> tuple[str | None, str | None]:
    """The default branch's name and newest commit; None where none is known.

    It is what origin/HEAD names, else main, else master. Checked out, it counts as it is here, else as origin has it,
    else as it is here.
    """
    format = "--format=%(refname) %(objectname) %(symref)"
    names = [f"{folder}/{name}" for folder in ("refs/remotes/origin", "refs/heads") for name in _DEFAULT_NAMES]
    listed = repository.run("for-each-ref", format, "refs/remotes/origin/HEAD", *names).decode()
    refs = {line.split(" ")[0]: line.split(" ")[1:] for line in listed.splitlines()}
    symbolic = refs.pop("refs/remotes/origin/HEAD", ["", ""])[1].removeprefix("refs/remotes/origin/")
    known = [name for name in _DEFAULT_NAMES for ref in refs if ref.endswith(f"/{name}")]
    name = symbolic or next(iter(known), None)
    if name is None:
        return None, None
    here, there = f"refs/heads/{name}", f"refs/remotes/origin/{name}"
    checked_out = repository.run("rev-parse", "--symbolic-full-name", "HEAD").decode().strip() == here
    tips = repository.run("for-each-ref", "--format=%(refname) %(objectname)", here, there).decode()
    tip = dict(line.split(" ") for line in tips.splitlines())
    order = (here, there) if checked_out else (there, here)
    return name, next((tip[ref] for ref in order if ref in tip), None)


def _commits(repository: Repository, head: str, wanted: frozenset[str]) -> Iterator[Commit]:
    options = [option for value in _CONFIGURED for option in ("-c", value)]
    # Every commit is told, for a review may stand in one that changes nothing; its changes only below the folder.
    below = ["--full-history", "--sparse", head, "--", repository.prefix] if repository.prefix else [head, "--"]
    said = repository.run(
        *options,
        "log",
        *("-z", "--raw", "--no-abbrev", "--no-renames", "--no-ext-diff", "--topo-order", "--reverse"),
        *("--diff-merges=first-parent", "--encoding=UTF-8", f"--format=%x00{'%x00'.join(_FIELDS)}"),
        *below,
    )
    number: dict[str, int] = {}
    words = iter(said.decode("utf-8", "surrogateescape").split("\0"))
    word = next(words, None)
    while word is not None:
        if word:
            raise CannotReadHistory(f"git log says {word[:80]!r} where a commit begins", "use git 2.31 or newer")
        commit, parents, author, email, authored, committed, subject, trailers = (next(words, "") for _ in _FIELDS)
        if not commit:  # the end
            return
        changes = []
        word = next(words, None)
        while word and word.lstrip("\n").startswith(":"):
            path, blob = next(words), word.split(" ")[3]
            if blob in wanted:
                changes.append((path.removeprefix(repository.prefix), blob))
            word = next(words, None)
        number[commit] = len(number)
        yield Commit(
            number=number[commit],
            id=commit,
            parents=tuple(number[parent] for parent in parents.split()),
            author=_shown(author),
            email=_shown(email),
            authored=_seconds(authored),
            committed=_seconds(committed),
            subject=_shown(subject),
            trailers=tuple(_trailers(_shown(trailers))),
            changes=tuple(changes),
        )


def _seconds(text: str) -> int:
    """A time as git has it; of what no calendar holds, which git takes from anybody, the nearest end."""
    return min(max(int(text or 0), 0), _LATEST)


def _trailers(text: str) -> Iterator[tuple[str, str]]:
    for line in text.splitlines():
        key, colon, value = line.partition(":")
        if colon:
            yield key.strip().lower(), value.strip()


def _shown(text: str) -> str:
    """A text without bytes that are no UTF-8."""
    return text if text.isascii() else text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
