"""An invented store with one sensor for each thing that pages must say. All numbers are made up."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any

from asfound.assessment.assess import Assessment
from asfound.printing import templates
from asfound.site.lookup.lookup import Lookup, look_up
from asfound.site.publishing.build import content_of
from asfound.site.publishing.content import SiteContent, SitePage
from tests import builders
from tests.builders import Files, Row

DAY = "2026-12-31"
TODAY = date.fromisoformat(DAY)
HOSTILE = "<b>Bold</b> & \"quoted\" 'name'"
"""A name that would break a page which does not escape it."""


def position(sensor: str, words: str, **keys: Any) -> Files:
    """A sensor with a name of its own."""
    (path, content), *_ = builders.sensor(sensor, **keys).items()
    return {path: json.dumps({**json.loads(content), "name": words}).encode()}


def three_points(
    sensor: str, error: float, phase: str = "as_found", far_end: float | None = None
) -> Iterator[list[Row]]:
    """20, 50 and 80 %RH, the sensor's readings off by `error`, those at the far end of its loop by `far_end` %RH."""
    for target in (20.0, 50.0, 80.0):
        outputs = [round(target + error + shift, 2) for shift in (0.0, 0.01, -0.01)]
        far = {} if far_end is None else {"far_end": [round(output - error + far_end, 1) for output in outputs]}
        yield builders.plateau(target, outputs, builders.generated(target), sensor=sensor, phase=phase, **far)


def one_visit(visit_id: str, errors: dict[str, float]) -> Files:
    """A visit that found these sensors off by so much."""
    return builders.visit(
        visit_id, *(plateau for name, error in errors.items() for plateau in three_points(name, error))
    )


def recorded(sensor: str, first: str, days: int, humidity: float) -> Files:
    """An hourly trend that swings by 0.3 %RH, without a tenth of its days."""
    start = datetime.fromisoformat(first)
    rows = [
        f"{start + timedelta(days=day, hours=hour):%Y-%m-%d %H:%M},{humidity + 0.3 * (hour % 3 - 1):.1f}\n"
        for day in range(days)
        for hour in range(24)
        if day % 10 != 5
    ]
    return {f"trends/{sensor}.csv": ("time,humidity [%RH]\n" + "".join(rows)).encode()}


def store() -> Files:
    """The records."""
    two_places = [{"id": "lab", "name": "Laboratory"}, {"id": "loft", "name": "Loft"}]
    serves_since = [{"serial": "NEW-1-A", "family": "rush", "from": "2026-12-01"}]
    swapped = [
        {"serial": "OLD", "family": "rush", "from": "2020-01-01", "until": "2026-05-31"},
        {"serial": "NEW", "family": "rush", "from": "2026-06-01"},
    ]
    moved = [{"place": "lab"}, {"from": "2026-07-01", "place": "loft", "position": "beam 3"}]
    return builders.records(
        builders.facility(places=two_places),
        builders.family(interval={"months": 24}),
        position("FINE-1", HOSTILE, installed=swapped, place=moved),
        position("OUT-1", "Bin 4", criticality="high", controls=True),
        position("SET-1", "Bin 5, set right", process_limits={"lowest": "40 %RH", "highest": "50 %RH"}),
        recorded("SET-1", "2026-10-01", days=38, humidity=47.6),
        position("NEAR-1", "Bin 6"),
        position("CREEP-1", "Bin 7", criticality="high"),
        position("LATE-1", "Bin 8", interval={"months": 6}),
        position("NEW-1", "Bin 9", installed=serves_since),
        position(
            "OFF-1",
            "Bin 10",
            humidity={"resolution": "1 %RH", "repeatability": "0.05 %RH"},  # decided by Monte Carlo
            out_of_service=[{"from": "2026-10-01", "reason": "the bin is being rebuilt"}],
        ),
        position("LOOP-1", "Bin 11", process_limits={"lowest": "40 %RH", "highest": "60 %RH"}),
        builders.two_pressure(),
        builders.barometer(),
        builders.saturated_salt(valid_until=None),
        builders.transfer_probe(
            quantities={"reference_humidity": builders.quantity(builders.by_visit("2026-02-02-probe"))},
            check_limit={"humidity": "1 %RH"},
        ),
        builders.visit("2026-02-02-probe", *three_points("PROBE-01", 0.3, phase="as_left")),
        builders.visit("2026-08-03-probe-check", *three_points("PROBE-01", 0.9, phase="check")),
        one_visit("2026-03-02-all", dict.fromkeys(("FINE-1", "OFF-1", "LATE-1", "OUT-1", "SET-1"), 0.1)),
        one_visit("2026-03-09-creep", {"CREEP-1": -0.4}),
        one_visit("2026-06-08-creep", {"CREEP-1": 0.0}),
        one_visit("2026-09-07-creep", {"CREEP-1": 0.4}),
        one_visit("2026-11-02-bins", {"OUT-1": 3.0, "NEAR-1": 1.95, "CREEP-1": 0.65, "FINE-1": 0.2}),
        builders.visit(
            "2026-11-09-set",
            *three_points("SET-1", -3.0),
            builders.adjusted("zero", sensor="SET-1"),
            *three_points("SET-1", 0.1, phase="as_left"),
        ),
        builders.finding("SET-1", "2026-11-09-set", deviation="DEV-7", told=[{"day": "2026-11-09", "whom": "quality"}]),
        builders.visit("2026-11-16-loop", *three_points("LOOP-1", 0.2, far_end=0.5)),
        builders.visit("2026-11-23-void", *three_points("FINE-1", 5.0)),
        builders.visit(
            "2026-11-23-void",
            [{"sensor": "FINE-1", "phase": "withdrawn", "reason": "the seal was split", "technician": "ann"}],
            revision=2,
        ),
        builders.visit("2026-12-07-undone", builders.not_done(50, "door locked", sensor="LATE-1")),
    )


@cache
def assessment() -> Assessment:
    """The store on its day."""
    return builders.assessed(store(), DAY)


@cache
def lookup() -> Lookup:
    return look_up(assessment())


@cache
def content() -> SiteContent:
    """Pages and downloads, without certificates: these have their own tests and take their time."""
    return content_of(store(), lookup(), templates.template_folders(), {})


def page(path: str) -> SitePage:
    return next(page for page in content().pages if page.path == path)
