"""The sheet for a phone: one HTML file that works without a network, keeps every entry at once, exports the CSV."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from asfound.printing.templates import template_files
from asfound.printing.text import clean
from asfound.records.methods import METHODS
from asfound.records.visits.columns import ADJUSTMENTS, CONDITIONS
from asfound.sheets.boxes import Box
from asfound.sheets.paper import conditions_sentence, point_remarks, session_title
from asfound.sheets.plan import Part, Plan, Session
from asfound.sheets.table import fixed_words, header
from asfound.wording import cautions

PHASES = (("as_found", "As found"), ("as_left", "As left"))
FAR = 0.05
"""A pressure further from what is to be dialled than this share of it is doubted (our choice)."""
COLD_C = 5.0
"""Below it temperatures may be negative: such boxes get a key for the sign, which a phone's keys for numbers lack."""


def visit_form(plan: Plan, templates: tuple[Path, ...]) -> bytes:
    """The file's bytes; the same from the same plan."""
    environment = Environment(
        loader=FileSystemLoader([folder / "sheet" for folder in templates]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    files = template_files(templates, "sheet")
    page = environment.get_template("phone.html").render(
        plan=plan,
        cautions=cautions,
        sessions=[_session(plan, number, session) for number, session in enumerate(plan.sessions)],
        conditions=CONDITIONS,
        adjustments=[word for word in ADJUSTMENTS if word != "none"],
        data=_script_json(_data(plan)),
        # Ours, and quoted by nobody: they go in as they are.
        style=Markup(files["phone.css"].read_text(encoding="utf-8")),
        script=Markup(files["phone.js"].read_text(encoding="utf-8")),
    )
    return page.encode()


def _session(plan: Plan, number: int, session: Session) -> dict[str, Any]:
    return {
        "key": f"s{number}",
        "title": session_title(session),
        "by_barometer": session.by_barometer,
        "barometer": session.barometer,
        "taken": clean(conditions_sentence(session)),
        "remarks": [clean(text) for text in point_remarks(session)],
        "do": METHODS[session.reference.kind].to_do,
        "parts": session.parts,
        "phases": [
            {"name": name, "label": label, "key": f"s{number}.{name}", "steps": list(_steps(session, number, name))}
            for name, label in PHASES
        ],
    }


def _steps(session: Session, number: int, phase: str) -> Iterator[dict[str, Any]]:
    over = " over ice" if session.aimed.over_ice else ""
    for at, target in enumerate(session.points):
        key = f"s{number}.{phase}.{at}"
        dialled = next((one for one in target.settings if one.quantity == "saturation_pressure"), None)

        def doubts(box: Box, value: float | None = dialled.value if dialled else None) -> dict[str, Any]:
            expected = value if box.column == "saturation_pressure" else None
            return _box(box, session, expected)

        yield {
            "key": key,
            "point": f"{target.point:g} %RH{over}",
            "what": clean(target.what) if target.reached or target.salt else "not reached",
            "number": at + 1,
            "of": len(session.points),
            "reference": [doubts(box) for box in session.boxes],
            "room": [_box(box, session, None) for box in session.room],
            "readings": [f"{key}.{n}" for n in range(session.readings)],
            "parts": [{"part": part, "boxes": _part_boxes(part, session)} for part in session.parts],
        }


def _part_boxes(part: Part, session: Session) -> list[dict[str, Any]]:
    return [_box(box, session, None) for box in part.boxes]


def _box(box: Box, session: Session, expected: float | None) -> dict[str, Any]:
    cold = session.aimed.chamber_c < COLD_C
    below = box.column == "mirror_temperature" or (cold and "temperature" in box.column)
    gauge = box.column == "chamber_pressure" and box.unit is not None and bool(box.unit.gauge)
    return {
        "column": box.column,
        "header": box.header,
        "label": box.label,
        "unit": clean(box.shown_unit),
        "choices": box.choices,
        "lowest": _edge(box.lowest),
        "highest": _edge(box.highest),
        "near": "" if expected is None else f"{expected * (1 - FAR):.6g} {expected * (1 + FAR):.6g}",
        "signed": below or gauge,
    }


def _edge(value: float) -> str:
    return f"{value:.6g}" if math.isfinite(value) else ""


def _data(plan: Plan) -> dict[str, Any]:
    """What the script needs to write the CSV: which entry goes into which column of which row."""
    columns = list(header(plan))
    at = columns.index("note")
    columns[at:at] = ["adjustment", "from", "to"]
    return {
        "visit": plan.visit,
        "day": str(plan.day),
        "zone": plan.time_zone,
        "technician": plan.technician,
        "columns": columns,
        "spare": ["adjustment", "from", "to"],
        "sessions": [
            {
                "key": f"s{number}",
                "readings": session.readings,
                "reference": [box.header for box in session.boxes],
                "room": [box.header for box in session.room],
                "points": [
                    {"target": f"{target.point:g}", "words": fixed_words(session, target.salt)}
                    for target in session.points
                ],
                "parts": [{"id": part.id, "boxes": [box.header for box in part.boxes]} for part in session.parts],
            }
            for number, session in enumerate(plan.sessions)
        ],
    }


def _script_json(data: Any) -> Markup:
    """JSON that no browser takes for the end of its element."""
    text = json.dumps(data, ensure_ascii=False, sort_keys=True)
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))
