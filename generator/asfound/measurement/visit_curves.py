"""References that a visit here calibrated: what is measured first, and the correction curves that follow from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date

import numpy as np

from asfound.measurement.by_bands import value_at
from asfound.measurement.calibrations import Calibrations, VisitCurve
from asfound.measurement.cell_sources import Part
from asfound.measurement.lines import Growing, Line, Measurement
from asfound.measurement.points import SetPoints, together
from asfound.records.load import Records
from asfound.records.methods import METHODS
from asfound.records.models import Channel, Reference, in_force
from asfound.records.visits.rows import WAYS, SensorVisit
from asfound.uncertainty.sources import Catalogue, Scope, Source
from asfound.uncertainty.terms import Terms

CALIBRATED_HERE = {channel.declaration.reference: channel for channel in Channel}
"""Quantities of a reference that a visit here can calibrate, by what it reads of them."""


def in_stages(records: Records, sensor_visits: Sequence[SensorVisit]) -> list[list[SensorVisit]]:
    """Sensor visits in an order in which every `from_visit` calibration is measured before it is used."""
    depth: dict[str, int] = {}
    calibrated_by = {
        (sv.sensor, sv.visit.id): sv.words("reference") for sv in sensor_visits if sv.sensor in records.references
    }

    def of(reference: str, trail: tuple[str, ...] = ()) -> int:
        if reference in depth or reference in trail or reference not in records.references:
            return depth.get(reference, 0)
        sources = {
            r
            for q in records.references[reference].quantities.values()
            for c in q.calibrations
            if c.from_visit
            for r in calibrated_by.get((reference, c.from_visit), ())
        }
        # Probes always come after the rest, so that a new `from_visit` moves no reading from one pool to another.
        last = _reads_humidity(records.references[reference])
        depth[reference] = max((of(r, (*trail, reference)) + 1 for r in sources), default=int(last))
        return depth[reference]

    late = any(
        _reads_humidity(reference) or any(c.from_visit for q in reference.quantities.values() for c in q.calibrations)
        for reference in records.references.values()
    )
    stages: dict[int, list[SensorVisit]] = {}
    for sv in sensor_visits:
        leaned_on: list[str] = []
        if late:
            leaned_on += [*sv.words("reference"), *sv.words("loop_meter")]
            if any(plateau.phase == "check" for plateau in sv.plateaus):
                leaned_on.append(sv.sensor)
        needed = max((of(reference) for reference in leaned_on), default=0)
        stages.setdefault(needed, []).append(sv)
    return [stages[level] for level in sorted(stages)]


def _reads_humidity(reference: Reference) -> bool:
    return reference.kind in METHODS and METHODS[reference.kind].reads_humidity


def add_curves(records: Records, whole: Growing, calibrations: Calibrations, terms: Terms) -> None:
    """Curves of references that were calibrated in what has been measured so far."""
    wanted = [
        (reference.id, quantity, channel, calibration)
        for reference in records.references.values()
        for quantity, channel in CALIBRATED_HERE.items()
        if (known := reference.quantities.get(quantity))
        for calibration in known.calibrations
        if calibration.from_visit and (reference.id, quantity, calibration.date) not in calibrations.curves
    ]
    if not wanted:
        return
    pick = terms.picker()
    for reference, quantity, channel, calibration in wanted:
        visit = str(calibration.from_visit)
        own = records.references[reference]
        curve = _curve(whole, pick, calibrations.catalogue, own, visit, channel, calibration.date)
        if curve is not None:
            calibrations.curves[reference, quantity, calibration.date] = curve


def _curve(
    whole: Growing,
    pick: Callable[[Iterable[int]], Terms],
    catalogue: Catalogue,
    reference: Reference,
    visit: str,
    channel: Channel,
    day: date,
) -> VisitCurve | None:
    """As left (else as found), settled points only; in the middle of the declared loop at each point."""
    points = points_of(whole, reference.id, visit, channel, ("as_left", "as_found"))
    if not points:
        return None
    new_row = np.full(len(whole.lines), -1, np.int64)
    share = np.zeros(len(whole.lines))
    for number, point in enumerate(points):
        for line, _, weight in point:
            new_row[line] = number
            share[line] = -weight  # corrected value = indication − error
    terms = [pick(line for point in points for line, _, _ in point).moved(new_row, share).summed()]
    half = half_loops(whole, points, reference, channel, day)
    middle, unknown = to_the_middle(whole, points, half)
    if unknown.any():
        label = f"side of the loop from which {reference.id} came to the first point of its calibration"
        at = np.flatnonzero(unknown)
        most = float(half[at].max())
        source = Source(
            identity=f"{visit}/{reference.id}/start", label=label, u=most, unit=channel.unit, scope=Scope.CALIBRATION
        )
        terms.append(Terms.of(at, catalogue.add(source), unknown[at] * (half[at] / most)))
    return VisitCurve(
        at=means(points, "indication"), correction=-(means(points, "error") + middle), terms=Terms.joined(terms)
    )


def half_loops(
    whole: Growing | Measurement, points: Sequence[Point], reference: Reference, channel: Channel, day: date
) -> np.ndarray:
    """Half of the declared width of a reference's loop at each point, %RH, shape (points,); 0 where none is."""
    declared = in_force(reference.hysteresis, day) if channel is Channel.HUMIDITY else None
    if declared is None:
        return np.zeros(len(points))
    target = np.array([whole.cells[point[0][1].cell].plateau.target for point in points], float)
    humidity = np.where(np.isnan(target), means(points, "reference_value"), target)
    temperature_c = np.array([whole.temperature_c[point[0][1].cell] for point in points], float)
    return value_at([declared], np.zeros(len(points), np.int64), humidity, temperature_c) / 2.0


