"""Charts as data: what site_templates/scripts/charts.js draws, every text with its unit, every number as computed."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from asfound.assessment.history.drift import Drift
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.assessment.standing import Standing
from asfound.records.models import Channel, Sensor
from asfound.rounding import expanded, published, value_with
from asfound.site.lookup.lookup import Lookup
from asfound.site.lookup.outlooks import leaves_first
from asfound.uncertainty.sources import coverage_factor
from asfound.wording import words

WORTH_A_CHART = 1.0
"""Reference values of a visit that lie closer together than this (in the channel's unit) make no chart."""

LINE_DAYS = 9
"""Days at which a drift line and its band are computed."""


@dataclass(frozen=True, kw_only=True)
class ChartEvent:
    """Something that happened to a position or its instrument: `adjusted`, `element`, `reference` or `other`."""

    day: date
    kind: str
    text: str


def history_chart(
    lookup: Lookup, standing: Standing, channel: Channel, events: Sequence[ChartEvent], drift: Drift | None
) -> str | None:
    """Errors of one channel over the years, as JSON; None where nothing was measured."""
    segments = _segments(standing.visits)
    shown = [r for visit in standing.visits for r in visit.results if r.channel is channel and math.isfinite(r.error)]
    if not shown:
        return None
    name = series_names((r.point, r.reach, r.direction) for r in shown)
    chart: dict[str, Any] = {
        "kind": "history",
        "title": f"{channel} errors of {standing.sensor.id}, {shown[0].day} to {shown[-1].day}",
        "y_title": f"Error / {words.unit(channel.unit)}",
        "points": [
            {
                **point,
                "target": name(r.point, r.direction),
                "set_point": name(r.point, ""),
                "segment": segments[r.visit, r.plateau],
            }
            for r, point in zip(shown, _history_points(lookup, shown), strict=True)
        ],
        "events": [{"date": str(e.day), "kind": e.kind, "text": e.text} for e in events],
    }
    if drift is not None:
        chart |= _drift_lines(drift, standing.due.day, name)
    return as_json(chart)


def series_names(points: Iterable[tuple[float, float, str]]) -> Callable[[float, str], str]:
    """What a series is called by (point, direction): the direction is told where a point was reached several ways.

    `points`: (point, its reach, direction) of all that is shown; within the least reach points are one.
    """
    points = tuple(points)
    reach = min((reach for _, reach, _ in points), default=0.0)
    ways: dict[float, set[str]] = {}

    def first_near(point: float) -> float:
        return next((known for known in ways if abs(known - point) < reach), point)

    for point, _, direction in points:
        ways.setdefault(first_near(point), set()).add(direction)

    def name(point: float, direction: str) -> str:
        near = first_near(point)
        several = len(ways.get(near, ())) > 1
        return f"{words.target(near)} {direction}" if several and direction else words.target(near)

    return name


def _segments(visits: Sequence[SensorVisitSummary]) -> dict[tuple[str, int], int]:
    """(visit, plateau) → number of its segment: an adjustment, or another instrument, opens the next."""
    found, number, serial = {}, 0, None
    for visit in visits:
        changed = visit.last_change
        for r in visit.results:
            if serial is not None and r.serial != serial:
                number += 1
            serial = r.serial
            found[r.visit, r.plateau] = number + (changed is not None and r.time_utc >= changed)
        number += changed is not None
    return found


def _history_points(lookup: Lookup, results: Sequence[Result]) -> list[dict[str, Any]]:
    """The band over the years is the one that as found is judged by: where both were read, as left draws none."""
    found_at = {r.visit for r in results if r.phase == "as_found" and math.isfinite(r.tolerance)}
    points = []
    for r in results:
        point = {**result_point(r), "date": lookup.local(r.time_utc)}
        if r.phase == "as_left" and r.visit in found_at:
            point |= {"low": None, "high": None}
        points.append(point)
    return points


def visit_chart(sensor: Sensor | None, results: Sequence[Result]) -> str | None:
    """Errors of one channel at one visit over the reference value, as JSON; None where the values lie together."""
    shown = [r for r in results if math.isfinite(r.error) and math.isfinite(r.reference_value)]
    shown.sort(key=lambda r: r.reference_value)  # the line joins neighbours, not the order of the work
    values = [r.reference_value for r in shown]
    if len(values) < 2 or max(values) - min(values) < WORTH_A_CHART:
        return None
    channel = shown[0].channel
    symbol = words.unit(channel.unit)
    chart: dict[str, Any] = {
        "kind": "visit",
        "title": f"{channel} errors of {shown[0].sensor} at {shown[0].visit}",
        "x_title": f"Reference value / {symbol}",
        "y_title": f"Error / {symbol}",
        "points": [{**result_point(r), "reference": number(r.reference_value)} for r in shown],
    }
    limits = sensor.process_limits if sensor is not None and channel is Channel.HUMIDITY else None
    if limits is not None:
        chart["working"] = {"low": limits.lowest, "high": limits.highest, "text": "process limits"}
    return as_json(chart)


def as_json(chart: Mapping[str, Any]) -> str:
    """The chart as JSON text; a number that is none would be refused."""
    return json.dumps(chart, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def result_point(r: Result) -> dict[str, Any]:
    """What every chart of results says of one of them."""
    symbol = words.unit(r.unit)
    limited = math.isfinite(r.tolerance)
    return {
        "target": words.point(r),
        "set_point": words.point(r),
        "phase": r.phase if r.phase in ("as_left", "check") else "as_found",
        "error": number(r.error),
        "U": number(r.U) if math.isfinite(r.U) else None,
        "low": number(-r.tolerance) if limited else None,
        "high": number(r.tolerance) if limited else None,
        "verdict": str(r.verdict),
        "hover": [
            f"{r.day} {words.phase(r.phase)}, {words.point(r)}, {r.direction}",
            f"reference {value_with(r.reference_value, r.U)} {symbol}",
            f"error {words.error_with_u(r)} {symbol}",
            *([f"tolerance {words.tolerance(r)} {symbol}: {r.verdict}"] if limited else []),
            *([f"instrument {r.serial}"] if r.serial else []),
        ],
        "reservations": [words.shown(f"{f.rule.name.replace('-', ' ')}: {f.message}") for f in r.reservations],
    }


def _drift_lines(drift: Drift, due: date | None, name: Callable[[float, str], str]) -> dict[str, Any]:
    """The line that is expected of each point, from the open segment's first day to the next due day.

    The band is that of the point that leaves its tolerance first: what a measurement will show there. More would hide
    each other.
    """
    fit = drift.fit
    if fit is None or not drift.outlooks or drift.first is None or drift.last is None:
        return {}
    end = max(drift.last, due) if due else drift.last
    days = [drift.first + (end - drift.first) * part / (LINE_DAYS - 1) for part in range(LINE_DAYS)]
    expected = [fit.expected(day) for day in days]
    worst = leaves_first(drift.outlooks)
    lines = []
    for i, outlook in enumerate(drift.outlooks):
        series = name(outlook.target, outlook.direction)
        rate = f"{value_with(outlook.rate, outlook.U_rate, sign=True)} ± {expanded(outlook.U_rate)}"
        errors = [float(then.errors[i]) for then in expected]
        line: dict[str, Any] = {
            "target": series,
            "dates": [str(day) for day in days],
            "error": [number(error) for error in errors],
            "text": f"drift {rate} {words.unit(drift.channel.unit)} per year, {series}",
            "thin": drift.state != "drifting",
        }
        if i == worst:
            spread = [then.measured() for then in expected]
            reach = [float(coverage_factor(nu[i]) * u[i]) for u, nu in spread]
            line["low"] = [number(error - U) for error, U in zip(errors, reach, strict=True)]
            line["high"] = [number(error + U) for error, U in zip(errors, reach, strict=True)]
            banded = series
        lines.append(line)
    kind = "thick lines" if drift.state == "drifting" else "thin straight lines"
    found: dict[str, Any] = {
        "drift": lines,
        "drift_key": f"{kind}: the error that the drift expects; band: where a measurement at {banded} will lie (95 %)",
    }
    return found | ({"due": {"date": str(due), "text": "due"}} if due and due == end else {})


def number(value: float) -> float:
    """The number at the digits that are published, so that processors' last bits do not show."""
    return float(published(value))
