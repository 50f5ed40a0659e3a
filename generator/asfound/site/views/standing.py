"""Where a sensor stands, in chips and sentences: what the Overview, the Sensors list and a sensor's page share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from asfound.assessment.due import DueState
from asfound.assessment.findings.cases import Case
from asfound.assessment.history.outlook import PointOutlook
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.assessment.standing import Standing, State, decided_by_the_unread_side, state_of
from asfound.records.settings_in_force import instrument_on
from asfound.rounding import fixed
from asfound.site.lookup.lookup import Lookup, finding_link, visit_link
from asfound.site.lookup.outlooks import (
    LEAVES_BEFORE_DUE,
    MAY_BE_OUT,
    beyond_sentence,
    beyond_today,
    leaves_first,
    leaving_before_due,
)
from asfound.site.views.exposure import hours_in_short
from asfound.site.views.results import worst
from asfound.wording import words
from asfound.wording.words import Chip, Link

IN_HAND = (DueState.IN_DATE, DueState.DUE_SOON, DueState.IN_GRACE, DueState.DEFERRED)
CRITICALITY = ("high", "medium", "low")


@dataclass(frozen=True, kw_only=True)
class Matter:
    """One thing about a sensor that needs action; the gravest have the lowest rank."""

    rank: int
    chip: Chip
    sentence: str
    link: Link | None = None
    told_by_state: bool = False
    """whether the sensor's state and due day tell it already"""


def in_service(standing: Standing) -> bool:
    """Whether the sensor serves on the day."""
    return standing.due.state is not DueState.OUT_OF_SERVICE


def trusted(standing: Standing) -> bool:
    """Sound and in date: a deferral beyond the interval gives no ground for trust."""
    return sound(standing) and not standing.due.beyond_interval


def sound(standing: Standing) -> bool:
    """In tolerance where it works, when calibrated and in use today, and nothing else speaks against it.

    Not drifting, in date or deferred, no finding open, on references in date.
    """
    return (
        in_service(standing)
        and standing.state is State.IN
        and standing.due.state in IN_HAND
        and not matters_of(standing)
    )


def matters_of(standing: Standing) -> list[str]:
    """What stands against trusting a sensor beyond state and due date, as plain words."""
    found = [case.state for case in standing.cases if case.state != "closed"]
    found += ["drifting"] if standing.drifting else []
    found += [MAY_BE_OUT.word] if beyond_today(standing) else []
    found += ["other-temperature"] if _elsewhere(standing) else []
    return found + [rule for rule in ("reference-out-of-date", "unsettled-plateau") if _last_with(standing, rule)]


def chips(standing: Standing) -> tuple[Chip, ...]:
    """State, due state and, after both, drift, each once."""
    if not in_service(standing):
        return (words.due_chip(standing.due.state), *_conformity(standing))
    due = () if standing.due.state is DueState.NEVER else (_due_chip(standing),)
    found = (*_conformity(standing), *due, *([words.DRIFTING] if standing.drifting else []))
    return found if found else (words.due_chip(standing.due.state),)


def _due_chip(standing: Standing) -> Chip:
    """Its due state; that a sensor out of tolerance is in date is nothing to tick off."""
    chip = words.due_chip(standing.due.state)
    return Chip(word=chip.word, kind="none") if standing.state is State.OUT and chip.kind == "ok" else chip


def _conformity(standing: Standing) -> tuple[Chip, ...]:
    return (words.state_chip(standing.state),)


def matters(lookup: Lookup, standing: Standing) -> list[Matter]:
    """All that needs action, gravest first. Of a sensor out of service only its open findings do."""
    found = list(_open_cases(lookup, standing))
    if in_service(standing):
        found += [*_states(standing), *_drifts(standing), *_due(standing), *_reservations(standing)]
    return sorted(found, key=lambda matter: matter.rank)


def since_when(standing: Standing) -> date | None:
    """First of the visits in a row that found the present instrument out of tolerance; else the state's own day."""
    since = standing.state_since
    if standing.state is not State.OUT:
        return since
    serial = standing.deciding[0].serial
    same = [v for v in standing.visits if v.results and v.results[0].serial == serial]
    for number in range(len(same), 0, -1):
        state, day, _ = state_of(same[:number])
        if state is not State.OUT:
            break
        since = day
    return since


def deciding_sentence(standing: Standing) -> str:
    """The result that decides the state, with when and how it was found."""
    result = worst(standing.deciding)
    across = decided_by_the_unread_side(standing.deciding)
    if across is not None:
        result = across
    what = f"{result.channel} " if len(standing.settings.channels) > 1 else ""
    said = f"{words.phase(result.phase)} on {result.day} with {what}{words.result_sentence(result)}"
    if across is not None:
        said += f", {words.unread_side(across)}"
    elsewhere = _elsewhere(standing)
    if elsewhere is not None:
        said += f", at {_temperature(elsewhere.temperature_c)} only"
    days = sorted({str(r.day) for r in standing.deciding})
    return f"{said}; its points were last judged on {words.listed(days)}" if len(days) > 1 else said


def _elsewhere(standing: Standing) -> Result | None:
    """A result among those that decide which holds at its calibration temperature only."""
    rule = "other-temperature"
    return next((r for r in standing.deciding if any(f.rule.name == rule for f in r.reservations)), None)


def _temperature(celsius: float) -> str:
    return f"{fixed(celsius, 0)} °C"


