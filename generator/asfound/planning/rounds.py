"""What is due, grouped into trips with a cart: one reference and one day each, place by place, with hours estimated."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from asfound.planning.agenda import Agenda, DueSensor, not_to_be_had, place_of, place_order
from asfound.records.load import Records

SEARCH_DAYS = 366
"""A day on which the reference is to be had is looked for this far ahead."""


@dataclass(frozen=True, kw_only=True)
class Together:
    """Sensors that are calibrated at once, in one chamber; often one."""

    sensors: tuple[DueSensor, ...]
    points: tuple[float, ...]
    """%RH, each that one of them needs"""
    minutes: float
    """with the move to them"""


@dataclass(frozen=True, kw_only=True)
class Stop:
    """One place of a round."""

    place: str
    name: str
    building: str
    groups: tuple[Together, ...]

    @property
    def minutes(self) -> float:
        """Time at this place."""
        return sum(group.minutes for group in self.groups)


@dataclass(frozen=True, kw_only=True)
class Round:
    """One trip with one reference on one day."""

    reference: str
    """empty: no visit tells which"""
    day: date
    due: date | None
    """the earliest due day of its sensors; None where one was never calibrated: at once"""
    stops: tuple[Stop, ...]
    minutes: float
    """with setting up"""
    remarks: tuple[str, ...]

    @property
    def sensors(self) -> tuple[DueSensor, ...]:
        """In the order of the trip."""
        return tuple(sensor for stop in self.stops for group in stop.groups for sensor in group.sensors)


def rounds(records: Records, agenda: Agenda) -> tuple[Round, ...]:
    """Trips by day. A trip ends with the working day where it can; a place is split only where it fills a day alone.

    The day is the last working day (Monday to Friday; holidays are not known) that is not after the earliest due day
    and on which the reference is to be had; else, as for what is overdue, the first such day from tomorrow on. A
    reference makes one trip a day.
    """
    by_reference: dict[str, list[DueSensor]] = {}
    for sensor in agenda.sensors:
        by_reference.setdefault(sensor.reference, []).append(sensor)
    found = [
        trip
        for reference, sensors in sorted(by_reference.items())
        for trip in _of_reference(records, reference, sensors, agenda.day)
    ]
    return tuple(sorted(found, key=lambda trip: (trip.day, trip.reference)))


def _of_reference(records: Records, reference: str, sensors: Sequence[DueSensor], today: date) -> Iterator[Round]:
    taken: set[date] = set()
    for stops in _trips(records, _stops(records, sensors)):
        days = [s.day for stop in stops for group in stop.groups for s in group.sensors]
        due = None if None in days else min(day for day in days if day is not None)
        day, remarks = _day_of(records, reference, due, today, taken)
        taken.add(day)
        yield Round(
            reference=reference,
            day=day,
            due=due,
            stops=stops,
            minutes=records.facility.rounds.set_up + sum(stop.minutes for stop in stops),
            remarks=remarks,
        )


def _stops(records: Records, sensors: Sequence[DueSensor]) -> list[Stop]:
    """Places by building, those with the earliest due day first."""
    at: dict[str, list[DueSensor]] = {}
    for sensor in sensors:
        at.setdefault(sensor.place, []).append(sensor)
    order = place_order(records)
    places = {name: place_of(records, name) for name in at}

    def first(names: Sequence[str]) -> date:
        return min((s.day or date.min for name in names for s in at[name]), default=date.max)

    def key(name: str) -> tuple[date, str, date, int]:
        building = places[name].building or name
        neighbours = [n for n in at if (places[n].building or n) == building]
        return (first(neighbours), building, first([name]), order.get(name, len(order)))

    return [
        Stop(
            place=name,
            name=places[name].name,
            building=places[name].building or "",
            groups=tuple(_groups(records, at[name], places[name].together)),
        )
        for name in sorted(at, key=key)
    ]


def _groups(records: Records, sensors: Sequence[DueSensor], together: int) -> Iterator[Together]:
    """Sensors of one place with the same set points share a chamber, as many as it takes."""
    alike: dict[tuple[float, ...], list[DueSensor]] = {}
    for sensor in sensors:
        alike.setdefault(sensor.points, []).append(sensor)
    costs = records.facility.rounds
    for points, group in alike.items():
        for start in range(0, len(group), together):
            chosen = group[start : start + together]
            soak = max(s.soak if s.soak is not None else costs.soak for s in chosen)
            minutes = costs.move + max(len(points), 1) * (costs.change + soak + costs.read)
            yield Together(sensors=tuple(chosen), points=points, minutes=minutes)


def _trips(records: Records, stops: Sequence[Stop]) -> Iterator[tuple[Stop, ...]]:
    """The stops in order, cut where a working day is over."""
    room = records.facility.rounds.working_day - records.facility.rounds.set_up
    trip: list[Stop] = []
    for stop in (part for whole in stops for part in _parts(whole, room)):
        if trip and sum(s.minutes for s in trip) + stop.minutes > room:
            yield tuple(trip)
            trip = []
        trip.append(stop)
    if trip:
        yield tuple(trip)


def _parts(stop: Stop, room: float) -> Iterator[Stop]:
    """A place in parts of at most a day; one group is never split."""
    groups: list[Together] = []
    for group in stop.groups:
        if groups and sum(g.minutes for g in groups) + group.minutes > room:
            yield Stop(place=stop.place, name=stop.name, building=stop.building, groups=tuple(groups))
            groups = []
        groups.append(group)
    yield Stop(place=stop.place, name=stop.name, building=stop.building, groups=tuple(groups))


def _day_of(
    records: Records, reference: str, due: date | None, today: date, taken: set[date]
) -> tuple[date, tuple[str, ...]]:
    known = records.references.get(reference)

    def free(day: date) -> bool:
        return day.weekday() < 5 and day not in taken and not (known is not None and not_to_be_had(known, day))

    tomorrow = today + timedelta(days=1)
    before = [due - timedelta(days=back) for back in range((due - today).days)] if due is not None else []
    after = [tomorrow + timedelta(days=ahead) for ahead in range(SEARCH_DAYS)]
    for day in (*before, *after):
        if free(day):
            late = due is not None and day > due
            return day, (f"after the due day {due}",) if late and due is not None and due >= today else ()
    assert known is not None
    return tomorrow, (not_to_be_had(known, tomorrow),)


def hours(minutes: float) -> str:
    """`4 h 30 min`, to the next ten minutes: an estimate."""
    whole = 10 * math.ceil(minutes / 10.0 - 1e-9)
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"
