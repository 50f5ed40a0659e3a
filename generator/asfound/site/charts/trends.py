"""Charts of trends as data, drawn by site_templates/scripts/chart_trends.js.

Changes against their control limits, drift of all sensors side by side, and the checks of a reference as a history.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from asfound.assessment.history.change_charts import ChangeChart
from asfound.assessment.results.table import Result
from asfound.rounding import fixed, value_with
from asfound.site.charts.axes import ChartEvent, as_json, number, result_point, series_names
from asfound.site.lookup.lookup import Lookup
from asfound.statistics.control_charts import Individuals
from asfound.wording import words

FLEET_ROWS = 40
"""More sensors than so many make no chart that can be read: the table has them all."""
DRIFT_STATES = ("drifting", "watch", "steady")
"""States of a trend that has a rate, gravest first."""


@dataclass(frozen=True, kw_only=True)
class FleetBar:
    """Drift of one channel as part of its tolerance, % per year."""

    group: str
    label: str
    value: float
    U: float
    state: str
    hover: tuple[str, ...]


def fleet_chart(bars: Sequence[FleetBar]) -> str | None:
    """Drift side by side, as JSON, in the order given; None where there are none."""
    if not bars:
        return None
    return as_json(
        {
            "kind": "fleet",
            "title": "drift of sensors in percent of their tolerance per year",
            "x_title": "Drift / % of the tolerance per year",
            "y_title": "",
            "states": DRIFT_STATES,
            "points": [
                {
                    "group": bar.group,
                    "label": bar.label,
                    "value": number(bar.value),
                    "U": number(bar.U),
                    "state": bar.state,
                    "hover": bar.hover,
                }
                for bar in bars
            ],
        }
    )


def control_chart(sensor: str, chart: ChangeChart, events: Sequence[ChartEvent]) -> str | None:
    """Changes from visit to visit with their limits, as JSON; None with too few for limits."""
    single, average = chart.individuals, chart.ewma
    if single is None or average is None:
        return None
    symbol = words.unit(chart.channel.unit)
    points = []
    for i, (day, change, U) in enumerate(zip(chart.days, chart.changes, chart.U, strict=True)):
        signals = [name for name, found in (("value", single), ("mean", average)) if i in found.signals]
        said = [f"{CONTROL_SIGNALS[name]} is beyond its limits" for name in signals]
        points.append(
            {
                "date": str(day),
                "value": number(change),
                "mean": number(float(average.values[i])),
                "mean_low": number(float(average.lower[i])),
                "mean_high": number(float(average.upper[i])),
                "signals": signals,
                "hover": [
                    f"found on {day}",
                    f"change {words.difference(change, U)} {symbol}",
                    f"moving average {value_with(float(average.values[i]), U, sign=True)} {symbol}",
                    *(f"signal: the {text}" for text in said),
                ],
            }
        )
    shown = [event for event in events if event.kind in ("adjusted", "element") and event.day >= chart.days[0]]
    return as_json(
        {
            "kind": "control",
            "title": f"changes of {sensor} from visit to visit, {chart.channel}, {chart.days[0]} to {chart.days[-1]}",
            "y_title": f"Change / {symbol}",
            "mean_title": f"Average / {symbol}",
            "centre": number(single.centre),
            "lower": number(single.lower),
            "upper": number(single.upper),
            "mean_centre": number(average.centre),
            "points": points,
            "events": [{"date": str(event.day), "text": event.text} for event in shown],
        }
    )


CONTROL_SIGNALS = {"value": "change", "mean": "moving average"}


def check_chart(
    lookup: Lookup,
    reference: str,
    results: Sequence[Result],
    calibrated: Sequence[tuple[date, str]],
    individuals: Individuals | None,
) -> str | None:
    """Errors of a reference at its checks, as JSON, with their limit and the days it was calibrated; None without.

    `individuals`: the limits that the checks give themselves.
    """
    shown = [r for r in results if math.isfinite(r.error)]
    if not shown:
        return None
    name = series_names((r.point, r.reach, r.direction) for r in shown)
    first = min(r.day for r in shown)
    symbol = words.unit(shown[0].unit)
    chart: dict[str, Any] = {
        "kind": "history",
        "title": f"errors of {reference} at its checks, {first} to {max(r.day for r in shown)}",
        "y_title": f"Error / {symbol}",
        "limits": "limit of checks",
        "points": [
            {
                **result_point(r),
                "target": name(r.point, r.direction),
                "set_point": name(r.point, ""),
                "date": lookup.local(r.time_utc),
            }
            for r in shown
        ],
        "events": [
            {"date": str(event.day), "kind": event.kind, "text": event.text}
            for event in (ChartEvent(day=day, kind="other", text=text) for day, text in calibrated)
            if first <= event.day <= lookup.day
        ],
    }
    if individuals is not None:
        low, high = (f"{fixed(value, 2, sign=True)}" for value in (individuals.lower, individuals.upper))
        chart["control"] = {
            "lower": number(individuals.lower),
            "upper": number(individuals.upper),
            "text": f"long dashes: limits of the mean error that the checks give themselves, {low} to {high} {symbol}",
        }
    return as_json(chart)
