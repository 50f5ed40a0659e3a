"""Who recorded, merged and approved what, as pages say it; what awaits review, and what was reported meanwhile."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.assessment.standing import State
from asfound.provenance import Approval, ApprovalState, Provenance, Step, VisitProvenance
from asfound.records.visits.visit_files import Visit
from asfound.rounding import NOTHING
from asfound.site.lookup.lookup import Lookup, sensor_link, visit_link
from asfound.site.views.results import worst
from asfound.wording import words
from asfound.wording.words import Chip, Fact, Link

SHORT = 12
"""Letters by which a commit is named on pages."""
_HOW = {
    "merge": "merged it",
    "reviewed-by": "is named as reviewer",
    "signature": "signed it",
    "issued": "by the certificate that was issued",
}
# What is furthest from approval first.
_ORDER = (
    ApprovalState.NOT_COMMITTED,
    ApprovalState.NOT_MERGED,
    ApprovalState.NOT_REVIEWED,
    ApprovalState.NO_HISTORY,
    ApprovalState.APPROVED,
)
_KINDS = {ApprovalState.APPROVED: "ok", ApprovalState.NO_HISTORY: "none"}


@dataclass(frozen=True, kw_only=True)
class VisitApproval:
    """Whether a visit is approved, by the files and sensors of it that stand."""

    chip: Chip
    sentence: str
    """who approved it and when, or why nobody did"""
    steps: tuple[FileSteps, ...]


@dataclass(frozen=True, kw_only=True)
class FileSteps:
    """How one file of a visit came to where it is."""

    title: str
    recorded: Fact
    """by whom, and when at which commit"""
    merged: Fact
    approved: tuple[Fact, ...]
    why: str
    """why not, where nobody approved it"""


@dataclass(frozen=True, kw_only=True)
class Reported:
    """A result out of tolerance that nobody approved yet and nobody decided about."""

    sensor: Link
    visit: Link
    chip: Chip
    sentence: str


def approval_chip(state: ApprovalState) -> Chip:
    """How far a visit has come."""
    return Chip(word=str(state), kind=_KINDS.get(state, "unreviewed"))


def visit_state(lookup: Lookup, parts: Sequence[SensorVisitSummary]) -> ApprovalState:
    """The state of what stands of a visit: of its part that is furthest from approval."""
    return min((_part_state(lookup, part) for part in parts), key=_ORDER.index)


def unapproved(lookup: Lookup, part: SensorVisitSummary) -> tuple[Chip, ...]:
    """The mark of one sensor's part of a visit that is not approved; none where there is no history to tell."""
    state = _part_state(lookup, part)
    known = lookup.provenance.head is not None and state is not ApprovalState.APPROVED
    return (approval_chip(state),) if known else ()


def _part_state(lookup: Lookup, part: SensorVisitSummary) -> ApprovalState:
    return _known(lookup.provenance, part).state_for(part.sensor_visit.sensor)


def _known(provenance: Provenance, part: SensorVisitSummary) -> VisitProvenance:
    return provenance.visits[part.sensor_visit.visit.path]


def visit_approval(lookup: Lookup, name: str) -> VisitApproval:
    """The block at the top of a visit's page, and the table of its files."""
    parts = lookup.visits[name]
    state = visit_state(lookup, parts)
    approvals = {
        approval: None
        for part in parts
        if (approval := _known(lookup.provenance, part).approvals.get(part.sensor_visit.sensor)) is not None
    }
    if state is ApprovalState.APPROVED:
        sentence = f"By {words.listed(_approval(one).value for one in approvals)}"
    else:
        told = {_known(lookup.provenance, p).why: None for p in parts if _part_state(lookup, p) is state}
        sentence = "; ".join(told)
        sentence = f"{sentence[:1].upper()}{sentence[1:]}"
    return VisitApproval(
        chip=approval_chip(state),
        sentence=sentence,
        steps=tuple(_steps(lookup.provenance, visit) for visit in reversed(lookup.revisions[name])),
    )


def _approval(approval: Approval) -> Fact:
    at = f", {approval.commit[:SHORT]}" if approval.commit else ""
    return Fact(name="", value=f"{approval.name} on {approval.day}", note=f"{_HOW[approval.how]}{at}")


