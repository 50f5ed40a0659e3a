"""All readings of all plateaus as one table of arrays: what the vectorised models work on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple

import numpy as np

from asfound.faults import Place
from asfound.records.visits.columns import COLUMNS, INDICATIONS
from asfound.records.visits.joined import Joined
from asfound.records.visits.rows import Plateau, SensorVisit
from asfound.records.visits.visit_files import Visit

_WORDS = ("reference", "barometer", "loop_meter", "condensate", "salt", "medium")


class Cell(NamedTuple):
    """One plateau of one sensor at one visit: where a result comes from."""

    sensor_visit: SensorVisit
    plateau: Plateau

    @property
    def key(self) -> tuple[str, str, int]:
        """Path of the visit, sensor, number of the plateau."""
        return (self.sensor_visit.visit.path, self.sensor_visit.sensor, self.plateau.number)

    @property
    def name(self) -> str:
        """What the sources of the plateau alone, and its draws, are named by."""
        return f"{self.sensor_visit.visit.name}/{self.sensor_visit.sensor}/{self.plateau.number}"


@dataclass(frozen=True, kw_only=True)
class ReadingTable:
    """n readings in rows; `cell` says to which of the `cells` each belongs, rows of a cell in order of time."""

    cells: tuple[Cell, ...]
    visits: tuple[Visit, ...]
    cell: np.ndarray
    visit: np.ndarray
    """number of the visit"""
    visit_row: np.ndarray
    """number of the row in its visit"""
    number: dict[str, np.ndarray]
    """by column, in the canonical unit; nan where blank"""
    step: dict[str, np.ndarray]
    """by column, the last digit written, canonical unit"""
    gauge: dict[str, np.ndarray]
    """by column of pressures, whether it was read against ambient"""
    quantity: dict[str, np.ndarray]
    """by column of indications, what was read: a channel, current or voltage"""
    word: dict[str, np.ndarray]
    """by column, text; empty where blank"""
    day: np.ndarray
    """day of the visit, datetime64[D]"""
    time: np.ndarray
    """seconds since 1970 UTC"""

    @property
    def n(self) -> int:
        """Number of readings."""
        return len(self.cell)

    def place(self, row: int, column: str) -> Place:
        """Where a reading stands in the records."""
        return self.cells[int(self.cell[row])].sensor_visit.visit.place(int(self.visit_row[row]), column)


def reading_table(sensor_visits: Sequence[SensorVisit]) -> ReadingTable:
    """The table of all plateaus that were read, visits in the order given."""
    cells = tuple(
        Cell(sv, plateau)
        for sv in sensor_visits
        if not sv.withdrawn
        for plateau in sv.plateaus
        if plateau.status == "read"
    )
    visits = tuple({id(cell.sensor_visit.visit): cell.sensor_visit.visit for cell in cells}.values())
    counts = [len(cell.plateau.rows) for cell in cells]
    visit_row = np.fromiter(chain.from_iterable(cell.plateau.rows for cell in cells), np.int64, sum(counts))
    number_of = {id(visit): number for number, visit in enumerate(visits)}
    cell = np.repeat(np.arange(len(cells)), counts)
    visit = np.array([number_of[id(c.sensor_visit.visit)] for c in cells], np.int64)[cell]
    joined = Joined(visits, visit, visit_row)
    numbers = [name for name, column in COLUMNS.items() if column.is_number]

    def words(kind: str, name: str) -> np.ndarray:
        column = joined.words(kind, name)
        return np.array(column.values, object)[column.code]

    return ReadingTable(
        cells=cells,
        visits=visits,
        cell=cell,
        visit=visit,
        visit_row=visit_row,
        number={name: joined.numbers("number", name) for name in numbers},
        step={name: joined.numbers("step", name) for name in numbers},
        gauge={name: joined.numbers("gauge", name) for name in numbers if "pressure" in COLUMNS[name].quantities},
        quantity={name: words("quantity", name) for name in INDICATIONS},
        word={name: words("text", name) for name in _WORDS},
        day=np.array([one.day for one in visits], "datetime64[D]")[visit],
        time=joined.time_utc(),
    )
