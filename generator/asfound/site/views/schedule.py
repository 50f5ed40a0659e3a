"""The Schedule: what is due, month by month and place by place, overdue first; references' ends beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from asfound.assessment.due import DueState
from asfound.assessment.standing import Standing
from asfound.planning.rounds import Round
from asfound.site.lookup.lookup import Lookup, sensor_link, visit_link
from asfound.site.views.references import reference_states
from asfound.site.views.rounds import RoundView, last_planned_day, round_views
from asfound.wording import words
from asfound.wording.words import Chip, Link


@dataclass(frozen=True, kw_only=True)
class DueRow:
    """One calibration that is due, of a sensor or of a reference."""

    day: str
    place: str
    link: Link
    name: str
    chip: Chip
    points: str
    last: Link | None
    note: str


@dataclass(frozen=True, kw_only=True)
class DueGroup:
    """What is due in one month, place by place."""

    anchor: str
    title: str
    caption: str
    rows: tuple[DueRow, ...]


@dataclass(frozen=True, kw_only=True)
class ScheduleView:
    """Everything on the Schedule."""

    day: str
    groups: tuple[DueGroup, ...]
    unused: tuple[DueRow, ...]
    """out of service: nothing is due"""
    rounds: tuple[RoundView, ...]
    until: str
    """last day that rounds are planned for"""
    calendar: Link


CALENDAR = "rounds.ics"
"""Where the site publishes the calendar file of the rounds."""
_LATE = "overdue"


def schedule(lookup: Lookup, planned: Sequence[Round]) -> ScheduleView:
    """Overdue and never calibrated first, then by month; within a month by place, then by day."""
    found: dict[str, list[tuple[int, date, DueRow]]] = {}
    for key, order, day, row in [*_sensors(lookup), *_references(lookup)]:
        found.setdefault(key, []).append((order, day, row))
    keys = sorted(found, key=lambda key: "" if key == _LATE else key)
    return ScheduleView(
        day=str(lookup.day),
        groups=tuple(_group(key, found[key]) for key in keys),
        unused=tuple(
            _sensor_row(lookup, s)
            for s in lookup.assessment.standings.values()
            if s.due.state is DueState.OUT_OF_SERVICE
        ),
        rounds=round_views(planned),
        until=str(last_planned_day(lookup)),
        calendar=Link(text="as a calendar file", path=CALENDAR),
    )


def _group(key: str, rows: Sequence[tuple[int, date, DueRow]]) -> DueGroup:
    ordered = sorted(rows, key=lambda r: (r[0], r[1], r[2].link.text))
    title = "Overdue or never calibrated" if key == _LATE else _month(key)
    return DueGroup(
        anchor=f"due-{key}",
        title=title,
        caption=f"{len(ordered)} due, place by place; reference standards last",
        rows=tuple(row for _, _, row in ordered),
    )


_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def _month(key: str) -> str:
    year, _, month = key.partition("-")
    return f"{_MONTHS[int(month) - 1]} {year}"


def _sensors(lookup: Lookup) -> Iterator[tuple[str, int, date, DueRow]]:
    places = list(lookup.places)
    for standing in lookup.assessment.standings.values():
        due = standing.due
        if due.state is DueState.OUT_OF_SERVICE or (due.day is None and due.state is not DueState.NEVER):
            continue
        place = standing.settings.place.place
        order = places.index(place) if place in places else len(places)
        late = due.state in (DueState.OVERDUE, DueState.NEVER)
        day = due.day or date.min
        yield _LATE if late else f"{day:%Y-%m}", order, day, _sensor_row(lookup, standing)


def _sensor_row(lookup: Lookup, standing: Standing) -> DueRow:
    due = standing.due
    points = standing.settings.dated("points")
    complete = [v for v in standing.visits if v.sensor_visit.visit.day == due.since]
    note = "" if due.state in (DueState.IN_DATE, DueState.DUE_SOON, DueState.OVERDUE) else due.reason
    return DueRow(
        day=str(due.day or ""),
        place=lookup.place(standing.settings.place.place),
        link=sensor_link(standing.sensor.id),
        name=standing.sensor.name,
        chip=words.due_chip(due.state),
        points=words.listed(f"{h:g}" for h in points.humidity) + " %RH" if points else "",
        last=visit_link(complete[-1].sensor_visit.visit.id, str(due.since)) if complete else None,
        note=note,
    )


def _references(lookup: Lookup) -> Iterator[tuple[str, int, date, DueRow]]:
    """The day on which each reference's first calibration runs out."""
    for state in reference_states(lookup):
        if state.runs_out is None:
            continue
        late = state.runs_out < lookup.day
        row = DueRow(
            day=str(state.runs_out),
            place="Reference standards",
            link=state.link,
            name=state.name,
            chip=state.chips[0],
            points="",
            last=None,
            note=state.kind,
        )
        yield _LATE if late else f"{state.runs_out:%Y-%m}", len(lookup.places) + 1, state.runs_out, row
