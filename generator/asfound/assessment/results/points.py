"""At which points the plateaus behind results were read: the set points of their day, or points of their own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from asfound.assessment.results.slots import Slot
from asfound.measurement.cell_sources import Part
from asfound.measurement.lines import Measurement
from asfound.measurement.points import SetPoints
from asfound.records.models import Channel


class Points(NamedTuple):
    """Where slots were read, %RH, shape (slots,): whatever the channel, the humidity of the chamber tells the point."""

    point: np.ndarray
    reach: np.ndarray
    aimed_at: np.ndarray
    """set point that the target means, nan where it means none or nothing was aimed at"""

    def taken(self, at: Sequence[int]) -> Points:
        """Of some of the slots."""
        chosen = np.array(at, np.int64)
        return Points(*(column[chosen] for column in self))


def points_of(measurement: Measurement, slots: Sequence[Slot]) -> Points:
    """The points of all slots."""
    humidity = np.array(_humidities(measurement, slots), float)
    target = np.array([slot.plateau.target for slot in slots], float)
    found = Points(*(np.full(len(slots), math.nan) for _ in Points._fields))
    of_settings = {id(slot.settings): _set_points(slot) for slot in slots}
    together: dict[SetPoints, list[int]] = {}
    for i, slot in enumerate(slots):
        together.setdefault(of_settings[id(slot.settings)], []).append(i)
    for set_points, numbers in together.items():
        at = np.array(numbers, np.int64)
        found.point[at] = set_points.of_plateaus(humidity[at], target[at])
        found.reach[at] = set_points.reach
        found.aimed_at[at] = set_points.within_reach(target[at])
    return found


def _set_points(slot: Slot) -> SetPoints:
    points = slot.settings.dated("points") if slot.settings is not None else None
    return SetPoints(tuple(points.humidity) if points else ())


def _humidities(measurement: Measurement, slots: Sequence[Slot]) -> list[float]:
    """Reference humidity of each slot's plateau, as measured or stated; nan where there is none."""
    humidity: dict[int, float] = {}
    for line in measurement.lines:
        if line.channel is Channel.HUMIDITY and line.part is not Part.LOOP:
            humidity.setdefault(line.cell, line.reference_value)
    return [
        float(slot.sensor_visit.visit.number["stated_reference"][slot.plateau.rows[0]])
        if slot.plateau.status == "stated"
        else humidity.get(slot.cell, math.nan)
        if slot.cell is not None
        else math.nan
        for slot in slots
    ]
