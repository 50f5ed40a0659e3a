"""The demo facility's history as commits, from its records alone.

A commit depends only on what came before it, so the history may be written up to a day, certificates issued on it, and
the plan made again with them: all earlier commits keep their ids.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from asfound.faults import RecordsRefused
from asfound.records.load import load
from asfound.records.models import Person
from asfound.records.snapshot import Snapshot
from asfound.scaffold.commits import DemoCommit, Signature
from asfound.scaffold.demo.story import FOLDER, Act, Kind, Story

ATTRIBUTES = {f"{FOLDER}.gitattributes": b"* -text\n"}


def demo_history(files: Snapshot) -> tuple[DemoCommit, ...]:
    """All commits of the records, each after its parents. `files`: the demo's records, all bytes at hand.

    The tree of the last commit on main holds exactly these files below `records/`, and a `.gitattributes`. Raises
    RecordsRefused where the records cannot be read.
    """
    records, faults = load(files)
    if records is None:
        raise RecordsRefused(faults)
    story = Story(files, records)
    history = _History(story.reviewer)
    for act in story.acts():
        history.add(act)
    first, *others = history.commits
    return replace(first, changes={**ATTRIBUTES, **first.changes}), *others


def main_tip(commits: Sequence[DemoCommit]) -> DemoCommit:
    """The last commit on main."""
    return next(commit for commit in reversed(commits) if commit.branch == "main")


class _History:
    """Commits as acts make them: main, and the branches that are open."""

    def __init__(self, reviewer: Person) -> None:
        self.reviewer = reviewer
        self.commits: list[DemoCommit] = []
        self.tip = ""
        self.direct = 0
        self.open: dict[str, list[DemoCommit]] = {}

    def add(self, act: Act) -> None:
        """The commits of one act."""
        match act.kind:
            case Kind.DIRECT:
                self.direct += 1
                self._on_main(f"main-{self.direct}", act, _in_repository(act))
            case Kind.BRANCH:
                self._on_branch(act)
            case Kind.MERGE:
                written = self.open.pop(act.branch)
                self.commits += written
                act = replace(act, message=f"Merge {act.branch}\n")
                self._on_main(f"{act.branch}/merged", act, _all_changes(written), merged=written[-1].name)
            case Kind.SQUASH | Kind.REBASE:  # of the branch itself no trace is left
                written = self.open.pop(act.branch)
                if act.kind is Kind.SQUASH:
                    author = replace(written[0].author, time=act.when)
                    written = [replace(written[0], author=author, changes=_all_changes(written))]
                for number, commit in enumerate(written):
                    last = number == len(written) - 1
                    name = f"{act.branch}/merged{'' if last else f'/{number + 1}'}"
                    again = replace(act, message=commit.message, reviewed_by=self.reviewer)
                    self._on_main(name, again, commit.changes, author=commit.author)

    def _on_branch(self, act: Act) -> None:
        written = self.open.setdefault(act.branch, [])
        name = act.branch if not written else f"{act.branch}/{len(written) + 1}"
        parent = written[-1].name if written else self.tip
        written.append(_commit(name, (parent,), act, _in_repository(act), branch=""))

    def _on_main(
        self,
        name: str,
        act: Act,
        changes: Mapping[str, bytes],
        *,
        merged: str = "",
        author: Signature | None = None,
    ) -> None:
        parents = tuple(parent for parent in (self.tip, merged) if parent)
        self.commits.append(_commit(name, parents, act, changes, branch="main", author=author))
        self.tip = name


def _all_changes(written: Sequence[DemoCommit]) -> dict[str, bytes]:
    """What a branch changed: nothing else touches its files, so that is what main gets."""
    return {path: content for commit in written for path, content in commit.changes.items()}


def _commit(
    name: str,
    parents: tuple[str, ...],
    act: Act,
    changes: Mapping[str, bytes],
    *,
    branch: str,
    author: Signature | None = None,
) -> DemoCommit:
    return DemoCommit(
        name=name,
        parents=parents,
        author=author or _signature(act.who, act.when),
        committer=_signature(act.committer or act.who, act.when),
        message=act.message + _trailers(act),
        changes=changes,
        branch=branch,
    )


def _in_repository(act: Act) -> dict[str, bytes]:
    return {FOLDER + path: content for path, content in sorted(act.changes.items())}


def _trailers(act: Act) -> str:
    if act.reviewed_by is None:
        return ""
    lines = ["", f"Reviewed-by: {act.reviewed_by.name} <{act.reviewed_by.emails[0]}>"]
    lines += [f"Reviewed-file: {act.reviewed_file}"] if act.reviewed_file else []
    return "\n".join(lines) + "\n"


def _signature(person: Person, when: datetime) -> Signature:
    return Signature(name=person.name, email=person.emails[0], time=when)
