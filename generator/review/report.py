"""One review: what lies between two commits, what it means, and what fails it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property, partial

from generator.assessment.result import Result
from generator.faults import Fault, Severity, in_order
from generator.provenance import provenance_at
from generator.records.git import Repository
from generator.records.issued import Issued, check_issued, read_issued
from generator.records.load import Records, read
from generator.records.models import Finding
from generator.records.snapshot import EVIDENCE, TRENDS, LazySnapshot, Snapshot
from generator.records.trends import check_trends
from generator.records.visits import NAME
from generator.records.yaml_text import parse
from generator.review.causes import causes_of
from generator.review.changes import Change, change_between
from generator.review.concern import Concern, concern_of
from generator.review.judging import verdicts_by_edit
from generator.review.meaning import FindingChange, Meaning, Reserved, meaning_of
from generator.review.readings import Alteration, alterations
from generator.review.reviewers import Named, named_reviewers
from generator.review.rules import (
    contradicted,
    follows_from,
    merged_files,
    own_approvals,
    removed_people,
    verdicts_with_visits,
)
from generator.review.settings import SettingChange, setting_changes
from generator.review.sides import Approved, Key, Measured, Side, judged, measured, moved_by_pools
from generator.site.comparison import Disagreement, disagreements, newest
from generator.soak.check import check as check_records


@dataclass(frozen=True, kw_only=True)
class BranchEdit:
    """A visit that is new in the branch and was edited there after it had been committed."""

    path: str
    commit: str
    author: str
    day: str
    alterations: tuple[Alteration, ...]


@dataclass(frozen=True, kw_only=True)
class RecordChange:
    """One YAML record that is new, gone or says something else."""

    path: str
    kind: str
    """new, deleted or edited"""
    settings: tuple[SettingChange, ...]


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
    settings = _records(change)
    edits = _branch_edits(change)
    broken = [*merged_files(change)]
    if records is None:
        return _without_meaning(change, day, faults, broken, settings, edits)
    faults += check_issued(one for one in records.issued if one.path in change.paths)
    trends = {path: change.head_files[path] for path in change.paths & change.after.keys() if path.startswith(TRENDS)}
    faults += check_trends(trends, records.sensors, records.zone)
    known = {name[2] for name in map(NAME.fullmatch, change.before) if name}
    issued = [one for one in records.issued if one.path in change.paths]
    concern = concern_of(records, before_changed, change.paths, known, {one.sensor for one in issued})
    sides = _Sides(change, concern, records, day)
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
    broken += contradicted(issued, disagreeing)
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


class _Sides:
    """Both sides of a change, assessed with the approvals of the base: what is not approved there enters no pool."""

    def __init__(self, change: Change, concern: Concern, records: Records, day: date) -> None:
        self.change, self.concern, self.head, self.day = change, concern, records, day
        self.faults: tuple[Fault, ...] = ()
        """of the head"""
        self.base, self.base_faults = self._read(self._base_files())
        self.positions = concern.positions

    def both(self) -> tuple[Side | None, Side]:
        """The base and the head; of sensors that only pools reach, those that they move."""
        before, after = self._measured(self.base, self.base_faults), self._measured(self.head, self.faults)
        assert after is not None
        self.positions = self.concern.positions | moved_by_pools(self.concern, before, after)
        return (judged(before, self.positions, self.day) if before else None), judged(after, self.positions, self.day)

    def results_of(self, records: Records) -> Mapping[Key, Result]:
        """Results of the head's visits by other records."""
        return self._results(records, self.faults)

    def exchanged(self, paths: frozenset[str]) -> Mapping[Key, Result]:
        """Results of the base with some files as they are at the head."""
        base, head = self._base_files(), self.change.head_files
        chosen = {path: head if path in paths else base for path in {*base, *paths}}
        held = {path: files[path] for path, files in chosen.items() if path in files and not path.startswith(EVIDENCE)}
        left = {path: partial(files.__getitem__, path) for path, files in chosen.items() if path.startswith(EVIDENCE)}
        return self._results(*self._read(LazySnapshot(held, left)))

    def _read(self, files: Snapshot) -> tuple[Records | None, list[Fault]]:
        """Records of the base that the change reaches, with what only pools lean on, which is the head's as well."""
        records, faults = check_records(files)
        if records is None:
            return None, faults
        concern, head = self.concern, self.head
        pooled = [v for v in head.visits if v.id in concern.visits and v.id not in concern.own]
        visits = tuple(sorted([*records.visits, *pooled], key=lambda v: (v.day, v.id, v.revision)))
        sensors = {name: sensor for name, sensor in head.sensors.items() if name not in concern.positions}
        documents = {**head.documents, **records.documents}
        return replace(records, visits=visits, sensors={**sensors, **records.sensors}, documents=documents), faults

    def _measured(self, records: Records | None, faults: Sequence[Fault]) -> Measured | None:
        return measured(records, faults, self.concern, self.approved, self.day)

    def _results(self, records: Records | None, faults: Sequence[Fault]) -> Mapping[Key, Result]:
        side = self._measured(records, faults)
        return judged(side, self.positions, self.day).results if side else {}

    def _base_files(self) -> Snapshot:
        """The base's records without the visits that the change does not reach."""
        files = self.change.base_files
        names = {path: NAME.fullmatch(path) for path in files}
        sensors = {f"sensors/{name}.yml" for name in self.concern.named}
        chosen = {
            path
            for path, name in names.items()
            if (name[2] in self.concern.own if name else path in sensors or not path.startswith("sensors/"))
        }
        held = {path: files[path] for path in chosen if not path.startswith(EVIDENCE)}
        left = {path: partial(files.__getitem__, path) for path in chosen if path.startswith(EVIDENCE)}
        return LazySnapshot(held, left)

    @cached_property
    def approved(self) -> Approved:
        """Who was approved at the base: by git, and by the certificates of what is assessed."""
        if self.base is None:
            return frozenset()
        files = self.change.certificates(self.concern.visits, self.change.before)
        issued = [one for path in files if (one := read_issued(files, path)[0]) is not None]
        records = replace(self.base, issued=tuple(issued), files=self.change.base_files, documents={})
        return provenance_at(self.change.repository, self.change.base, records).approved


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


