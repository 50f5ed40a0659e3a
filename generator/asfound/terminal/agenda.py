"""`due` and `round` as text and for programs."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from asfound.assessment.due import DueState
from asfound.planning.agenda import Agenda, DueSensor, place_of
from asfound.planning.calendar_file import place_words
from asfound.planning.rounds import Round, Together, hours
from asfound.records.load import Records
from asfound.rounding import NOTHING
from asfound.terminal.tables import aligned
from asfound.wording.cautions import SUMMARY
from asfound.wording.words import counted

HEAD = ["due", "state", "place", "sensor", "points, %RH", "with", ""]
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def due_text(records: Records, agenda: Agenda) -> str:
    """What is due, one line a sensor, by day and place; references; what is put off."""
    blocks = [f"due until {agenda.until}, as of {agenda.day}: {counted(len(agenda.sensors), 'sensor')}"]
    if agenda.sensors:
        rows = [[*_row(records, item), *_notes(item)] for item in agenda.sensors]
        blocks.append("\n".join(aligned([HEAD, *rows], 2)))
    if agenda.references:
        rows = [[str(item.day), item.reference, item.name, item.remark] for item in agenda.references]
        blocks.append("\n".join(["references whose calibration runs out:", *aligned(rows, 2)]))
    for title, items in (("deferred:", agenda.deferred), ("out of service, nothing is due:", agenda.unused)):
        if items:
            rows = [[item.sensor, place_of(records, item.place).name, item.reason] for item in items]
            blocks.append("\n".join([title, *aligned(rows, 2)]))
    return "\n\n".join(blocks)


def _row(records: Records, item: DueSensor) -> list[str]:
    return [
        str(item.day or "at once"),
        str(item.state),
        place_of(records, item.place).name,
        item.sensor,
        _points(item.points) or NOTHING,
        item.reference or NOTHING,
    ]


def _notes(item: DueSensor) -> list[str]:
    told = (item.reason,) if item.state in (DueState.DEFERRED, DueState.NEVER, DueState.IN_GRACE) else ()
    return ["; ".join([*told, *item.remarks])]


def due_json(records: Records, agenda: Agenda) -> str:
    """The same for programs."""
    return _dumped(
        {
            "day": str(agenda.day),
            "until": str(agenda.until),
            "sensors": [_item(records, item) for item in agenda.sensors],
            "references": [
                {"reference": r.reference, "name": r.name, "runs_out": str(r.day), "remark": r.remark or None}
                for r in agenda.references
            ],
            "deferred": [_item(records, item) for item in agenda.deferred],
            "out_of_service": [_item(records, item) for item in agenda.unused],
        }
    )


def _item(records: Records, item: DueSensor) -> dict[str, Any]:
    return {
        "sensor": item.sensor,
        "name": item.name,
        "place": item.place,
        "place_name": place_of(records, item.place).name,
        "position": item.position or None,
        "state": str(item.state),
        "due": str(item.day) if item.day else None,
        "points": list(item.points),
        "reference": item.reference or None,
        "reason": item.reason,
        "remarks": list(item.remarks),
    }


def rounds_text(agenda: Agenda, planned: Sequence[Round]) -> str:
    """Each trip with its places; cautions last."""
    if not planned:
        return f"nothing is due until {agenda.until}: no round"
    blocks = ["\n".join(_round_lines(number, trip)) for number, trip in enumerate(planned, start=1)]
    return "\n\n".join([*blocks, "Hours are estimates. " + " ".join(SUMMARY)])


def _round_lines(number: int, trip: Round) -> Iterator[str]:
    due = f", earliest due {trip.due or 'at once'}"
    reference = f"with {trip.reference}" if trip.reference else "with a reference to choose: no visit tells which"
    day = f"{trip.day} ({WEEKDAYS[trip.day.weekday()]})"
    yield f"round {number}: {day}, {reference}, about {hours(trip.minutes)}{due}"
    yield from (f"  ! {remark}" for remark in trip.remarks)
    rows = [
        [
            f"  {place_words(stop)}",
            _together(group),
            f"{', '.join(f'{p:g}' for p in group.points)} %RH",
            hours(group.minutes),
        ]
        for stop in trip.stops
        for group in stop.groups
    ]
    yield from aligned(rows, 2)


def _points(points: Sequence[float]) -> str:
    return ", ".join(f"{point:g}" for point in points)


def _together(group: Together) -> str:
    names = ", ".join(sensor.sensor for sensor in group.sensors)
    return f"{names} together" if len(group.sensors) > 1 else names


def rounds_json(agenda: Agenda, planned: Sequence[Round]) -> str:
    """The same for programs."""
    return _dumped(
        {
            "day": str(agenda.day),
            "until": str(agenda.until),
            "rounds": [
                {
                    "day": str(trip.day),
                    "reference": trip.reference or None,
                    "due": str(trip.due) if trip.due else None,
                    "minutes": round(trip.minutes),
                    "remarks": list(trip.remarks),
                    "stops": [
                        {
                            "place": stop.place,
                            "name": stop.name,
                            "building": stop.building or None,
                            "groups": [
                                {
                                    "sensors": [sensor.sensor for sensor in group.sensors],
                                    "points": list(group.points),
                                    "minutes": round(group.minutes),
                                }
                                for group in stop.groups
                            ],
                        }
                        for stop in trip.stops
                    ],
                }
                for trip in planned
            ],
        }
    )


def _dumped(said: Any) -> str:
    return json.dumps(said, ensure_ascii=False, indent=2)
