"""Pages of the store with one sensor for each state, as tests ask for them."""

from __future__ import annotations

from asfound.certificates.traceability import Traceability
from asfound.site.lookup.lookup import look_up
from asfound.site.views.issued import CertificateLine
from asfound.site.views.overview import OverviewView, overview
from asfound.site.views.sensors import SensorView, sensor_view
from asfound.site.views.visits import VisitView, visit_view
from tests import builders
from tests.site import store


def no_certificate(sensor: str, visit: str) -> tuple[CertificateLine, ...]:
    return ()


def the_overview() -> OverviewView:
    return overview(store.lookup())


def the_sensor(name: str) -> SensorView:
    return sensor_view(store.lookup(), store.assessment().standings[name], no_certificate)


def the_visit(name: str) -> VisitView:
    return visit_view(store.lookup(), name, Traceability(store.assessment()), no_certificate)


def said(view: OverviewView, sensor: str) -> list[tuple[str, str]]:
    """(chip, sentence) of all that the Overview says of a sensor."""
    items = [item for group in view.groups for item in group.items if item.sensor.text == sensor]
    return [(matter.chip.word, matter.sentence) for item in items for matter in item.matters]


def of_one(errors: list[float], day: str = "2026-12-31", **keys: object):
    """Look-up of a store with RH-1, found off by so much at 20, 50 and 80 %RH, or at the first of them."""
    rows = [
        builders.plateau(at, [at + e, at + e], builders.generated(at))
        for at, e in zip((20.0, 50.0, 80.0), errors, strict=False)
    ]
    files = builders.records(builders.sensor(**keys), builders.two_pressure(), builders.visit("2026-03-02-a", *rows))
    return look_up(builders.assessed(files, day))
