"""One review: what lies between two commits, what it means, and what fails it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from asfound.assessment.all_rules import ALL_RULES
from asfound.assessment.named_rules import unknown_review_rules
from asfound.certificates.disagreements import Disagreement, disagreements, newest
from asfound.faults import Fault, Severity, in_order
from asfound.provenance.repository import Repository
from asfound.records.issued import Issued, read_issued
from asfound.records.load import Records, read
from asfound.records.models import Finding
from asfound.records.snapshot import TRENDS
from asfound.records.trends.exports import check_trends
from asfound.records.visits.visit_files import NAME
from asfound.review.assessed_side import Side
from asfound.review.base_and_head import Sides
from asfound.review.causes import causes_of
from asfound.review.changes import Change, change_between
from asfound.review.concern import concern_of
from asfound.review.edits import BranchEdit, RecordChange, branch_edits, record_changes
from asfound.review.judging import verdicts_by_edit
from asfound.review.meaning import FindingChange, Meaning, Reserved, meaning_of
from asfound.review.reviewers import Named, named_reviewers
from asfound.review.rules import (
    contradicted,
    follows_from,
    merged_files,
    own_approvals,
    removed_people,
    unapproved,
    verdicts_with_visits,
)
from asfound.soak.checking_with_logs import check as check_records
from asfound.stated.issued import check_issued


@dataclass(frozen=True, kw_only=True)
class Review:
    """What a reviewer has to know of a change."""

    change: Change
    day: date
    errors: tuple[Fault, ...]
    """of the records at the head"""
    broken: tuple[Fault, ...]
    """rules about changes"""
    failing: tuple[Fault, ...]
    """new reservations that facility.yml lets no change bring, as errors"""
    records: tuple[RecordChange, ...]
    edits: tuple[BranchEdit, ...]
    meaning: Meaning | None
    """None where errors stand: nothing is computed from them"""
    causes: tuple[tuple[str, ...], ...]
    """of each result that moved"""
    reviewers: tuple[Named, ...]
    findings: tuple[FindingChange, ...]
    issued: tuple[Issued, ...]
    """certificates that the change brings"""
    disagreements: tuple[Disagreement, ...]
    """certificates that what is computed after the change contradicts"""

    @property
    def faults(self) -> tuple[Fault, ...]:
        """All that fails it, in order of place."""
        return tuple(in_order([*self.errors, *self.broken, *self.failing]))

    @property
    def fails(self) -> bool:
        """Whether the change must not be merged as it is. Awaiting approval never fails it."""
        return bool(self.faults)


def review(repository: Repository, base: str, head: str, day: date) -> Review:
    """The change from where the branch of `head` left `base`, assessed on a day.

    Raises CannotReadHistory where git does not tell what is asked.
    """
    change = change_between(repository, base, head)
    changed = {path: change.base_files[path] for path in change.paths if path in change.base_files}
    before_changed = read({path: content for path, content in changed.items() if not path.startswith(TRENDS)})
    records, faults = check_records(change.head_files)
    settings = record_changes(change)
    edits = branch_edits(change)
    broken = [*merged_files(change)]
    if records is None:
        return _without_meaning(change, day, faults, broken, settings, edits)
    faults += check_issued(one for one in records.issued if one.path in change.paths)
    faults += unknown_review_rules(records, ALL_RULES)
    trends = {path: change.head_files[path] for path in change.paths & change.after.keys() if path.startswith(TRENDS)}
    faults += check_trends(trends, records.sensors, records.zone)
    known = {name[2] for name in map(NAME.fullmatch, change.before) if name}
    issued = [one for one in records.issued if one.path in change.paths]
    concern = concern_of(records, before_changed, change.paths, known, {one.sensor for one in issued})
    sides = Sides(change, concern, records, day)
    reviewers = named_reviewers(change, records)
    broken += [*own_approvals(reviewers), *(removed_people(sides.base, records) if sides.base else ())]
    sides.faults = tuple(fault for fault in faults if not follows_from(fault, broken))
    if _errors(sides.faults):
        return _without_meaning(change, day, sides.faults, broken, settings, edits)
    before, after = sides.both()
    if after.errors:
        return _without_meaning(change, day, after.faults, broken, settings, edits)
    meaning = meaning_of(change, before, after)
    if sides.base is not None:
        told = [setting for one in settings for setting in one.settings]
        found = verdicts_by_edit(records, sides.base, after.results, sides.results_of)
        broken += verdicts_with_visits(change, found, told)
    disagreeing = _disagreements(change, after, meaning, issued, day)
    broken += [*contradicted(issued, disagreeing), *unapproved(issued, sides.provenance)]
    return Review(
        change=change,
        day=day,
        errors=(),
        broken=tuple(in_order(broken)),
        failing=_failing(meaning.reservations, records, sides.base),
        records=settings,
        edits=edits,
        meaning=meaning,
        causes=tuple(causes_of(change, before, after, meaning.moved, sides.exchanged)) if before else (),
        reviewers=reviewers,
        findings=_findings(change, records, before_changed.models),
        issued=tuple(issued),
        disagreements=disagreeing,
    )


def _without_meaning(
    change: Change,
    day: date,
    faults: Sequence[Fault],
    broken: Sequence[Fault],
    records: tuple[RecordChange, ...],
    edits: tuple[BranchEdit, ...],
) -> Review:
    """The review of records that hold errors: nothing is computed from them."""
    return Review(
        change=change,
        day=day,
        errors=tuple(in_order(_errors(faults))),
        broken=tuple(in_order(broken)),
        failing=(),
        records=records,
        edits=edits,
        meaning=None,
        causes=(),
        reviewers=(),
        findings=(),
        issued=(),
        disagreements=(),
    )


def _errors(faults: Sequence[Fault]) -> list[Fault]:
    return [fault for fault in faults if fault.rule.severity is Severity.ERROR]


def _failing(reservations: Sequence[Reserved], head: Records, base: Records | None) -> tuple[Fault, ...]:
    """New reservations whose rules the facility lets no change bring, at the head or at the base, as errors."""
    named = {*head.facility.review_fails_on, *(base.facility.review_fails_on if base else ())}
    found = (one.fault for one in reservations if one.fault.rule.name in named)
    return tuple(in_order(replace(f, rule=replace(f.rule, severity=Severity.ERROR)) for f in found))


def _findings(change: Change, head: Records, before: Mapping[str, object]) -> tuple[FindingChange, ...]:
    """Findings whose files the change touches."""
    now = {f"findings/{f.sensor}/{f.visit}.yml": f for f in head.findings}
    was = {path: f for path, f in before.items() if isinstance(f, Finding)}
    paths = sorted(path for path in change.paths if path in now or path in was)
    return tuple(
        FindingChange(
            sensor=path.split("/")[1],
            visit=path.split("/")[2].removesuffix(".yml"),
            before=was.get(path),
            after=now.get(path),
        )
        for path in paths
    )


def _disagreements(
    change: Change, after: Side, meaning: Meaning, issued: Collection[Issued], day: date
) -> tuple[Disagreement, ...]:
    """Newest certificates, of results that are other or that the change brings, which the head contradicts."""
    others = {(pair.either.visit, pair.either.sensor) for pair in (*meaning.moved, *meaning.revised)}
    others |= {(one.visit, one.sensor) for one in issued}
    files = change.certificates({visit for visit, _ in others}, change.after)
    read = [one for path in sorted(files) if (one := read_issued(files, path)[0]) is not None]
    chosen = tuple(one for one in read if (one.visit, one.sensor) in others)
    if not chosen:
        return ()
    whole = after.assessment({one.sensor for one in chosen}, day)
    whole = replace(whole, records=replace(whole.records, issued=chosen))
    return disagreements(whole, newest(whole))
