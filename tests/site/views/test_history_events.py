"""What a sensor's history marks, and what its lines never join: adjustments, other instruments, other references."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

from asfound.records.models import Channel
from asfound.site.charts.axes import history_chart, series_names
from asfound.site.lookup.lookup import Lookup, look_up
from asfound.site.views.history_events import history_events
from tests import builders
from tests.builders import Files
from tests.site import store


def looked_up(*visits: Files, **keys: Any) -> Lookup:
    files = builders.records(builders.sensor(**keys), builders.two_pressure(), *visits)
    return look_up(builders.assessed(files))


def chart_of(lookup: Lookup, sensor: str = "RH-1") -> dict[str, Any]:
    standing = lookup.assessment.standings[sensor]
    events = history_events(lookup, standing)
    chart = history_chart(lookup, standing, Channel.HUMIDITY, events, None)
    assert chart is not None
    return json.loads(chart)


def marks(lookup: Lookup, kind: str) -> list[tuple[date, str]]:
    return [(e.day, e.text) for e in history_events(lookup, lookup.assessment.standings["RH-1"]) if e.kind == kind]


def segments(chart: dict[str, Any], phase: str = "as_found") -> dict[str, set[int]]:
    """Day → segments of its points."""
    found: dict[str, set[int]] = {}
    for point in chart["points"]:
        if point["phase"] == phase:
            found.setdefault(point["date"][:10], set()).add(point["segment"])
    return found


def test_no_line_joins_what_an_adjustment_parts():
    lookup = looked_up(
        store.one_visit("2026-03-02-a", {"RH-1": 0.5}),
        builders.visit(
            "2026-06-01-b",
            *store.three_points("RH-1", 1.0),
            builders.adjusted("zero"),
            *store.three_points("RH-1", 0.0, phase="as_left"),
        ),
        store.one_visit("2026-09-01-c", {"RH-1": 0.1}),
    )
    chart = chart_of(lookup)
    assert segments(chart) == {"2026-03-02": {0}, "2026-06-01": {0}, "2026-09-01": {1}}
    assert segments(chart, "as_left") == {"2026-06-01": {1}}


def test_no_line_joins_two_instruments():
    chart = chart_of(store.lookup(), "FINE-1")
    assert segments(chart) == {"2026-03-02": {0}, "2026-11-02": {1}}


def test_a_reference_calibrated_anew_is_marked_at_the_first_visit_by_its_new_calibration():
    ends = [builders.point(at, "0 kPa", "0.4 kPa") for at in ("0 kPa", "1500 kPa")]
    anew = builders.quantity(builders.calibration(*ends), builders.calibration(*ends, on="2026-05-04"))
    files = builders.records(
        builders.sensor(),
        builders.two_pressure(quantities={"saturation_pressure": anew}),
        *(store.one_visit(f"2026-0{month}-01-v", {"RH-1": 0.1}) for month in (3, 4, 6, 7)),
    )
    assert marks(look_up(builders.assessed(files)), "reference") == [
        (date(2026, 6, 1), "first since GEN-01 was calibrated anew on 2026-05-04")
    ]


def test_another_reference_is_marked_with_both_names():
    other = builders.two_pressure("GEN-02")
    by_other = builders.visit(
        "2026-06-01-b", builders.plateau(50.0, [50.1, 50.1], {**builders.generated(50.0), "reference": "GEN-02"})
    )
    lookup = looked_up(store.one_visit("2026-03-02-a", {"RH-1": 0.1}), other, by_other)
    assert marks(lookup, "reference") == [(date(2026, 6, 1), "by GEN-02, before by GEN-01")]


def test_a_series_tells_its_direction_where_its_point_was_reached_in_two_ways():
    name = series_names([(15.0, 3.0, "start"), (40.0, 3.0, "rising"), (40.3, 3.0, "falling")])
    assert name(15.0, "start") == "15 %RH"
    assert name(40.0, "rising") == "40 %RH rising"
    assert name(40.3, "falling") == "40 %RH falling", "within reach they are one point, as in the drift"
