"""What a log says about a visit's soaks, as lines for a terminal and for programs."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from asfound.rounding import NOTHING, expanded, value_with
from asfound.sheets.from_log import Point, SensorSoak, Soaked, local_text
from asfound.soak.approach import NOT_KNOWN

_HEAD = ("point", "stood", "soak", "time constants", "left ± U, %RH", "may be left", "long enough?")


def as_text(soaked: Soaked) -> str:
    """A table for each sensor."""
    times = soaked.log.time_utc
    usual = sorted(b - a for a, b in zip(times[:-1].tolist(), times[1:].tolist(), strict=True))[(len(times) - 1) // 2]
    first, last = (local_text(int(instant), soaked.zone) for instant in (times[0], times[-1]))
    rows = f"{len(times):,}".replace(",", " ")
    blocks = [f"{soaked.asked.log}: {rows} rows, {usual:g} s apart, {first} until {last}"]
    blocks += [_sensor(one, soaked) for one in soaked.sensors]
    return "\n\n".join(blocks)


def total_text(all_soaked: Sequence[Soaked]) -> str:
    """What the visits could have saved."""
    saved = sum(one.saved_min for one in all_soaked)
    if any(len(one.sensors) > 1 for one in all_soaked):
        return f"in all {saved:.0f} min could have been saved (sensors in one chamber wait for the slowest)"
    return f"in all {saved:.0f} min could have been saved"


def _sensor(one: SensorSoak, soaked: Soaked) -> str:
    rows = [_HEAD, *(_row(point, soaked) for point in one.points)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEAD))]
    lines = [f"{one.sensor} against {one.reference}"]
    for row in rows:
        lines.append("  " + "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip())
    lines += [f"  {p.target:g} %RH: {p.wait.approach.reason}" for p in one.points if p.wait.approach.reason]
    return "\n".join(lines)


def _row(point: Point, soaked: Soaked) -> tuple[str, ...]:
    wait = point.wait
    known = math.isfinite(wait.U_left)
    start, end = (
        datetime.fromtimestamp(instant, soaked.zone).strftime("%H:%M")
        for instant in (wait.plateau.start_utc, wait.plateau.end_utc)
    )
    taus = " and ".join(f"{tau:.1f}" for tau in wait.approach.time_constants_min)
    return (
        f"{point.target:g} %RH",
        f"{start}–{end}",
        f"{wait.soak_min:.0f} min",
        f"{taus} min" if taus else NOTHING,
        f"{value_with(wait.approach.left, wait.U_left, sign=True)} ± {expanded(wait.U_left)}" if known else "not known",
        f"{wait.largest_left:.2f}" if math.isfinite(wait.largest_left) else NOTHING,
        _judged(point),
    )


def _judged(point: Point) -> str:
    wait = point.wait
    if not math.isfinite(wait.largest_left):
        return "not judged: the sensor has no tolerance"
    if wait.enough_after_min is None:
        return "not known" if wait.approach.model == NOT_KNOWN else "no"
    if wait.saved_min < 1.0:
        return "yes"
    return f"yes, after {wait.enough_after_min:.0f} min: {wait.saved_min:.0f} min could have been saved"


def as_json(all_soaked: Sequence[Soaked]) -> str:
    """For programs: numbers unrounded, what is not known null."""
    return json.dumps([_document(one) for one in all_soaked], indent=2, ensure_ascii=False, allow_nan=False)


def _document(soaked: Soaked) -> dict[str, Any]:
    def plateau(point: Point) -> dict[str, Any]:
        wait, found = point.wait, point.wait.approach
        return {
            "target_rh": point.target,
            "start": local_text(int(wait.plateau.start_utc), soaked.zone),
            "end": local_text(int(wait.plateau.end_utc), soaked.zone),
            "reference_rh": _number(wait.plateau.level),
            "step_rh": _number(wait.plateau.step),
            "soak_min": _number(wait.soak_min),
            "log_from": local_text(math.ceil(wait.window_utc[0]), soaked.zone),
            "log_until": local_text(math.floor(wait.window_utc[1]), soaked.zone),
            "model": found.model,
            "reason": found.reason,
            "time_constants_min": list(found.time_constants_min),
            "probability_of_slow_term": _number(found.slow_term),
            "left_rh": _number(found.left),
            "u_left_rh": _number(found.u_left),
            "U_left_rh": _number(wait.U_left),
            "nu": _number(found.nu),
            "may_be_left_rh": _number(wait.largest_left),
            "long_enough": wait.long_enough if math.isfinite(wait.largest_left) else None,
            "enough_after_min": _number(wait.enough_after_min),
            "saved_min": _number(wait.saved_min),
        }

    return {
        "log": str(soaked.asked.log),
        "rows": len(soaked.log.time_utc),
        "sensors": [
            {"sensor": one.sensor, "reference": one.reference, "plateaus": [plateau(point) for point in one.points]}
            for one in soaked.sensors
        ],
        "saved_min": soaked.saved_min,
    }


def _number(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None
