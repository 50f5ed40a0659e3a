"""The Overview: one page on a phone on Monday. What needs action, since when, who has it; can we trust today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from asfound.assessment.due import DueState
from asfound.assessment.standing import Standing, State
from asfound.site.lookup.lookup import Lookup, finding_link, sensor_link, visit_link
from asfound.site.lookup.outlooks import leaving_before_due
from asfound.site.views.approvals import Reported, awaiting, reported
from asfound.site.views.references import ReferenceState, reference_states
from asfound.site.views.standing import CRITICALITY, Matter, in_service, matters, open_cases, sound, trusted, unowned
from asfound.wording import words
from asfound.wording.words import Chip, Link

NOBODY = Chip(word="finding: nobody has it yet", kind="out")


@dataclass(frozen=True, kw_only=True)
class ActionItem:
    """One sensor that needs action."""

    sensor: Link
    name: str
    place: str
    matters: tuple[Matter, ...]


@dataclass(frozen=True, kw_only=True)
class ActionGroup:
    """Sensors of one criticality that need action: findings that nobody has yet, then the gravest, first."""

    anchor: str
    title: str
    items: tuple[ActionItem, ...]


@dataclass(frozen=True, kw_only=True)
class PlaceCount:
    """How many sensors of a place stand where."""

    place: str
    sensors: int
    in_tolerance: int
    close: int
    out: int
    drifting: int
    late: int
    unused: int


@dataclass(frozen=True, kw_only=True)
class OverviewView:
    """Everything on the Overview."""

    facility: str
    day: str
    newest: Link | None
    awaiting: str
    awaiting_newest: Link | None
    lead: str
    trust: str
    basis: str
    """what trusted means"""
    rules: tuple[str, ...]
    """decision rules behind the states, each once"""
    reported: tuple[Reported, ...]
    """out of tolerance, and nobody reviewed it yet"""
    unowned: tuple[Link, ...]
    """findings that nobody has yet, newest first"""
    nobody: Chip
    groups: tuple[ActionGroup, ...]
    references: tuple[ReferenceState, ...]
    """those that are not in date"""
    tally: tuple[tuple[str, int], ...]
    places: tuple[PlaceCount, ...]
    total: PlaceCount
    next_due: str


def overview(lookup: Lookup) -> OverviewView:
    """The Overview of an assessment."""
    standings = list(lookup.assessment.standings.values())
    serving = [s for s in standings if in_service(s)]
    newest = lookup.assessment.summaries[-1].sensor_visit.visit if lookup.assessment.summaries else None
    total = _count("all places", standings)
    open_findings = open_cases(lookup.assessment.cases)
    waiting, newest_waiting = awaiting(lookup)
    return OverviewView(
        facility=lookup.records.facility.name,
        day=str(lookup.day),
        newest=visit_link(newest.id) if newest else None,
        awaiting=waiting,
        awaiting_newest=newest_waiting,
        lead=_lead(serving),
        trust=_trust(serving),
        basis=TRUSTED,
        rules=tuple(dict.fromkeys(words.shown(r.rule) for s in serving for r in s.deciding)),
        reported=reported(lookup),
        unowned=tuple(finding_link(case) for case in unowned(lookup.assessment.cases)),
        nobody=NOBODY,
        groups=_groups(lookup, standings),
        references=tuple(r for r in reference_states(lookup) if r.needs_action),
        tally=(
            ("in service", len(serving)),
            ("out of tolerance", total.out),
            ("too close to call", total.close),
            ("drifting", total.drifting),
            ("leave tolerance before due", sum(leaving_before_due(s) is not None for s in serving)),
            ("overdue or never calibrated", total.late),
            ("findings open", len(open_findings)),
        ),
        places=tuple(_by_place(lookup, standings)),
        total=total,
        next_due=_next_due(serving),
    )


def _lead(serving: Sequence[Standing]) -> str:
    if any(s.state is State.OUT for s in serving):
        return "out"
    return "ok" if serving and all(trusted(s) for s in serving) else "close"


TRUSTED = (
    "in tolerance when last calibrated, at the temperature where it works, and by its history today, with the "
    "uncertainty in use; not drifting, in date, "
    "no finding open, on settled points and references in date"
)


def _trust(serving: Sequence[Standing]) -> str:
    """Can the facility be trusted today, in one sentence with numbers."""
    if not serving:
        return "No sensor is in service."
    good, critical = [s for s in serving if trusted(s)], [s for s in serving if s.sensor.criticality == "high"]
    good_critical = [s for s in critical if trusted(s)]
    of_high = f", {len(good_critical)} of the {len(critical)} of high consequence" if critical else ""
    said = f"{len(good)} of {words.counted(len(serving), 'sensor')} in service can be trusted today{of_high}"
    waiting = sum(sound(s) and s.due.beyond_interval for s in serving)
    if waiting:
        said += f". Not counted: {words.counted(waiting, 'sensor')} deferred beyond its interval"
        said = said if waiting == 1 else said.replace("its interval", "their interval")
    late = len(serving) - len(good) - waiting
    return f"{said}. {words.counted(late, 'sensor')} cannot: the list below says why." if late else f"{said}."


def _groups(lookup: Lookup, standings: Sequence[Standing]) -> tuple[ActionGroup, ...]:
    groups = []
    for criticality in CRITICALITY:
        found = []
        for standing in standings:
            if standing.sensor.criticality != criticality:
                continue
            needs = matters(lookup, standing)
            if needs:
                owned = not unowned(standing.cases)
                found.append((owned, needs[0].rank, standing.sensor.id, _item(lookup, standing, needs)))
        if found:
            items = tuple(item for *_, item in sorted(found, key=lambda f: f[:3]))
            title = f"{criticality.capitalize()} consequence: {words.counted(len(items), 'sensor')}"
            groups.append(ActionGroup(anchor=f"action-{criticality}", title=title, items=items))
    return tuple(groups)


def _item(lookup: Lookup, standing: Standing, needs: Sequence[Matter]) -> ActionItem:
    place = lookup.place(standing.settings.place.place)
    return ActionItem(
        sensor=sensor_link(standing.sensor.id),
        name=standing.sensor.name,
        place="" if place.casefold() in standing.sensor.name.casefold() else place,
        matters=tuple(needs),
    )


def _by_place(lookup: Lookup, standings: Sequence[Standing]) -> list[PlaceCount]:
    found: dict[str, list[Standing]] = {}
    for standing in standings:
        found.setdefault(standing.settings.place.place, []).append(standing)
    named = [name for name in lookup.places if name in found]
    return [_count(lookup.place(name), found[name]) for name in [*named, *sorted(set(found) - set(named))]]


def _count(place: str, standings: Sequence[Standing]) -> PlaceCount:
    serving = [s for s in standings if in_service(s)]
    return PlaceCount(
        place=place,
        sensors=len(standings),
        in_tolerance=sum(s.state is State.IN for s in serving),
        close=sum(s.state is State.CLOSE for s in serving),
        out=sum(s.state is State.OUT for s in serving),
        drifting=sum(s.drifting for s in serving),
        late=sum(s.due.state in (DueState.OVERDUE, DueState.NEVER) for s in serving),
        unused=len(standings) - len(serving),
    )


def _next_due(serving: Sequence[Standing]) -> str:
    """How many calibrations come due soon, and the first of them."""
    soon = [s for s in serving if s.due.state in (DueState.DUE_SOON, DueState.IN_GRACE) and s.due.day is not None]
    if not soon:
        return "No sensor falls due in the next weeks."
    first = min(soon, key=lambda s: (s.due.day, s.sensor.id))
    return f"{words.counted(len(soon), 'sensor')} due soon, first {first.sensor.id} on {first.due.day}."
