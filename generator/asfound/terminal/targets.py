"""`targets` as text for a terminal and as data for programs."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from asfound.planning.target_model import Remark, SensorTargets, Target
from asfound.records.methods import METHODS
from asfound.rounding import NOTHING, fixed, json_number
from asfound.terminal.tables import aligned, wrapped
from asfound.wording.cautions import LINES
from asfound.wording.words import listed


def as_text(found: Sequence[SensorTargets]) -> str:
    """The cautions, then each sensor with its points as lines."""
    blocks = ["\n".join(line for caution in LINES for line in wrapped(caution, "! ", "  "))]
    return "\n\n".join([*blocks, *(_sensor_text(one) for one in found)])


def _sensor_text(found: SensorTargets) -> str:
    over = " over ice" if found.over_ice else ""
    lines = [f"{found.sensor}, {found.name}: against {found.reference}"]
    lines += wrapped("; ".join(found.taken), "  ", "  ")
    if found.reach is not None:
        lines.append(
            f"  {found.reference} gives {fixed(found.reach[0], 1)} to {fixed(found.reach[1], 1)} %RH over water"
        )
    lines += [line for remark in found.remarks for line in wrapped(_said(remark), "  ! ", "    ")]
    head = ("point", METHODS[found.kind].to_do.lower(), "dew or frost point")
    rows = [(f"{target.point:g} %RH{over}", _what(target), _condensation(target)) for target in found.points]
    lines += aligned([head, *rows], indent=2)
    for remark, points in _together(found.points).items():
        lines += wrapped(f"{listed(points)} %RH: {_said(remark)}", "  ! ", "    ")
    return "\n".join(lines)


def _together(targets: Sequence[Target]) -> dict[Remark, list[str]]:
    """Remarks, each once, with the points that it concerns."""
    found: dict[Remark, list[str]] = {}
    for target in targets:
        for remark in target.remarks:
            found.setdefault(remark, []).append(f"{target.point:g}")
    return found


def _what(target: Target) -> str:
    if not target.reached and not target.salt:
        return "not reached"
    return target.what


def _condensation(target: Target) -> str:
    shown = fixed(target.condensation_c, 1)
    return shown if shown == NOTHING else f"{shown} °C"


def _said(remark: Remark) -> str:
    return f"{remark.kind}: {remark.text}"


def as_json(found: Sequence[SensorTargets]) -> str:
    """The same for programs: a list of sensors; numbers in the unit that stands beside them."""
    return json.dumps([_sensor_data(one) for one in found], ensure_ascii=False, indent=2)


def _sensor_data(found: SensorTargets) -> dict[str, Any]:
    return {
        "sensor": found.sensor,
        "reference": found.reference,
        "kind": found.kind,
        "over": "ice" if found.over_ice else "water",
        "taken": list(found.taken),
        "reach": None if found.reach is None else [json_number(value) for value in found.reach],
        "remarks": _remarks(found.remarks),
        "points": [_point_data(target) for target in found.points],
    }


def _point_data(target: Target) -> dict[str, Any]:
    return {
        "point": json_number(target.point),
        "reached": target.reached,
        "settings": [
            {"column": s.quantity, "unit": s.unit.symbol, "value": json_number(s.value), "shown": s.text}
            for s in target.settings
        ],
        "salt": target.salt or None,
        "humidity_over_water": json_number(target.humidity),
        "dew_or_frost_point_c": json_number(target.condensation_c),
        "remarks": _remarks(target.remarks),
    }


def _remarks(remarks: Sequence[Remark]) -> list[dict[str, str]]:
    return [{"kind": remark.kind, "text": remark.text} for remark in remarks]
