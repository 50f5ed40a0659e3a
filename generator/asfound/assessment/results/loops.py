"""The loop at a point: which ways were read, how wide it is declared, and what was read far wider than that."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from asfound.assessment.results.points import Points
from asfound.assessment.results.slots import Slot
from asfound.faults import reservation
from asfound.measurement.by_bands import value_at
from asfound.measurement.points import numbered
from asfound.records.models import Channel, in_force
from asfound.records.models.spreads import ByBands
from asfound.records.visits.rows import WAYS
from asfound.rounding import expanded, value_with
from asfound.uncertainty.budgets import Budgets
from asfound.uncertainty.covariance import expanded_of_combinations

WIDER_THAN_DECLARED = reservation(
    "wider-than-declared", "rising and falling differ by far more than the hysteresis that is declared"
)
FAR_WIDER = 1.5
"""So many times the declared width, and out of the U of the difference, is far wider (our choice)."""


class Loops:
    """The loops of some slots, each at one point in one phase of one visit; all arrays have the shape (slots,)."""

    def __init__(self, slots: Sequence[Slot], points: Points, temperature_c: np.ndarray) -> None:
        """`temperature_c`: at the reference, of each slot."""
        self.slots = slots
        groups: dict[tuple[int, str, Channel], int] = {}
        within = [
            groups.setdefault((id(slot.sensor_visit), slot.plateau.phase, slot.channel), len(groups)) for slot in slots
        ]
        self.point = numbered(points.point, points.reach, np.array(within, np.int64))
        """number of the point"""
        self.direction = np.array([slot.plateau.direction for slot in slots], object)
        declared = [_declared(slot) for slot in slots]
        once = {id(width): width for width in declared}
        number = {key: i for i, key in enumerate(once)}
        which = np.array([number[id(width)] for width in declared], np.int64)
        self.width = value_at(list(once.values()), which, points.point, temperature_c)
        """as declared at the point, nan where none is"""
        count = int(self.point.max(initial=-1)) + 1
        rising, falling = (np.bincount(self.point[self.direction == way], minlength=count) > 0 for way in WAYS)
        self.both = (rising & falling)[self.point]
        """whether the point was read both ways"""

    @property
    def one_way(self) -> list[str]:
        """The way of humidities whose other way was not read, else nothing."""
        return [
            str(way) if way in WAYS and not both and slot.channel is Channel.HUMIDITY else ""
            for slot, way, both in zip(self.slots, self.direction, self.both, strict=True)
        ]

    @property
    def half(self) -> np.ndarray:
        """Half of the declared width where the other way was not read, else 0."""
        return np.where(self.both | np.isnan(self.width), 0.0, self.width / 2.0)

    def far_wider(self, budgets: Budgets, lines: Sequence[int], error: np.ndarray) -> Iterator[tuple[int, str]]:
        """(slot, message) of each that was read both ways and is far wider than declared; `lines`, `error`: of all."""
        sign = np.select([self.direction == "falling", self.direction == "rising"], [1.0, -1.0], 0.0)
        at = np.flatnonzero(self.both & ~np.isnan(self.width) & (sign != 0.0))
        if not len(at):
            return
        _, loop = np.unique(self.point[at], return_inverse=True)
        of_way = 2 * loop + (sign[at] > 0.0)
        weight = sign[at] / np.bincount(of_way)[of_way]
        read = np.bincount(loop, weight * error[at])
        _, _, U = expanded_of_combinations(budgets, loop, [lines[i] for i in at.tolist()], weight.tolist())
        for i, number in zip(at.tolist(), loop.tolist(), strict=True):
            declared, width, unsure = float(self.width[i]), float(read[number]), float(U[number])
            if abs(width) - unsure > declared and abs(width) > FAR_WIDER * declared:
                unit = self.slots[i].channel.declaration.symbol
                said = f"{value_with(width, unsure, sign=True)} ± {expanded(unsure)} {unit}"
                yield i, f"falling less rising is {said}, the declared hysteresis {declared:g} {unit}"


def _declared(slot: Slot) -> ByBands[Any] | None:
    """Width of the loop as declared of a sensor, or of a reference that is checked or calibrated; None: of neither."""
    if slot.settings is not None:
        return slot.settings.declared(slot.channel).hysteresis
    if slot.reference is None or slot.channel is not Channel.HUMIDITY:
        return None
    return in_force(slot.reference.hysteresis, slot.sensor_visit.visit.day)