def _records(change: Change) -> tuple[RecordChange, ...]:
    """The YAML records that are new, gone or say something else."""
    found = []
    for path in sorted(path for path in change.paths if path.endswith(".yml") and not path.startswith(EVIDENCE)):
        if path in change.added or path in change.deleted:
            kind = "new" if path in change.added else "deleted"
            found.append(RecordChange(path=path, kind=kind, settings=()))
            continue
        before, after = (parse(path, files[path])[0] for files in (change.base_files, change.head_files))
        if before is not None and after is not None:
            found.append(RecordChange(path=path, kind="edited", settings=setting_changes(before, after)))
    return tuple(found)


def _branch_edits(change: Change) -> tuple[BranchEdit, ...]:
    """What was altered in visits of the branch after they had been committed there."""
    wanted = [
        (commit, edit)
        for commit in change.commits
        for edit in commit.edits
        if edit.before and edit.after and edit.path.startswith("visits/") and edit.path not in change.before
    ]
    read = change.repository.contents({blob for _, edit in wanted for blob in (edit.before, edit.after) if blob})
    found = []
    for commit, edit in wanted:
        altered = alterations(edit.path, read[edit.before or ""], read[edit.after or ""])
        kept = tuple(one for one in altered if one.column or not one.after)  # rows that come are no edit of readings
        if kept:
            found.append(
                BranchEdit(path=edit.path, commit=commit.commit, author=commit.author, day=commit.day, alterations=kept)
            )
    return tuple(found)


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