def _steps(provenance: Provenance, visit: Visit) -> FileSteps:
    known = provenance.visits[visit.path]
    history = known.history
    by_approval: dict[Approval, list[str]] = {}
    for sensor, approval in known.approvals.items():
        by_approval.setdefault(approval, []).append(sensor)
    whole = known.state is ApprovalState.APPROVED and len(by_approval) == 1
    approved = []
    for approval, sensors in by_approval.items():
        fact = _approval(approval)
        value = fact.value if whole else f"{words.listed(sensors)}: {fact.value}"
        approved.append(Fact(name="", value=value, note=fact.note))
    return FileSteps(
        title=f"revision {visit.revision}",
        recorded=_step(history.recorded if history else None),
        merged=_step(history.merged if history else None),
        approved=tuple(approved),
        why="" if known.state is ApprovalState.APPROVED else f"{known.state}: {known.why}",
    )


def _step(step: Step | None) -> Fact:
    if step is None:
        return Fact(name="", value=NOTHING)
    return Fact(name="", value=f"{step.author} on {step.day}", note=step.commit[:SHORT])


def awaiting(lookup: Lookup) -> tuple[str, Link | None]:
    """What awaits review, and the newest visit of it."""
    if not lookup.visits:
        return "no visit on record yet", None
    if lookup.provenance.head is None:
        return "no git history at hand: nothing tells what awaits review", None
    states = {name: visit_state(lookup, parts) for name, parts in lookup.visits.items()}
    waiting = [name for name, state in states.items() if state is not ApprovalState.APPROVED]
    if not waiting:
        return "every visit is approved", None
    said = f"{words.counted(len(waiting), 'visit')} {words.verb('await', len(waiting))} review"
    for state in (ApprovalState.NOT_MERGED, ApprovalState.NOT_COMMITTED):
        number = sum(states[name] is state for name in waiting)
        said += f", {number} of them {state}" if number else ""
    return f"{said}, the newest", visit_link(waiting[-1])


def reported(lookup: Lookup) -> tuple[Reported, ...]:
    """Out of tolerance, not reviewed, and nobody decided about it or calibrated it away; newest first."""
    if lookup.provenance.head is None:
        return ()
    return tuple(_reported(lookup))


def _reported(lookup: Lookup) -> Iterator[Reported]:
    deciding = {
        (r.visit, r.sensor)
        for standing in lookup.assessment.standings.values()
        if standing.state is State.OUT
        for r in standing.deciding
        if r.verdict is Verdict.FAIL
    }
    for name, parts in reversed(list(lookup.visits.items())):
        for part in parts:
            sensor = part.sensor_visit.sensor
            failed = [r for r in part.results if r.verdict is Verdict.FAIL]
            state = _part_state(lookup, part)
            if not failed or state is ApprovalState.APPROVED or sensor not in lookup.records.sensors:
                continue
            case = lookup.cases.get((sensor, name))
            if (name, sensor) in deciding or (case is not None and case.state != "closed"):
                yield Reported(
                    sensor=sensor_link(sensor),
                    visit=visit_link(name),
                    chip=approval_chip(state),
                    sentence=_said(worst(failed)),
                )


def _said(result: Result) -> str:
    return f"{words.phase(result.phase)}, {words.result_sentence(result)}"


def history_facts(lookup: Lookup) -> tuple[Fact, ...]:
    """What the Data page says of the history."""
    provenance = lookup.provenance
    if provenance.head is None:
        note = "nothing tells who recorded, merged and approved what"
        if provenance.approved is not None:
            note = "approved is what issued certificates rest on"
        return (Fact(name="History", value="no history", note=note),)
    merged = sum(known.merged is not None for known in provenance.files.values())
    by_state = [known.state for known in provenance.visits.values()]
    states = [f"{number} {state}" for state in reversed(_ORDER) if (number := sum(one is state for one in by_state))]
    branch = provenance.branch or "not known: the line of the commit itself counts as merged"
    facts = [
        Fact(name="Commit", value=provenance.head),
        Fact(name="Default branch", value=branch),
        Fact(name="Files", value=f"{len(provenance.files)} recorded, {merged} of them merged"),
        Fact(name="Visits, by file", value=", ".join(states) or NOTHING),
    ]
    if provenance.uncommitted:
        facts.append(Fact(name="Not committed as they are here", value=words.listed(provenance.uncommitted)))
    return tuple(facts)
