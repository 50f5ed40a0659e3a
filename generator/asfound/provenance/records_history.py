"""The provenance of records: in the working folder at HEAD, or at any commit."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from asfound.provenance.approval import Approvers, Claim, claims, files_named, later_claims
from asfound.provenance.facts import Approval, ApprovalState, FileHistory, Provenance, Step, VisitProvenance
from asfound.provenance.git_log import Commit, Log
from asfound.provenance.repository import Repository, repository_of
from asfound.provenance.signatures import signers
from asfound.records.load import Records
from asfound.records.snapshot import is_record
from asfound.records.visits.visit_files import Visit

_NO_HISTORY = "no git history of these records is at hand"


class HistoryOf:
    """What `assess` asks who is approved, for the records of a folder; keeps the provenance that it found."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._found: Provenance | None = None

    def __call__(self, records: Records) -> frozenset[tuple[str, str]] | None:
        """As `Provenance.approved`. Raises CannotReadHistory as `provenance` does."""
        self._found = provenance(self._folder, records)
        return self._found.approved

    def of(self, records: Records) -> Provenance:
        """The provenance that was found; looked for now where nobody asked yet."""
        return self._found or provenance(self._folder, records)


def provenance(folder: Path, records: Records) -> Provenance:
    """Of the records as they lie in a folder, by the commit that is checked out there.

    Raises CannotReadHistory for a history that was cut off, or where git refuses to look.
    """
    repository = repository_of(folder)
    if repository is None or repository.head is None or not repository.tree(repository.head):
        return without_history(records)
    return provenance_at(repository, repository.head, records)


def provenance_at(repository: Repository, commit: str, records: Records) -> Provenance:
    """Of records by a commit, which need not hold them all; `commit`: its whole id (`Repository.resolve`)."""
    tree = {path: blob for path, blob in repository.tree(commit).items() if is_record(path)}
    log = Log(repository, commit, set(tree.values()))
    reading = _Reading(records, repository, log, tree)
    visits = reading.visits()
    return Provenance(
        head=commit,
        branch=log.branch,
        visits=visits,
        files=reading.files,
        uncommitted=tuple(reading.uncommitted()),
        approved=_approved(visits.values()),
    )


def without_history(records: Records) -> Provenance:
    """Of records that lie in no repository: what issued certificates tell."""
    visits = {visit.path: _state(visit, ApprovalState.NO_HISTORY, None, {}, _NO_HISTORY) for visit in records.visits}
    visits = _with_issued(records, visits)
    return Provenance(
        head=None,
        branch=None,
        visits=visits,
        files={},
        uncommitted=(),
        approved=_approved(visits.values()) if records.issued else None,
    )


@dataclass(frozen=True, kw_only=True)
class _Open:
    """A visit that nobody approved yet, by what was looked at so far."""

    visit: Visit
    history: FileHistory
    technicians: frozenset[str]
    reasons: tuple[str, ...]


