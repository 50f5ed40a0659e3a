"""The sheet for paper: cautions on top, what to dial for each point, and boxes to write in. As found, then as left."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from asfound.faults import RecordsRefused
from asfound.printing.text import PAPERS, clean
from asfound.printing.typst import printing
from asfound.printing.unprintable import Unprintable, unprintable_faults
from asfound.records.load import Records
from asfound.records.methods import METHODS
from asfound.records.visits.columns import ADJUSTMENTS, CONDITIONS
from asfound.rounding import NOTHING, fixed
from asfound.sheets.boxes import Box
from asfound.sheets.plan import Part, Plan, Session
from asfound.wording import cautions
from asfound.wording.words import listed

ACROSS, ACROSS_ALL = 8, 11
"""Boxes that one table is wide enough for: of sensors beside each other, and where it holds everything."""
CLOSING = (
    "Before you leave: the loop is given back and watched, hoses and vessels are without pressure, the operator knows. "
    "What stands here is typed into the CSV of the same name, or into the form on the phone; asfound explain then "
    "gives the verdict."
)


def visit_pdf(plan: Plan, records: Records, templates: tuple[Path, ...]) -> bytes:
    """The PDF; the same bytes from the same plan.

    Raises RecordsRefused where a record holds a character that cannot be printed, and Refusal where the template
    does not compile.
    """
    page = clean(sheet_page(plan))
    with printing(templates) as printer:
        try:
            return printer.typeset("sheet.typ", {"page": json.dumps(page)}, page)
        except Unprintable as problem:
            raise RecordsRefused(unprintable_faults(records.files, _paths(plan, records), problem)) from None


def sheet_page(plan: Plan) -> dict[str, Any]:
    """What the template sets: strings, and lists and dictionaries of them."""
    year, month, day = str(plan.day).split("-")
    return {
        "paper": PAPERS[plan.paper],
        "title": f"Visit sheet: {plan.visit}",
        "facility": plan.facility,
        "subject": f"{plan.visit}, {listed(part.id for session in plan.sessions for part in session.parts)}",
        "date": {"year": year, "month": month, "day": day},
        "facts": [["Day", str(plan.day)], ["Technician", plan.technician_name or "…………………………"]],
        "cautions": list(cautions.LINES),
        "warnings": list(plan.warnings),
        "sessions": [_session(session) for session in plan.sessions],
        "adjustments": ", ".join(ADJUSTMENTS),
        "conditions": ", ".join(CONDITIONS),
        "closing": CLOSING,
    }


def session_title(session: Session) -> str:
    """`DRY-11, DRY-12 and DRY-13 against GEN-01`."""
    where = {"in air": ", in air", "salt cell": ", in salt cells"}.get(session.medium, "")
    return f"{listed(part.id for part in session.parts)} against {session.reference.id}{where}"


def _session(session: Session) -> dict[str, Any]:
    rows = [[f"{target.point:g}", str(n + 1)] for target in session.points for n in range(session.readings)]
    own = [["Time", "HH:MM"], ["Soak", "min"], *(_head(box) for box in (*session.boxes, *session.room))]
    # One sensor's boxes stand in the table of its reference where they fit.
    alone = len(session.parts) == 1 and len(own) + len(session.parts[0].boxes) <= ACROSS_ALL
    joined = session.parts if alone else ()
    return {
        "title": session_title(session),
        "taken": conditions_sentence(session),
        "sensors": [_sensor(part) for part in session.parts],
        "dial": METHODS[session.reference.kind].to_do,
        "points": [_point(session, number) for number in range(len(session.points))],
        "remarks": point_remarks(session),
        "readings": str(session.readings),
        "rows": rows,
        "reference": [*own, *(_head(box) for part in joined for box in part.boxes)],
        "tables": [[_columns(part) for part in group] for group in _wide_enough(() if joined else session.parts)],
    }


def conditions_sentence(session: Session) -> str:
    """For which conditions the values hold; without the options of the command that would change them."""
    taken = [text.partition(": give --")[0] for text in session.aimed.taken]
    barometer = f" Barometer {session.barometer}." if session.barometer else ""
    return f"The values hold for: {'; '.join(taken)}.{barometer}"


def _sensor(part: Part) -> list[str]:
    return [part.id, part.name, part.place, part.serial, part.loop_meter or NOTHING]


def _point(session: Session, number: int) -> list[str]:
    target = session.points[number]
    over = " over ice" if session.aimed.over_ice else ""
    dew = fixed(target.condensation_c, 1)
    what = target.what if target.reached or target.salt else "not reached"
    return [f"{target.point:g} %RH{over}", what, dew if dew == NOTHING else f"{dew} °C"]


def point_remarks(session: Session) -> list[str]:
    """What to mind at the points, each once with the points that it concerns."""
    found: dict[str, list[str]] = {}
    for target in session.points:
        for remark in target.remarks:
            found.setdefault(remark.text, []).append(f"{target.point:g}")
    return [f"{listed(points)} %RH: {text}" for text, points in found.items()]


def _head(box: Box) -> list[str]:
    return [box.label, box.shown_unit or " or ".join(box.choices)]


def _columns(part: Part) -> dict[str, Any]:
    return {"id": part.id, "boxes": [_head(box) for box in part.boxes]}


def _wide_enough(parts: Sequence[Part]) -> list[list[Part]]:
    """Sensors in groups that fit beside each other."""
    groups: list[list[Part]] = []
    for part in parts:
        if groups and sum(len(p.boxes) for p in groups[-1]) + len(part.boxes) <= ACROSS:
            groups[-1].append(part)
        else:
            groups.append([part])
    return groups


def _paths(plan: Plan, records: Records) -> list[str]:
    """The records whose words the sheet prints."""
    sensors = [f"sensors/{part.id}.yml" for session in plan.sessions for part in session.parts]
    references = [f"references/{session.reference.id}.yml" for session in plan.sessions]
    return [path for path in (*sensors, *references, "people.yml", "facility.yml") if path in records.files]
