"""The rounds on the Schedule: each trip with its day, places, sensors and hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from asfound.planning.agenda import agenda
from asfound.planning.calendar_file import place_words
from asfound.planning.rounds import Round, hours, rounds
from asfound.site.lookup.lookup import Lookup, reference_link, sensor_link
from asfound.wording import words
from asfound.wording.words import Link

AHEAD_DAYS = 60


@dataclass(frozen=True, kw_only=True)
class RoundStop:
    """Sensors that are calibrated at once, or one."""

    place: str
    sensors: tuple[Link, ...]
    points: str
    hours: str


@dataclass(frozen=True, kw_only=True)
class RoundView:
    """One trip."""

    anchor: str
    day: str
    title: str
    reference: Link | None
    due: str
    hours: str
    remarks: tuple[str, ...]
    stops: tuple[RoundStop, ...]


def planned_rounds(lookup: Lookup) -> tuple[Round, ...]:
    """What is due in the next weeks, as trips."""
    return rounds(lookup.records, agenda(lookup.assessment, last_planned_day(lookup)))


def last_planned_day(lookup: Lookup) -> date:
    """The last day that rounds are planned for."""
    return lookup.day + timedelta(days=lookup.records.facility.rounds.ahead_days)


def round_views(planned: Sequence[Round]) -> tuple[RoundView, ...]:
    """The same for the page."""
    return tuple(_view(number, trip) for number, trip in enumerate(planned, start=1))


def _view(number: int, trip: Round) -> RoundView:
    return RoundView(
        anchor=f"round-{number}",
        day=str(trip.day),
        title=f"Round {number}: {trip.day}, {words.counted(len(trip.sensors), 'sensor')}",
        reference=reference_link(trip.reference) if trip.reference else None,
        due=str(trip.due or "at once"),
        hours=hours(trip.minutes),
        remarks=trip.remarks,
        stops=tuple(
            RoundStop(
                place=place_words(stop),
                sensors=tuple(sensor_link(sensor.sensor) for sensor in group.sensors),
                points=words.listed(f"{point:g}" for point in group.points) + " %RH" if group.points else "",
                hours=hours(group.minutes),
            )
            for stop in trip.stops
            for group in stop.groups
        ),
    )
