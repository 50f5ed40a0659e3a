"""What is due until a day: sensors by day and place, each with the reference it needs, and references themselves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from asfound.assessment.assess import Assessment
from asfound.assessment.due import DueState
from asfound.assessment.standing import Standing
from asfound.records.load import Records
from asfound.records.models import Place, Reference

UNUSED = (DueState.OUT_OF_SERVICE,)


@dataclass(frozen=True, kw_only=True)
class DueSensor:
    """A sensor that is to be calibrated."""

    sensor: str
    name: str
    place: str
    """id"""
    position: str
    state: DueState
    day: date | None
    """None where it was never calibrated: as soon as can be"""
    points: tuple[float, ...]
    """%RH"""
    reference: str
    """id of the one used last, at this sensor or else at its place; empty where none was"""
    soak: float | None
    """longest soak before a reading at its last visit, min; None where none is on record"""
    reason: str
    remarks: tuple[str, ...]
    """what stands in the way of its reference"""


@dataclass(frozen=True, kw_only=True)
class DueReference:
    """A reference whose calibration runs out."""

    reference: str
    name: str
    day: date
    remark: str


@dataclass(frozen=True, kw_only=True)
class Agenda:
    """What is to be done until a day."""

    day: date
    until: date
    sensors: tuple[DueSensor, ...]
    """never calibrated first, then by due day, then by place"""
    references: tuple[DueReference, ...]
    deferred: tuple[DueSensor, ...]
    """put off beyond `until`"""
    unused: tuple[DueSensor, ...]
    """out of service: nothing is due"""


def agenda(assessment: Assessment, until: date, places: tuple[str, ...] = ()) -> Agenda:
    """What is due until a day (inclusive), at some places or everywhere."""
    records = assessment.records
    order = place_order(records)
    usual = _usual_references(assessment)
    found: list[DueSensor] = []
    deferred: list[DueSensor] = []
    unused: list[DueSensor] = []
    for standing in assessment.standings.values():
        item = _due_sensor(assessment, standing, usual)
        if places and item.place not in places:
            continue
        if item.state in UNUSED:
            unused.append(item)
        elif item.state is DueState.NEVER or (item.day is not None and item.day <= until):
            found.append(item)
        elif item.state is DueState.DEFERRED:
            deferred.append(item)
    found.sort(key=lambda i: (i.day or date.min, order.get(i.place, len(order)), i.sensor))
    return Agenda(
        day=assessment.day,
        until=until,
        sensors=tuple(found),
        references=() if places else tuple(_references(records, assessment.day, until)),
        deferred=tuple(deferred),
        unused=tuple(unused),
    )


def place_order(records: Records) -> dict[str, int]:
    """Position of each place in facility.yml."""
    return {place.id: number for number, place in enumerate(records.facility.places)}


def place_of(records: Records, name: str) -> Place:
    """The place of that id; one that facility.yml does not name is its own name."""
    return next((p for p in records.facility.places if p.id == name), Place(id=name, name=name))


def not_to_be_had(reference: Reference, day: date) -> str:
    """Why a reference cannot serve on a day: away, or a calibration over; empty where it can."""
    for period in reference.away:
        if period.holds(day):
            back = f"until {period.until}" if period.until else "until further notice"
            return f"{reference.id} is away {back}: {period.reason}"
    end = runs_out(reference, day)
    return f"a calibration of {reference.id} runs out on {end}" if end is not None and end < day else ""


def runs_out(reference: Reference, day: date) -> date | None:
    """The first day on which one of the calibrations in force on a day ends; None where none is in force."""
    current = [quantity.newest_calibration(day) for quantity in reference.calibrated.values()]
    return min((c.valid_until for c in current if c is not None), default=None)


def _due_sensor(assessment: Assessment, standing: Standing, usual: Mapping[str, str]) -> DueSensor:
    records, settings, due = assessment.records, standing.settings, standing.due
    points = settings.dated("points")
    last = _last_reference(standing)
    reference = last[1] if last else usual.get(settings.place.place, "")
    known = records.references.get(reference)
    then = max(due.day or assessment.day, assessment.day)
    remark = not_to_be_had(known, then) if known is not None else ""
    return DueSensor(
        sensor=standing.sensor.id,
        name=standing.sensor.name,
        place=settings.place.place,
        position=settings.place.position or "",
        state=due.state,
        day=due.day,
        points=tuple(points.humidity) if points else (),
        reference=reference,
        soak=_longest_soak(standing),
        reason=due.reason,
        remarks=(remark,) if remark else (),
    )


def _last_reference(standing: Standing) -> tuple[date, str] | None:
    """Day and id of the one that the newest visit used; a result that another laboratory stated tells none."""
    for visit in reversed(standing.visits):
        for name in visit.sensor_visit.words("reference"):
            return visit.sensor_visit.visit.day, name
    return None


def _usual_references(assessment: Assessment) -> dict[str, str]:
    """Place → the reference that was used there last."""
    newest: dict[str, tuple[date, str]] = {}
    for standing in assessment.standings.values():
        last, place = _last_reference(standing), standing.settings.place.place
        if last is not None and (place not in newest or last > newest[place]):
            newest[place] = last
    return {place: name for place, (_, name) in newest.items()}


def _longest_soak(standing: Standing) -> float | None:
    """Of the newest visit that wrote one down, min."""
    for summary in reversed(standing.visits):
        sv = summary.sensor_visit
        written = sv.visit.number["soak"]
        soaks = [float(written[row]) for plateau in sv.plateaus for row in plateau.rows if written[row] >= 0.0]
        if soaks:
            return max(soaks)
    return None


def _references(records: Records, day: date, until: date) -> Iterator[DueReference]:
    found = [(end, r) for r in records.references.values() if (end := runs_out(r, day)) is not None and end <= until]
    for end, reference in sorted(found, key=lambda pair: (pair[0], pair[1].id)):
        away = [period for period in reference.away if period.holds(day)]
        remark = f"away until {away[0].until or 'further notice'}: {away[0].reason}" if away else ""
        yield DueReference(reference=reference.id, name=reference.name, day=end, remark=remark)
