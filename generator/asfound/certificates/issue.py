"""Issuing certificates: what is approved and certifiable is frozen in a file of its own; the rest is refused, with why.

A certificate is named by sensor, visit and revision, never by a counter: two branches that issue the same one write the
same file. One that was issued stands for good: what has changed since is proposed for re-issue by name, and issued only
where it is asked for with a reason.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from asfound.assessment.assess import Assessment
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.certificates.disagreements import Disagreement, disagreements, newest
from asfound.certificates.evidence import Authority, Issue, blob_id
from asfound.certificates.print_all import typeset_certificate
from asfound.certificates.statement import Statements
from asfound.faults import Fault, RecordsRefused, did_you_mean
from asfound.printing.typst import printing
from asfound.printing.unprintable import Unprintable, unprintable_faults
from asfound.provenance import Approval, Provenance
from asfound.records.issued import Issued, read_issued
from asfound.records.models.stated import Approved, Replaces
from asfound.refusals import Refusal
from asfound.stated.issued import statement_of
from asfound.stated.statement import Statement, statement_bytes

Key = tuple[str, str]
"""sensor (or reference) and visit"""

_OF_AN_ISSUE = frozenset({"number", "revision", "replaces", "issued", "authorised", "evidence"})
"""What an issue itself gives a statement."""


@dataclass(frozen=True, kw_only=True)
class NotIssued:
    """A certificate that was not issued."""

    sensor: str
    visit: str
    why: str
    cure: str
    replaces: str = ""
    """number of the certificate that stands and for which a re-issue is proposed"""

    @property
    def text(self) -> str:
        """For people, with the cure on a line of its own."""
        return f"{self.sensor}/{self.visit}: {self.why}\n  cure: {self.cure}"


class _Refused(Refusal):
    """A certificate that cannot be issued; `replaces` as in `NotIssued`."""

    def __init__(self, why: str, cure: str, replaces: str = "") -> None:
        super().__init__(why, cure)
        self.replaces = replaces


def issue(
    assessment: Assessment,
    provenance: Provenance,
    day: date,
    *,
    who: str | None = None,
    only: Collection[Key] = (),
    reason: str = "",
) -> tuple[list[Issued], list[NotIssued]]:
    """The certificates to be issued on a day, not written yet, and what is refused, in order of days.

    `who`: id of the person who authorises them, by default whoever approved the record of each visit. `only`: no
    others than these, of which each is issued or refused. `reason`: why those of `only` that were issued before are
    issued again.
    """
    issuing = _Issuing(assessment, provenance, day, who, frozenset(only), reason.strip())
    found: list[Issued] = []
    refused = [*issuing.unknown()]
    for summary in assessment.summaries:
        part = summary.sensor_visit
        if only and (part.sensor, part.visit.id) not in issuing.only:
            continue
        try:
            issued = issuing.issued(summary)
        except _Refused as why:
            refused.append(
                NotIssued(sensor=part.sensor, visit=part.visit.id, why=why.why, cure=why.cure, replaces=why.replaces)
            )
        else:
            found += [issued] if issued is not None else []
    return found, refused


def write(certificates: Sequence[Issued], records: Path) -> list[Path]:
    """Write certificates below the records' folder.

    Raises Refusal where one is there: none is written over, and none of the others is written.
    """
    paths = [records / one.path for one in certificates]
    for path in paths:
        if path.exists():
            raise Refusal(f"{path.as_posix()} is there already", "look at it; no certificate is written over")
    for path, one in zip(paths, certificates, strict=True):
        content = one.content
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(path, "xb") as file:
            file.write(content)
    return paths


def unprintable(assessment: Assessment, certificates: Sequence[Issued], templates: tuple[Path, ...]) -> None:
    """Print certificates before they are written: raises RecordsRefused with every character that cannot be printed."""
    files, faults = assessment.records.files, list[Fault]()
    with printing(templates) as printer:
        for one in certificates:
            statement = statement_of(one)
            try:
                typeset_certificate(printer, statement, files[one.evidence.visit])
            except Unprintable as problem:
                paths = [*(record.path for record in statement.evidence.records), one.evidence.visit]
                faults += unprintable_faults(files, paths, problem)
    if faults:
        raise RecordsRefused(faults)


class _Issuing:
    """One run: what is on record, and what this run adds to it."""

    def __init__(
        self,
        assessment: Assessment,
        provenance: Provenance,
        day: date,
        who: str | None,
        only: frozenset[Key],
        reason: str,
    ) -> None:
        self.assessment, self.records, self.provenance = assessment, assessment.records, provenance
        self.day, self.who, self.only, self.reason = day, who, only, reason
        self.newest = {(one.sensor, one.visit): one for one in self.records.issued}
        self.numbers = {key: one.number for key, one in self.newest.items()}
        self.statements = Statements(assessment, self.numbers)
        before = [one for one in newest(assessment) if not only or (one.sensor, one.visit) in only]
        self.changed = {(d.issued.sensor, d.issued.visit): d for d in disagreements(assessment, before)}

    def unknown(self) -> Iterator[NotIssued]:
        """What is asked for and is no part of a visit."""
        known = {(s.sensor_visit.sensor, s.sensor_visit.visit.id) for s in self.assessment.summaries}
        for sensor, visit in sorted(self.only - known):
            guess = did_you_mean(f"{sensor}/{visit}", (f"{one}/{other}" for one, other in known))
            cure = f"name sensor and visit as on the visit's page, e.g. RH-101/2026-03-14-drying{guess}"
            why = "no visit of that name holds it"
            if any(held.id == visit and held.day > self.day for held in self.records.visits):
                why, cure = f"the visit is after {self.day}", "give a later day with --date"
            yield NotIssued(sensor=sensor, visit=visit, why=why, cure=cure)

    def issued(self, summary: SensorVisitSummary) -> Issued | None:
        """The certificate of a part, None where there is nothing to say; raises _Refused."""
        part = summary.sensor_visit
        key = (part.sensor, part.visit.id)
        before = self.newest.get(key)
        if before is None and not self._concerns(summary):
            return None
        if before is not None and not self._again(summary, before):
            return None
        if not self.statements.may_be_certified(summary):
            held = dict.fromkeys(
                f.message for r in summary.results for f in r.reservations if f.rule.withholds_certificate
            )
            cure = "read the reservations on the visit's page: a certificate needs a result without one of these"
            raise _Refused(f"reservations withhold every result: {'; '.join(held)}", cure)
        approved, commit = self._approved(summary)
        self._refuse_earlier(approved, before)
        replaces = Replaces(number=before.number, reason=self.reason) if before is not None else None
        made = Issue(
            revision=before.revision + 1 if before is not None else 1,
            day=self.day,
            approved=approved,
            authority=self._authority(summary),
            commit=commit,
            replaces=replaces,
        )
        statement = self.statements.issued(summary, made)
        if before is not None and _same(statement, statement_of(before)):
            raise _Refused(f"{before.number} states the same already", "nothing is to be done: what was issued stands")
        self._refuse_loose(statement)
        issued = _as_record(statement)
        if issued.path in self.provenance.files:
            raise _Refused(f"{issued.path} is committed and was deleted here", "bring it back: git restore")
        self.numbers[key] = issued.number
        return issued

    def _concerns(self, summary: SensorVisitSummary) -> bool:
        """Whether a part without a certificate may have one at all; raises _Refused where it was asked for."""
        asked = (summary.sensor_visit.sensor, summary.sensor_visit.visit.id) in self.only
        if summary.sensor_visit.withdrawn:
            why, cure = f"withdrawn: {summary.sensor_visit.reason}", "certify a visit that stands"
        elif not any(r.line is not None for r in summary.results):
            why, cure = "it holds no result of our own", "certify a visit at which it was read"
        else:
            return True
        if asked:
            raise _Refused(why, cure)
        return False

    def _again(self, summary: SensorVisitSummary, before: Issued) -> bool:
        """Whether a certificate is to be issued again: raises _Refused where that is proposed, not asked for."""
        part = summary.sensor_visit
        key = (part.sensor, part.visit.id)
        why = self._why_again(summary, before, self.changed.get(key))
        if part.withdrawn:
            raise _Refused(
                f"its record was withdrawn ({part.reason}) after {before.number} had been issued",
                "tell whoever holds the certificate; nothing takes its place",
                before.number,
            )
        if key in self.only and self.reason:
            return True
        cure = f'asfound issue-certificates {part.sensor}/{part.visit.id} --reason "…"'
        if why:
            raise _Refused(f"{before.number} no longer stands: {why}", f"issue it again: {cure}", before.number)
        if key in self.only:
            raise _Refused(f"{before.number} is issued and unchanged", f"where it must be issued again: {cure}")
        return False

    def _why_again(self, summary: SensorVisitSummary, before: Issued, found: Disagreement | None) -> str:
        """What has changed since a certificate was issued; nothing where it stands."""
        visit = summary.sensor_visit.visit
        if before.evidence.sha256 != visit.sha256:
            return f"{visit.path} replaces {before.evidence.visit}"
        if found is None:
            return ""
        causes = "; ".join(f"{cause.kind}: {cause.words}" for cause in found.causes)
        return f"{found.differences[0].words} ({causes})"

    def _approved(self, summary: SensorVisitSummary) -> tuple[Approved, str | None]:
        """The approval that the certificate rests on, and the commit that brought the bytes; raises _Refused."""
        part = summary.sensor_visit
        known = self.provenance.visits.get(part.visit.path)
        approval = known.approvals.get(part.sensor) if known is not None else None
        if known is None or approval is None:
            cure = "let a person whom people.yml lets approve, and who read nothing at the visit, merge or review it"
            raise _Refused(known.why if known is not None else "nothing is known of its history", cure)
        if approval.how == "issued":  # the history is not at hand: the certificate on record tells it
            for one in self.records.issued:
                if one.sensor == part.sensor and one.evidence.sha256 == part.visit.sha256:
                    return one.evidence.approved, one.evidence.commit
        merged = known.history.merged if known.history is not None else None
        return _frozen(approval), merged.commit if merged is not None else None

    def _authority(self, summary: SensorVisitSummary) -> Authority | None:
        """Who authorises in the place of whoever approved; raises _Refused where they may not."""
        if self.who is None:
            return None
        person = self.records.people.get(self.who)
        if person is None:
            guess = did_you_mean(self.who, self.records.people)
            raise _Refused(f"people.yml knows no {self.who!r}", f"name a person by their id{guess}")
        if "approve" not in person.may or not person.holds(self.day):
            raise _Refused(
                f"people.yml does not let {person.name} approve on {self.day}", "name someone whom it lets approve"
            )
        visit = summary.sensor_visit.visit.id
        if any(self.who in held.text["technician"] for held in self.records.visits if held.id == visit):
            raise _Refused(f"{person.name} read at this visit", "name someone else: nobody judges their own work")
        return Authority(id=person.id, name=person.name)

    def _refuse_earlier(self, approved: Approved, before: Issued | None) -> None:
        """Nothing is issued on a day before what it rests on: raises _Refused."""
        cure = "give a later day with --date"
        if self.day < approved.day:
            raise _Refused(f"its record was approved on {approved.day}, after {self.day}", cure)
        if before is not None and self.day < before.day:
            raise _Refused(f"{before.number} was issued on {before.day}, after {self.day}", cure)

    def _refuse_loose(self, statement: Statement) -> None:
        """What is frozen is what is on record for all: raises _Refused where it is in this folder or a branch only."""
        if self.provenance.head is None:
            return
        evidence = statement.evidence
        paths = sorted({evidence.visit, *(record.path for record in evidence.records)})
        loose = [path for path in paths if not self._is_committed(path)]
        if loose:
            raise _Refused(f"not committed as it is here: {', '.join(loose)}", "commit and merge it first")
        unmerged = [path for path in paths if self.provenance.files[path].merged is None]
        if unmerged:
            branch = self.provenance.branch
            why = f"the default branch {branch + ' ' if branch else ''}does not hold it yet: {', '.join(unmerged)}"
            raise _Refused(why, "merge it first")

    def _is_committed(self, path: str) -> bool:
        """Whether the commit holds a record's bytes; of logs the provenance does not say so itself."""
        known = self.provenance.files.get(path)
        if known is None or path in self.provenance.uncommitted:
            return False
        is_log = path.startswith("logs/") and len(known.blob) == 40
        return not is_log or known.blob == blob_id(self.records.files[path])


def _same(statement: Statement, before: Statement) -> bool:
    """Whether two issues state the same."""
    return all(
        getattr(statement, name) == getattr(before, name) for name in Statement.model_fields if name not in _OF_AN_ISSUE
    )


def _frozen(approval: Approval) -> Approved:
    return Approved(
        person=approval.person, name=approval.name, day=approval.day, how=approval.how, commit=approval.commit
    )


def _as_record(statement: Statement) -> Issued:
    path = statement.issued_path
    issued, faults = read_issued({path: statement_bytes(statement)}, path)
    if issued is None or faults:
        raise AssertionError(f"what is issued cannot be read again: {[fault.text() for fault in faults]}")
    return issued
