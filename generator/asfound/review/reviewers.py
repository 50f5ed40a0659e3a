"""Whom the commits of a branch name as reviewers of its visits, and whether that will count once it is merged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from asfound.provenance.approval import Approvers
from asfound.records.load import Records
from asfound.records.models import Person
from asfound.records.visits.visit_files import NAME, Visit
from asfound.review.changes import BranchCommit, Change, Trailer


@dataclass(frozen=True, kw_only=True)
class Named:
    """One person whom a commit names as reviewer, and the visits that this is about."""

    trailer: Trailer
    commit: BranchCommit
    person: Person | None
    """None: people.yml does not know the e-mail"""
    visits: tuple[Visit, ...]
    """every revision of them"""

    @property
    def refused(self) -> str:
        """Why it does not count, nothing where it does."""
        if self.person is None:
            return "people.yml does not know the e-mail"
        if "approve" not in self.person.may:
            return "people.yml does not let them approve"
        if not self.person.holds(date.fromisoformat(self.commit.day)):
            return f"people.yml does not have them there on {self.commit.day}"
        if any(self.person.id in visit.text["technician"] for visit in self.visits):
            return "they calibrated there themselves"
        return ""


def named_reviewers(change: Change, head: Records) -> tuple[Named, ...]:
    """Every `Reviewed-by` of the branch: about the files that its commit names, else about all visits of the branch."""
    return tuple(_named(change, head))


def _named(change: Change, head: Records) -> Iterator[Named]:
    approvers = Approvers.of(head.people.values(), head.zone)
    by_id: dict[str, list[Visit]] = {}
    for visit in head.visits if any(commit.reviewers for commit in change.commits) else ():
        by_id.setdefault(visit.id, []).append(visit)
    mine = [path for path in (*change.added, *change.edited) if path.startswith("visits/")]
    for commit in change.commits:
        names = map(NAME.fullmatch, commit.reviewed_files or mine)
        visits = dict.fromkeys(name[2] for name in names if name)
        for trailer in commit.reviewers:
            yield Named(
                trailer=trailer,
                commit=commit,
                person=next(iter(approvers.persons(trailer.email)), None),
                visits=tuple(visit for id_ in visits for visit in by_id.get(id_, ())),
            )
