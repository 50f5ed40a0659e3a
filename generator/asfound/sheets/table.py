"""The visit's CSV to be filled in: every row of the readings to come, with all that is known of it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from asfound.records.visits.columns import INDICATIONS
from asfound.sheets.plan import Plan, Session

NO_TIME = "--:--"
"""Stands where the time is to be written; `check` names every row in which it still stands."""
_FRONT = ("sensor", "time", "phase", "target [%RH]", "serial", "condition")
_BEHIND_SENSOR = ("loop_meter", "reference", "technician", "soak [min]", "medium", "salt")
_LAST = ("note",)

Row = dict[str, str]


def header(plan: Plan) -> tuple[str, ...]:
    """Every column of the visit, once, in the order in which a row is read."""
    sensor = _each_once(
        [box.header for session in plan.sessions for part in session.parts for box in part.boxes],
        INDICATIONS,
    )
    readings = [box.header for session in plan.sessions for box in session.boxes]
    room = [box.header for session in plan.sessions for box in session.room]
    barometer = ["barometer"] if any(session.by_barometer for session in plan.sessions) else []
    rows = list(rows_of(plan))
    always = ["reference", "technician", "soak [min]"]
    if any(part.wired for session in plan.sessions for part in session.parts):
        always.append("loop_meter")
    behind = [name for name in _BEHIND_SENSOR if name in always or _used(rows, name)]
    return tuple(dict.fromkeys([*_FRONT, *sensor, *behind, *readings, *barometer, *room, *_LAST]))


def _used(rows: list[Row], name: str) -> bool:
    return any(row.get(name) for row in rows)


def _each_once(headers: list[str], order: tuple[str, ...]) -> list[str]:
    """Headers once each, those of one column side by side."""
    return [header for name in order for header in dict.fromkeys(headers) if header.partition(" ")[0] == name]


def rows_of(plan: Plan) -> Iterator[Row]:
    """The rows as found, in order of time."""
    seen: set[str] = set()
    for session in plan.sessions:
        for target in session.points:
            for _ in range(session.readings):
                for part in session.parts:
                    row = {
                        "sensor": part.id,
                        "time": f"{plan.day} {NO_TIME}",
                        "phase": "as_found",
                        "target [%RH]": f"{target.point:g}",
                        "serial": "" if part.id in seen else part.serial,
                        "loop_meter": part.loop_meter,
                        "technician": plan.technician,
                    }
                    seen.add(part.id)
                    yield row | fixed_words(session, target.salt)


def fixed_words(session: Session, salt: str) -> Row:
    """Words of the reference that stand in each of a session's rows."""
    return {
        "reference": session.reference.id,
        "medium": session.medium,
        "salt": salt,
        "barometer": session.barometer,
    }


def visit_csv(plan: Plan) -> bytes:
    """The file's bytes: RFC 4180 with line feeds, as the records keep it."""
    names = header(plan)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([row.get(name, "") for name in names] for row in rows_of(plan))
    return text.getvalue().encode()
