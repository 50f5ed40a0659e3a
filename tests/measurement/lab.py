"""Synthetic records measured: errors with their budgets, found by what they are about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from asfound.records.visits.rows import sensor_visits
from tests.builders import Files, loaded
from tests.program import Program, as_it_is


@dataclass(frozen=True)
class Lab:
    """One measurement of records."""

    program: Program
    measurement: Any

    def number(
        self,
        target: float,
        *,
        sensor: str = "RH-1",
        channel: str = "humidity",
        part: str = "sensor",
        visit: str = "",
        phase: str = "as_found",
        direction: str = "",
    ) -> int:
        """Row in the budgets of the one line that is meant."""
        found = []
        for number, line in enumerate(self.measurement.lines):
            cell = self.measurement.cells[line.cell]
            names = (cell.sensor_visit.sensor, line.channel, line.part, cell.plateau.phase, cell.plateau.target)
            if names != (sensor, channel, part, phase, target):
                continue
            if visit in ("", cell.sensor_visit.visit.name) and direction in ("", cell.plateau.direction):
                found.append(number)
        assert len(found) == 1, f"{len(found)} lines of {sensor} at {target}"
        return found[0]

    def line(self, target: float, **which: Any) -> Any:
        """The measured error."""
        return self.measurement.lines[self.number(target, **which)]

    def U(self, target: float, **which: Any) -> float:
        """Its expanded uncertainty."""
        return float(self.measurement.whole().U[self.number(target, **which)])

    def u(self, target: float, **which: Any) -> float:
        """Its standard uncertainty."""
        return float(self.measurement.whole().u[self.number(target, **which)])

    def budget(self, target: float, **which: Any) -> dict[str, Any]:
        """Its budget: lines by the source's identity."""
        return {line.source.identity: line for line in self.measurement.whole().lines(self.number(target, **which))}

    def source(self, ending: str, target: float, **which: Any) -> Any:
        """The one line of its budget whose identity ends so; None where there is none."""
        found = [line for identity, line in self.budget(target, **which).items() if identity.endswith(ending)]
        assert len(found) <= 1, f"{len(found)} sources end with {ending}"
        return found[0] if found else None

    def reservations(self, target: float, **which: Any) -> list[str]:
        """Names of the rules that its plateau meets."""
        cell = self.line(target, **which).cell
        return [fault.rule.name for fault in self.measurement.reservations.get(cell, [])]


def measured(files: Files, program: Program | None = None) -> Lab:
    """The records measured, by the program as it is or by another; they must give no error."""
    program = program or as_it_is()
    records = loaded(files)
    lab = Lab(program, program.measure.measure(records, sensor_visits(records)))
    assert not lab.measurement.faults, "\n".join(fault.text() for fault in lab.measurement.faults)
    return lab


def faults(files: Files) -> list[str]:
    """Names of the errors that measuring finds."""
    records = loaded(files)
    return [fault.rule.name for fault in as_it_is().measure.measure(records, sensor_visits(records)).faults]


def spread(answer: Any) -> float:
    """Standard deviation of a Monte Carlo answer, from its quantiles."""
    middle = (answer.quantiles[1:] + answer.quantiles[:-1]) / 2.0
    return float(np.std(middle))
