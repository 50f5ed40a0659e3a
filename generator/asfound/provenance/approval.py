"""Who approved a visit, told by commits: the merge's author, a trailer, a signature; and why nobody did."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from asfound.provenance.facts import Approval
from asfound.provenance.git_log import REVIEWED_BY, REVIEWED_FILE, Commit, Log
from asfound.records.models import Person

_ADDRESS = re.compile(r"<([^<>]*)>")


@dataclass(frozen=True, kw_only=True)
class Claim:
    """That somebody approved a visit, as a commit says it; not weighed yet."""

    email: str
    how: Literal["merge", "reviewed-by", "signature"]
    commit: Commit

    @property
    def told(self) -> str:
        """The act, for a sentence that names who did it."""
        return {"merge": "merged", "reviewed-by": "named as reviewer", "signature": "signed"}[self.how]


@dataclass(frozen=True, kw_only=True)
class Approvers:
    """Who may approve what on which day; persons are known by their e-mails and by nothing else."""

    by_email: Mapping[str, Sequence[Person]]
    zone: ZoneInfo

    @classmethod
    def of(cls, people: Iterable[Person], zone: ZoneInfo) -> Approvers:
        """Those of people.yml."""
        found: dict[str, list[Person]] = {}
        for person in people:
            for email in person.emails:
                found.setdefault(plain(email), []).append(person)
        return cls(by_email=found, zone=zone)

    def time(self, seconds: int) -> datetime:
        """The facility's time."""
        return datetime.fromtimestamp(seconds, self.zone)

    def persons(self, email: str) -> Sequence[Person]:
        """Whose e-mail it is."""
        return self.by_email.get(plain(email), ())

    def weigh(self, claim: Claim, technicians: frozenset[str]) -> Approval | str:
        """The approval that a claim is, or why it is none."""
        day = self.time(claim.commit.committed).date()
        persons = self.persons(claim.email)
        if not persons:
            return f"{claim.told} by {claim.email or 'nobody'}, an e-mail that people.yml does not know"
        # Of two who share an e-mail either may have acted: it is nobody's approval where one of them calibrated.
        own = next((person for person in persons if person.id in technicians), None)
        if own is not None:
            return f"{claim.told} by {own.name}, who calibrated there: another must approve"
        refused = ""
        for person in persons:
            refused = _refused(person, day)
            if not refused:
                return Approval(person=person.id, name=person.name, day=day, how=claim.how, commit=claim.commit.id)
        return f"{claim.told} by {persons[-1].name}, {refused}"


def _refused(person: Person, day: date) -> str:
    if "approve" not in person.may:
        return "whom people.yml does not let approve"
    if not person.holds(day):
        return f"who may not on {day}: people.yml gives another time"
    return ""


def plain(email: str) -> str:
    """An e-mail as it is compared."""
    return email.strip().lower()


def claims(log: Log, path: str, blob: str, technicians: frozenset[str], approvers: Approvers) -> Iterator[Claim]:
    """What commits say of the approval of a content at a path, the earliest on the default branch first."""
    for commit in log.bringing.get((path, blob), ()):
        if len(commit.parents) > 1:
            yield Claim(email=commit.email, how="merge", commit=commit)
        yield from _reviewers(commit)
        yield from _on_the_branch(log, path, blob, commit, technicians, approvers)


def _on_the_branch(
    log: Log, path: str, blob: str, merge: Commit, technicians: frozenset[str], approvers: Approvers
) -> Iterator[Claim]:
    """Trailers of what a merge brought: of commits by others, that held the content already."""
    for commit in log.with_reviews.get(log.place(merge), ()):
        own = technicians.intersection(person.id for person in approvers.persons(commit.email))
        if commit is merge or own or not commit.trailer(REVIEWED_BY):
            continue
        if any(log.holds(commit, writer) for writer in log.writing[path, blob] if writer is not merge):
            yield from _reviewers(commit)


def later_claims(
    log: Log,
    named: Mapping[str, Sequence[Commit]],
    path: str,
    blob: str,
    technicians: frozenset[str],
    approvers: Approvers,
) -> Iterator[Claim]:
    """What commits say that name the file: `Reviewed-file`, by their reviewers, or else by their author.

    `named`: commits of the default branch by the path that they name. A technician's own commit names no reviewer.
    """
    for commit in named.get(path, ()):
        if any(log.holds(commit, writer) for writer in log.writing.get((path, blob), ())):
            own = technicians.intersection(person.id for person in approvers.persons(commit.email))
            reviewers = [] if own else list(_reviewers(commit))
            yield from reviewers or [Claim(email=commit.email, how="reviewed-by", commit=commit)]


def files_named(log: Log, prefix: str) -> dict[str, list[Commit]]:
    """By path below the records' folder, the commits of the default branch with its `Reviewed-file`."""
    found: dict[str, list[Commit]] = {}
    for commits in log.with_reviews.values():
        for commit in commits:
            for path in commit.trailer(REVIEWED_FILE):
                found.setdefault(path.removeprefix(prefix), []).append(commit)
    return found


def _reviewers(commit: Commit) -> Iterator[Claim]:
    for value in commit.trailer(REVIEWED_BY):
        yield Claim(email=address(value), how="reviewed-by", commit=commit)


def address(text: str) -> str:
    """The e-mail of `Name <email>`; the whole where none stands in brackets."""
    found = _ADDRESS.search(text)
    return found[1] if found else text
