"""The chart of a finding as data: the corrected humidity of each day against the process limits."""

from __future__ import annotations

from datetime import date
from typing import Any

from asfound.assessment.findings.cases import Case
from asfound.assessment.findings.exposure import Day
from asfound.records.models import ProcessLimits, Sensor
from asfound.rounding import expanded, fixed, value_with
from asfound.site.charts.axes import as_json, number


def exposure_chart(sensor: Sensor, case: Case, opened: date) -> str | None:
    """Kind "exposure", drawn by site_templates/scripts; None where the trend has no day.

    points: one a day: date, low, mean, high (corrected, %RH), U of the mean, outside (whether any of it left the
    limits), hover. limits: low, high, text, or null. opened, found: the ends of the window, local days. crossed:
    median, earliest, latest (null: not surely before it was found), or null where no drift line tells.
    """
    exposure = case.exposure
    if exposure is None or exposure.trend is None or not exposure.trend.days:
        return None
    limits, crossed = sensor.process_limits, exposure.crossed
    chart: dict[str, Any] = {
        "kind": "exposure",
        "title": f"corrected humidity of {case.sensor} until it was found out of tolerance on {case.day}",
        "y_title": "Corrected humidity / %RH",
        "points": [_point(day, limits) for day in exposure.trend.days],
        "limits": {"low": limits.lowest, "high": limits.highest, "text": "process limits"} if limits else None,
        "opened": str(opened),
        "found": str(case.day),
        "crossed": None,
    }
    if crossed is not None:
        latest = str(crossed.latest) if crossed.latest else None
        chart["crossed"] = {"median": str(crossed.median), "earliest": str(crossed.earliest), "latest": latest}
    return as_json(chart)


def _point(day: Day, limits: ProcessLimits | None) -> dict[str, Any]:
    outside = limits is not None and (day.lowest < limits.lowest or day.highest > limits.highest)
    return {
        "date": str(day.day),
        "low": number(day.lowest),
        "mean": number(day.mean),
        "high": number(day.highest),
        "U": number(day.U),
        "outside": outside,
        "hover": [
            str(day.day),
            f"mean {value_with(day.mean, day.U)} ± {expanded(day.U)} %RH",
            f"{fixed(day.lowest, 1)} to {fixed(day.highest, 1)} %RH",
            *(["outside the process limits"] if outside else []),
        ],
    }