class _Reading:
    """Records beside the log of a commit."""

    def __init__(self, records: Records, repository: Repository, log: Log, tree: Mapping[str, str]) -> None:
        self.records, self.repository, self.log, self.tree = records, repository, log, tree
        self.approvers = Approvers.of(records.people.values(), records.zone)
        self.named = files_named(log, repository.prefix)
        self._steps: dict[tuple[int, int], Step] = {}
        self.files = {path: self._history(path, blob) for path, blob in tree.items()}

    def _history(self, path: str, blob: str) -> FileHistory:
        """How a content came to be at a path."""
        recorded = self.log.recorded.get(blob)
        merged = next(iter(self.log.bringing.get((path, blob), ())), None)
        return FileHistory(
            path=path,
            blob=blob,
            recorded=self._step(recorded, recorded.authored) if recorded else None,
            merged=self._step(merged, merged.committed) if merged else None,
        )

    def _step(self, commit: Commit, seconds: int) -> Step:
        key = commit.number, seconds
        if key not in self._steps:
            time = self.approvers.time(seconds)
            self._steps[key] = Step(
                commit=commit.id,
                author=commit.author,
                email=commit.email,
                time=time.isoformat(),
                day=time.date(),
                subject=commit.subject,
            )
        return self._steps[key]

    def uncommitted(self) -> Iterator[str]:
        """Records that are not in the commit as they are; of evidence only the names are known."""
        for path in sorted({*self.records.documents, *(visit.path for visit in self.records.visits)}):
            if self.tree.get(path) != self._blob(self.records.files[path]):
                yield path

    def _blob(self, content: bytes) -> str:
        """The id by which this repository knows a content."""
        kind = hashlib.sha1 if len(self.log.commits[0].id) == 40 else hashlib.sha256
        return kind(b"blob %d\0" % len(content) + content).hexdigest()

    def visits(self) -> dict[str, VisitProvenance]:
        """Every file of every visit."""
        technicians = _technicians(self.records)
        found: dict[str, VisitProvenance] = {}
        unapproved: list[_Open] = []
        for visit in self.records.visits:
            blob = self.tree.get(visit.path)
            if blob != self._blob(visit.content):
                why = "the file is not committed" if blob is None else "the file differs from what is committed"
                found[visit.path] = _state(visit, ApprovalState.NOT_COMMITTED, None, {}, why)
                continue
            history = self.files[visit.path]
            if history.merged is None:
                why = f"the default branch {f'{self.log.branch} ' if self.log.branch else ''}does not hold it yet"
                found[visit.path] = _state(visit, ApprovalState.NOT_MERGED, history, {}, why)
                continue
            approval, one = self._by_commits(visit, history, frozenset(technicians[visit.id]))
            unapproved += [one] if approval is None else []
            found[visit.path] = _approved_or_not(visit, history, approval, one.reasons)
        found |= self._by_signatures(unapproved)
        return _with_issued(self.records, found)

    def _by_commits(
        self, visit: Visit, history: FileHistory, technicians: frozenset[str]
    ) -> tuple[Approval | None, _Open]:
        path, blob = history.path, history.blob
        told = [
            *claims(self.log, path, blob, technicians, self.approvers),
            *later_claims(self.log, self.named, path, blob, technicians, self.approvers),
        ]
        approval, reasons = self._weighed(told, technicians)
        if not told:
            reasons = (f"brought by a commit of {self.log.bringing[path, blob][0].author}, which names no reviewer",)
        return approval, _Open(visit=visit, history=history, technicians=technicians, reasons=reasons)

    def _weighed(self, told: Iterable[Claim], technicians: frozenset[str]) -> tuple[Approval | None, tuple[str, ...]]:
        """The first claim that holds, or why none does."""
        reasons: list[str] = []
        for claim in told:
            weighed = self.approvers.weigh(claim, technicians)
            if isinstance(weighed, Approval):
                return weighed, ()
            reasons.append(weighed)
        return None, tuple(dict.fromkeys(reasons))

    def _by_signatures(self, unapproved: Iterable[_Open]) -> dict[str, VisitProvenance]:
        unapproved = list(unapproved)
        brought = {one.visit.path: self.log.bringing[one.history.path, one.history.blob] for one in unapproved}
        signed = signers(self.repository, {commit.id for commits in brought.values() for commit in commits})
        found = {}
        for one in unapproved:
            told = [
                Claim(email=signed[commit.id], how="signature", commit=commit)
                for commit in brought[one.visit.path]
                if commit.id in signed
            ]
            approval, reasons = self._weighed(told, one.technicians)
            found[one.visit.path] = _approved_or_not(one.visit, one.history, approval, (*one.reasons, *reasons))
        return found


def _approved_or_not(
    visit: Visit, history: FileHistory, approval: Approval | None, reasons: Iterable[str]
) -> VisitProvenance:
    if approval is None:
        return _state(visit, ApprovalState.NOT_REVIEWED, history, {}, "; ".join(reasons))
    return _state(visit, ApprovalState.APPROVED, history, dict.fromkeys(sensors_of(visit), approval), "")


def _state(
    visit: Visit, state: ApprovalState, history: FileHistory | None, approvals: Mapping[str, Approval], why: str
) -> VisitProvenance:
    return VisitProvenance(path=visit.path, state=state, history=history, approvals=approvals, why=why)


def _technicians(records: Records) -> dict[str, set[str]]:
    """By visit, who read at any revision of it."""
    found: dict[str, set[str]] = {}
    for visit in records.visits:
        found.setdefault(visit.id, set()).update(filter(None, visit.text["technician"]))
    return found


def sensors_of(visit: Visit) -> tuple[str, ...]:
    """The sensors that a file holds rows of, in order of their first rows."""
    return tuple(dict.fromkeys(filter(None, visit.text["sensor"])))


def _with_issued(records: Records, found: Mapping[str, VisitProvenance]) -> dict[str, VisitProvenance]:
    """An issued certificate is a record of the approval that it rests on, for its sensor and those bytes.

    Not where it names whoever read at the visit: no certificate of ours was ever issued on that.
    """
    by_path = {visit.path: visit for visit in records.visits}
    technicians = _technicians(records)
    approvals: dict[str, dict[str, Approval]] = {}
    for certificate in records.issued:
        evidence = certificate.head.evidence
        visit = by_path.get(evidence.visit)
        if visit is None or visit.sha256 != evidence.sha256:
            continue
        if evidence.approved.person not in technicians[visit.id]:
            approvals.setdefault(visit.path, {})[certificate.sensor] = Approval(
                person=evidence.approved.person,
                name=evidence.approved.name,
                day=evidence.approved.day,
                how="issued",
                commit=evidence.approved.commit,
            )
    whole = dict(found)
    for path, issued in approvals.items():
        known = whole[path]
        both = {**issued, **known.approvals}
        rest = [sensor for sensor in sensors_of(by_path[path]) if sensor not in both]
        why = f"{known.why}; certificates that were issued approve {', '.join(issued)}" if rest else ""
        state = known.state if rest else ApprovalState.APPROVED
        whole[path] = replace(known, state=state, approvals=both, why=why)
    return whole


def _approved(visits: Iterable[VisitProvenance]) -> frozenset[tuple[str, str]]:
    return frozenset((visit.path, sensor) for visit in visits for sensor in visit.approvals)
