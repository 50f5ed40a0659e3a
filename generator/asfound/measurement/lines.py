"""What was measured: every error of every plateau, with the budgets and what was found on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from asfound.faults import Fault
from asfound.measurement.calibrations import VisitCurve
from asfound.measurement.cell_sources import Part
from asfound.measurement.log_errors import Logged
from asfound.measurement.reading_table import Cell, ReadingTable
from asfound.measurement.reference_values import ReferenceValues
from asfound.measurement.repeatability import Repeatability
from asfound.records.models import Channel
from asfound.uncertainty.budgets import Budgets

LineKey = tuple[str, str, int, Channel, Part]
"""path of the visit, sensor, number of the plateau, channel, part"""


class Line(NamedTuple):
    """One measured error: a plateau, a channel, a part; its number is its row in the budgets."""

    cell: int
    channel: Channel
    part: Part
    error: float
    """mean over the readings, settling corrected; this and what follows in the channel's unit"""
    reference_value: float
    """nan for a loop, which has none"""
    indication: float
    n: int
    """readings"""
    s: float
    """standard deviation of the readings' errors; nan for a single one"""
    settling_correction: float
    """signed, as it was added"""
    repeatability: Repeatability


@dataclass
class Measurement:
    """All measured errors with budgets, and the faults and reservations that were found on the way."""

    cells: list[Cell] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    budgets: Budgets | None = None
    faults: list[Fault] = field(default_factory=list)
    reservations: dict[int, list[Fault]] = field(default_factory=dict)
    """by cell"""
    used: dict[int, set[tuple[str, str, date]]] = field(default_factory=dict)
    """by cell: (reference, quantity, day of calibration) that its results lean on"""
    method: dict[int, str] = field(default_factory=dict)
    temperature_c: dict[int, float] = field(default_factory=dict)
    pressure_pa: dict[int, float] = field(default_factory=dict)
    logged: dict[int, Logged] = field(default_factory=dict)
    """by cell that was read from a log"""
    curves: dict[tuple[str, str, date], VisitCurve] = field(default_factory=dict)
    """correction curves of references that a visit here calibrated"""
    stages: list[tuple[int, ReadingTable, ReferenceValues]] = field(default_factory=list)
    """(number of the first cell, table, reference values): what Monte Carlo draws again"""

    _by_visit: dict[tuple[str, str], list[int]] = field(default_factory=dict, repr=False)
    _indexed: int = 0

    def lines_of(self, sensor: str, visit: str) -> Sequence[int]:
        """Numbers of the lines that a visit (its id) gave of a sensor or reference; new lines are indexed once."""
        for number in range(self._indexed, len(self.lines)):
            sv = self.cells[self.lines[number].cell].sensor_visit
            self._by_visit.setdefault((sv.sensor, sv.visit.id), []).append(number)
        self._indexed = len(self.lines)
        return self._by_visit.get((sensor, visit), ())

    def whole(self) -> Budgets:
        """The budgets of all lines."""
        assert self.budgets is not None
        return self.budgets

    def key(self, line: Line) -> LineKey:
        """What names a line whatever else was measured."""
        return (*self.cells[line.cell].key, line.channel, line.part)