def to_the_middle(
    whole: Growing | Measurement, points: Sequence[Point], half: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(from the error of each point to the middle of its loop, part of it whose side is not known); all (points,).

    The mean of both ways is the middle. Else the declared width stands, for in use the reference is on either side of
    the middle, which is a source of its own: the loop then counts once, wherever its calibration came from.
    """
    middle, unknown = np.zeros(len(points)), np.zeros(len(points))
    for number, point in enumerate(points):
        if half[number] == 0.0:
            continue
        ways = [whole.cells[line.cell].plateau.direction for _, line, _ in point]
        if set(WAYS) <= set(ways):
            continue
        for (_, _, weight), way in zip(point, ways, strict=True):
            if way in WAYS:
                middle[number] += weight * float(half[number] if way == "rising" else -half[number])
            else:
                unknown[number] += weight
    return middle, unknown


Point = list[tuple[int, Line, float]]
"""Number, line and weight of what makes up one point of a curve; weights sum to 1."""


def points_of(
    whole: Growing | Measurement, reference: str, visit: str, channel: Channel, phases: tuple[str, ...]
) -> list[Point]:
    """Points of the first of the phases that was read, rising; a direction counts once, however often read.

    What was aimed at are its set points; the points of another channel are told apart by its reference values.
    """
    read = [
        (number, line, whole.cells[line.cell].plateau)
        for number in whole.lines_of(reference, visit)
        if (line := whole.lines[number]).channel is channel
        and line.part is Part.SENSOR
        and not any(f.rule.withholds_verdict for f in whole.reservations.get(line.cell, ()))
    ]
    chosen = next((found for phase in phases if (found := [item for item in read if item[2].phase == phase])), [])
    marks = np.array([line.reference_value for _, line, _ in chosen])
    reach = channel.declaration.same_point
    if channel.declaration.aimed_at:
        target = np.array([plateau.target for _, _, plateau in chosen])
        aimed_at = SetPoints(tuple(target[~np.isnan(target)].tolist()))
        marks, reach = aimed_at.of_plateaus(marks, target), aimed_at.reach
    points = []
    for group in ([chosen[i] for i in numbers] for numbers in together(marks.tolist(), reach)):
        ways = [plateau.direction for _, _, plateau in group]
        if set(WAYS) <= set(ways):  # the start, of which the side is not known, says nothing of the middle
            group = [item for item, way in zip(group, ways, strict=True) if way in WAYS]
            ways = [way for way in ways if way in WAYS]
        weights = [1.0 / (len(set(ways)) * ways.count(way)) for way in ways]
        points.append([(number, line, weight) for (number, line, _), weight in zip(group, weights, strict=True)])
    return sorted(points, key=lambda point: float(means([point], "indication")[0]))


def means(points: Sequence[Point], attribute: str) -> np.ndarray:
    """Weighted means of `error`, `indication` or `reference_value` of the lines of each point, shape (points,)."""
    return np.array([float(sum(weight * getattr(line, attribute) for _, line, weight in point)) for point in points])
