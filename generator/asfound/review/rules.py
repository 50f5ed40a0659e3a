"""Rules about changes: what a branch must not do to records, whatever stands in them afterwards."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from asfound.certificates.disagreements import Disagreement
from asfound.faults import Fault, Place, Rule, change_error
from asfound.provenance import Provenance
from asfound.records.issued import Issued
from asfound.records.load import Records
from asfound.records.models import Person
from asfound.records.snapshot import ISSUED
from asfound.records.visits.visit_files import NAME, Visit
from asfound.review.changed_readings import Alteration, alterations
from asfound.review.changed_settings import SettingChange
from asfound.review.changes import BranchCommit, Change
from asfound.review.judging import JUDGING, VerdictByEdit
from asfound.review.reviewers import Named

VISIT_EDITED = change_error("merged-visit-edited", "a visit that was merged before was edited")
VISIT_DELETED = change_error("merged-visit-deleted", "a visit that was merged before was deleted or renamed")
LOG_CHANGED = change_error("merged-log-changed", "a log that was merged before was edited or deleted")
ISSUED_EDITED = change_error("issued-edited", "an issued certificate was edited")
ISSUED_DELETED = change_error("issued-deleted", "an issued certificate was deleted or renamed")
ISSUED_CONTRADICTED = change_error(
    "issued-contradicted", "a certificate that the change brings is not what is computed from the records"
)
ISSUED_UNAPPROVED = change_error(
    "issued-unapproved", "a certificate that the change brings rests on an approval that is not on record"
)
OWN_APPROVAL = change_error("own-approval", "a technician is named as reviewer of a visit of their own")
VERDICT_BY_EDIT = change_error(
    "verdict-by-edit", "a visit and the policy or tolerance that makes a verdict stand in one change"
)
PERSON_REMOVED = change_error("person-removed", "a person whom records name was taken out of people.yml")

_FEW = 3
"""Examples that a message names."""


def merged_files(change: Change) -> Iterator[Fault]:
    """Merged visits, their logs and issued certificates stay as they are."""
    for path in change.edited:
        if path.startswith("visits/"):
            found = alterations(path, change.base_files[path], change.head_files[path])
            yield _edited_visit(path, found)
        elif path.startswith("logs/"):
            yield _fault(LOG_CHANGED, Place(path=path), "the log was edited after it was merged", _restored(path))
        elif path.startswith(ISSUED):
            message = "an issued certificate stays as it was stated to the world"
            cure = f"{_restored(path)}; to correct it: `asfound issue-certificates SENSOR/VISIT --reason …`"
            yield _fault(ISSUED_EDITED, Place(path=path), message, cure)
    by_blob = {change.after[path]: path for path in change.added}
    for path in change.deleted:
        moved = by_blob.get(change.before[path])
        gone = f"it lies at {moved} now" if moved else "it is not there any more"
        if path.startswith("visits/"):
            later = "; to void a sensor's rows, write a later revision with phase withdrawn and a reason"
            yield _fault(VISIT_DELETED, Place(path=path), f"a merged visit: {gone}", f"{_restored(path)}{later}")
        elif path.startswith("logs/"):
            yield _fault(LOG_CHANGED, Place(path=path), f"a merged log: {gone}", _restored(path))
        elif path.startswith(ISSUED):
            yield _fault(ISSUED_DELETED, Place(path=path), f"an issued certificate: {gone}", _restored(path))


def _edited_visit(path: str, found: Sequence[Alteration]) -> Fault:
    told = "; ".join(one.sentence for one in found[:_FEW]) or "only its bytes differ (line ends, say), no field"
    more = f"; and {len(found) - _FEW} more" if len(found) > _FEW else ""
    name = NAME.fullmatch(path)
    following = f"{name[2]}.r{int(name[4] or 1) + 1}.csv" if name else "its next revision"
    cure = f"{_restored(path)}, and write what is to be corrected into {following}, with a reason"
    return _fault(VISIT_EDITED, found[0].place if found else Place(path=path), f"{told}{more}", cure)


def _restored(path: str) -> str:
    return f"restore {path} as it was merged (git checkout BASE -- FILE)"


def own_approvals(named: Sequence[Named]) -> Iterator[Fault]:
    """Nobody reviews what they read themselves."""
    for one in named:
        if one.person is not None:
            for visit in one.visits:
                yield from _own(one.person, one.commit, visit)


def _own(person: Person, commit: BranchCommit, visit: Visit) -> Iterator[Fault]:
    rows = [row for row, name in enumerate(visit.text["technician"]) if name == person.id]
    if rows:
        message = f"{person.name} read it and is named as its reviewer (Reviewed-by in commit {commit.commit[:10]})"
        cure = "take the trailer out; someone else who may approve reviews it"
        yield _fault(OWN_APPROVAL, visit.place(rows[0], "technician"), message, cure)


def verdicts_with_visits(
    change: Change,
    found: Sequence[VerdictByEdit],
    settings: Sequence[SettingChange],
) -> Iterator[Fault]:
    """What judges is not changed together with what it judges."""
    if not any(path.startswith("visits/") for path in change.paths):
        return
    by_path: dict[str, list[VerdictByEdit]] = {}
    for one in found:
        by_path.setdefault(one.path, []).append(one)
    for path, verdicts in by_path.items():
        mine = [s for s in settings if s.place.path == path and s.loc and s.loc[0] in ("policies", *JUDGING)]
        told = "; ".join(_verdict(one) for one in verdicts[:_FEW])
        more = f"; and {len(verdicts) - _FEW} more" if len(verdicts) > _FEW else ""
        cure = "let policies and tolerances be a change of their own, merged before or after the visits"
        yield _fault(VERDICT_BY_EDIT, mine[0].place if mine else Place(path=path), f"{told}{more}", cure)


def _verdict(one: VerdictByEdit) -> str:
    r = one.result
    at = f" at {r.target:g} %RH" if r.target == r.target else ""
    channel = "" if r.channel.value == "humidity" else f", {r.channel.value}"
    where = f"{r.sensor} at {r.visit}{at} ({r.phase.replace('_', ' ')}{channel})"
    return f"{where}: {one.otherwise} before this edit, {r.verdict} by it"


def contradicted(issued: Collection[Issued], found: Sequence[Disagreement]) -> Iterator[Fault]:
    """A certificate comes out of the records when it is issued, whatever changes afterwards."""
    new = {one.path for one in issued}
    for one in found:
        if one.issued.path in new:
            more = len(one.differences) - 1
            message = f"{one.differences[0].words}{f'; and {more} more differences' if more else ''}"
            cure = "take the file out and issue it with `asfound issue-certificates` from what it is to be merged into"
            yield _fault(ISSUED_CONTRADICTED, Place(path=one.issued.path), message, cure)


def unapproved(issued: Collection[Issued], base: Provenance | None) -> Iterator[Fault]:
    """A certificate is a record of its approval later on, so it may not be the first to tell of it."""
    for one in issued:
        named, known = one.evidence.approved, base.visits.get(one.evidence.visit) if base else None
        approval = known.approvals.get(one.sensor) if known else None
        if approval is None or approval.person != named.person:
            said = f"approved by {approval.name}" if approval else "not approved"
            message = (
                f"it says that {named.name} approved {one.evidence.visit}; where it is to be merged that is {said}"
            )
            cure = "take the file out; once the visit is merged and approved, `asfound issue-certificates` writes it"
            yield _fault(ISSUED_UNAPPROVED, Place(path=one.path), message, cure)


def removed_people(base: Records, head: Records) -> Iterator[Fault]:
    """Leavers stay on record: their visits do."""
    gone = {id_: person for id_, person in base.people.items() if id_ not in head.people}
    if not gone:
        return
    named: dict[str, str] = {}
    for visit in head.visits:
        for id_ in gone.keys() & set(visit.text["technician"]):
            named.setdefault(id_, f"{visit.name} names them as technician")
    for finding in head.findings:
        for id_ in gone.keys() & {finding.owner, finding.closed_by or ""}:
            named.setdefault(id_, f"the finding {finding.sensor}/{finding.visit} names them")
    for id_, person in gone.items():  # known by their e-mails: what they approved would be approved by nobody
        if "approve" in person.may:
            named.setdefault(id_, "what they approved rests on the entry")
    for id_, why in sorted(named.items()):
        cure = f"restore the entry of {id_} and give it its last day: `until: YYYY-MM-DD`"
        yield _fault(PERSON_REMOVED, Place(path="people.yml"), f"{gone[id_].name} ({id_}) is gone, but {why}", cure)


def follows_from(fault: Fault, found: Collection[Fault]) -> bool:
    """Whether an error of the records is only what a broken rule about the change leads to."""
    removed = [one.message.partition("(")[2].partition(")")[0] for one in found if one.rule is PERSON_REMOVED]
    return fault.rule.name == "unknown-person" and any(f"{id_!r}" in fault.message for id_ in removed)


def _fault(rule: Rule, place: Place, message: str, cure: str) -> Fault:
    return Fault(rule=rule, place=place, message=message, cure=cure)
