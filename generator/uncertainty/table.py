"""All readings of all plateaus as one table of arrays: what the vectorised models work on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from generator.faults import Place
from generator.records.columns import COLUMNS, INDICATIONS
from generator.records.rows import Plateau, SensorVisit

_WORDS = ("reference", "barometer", "loop_meter", "condensate", "salt", "medium")


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One plateau of one sensor at one visit: where a result comes from."""

    sensor_visit: SensorVisit
    plateau: Plateau

    @property
    def key(self) -> tuple[str, str, int]:
        """Path of the visit, sensor, number of the plateau."""
        return (self.sensor_visit.visit.path, self.sensor_visit.sensor, self.plateau.number)


@dataclass(frozen=True, kw_only=True)
class ReadingTable:
    """n readings in rows; `cell` says to which of the `cells` each belongs, rows of a cell in order of time."""

    cells: tuple[Cell, ...]
    cell: np.ndarray
    visit_row: np.ndarray
    number: dict[str, np.ndarray]
    step: dict[str, np.ndarray]
    gauge: dict[str, np.ndarray]
    quantity: dict[str, np.ndarray]
    word: dict[str, np.ndarray]
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
        Cell(sensor_visit=sv, plateau=plateau)
        for sv in sensor_visits
        if not sv.withdrawn
        for plateau in sv.plateaus
        if plateau.status == "read"
    )
    counts = [len(cell.plateau.rows) for cell in cells]
    picks = [(cell.sensor_visit.visit, np.array(cell.plateau.rows, np.int64)) for cell in cells]

    def gather(values: list[np.ndarray], kind: object) -> np.ndarray:
        return np.concatenate(values) if values else np.zeros(0, kind)  # type: ignore[call-overload]

    numbers = [name for name, column in COLUMNS.items() if column.is_number]
    pressures = [name for name in numbers if "pressure" in COLUMNS[name].quantities]
    days = np.array([np.datetime64(visit.day, "D") for visit, _ in picks], "datetime64[D]")
    return ReadingTable(
        cells=cells,
        cell=np.repeat(np.arange(len(cells)), counts),
        visit_row=gather([rows for _, rows in picks], np.int64),
        number={name: gather([v.number[name][r] for v, r in picks], float) for name in numbers},
        step={name: gather([v.step[name][r] for v, r in picks], float) for name in numbers},
        gauge={name: gather([v.gauge[name][r] for v, r in picks], bool) for name in pressures},
        quantity={
            name: gather([np.array(v.quantity[name], object)[r] for v, r in picks], object) for name in INDICATIONS
        },
        word={name: gather([np.array(v.text[name], object)[r] for v, r in picks], object) for name in _WORDS},
        day=np.repeat(days, counts) if len(days) else np.zeros(0, "datetime64[D]"),
        time=gather([v.time_utc[r] for v, r in picks], np.int64),
    )
