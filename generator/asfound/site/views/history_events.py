"""What happened to a position and its instrument over the years, as marks of its history.

Adjustments, swaps, moves, other tolerances, and other references or calibrations of them behind the results.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.standing import Standing
from asfound.certificates.wording import ADJUSTMENTS, tolerance
from asfound.records.models import Channel
from asfound.records.visits.rows import Event
from asfound.site.charts.axes import ChartEvent
from asfound.site.lookup.lookup import Lookup
from asfound.wording import words

Used = dict[str, frozenset[tuple[str, date]]]
"""reference → (quantity, day of the calibration) that results lean on"""


def history_events(lookup: Lookup, standing: Standing) -> list[ChartEvent]:
    """All of them from the first visit to the day of the assessment, in order of days."""
    if not standing.visits:
        return []
    first = standing.visits[0].sensor_visit.visit.day
    found = [*_adjustments(standing), *_settings(lookup, standing), *_references(lookup, standing)]
    return sorted((e for e in found if first <= e.day <= lookup.day), key=lambda e: (e.day, e.kind, e.text))


def event_in_words(event: Event) -> str:
    """`span adjusted: span 1.000 → span 1.014`."""
    what = ADJUSTMENTS.get(event.kind, "nothing adjusted")
    change = f": {event.before or '?'} → {event.after}" if event.after else ""
    return words.shown(f"{what}{change}")


def _adjustments(standing: Standing) -> Iterator[ChartEvent]:
    for visit in standing.visits:
        for event in visit.sensor_visit.changes:
            kind = "element" if event.kind == "element" else "adjusted"
            yield ChartEvent(day=visit.sensor_visit.visit.day, kind=kind, text=event_in_words(event))


def _settings(lookup: Lookup, standing: Standing) -> Iterator[ChartEvent]:
    """Other instruments, places and tolerances."""
    sensor = standing.sensor
    for before, after in zip(sensor.installed, sensor.installed[1:], strict=False):
        yield ChartEvent(day=after.from_, kind="other", text=f"{after.serial} in place of {before.serial}")
    for move in sensor.place[1:]:
        yield ChartEvent(day=move.from_, kind="other", text=f"moved to {lookup.place(move.place)}")
    for entry in (standing.settings.whole("tolerance") or ())[1:]:
        said = tolerance(entry, words.unit(Channel.HUMIDITY.unit), standing.settings.range(Channel.HUMIDITY))
        yield ChartEvent(day=entry.from_, kind="other", text=f"tolerance {said}")


def _references(lookup: Lookup, standing: Standing) -> Iterator[ChartEvent]:
    """The first visit by another reference than the visit before, or by another calibration of the same one."""
    before: Used = {}
    for visit in standing.visits:
        used = _used(lookup, visit)
        if not used:
            continue
        if before and used.keys() != before.keys():
            text = f"by {words.listed(sorted(used))}, before by {words.listed(sorted(before))}"
            yield ChartEvent(day=visit.sensor_visit.visit.day, kind="reference", text=text)
        elif before:
            for name in sorted(used):
                days = {day for quantity, day in used[name] - before[name]}
                if days:
                    text = f"first since {name} was calibrated anew on {max(days)}"
                    yield ChartEvent(day=visit.sensor_visit.visit.day, kind="reference", text=text)
        before = used


def _used(lookup: Lookup, visit: SensorVisitSummary) -> Used:
    """The references that gave the values of a visit, each with its calibrations."""
    measurement = lookup.assessment.measurement
    found: dict[str, set[tuple[str, date]]] = {}
    for result in visit.results:
        if result.line is None:
            continue
        cell = measurement.lines[result.line].cell
        own = {(quantity, day) for name, quantity, day in measurement.used.get(cell, set()) if name == result.reference}
        found.setdefault(result.reference, set()).update(own)
    return {name: frozenset(calibrations) for name, calibrations in found.items()}
