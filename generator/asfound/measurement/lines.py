"""What was measured: every error of every plateau, with the budgets and what was found on the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field, fields
from datetime import date
from functools import cached_property
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


@dataclass(kw_only=True)
class Growing:
    """What was measured so far, stage by stage; the fields are those of `Measurement`."""

    cells: list[Cell] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    reservations: dict[int, list[Fault]] = field(default_factory=dict)
    used: dict[int, set[tuple[str, str, date]]] = field(default_factory=dict)
    method: dict[int, str] = field(default_factory=dict)
    temperature_c: dict[int, float] = field(default_factory=dict)
    pressure_pa: dict[int, float] = field(default_factory=dict)
    logged: dict[int, Logged] = field(default_factory=dict)
    stages: list[tuple[int, ReadingTable, ReferenceValues]] = field(default_factory=list)

    _by_visit: dict[tuple[str, str], list[int]] = field(default_factory=dict, init=False, repr=False)
    _indexed: int = field(default=0, init=False, repr=False)

    def lines_of(self, sensor: str, visit: str) -> Sequence[int]:
        """Numbers of the lines that a visit (its id) has given of a sensor or reference; new ones are indexed once."""
        for number in range(self._indexed, len(self.lines)):
            sv = self.cells[self.lines[number].cell].sensor_visit
            self._by_visit.setdefault((sv.sensor, sv.visit.id), []).append(number)
        self._indexed = len(self.lines)
        return self._by_visit.get((sensor, visit), ())

    def whole(self, budgets: Budgets, curves: Mapping[tuple[str, str, date], VisitCurve]) -> Measurement:
        """All that was measured, complete with its budgets."""
        parts = {one.name: getattr(self, one.name) for one in fields(self) if one.init}
        return Measurement(**parts, budgets=budgets, curves=curves)


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """All measured errors with budgets, and the faults and reservations that were found on the way."""

    cells: Sequence[Cell]
    lines: Sequence[Line]
    budgets: Budgets
    faults: Sequence[Fault]
    reservations: Mapping[int, Sequence[Fault]]
    """by cell"""
    used: Mapping[int, Set[tuple[str, str, date]]]
    """by cell: (reference, quantity, day of calibration) that its results lean on"""
    method: Mapping[int, str]
    temperature_c: Mapping[int, float]
    pressure_pa: Mapping[int, float]
    logged: Mapping[int, Logged]
    """by cell that was read from a log"""
    curves: Mapping[tuple[str, str, date], VisitCurve]
    """correction curves of references that a visit here calibrated"""
    stages: Sequence[tuple[int, ReadingTable, ReferenceValues]]
    """(number of the first cell, table, reference values): what Monte Carlo draws again"""

    def lines_of(self, sensor: str, visit: str) -> Sequence[int]:
        """Numbers of the lines that a visit (its id) gave of a sensor or reference."""
        return self._by_visit.get((sensor, visit), ())

    @cached_property
    def _by_visit(self) -> dict[tuple[str, str], list[int]]:
        found: dict[tuple[str, str], list[int]] = {}
        for number, line in enumerate(self.lines):
            sv = self.cells[line.cell].sensor_visit
            found.setdefault((sv.sensor, sv.visit.id), []).append(number)
        return found

    def whole(self) -> Budgets:
        """The budgets of all lines."""
        return self.budgets

    def key(self, line: Line) -> LineKey:
        """What names a line whatever else was measured."""
        return (*self.cells[line.cell].key, line.channel, line.part)
