"""A visit to come: which sensors are read together against what, at which points, into which columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from asfound.faults import did_you_mean
from asfound.planning.chosen import reference_of, sensor_of
from asfound.planning.instrument_readings import Instrument
from asfound.planning.target_model import Conditions, SensorTargets, Target
from asfound.planning.targets import targets
from asfound.planning.usual import Usual, usual
from asfound.records.load import Records
from asfound.records.methods import METHODS
from asfound.records.models import Reference
from asfound.records.settings_in_force import SettingsOn, instrument_on
from asfound.records.visits.visit_files import NAME
from asfound.refusals import Refusal
from asfound.sheets.boxes import Box, needs_ambient, reference_boxes, room_boxes, sensor_boxes

LEAST_ROWS = 3
"""Readings at a point where the policy names no number (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """One sensor in a session."""

    id: str
    name: str
    place: str
    serial: str
    loop_meter: str
    boxes: tuple[Box, ...]

    @property
    def wired(self) -> bool:
        """Whether a meter reads it."""
        return any(box.unit is not None and box.unit.quantity in ("current", "voltage") for box in self.boxes)


@dataclass(frozen=True, kw_only=True)
class Session:
    """Sensors that are read at the same moments against one reference, through the same points."""

    reference: Reference
    medium: str
    """blank: chamber"""
    barometer: str
    parts: tuple[Part, ...]
    points: tuple[Target, ...]
    aimed: SensorTargets
    """of its first sensor: the conditions that the pressures hold for"""
    readings: int
    """at each point"""
    boxes: tuple[Box, ...]
    """read from the reference at every reading"""
    room: tuple[Box, ...]
    """read in the room once a point"""

    @property
    def by_barometer(self) -> bool:
        """Whether the room's pressure is read."""
        return any(box.column == "ambient_pressure" for box in self.boxes)


@dataclass(frozen=True, kw_only=True)
class Plan:
    """All of one visit."""

    visit: str
    """its id, the name of its file"""
    day: date
    facility: str
    time_zone: str
    paper: str
    technician: str
    technician_name: str
    sessions: tuple[Session, ...]
    warnings: tuple[str, ...]


def plan(
    records: Records,
    sensors: Sequence[str],
    day: date,
    conditions: Conditions,
    *,
    visit: str | None = None,
    reference: str | None = None,
    technician: str = "",
    together: bool = False,
) -> Plan:
    """A plan for a visit.

    `visit`: the words behind the day in its id; None: the place of the first sensor. `together`: all sensors of one
    reference and the same points share a chamber; else those that did at their last visit. Raises Refusal and
    Refusal with their cures.
    """
    asked = list(dict.fromkeys(sensors))
    known = {name: _Known(records, name, day, conditions, reference) for name in asked}
    warnings = [text for name in asked for text in known[name].warnings()]
    sessions = tuple(_session(records, day, [known[name] for name in group]) for group in _groups(known, together))
    for session in sessions:
        if session.by_barometer and not session.barometer:
            warnings.append("which barometer is used is not known: write it down")
        warnings += [
            f"{part.id}: which meter is used is not known: write it down"
            for part in session.parts
            if part.wired and not part.loop_meter
        ]
        for name in dict.fromkeys([session.barometer, *(part.loop_meter for part in session.parts)]):
            if name:
                warnings += [text for _, text in Instrument(records, records.references[name], day).standing()]
    words = visit or known[asked[0]].settings.place.place
    person = _person(records, technician, day, warnings) if technician else None
    return Plan(
        visit=_visit_id(records, day, words),
        day=day,
        facility=records.facility.name,
        time_zone=records.facility.time_zone,
        paper=records.facility.paper,
        technician=technician,
        technician_name=person or "",
        sessions=sessions,
        warnings=tuple(dict.fromkeys(warnings)),
    )


class _Known:
    """What the records say of one sensor that will be read."""

    def __init__(self, records: Records, name: str, day: date, conditions: Conditions, reference: str | None) -> None:
        self.records, self.day = records, day
        self.sensor = sensor_of(records, name)
        self.settings = SettingsOn(records, self.sensor, day)
        self.usual: Usual | None = usual(records, name, day)
        self.reference = reference_of(records, self.sensor, day, reference)
        self.aimed = targets(records, name, day, conditions, reference)

    @property
    def medium(self) -> str:
        """Where probe and reference meet; blank for a chamber."""
        first, *others = METHODS[self.reference.kind].media
        if first != "chamber":
            return first
        before = self.usual.medium if self.usual and self.usual.reference == self.reference.id else ""
        return before if before in others else ""

    @property
    def barometer(self) -> str:
        """The barometer that was used last with this reference, or the only one."""
        if not needs_ambient(Instrument(self.records, self.reference, self.day), self.medium):
            return ""
        before = self.usual.barometer if self.usual and self.usual.reference == self.reference.id else ""
        return before or _only(self.records, "barometer")

    @property
    def part(self) -> Part:
        """The sensor as the sheet shows it."""
        place = self.settings.place
        names = {place.id: place.name for place in self.records.facility.places}
        where = ", ".join(text for text in (names.get(place.place, place.place), place.position) if text)
        wired = self.settings.whole("signal") in ("current", "voltage")
        before = self.usual.loop_meter if self.usual else ""
        return Part(
            id=self.sensor.id,
            name=self.sensor.name,
            place=where,
            serial=self.settings.serial,
            loop_meter=(before or _only(self.records, "loop_meter")) if wired else "",
            boxes=sensor_boxes(self.settings, self.usual),
        )

    def warnings(self) -> list[str]:
        """What speaks against reading it on the day."""
        name = self.sensor.id
        found = [f"{name} is out of service: {p.reason}" for p in self.sensor.out_of_service if p.holds(self.day)]
        if instrument_on(self.sensor, self.day) is None:
            found.append(f"{name}: no instrument is installed on {self.day}")
        found += [remark.text for remark in self.aimed.remarks]
        for target in self.aimed.points:
            if not target.reached:
                why = "; ".join(remark.text for remark in target.remarks if remark.kind == "not reached")
                found.append(f"{name}: {target.point:g} %RH is not reached{f': {why}' if why else ''}")
        return found

    @property
    def fellows(self) -> tuple[object, ...]:
        """Sensors that agree in this can share a chamber."""
        points = tuple(target.point for target in self.aimed.points)
        return self.reference.id, self.medium, self.aimed.over_ice, points


def _groups(known: dict[str, _Known], together: bool) -> list[list[str]]:
    """Sensors that are read at the same moments, in the order in which they were asked for."""
    groups: list[list[str]] = []
    for name, one in known.items():
        company = one.usual.company if one.usual else ()
        for group in groups:
            first = known[group[0]]
            if first.fellows == one.fellows and (together or group[0] in company):
                group.append(name)
                break
        else:
            groups.append([name])
    return groups


def _session(records: Records, day: date, members: list[_Known]) -> Session:
    first = members[0]
    settling = records.facility.policy_on(day).settling
    instrument = Instrument(records, first.reference, day)
    barometer = Instrument(records, records.references[first.barometer], day) if first.barometer else None
    return Session(
        reference=first.reference,
        medium=first.medium,
        barometer=first.barometer,
        parts=tuple(member.part for member in members),
        points=first.aimed.points,
        aimed=first.aimed,
        readings=settling.least_rows or LEAST_ROWS,
        boxes=reference_boxes(instrument, first.medium, barometer),
        room=room_boxes(instrument),
    )


def _only(records: Records, kind: str) -> str:
    """The one reference of a kind; blank where there are several or none."""
    found = [name for name, reference in records.references.items() if reference.kind == kind]
    return found[0] if len(found) == 1 else ""


def _person(records: Records, technician: str, day: date, warnings: list[str]) -> str:
    person = records.people.get(technician)
    if person is None:
        hint = did_you_mean(technician, records.people)
        raise Refusal(f"{technician!r} is not in people.yml", f"give the id of a person there{hint}")
    if "calibrate" not in person.may:
        warnings.append(f"{technician} may not calibrate (people.yml)")
    if not person.holds(day):
        warnings.append(f"{technician} is not here on {day} (people.yml)")
    return person.name


def _visit_id(records: Records, day: date, words: str) -> str:
    name = words if words.startswith(f"{day}-") else f"{day}-{words}"
    if NAME.fullmatch(f"visits/{day.year}/{name}.csv") is None:
        raise Refusal(f"{words!r} names no visit", "lower-case words with hyphens, e.g. --visit drying-a")
    if any(visit.id == name for visit in records.visits):
        raise Refusal(f"there is a visit {name} already", f"give another name, e.g. --visit {words}-2")
    return name


__all__ = ["Part", "Plan", "Session", "plan"]