def _open_cases(lookup: Lookup, standing: Standing) -> list[Matter]:
    found = []
    for case in standing.cases:
        if case.state == "closed":
            continue
        who = f"{lookup.person(case.record.owner)} has it: " if case.record else ""
        good = f"some day after {case.last_good}" if case.last_good else "an unknown day"
        if case.exposure is not None and case.exposure.crossed is not None:
            good = f"about {case.exposure.crossed.median} by its drift"
        hours = hours_in_short(case)
        sentence = f"{who}{case.direction}, from {good} to {case.day}{f': {hours}' if hours else ''}"
        text = (case.record.deviation if case.record else None) or "finding"
        link = finding_link(case, text)
        state = words.case_chip(case.state)
        chip = Chip(word=f"finding: {state.word}", kind=state.kind)
        found.append(Matter(rank=2, chip=chip, sentence=sentence, link=link))
    return found


def _states(standing: Standing) -> list[Matter]:
    if standing.state in (State.IN, State.NEVER):
        return []
    chip = words.state_chip(standing.state)
    if standing.state is State.NONE:
        return [Matter(rank=6, chip=chip, sentence=no_verdict(standing), told_by_state=True)]
    since = since_when(standing)
    found = deciding_sentence(standing)
    sentence = found if since == standing.state_since else f"since {since}; {found}"
    link = visit_link(worst(standing.deciding).visit)
    rank = 0 if standing.state is State.OUT else 1
    return [Matter(rank=rank, chip=chip, sentence=sentence, link=link, told_by_state=True)]


def no_verdict(standing: Standing) -> str:
    """Why nothing is said of its conformity."""
    if standing.state_since is not None:
        return f"no verdict since the adjustment of {standing.state_since}"
    return "no visit to this instrument gave a verdict yet"


def _drifts(standing: Standing) -> list[Matter]:
    """Channels that drift, and the one that leaves its tolerance before it is due, whether it drifts or creeps."""
    leaving = leaving_before_due(standing)
    several = len(standing.settings.channels) > 1
    found = []
    for d in standing.drifts:
        if d.state != "drifting" or d.fit is None:
            continue
        first = d.outlooks[leaves_first(d.outlooks)]
        early = leaving is not None and leaving[0] is d
        rate = words.shown(d.sentence).partition(":")[0]
        said = f"{d.channel} {rate}" if several else rate
        said += _leaving(first, standing.due.day if early else None)
        found.append(Matter(rank=3, chip=words.DRIFTING, sentence=said))
        leaving = None if early else leaving
    if leaving is not None:
        drift, first = leaving
        said = f"{drift.channel}{_leaving(first, standing.due.day)}"
        found.append(Matter(rank=3, chip=LEAVES_BEFORE_DUE, sentence=said))
    beyond = beyond_today(standing)
    if beyond is not None:
        found.append(Matter(rank=3, chip=MAY_BE_OUT, sentence=beyond_sentence(*beyond)))
    return found


def _leaving(outlook: PointOutlook, due: date | None) -> str:
    """`: at 10 %RH |error| + U leaves ± 2 %RH about 2027-01-05 (95 %: …)`; with a due day, that it is before it."""
    if outlook.leaves is None:
        return ""
    said = f": at {words.target(outlook.target)} {words.shown(outlook.leaves.sentence)}"
    return f"{said}, before it is due on {due}" if due else said


def _due(standing: Standing) -> list[Matter]:
    due = standing.due
    chip = words.due_chip(due.state)
    if due.state is DueState.OVERDUE:
        return [Matter(rank=5, chip=chip, sentence=f"since {due.day}: {due.reason}", told_by_state=True)]
    if due.state is DueState.NEVER:
        installed = instrument_on(standing.sensor, standing.settings.day)
        since = f"instrument {installed.serial} in place since {installed.from_}: " if installed else ""
        return [Matter(rank=4, chip=chip, sentence=f"{since}{due.reason}", told_by_state=True)]
    return []


def _last_with(standing: Standing, rule: str) -> tuple[SensorVisitSummary, Result] | None:
    """The latest visit and a result of it that carries the reservation; None where the latest is free of it."""
    if not standing.visits:
        return None
    last = standing.visits[-1]
    for result in last.results:
        if any(fault.rule.name == rule for fault in result.reservations):
            return last, result
    return None


def _reservations(standing: Standing) -> list[Matter]:
    found = []
    elsewhere, working = _elsewhere(standing), standing.sensor.working_temperature
    if elsewhere is not None and working is not None:
        sentence = f"calibrated at {_temperature(elsewhere.temperature_c)} only, works at {_temperature(working)}"
        link = visit_link(elsewhere.visit)
        found.append(Matter(rank=7, chip=Chip(word="other temperature", kind="reserved"), sentence=sentence, link=link))
    for rank, rule in ((7, "reference-out-of-date"), (8, "unsettled-plateau")):
        last = _last_with(standing, rule)
        if last is not None:
            visit, result = last
            fault = next(f for f in result.reservations if f.rule.name == rule)
            sentence = f"at the latest visit, {visit.sensor_visit.visit.day}: {words.shown(fault.message)}"
            link = visit_link(visit.sensor_visit.visit.id)
            found.append(Matter(rank=rank, chip=words.reservation_chip(fault), sentence=sentence, link=link))
    undone = [r for r in standing.visits[-1].results if r.status == "not done"] if standing.visits else []
    if undone:
        why = f": {undone[0].note}" if undone[0].note else ""
        sentence = f"{words.counted(len(undone), 'point')} at the latest visit, {undone[0].day}{why}"
        chip = Chip(word="not done", kind="none")
        found.append(Matter(rank=9, chip=chip, sentence=sentence, link=visit_link(undone[0].visit)))
    return found


def unowned(cases: Sequence[Case]) -> list[Case]:
    """Cases that nobody has yet, newest first."""
    return [case for case in open_cases(cases) if case.record is None]


def open_cases(cases: Sequence[Case]) -> list[Case]:
    """Cases that are not closed, newest first."""
    return sorted((c for c in cases if c.state != "closed"), key=lambda c: (c.day, c.sensor), reverse=True)
