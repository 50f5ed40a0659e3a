"""What a reference standard read, corrected, with its sources, and the limits that its record gives."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from asfound.measurement.calibrations import Calibrations, Report
from asfound.measurement.reading_table import ReadingTable
from asfound.measurement.repeatability import scatter
from asfound.records.models.references import Reference
from asfound.uncertainty.sources import Scope, Source, rectangular
from asfound.uncertainty.terms import Measured, Terms

STANDARD_PRESSURE_PA = 101_325.0
"""Taken where the room's pressure was not read and only its ratio of enhancement factors matters."""


class ReferenceInputs:
    """Quantities and sources of the references of a table, for chosen rows; terms by position in those rows."""

    def __init__(self, table: ReadingTable, calibrations: Calibrations, report: Report) -> None:
        self.table, self.calibrations, self.report = table, calibrations, report

    def read(self, quantity: str, rows: np.ndarray) -> Measured:
        """A quantity that the row's reference measured, corrected."""
        table = self.table
        return self.calibrations.applied(
            table,
            rows,
            quantity,
            table.word["reference"][rows],
            table.number[quantity][rows],
            table.step[quantity][rows],
            self.report,
        )

    def pressure(self, quantity: str, rows: np.ndarray) -> Measured:
        """An absolute pressure: what the transducer read, corrected, plus ambient where it reads gauge."""
        reading = self.read(quantity, rows)
        gauge = self.table.gauge[quantity][rows] & ~np.isnan(reading.value)
        if not gauge.any():
            return reading
        ambient = self.ambient(rows)
        value = reading.value + np.where(gauge, ambient.value, 0.0)
        return Measured(value, Terms.joined([reading.terms, ambient.terms.scaled(gauge.astype(float))]))

    def ambient(self, rows: np.ndarray) -> Measured:
        """Ambient pressure, by the barometer that the row names (else by the reference itself)."""
        table = self.table
        instruments = np.where(
            table.word["barometer"][rows] == "", table.word["reference"][rows], table.word["barometer"][rows]
        )
        return self.calibrations.applied(
            table,
            rows,
            "ambient_pressure",
            instruments,
            table.number["ambient_pressure"][rows],
            table.step["ambient_pressure"][rows],
            self.report,
        )

    def chamber_pressure(self, rows: np.ndarray) -> Measured:
        """Pressure at the probe: the chamber's where it was read, else ambient."""
        chamber = self.pressure("chamber_pressure", rows)
        missing = np.isnan(self.table.number["chamber_pressure"][rows])
        if not missing.any():
            return chamber
        ambient = self.ambient(rows)
        value = np.where(missing, ambient.value, chamber.value)
        terms = [chamber.terms, ambient.terms.scaled(missing.astype(float))]
        return Measured(value, Terms.joined(terms))

    def per_reference(
        self,
        rows: np.ndarray,
        attribute: str,
        of_reference: Callable[[Reference, np.ndarray], Sequence[Terms]],
    ) -> list[Terms]:
        """Terms that a reference's own key brings, for each reference among `rows` that gives the key."""
        parts: list[Terms] = []
        names = self.table.word["reference"][rows]
        for name in dict.fromkeys(names):
            reference = self.calibrations.records.references[name]
            if getattr(reference, attribute):  # declared as 0, it is none
                parts += of_reference(reference, np.flatnonzero(names == name))
        return parts

    def limits(self, rows: np.ndarray, attribute: str, label: str, unit: str, *, a_visit: bool = False) -> list[Terms]:
        """A rectangular source of the reference; `a_visit`: its own column at each visit and sensor."""

        def terms(reference: Reference, at: np.ndarray) -> list[Terms]:
            half_width = float(getattr(reference, attribute))
            if not a_visit:
                source = rectangular(f"{reference.id}/{attribute}", f"{label} of {reference.id}", half_width, unit)
                return [Terms.of(at, self.calibrations.catalogue.add(source), 1.0)]
            return [
                self.own_at_each_visit(
                    rows,
                    at,
                    lambda place: rectangular(
                        f"{place}/{reference.id}/{attribute}", label, half_width, unit, Scope.VISIT
                    ),
                )
            ]

        return self.per_reference(rows, attribute, terms)

    def own_at_each_visit(self, rows: np.ndarray, at: np.ndarray, source: Callable[[str], Source]) -> Terms:
        """At positions in `rows`, a column for each sensor's part of each visit; `source`: of its name."""
        cells, which = np.unique(self.table.cell[rows[at]], return_inverse=True)
        parts = [self.table.cells[cell].sensor_visit for cell in cells.tolist()]
        add = self.calibrations.catalogue.add
        once = {id(part): part for part in parts}
        number_of = {key: add(source(f"{part.visit.name}/{part.sensor}")) for key, part in once.items()}
        return Terms.of(at, np.array([number_of[id(part)] for part in parts], np.int64)[which], 1.0)

    def room_pressure(self, rows: np.ndarray) -> Measured:
        """The room's pressure where only its ratio of enhancement factors matters: read, else the standard one."""
        ambient = self.ambient(rows)
        return Measured(np.where(np.isnan(ambient.value), STANDARD_PRESSURE_PA, ambient.value), ambient.terms)

    def probe_terms(self, rows: np.ndarray, probe_c: np.ndarray) -> list[Terms]:
        """A transfer probe's hysteresis and its change with temperature since its calibration."""
        add = self.calibrations.catalogue.add

        def hysteresis(reference: Reference, at: np.ndarray) -> list[Terms]:
            label = f"hysteresis of {reference.id}"
            half = float(reference.hysteresis or 0.0) / 2.0
            return [
                self.own_at_each_visit(
                    rows,
                    at,
                    lambda place: rectangular(f"{place}/{reference.id}/hysteresis", label, half, "%RH", Scope.VISIT),
                )
            ]

        def coefficient(reference: Reference, at: np.ndarray) -> list[Terms]:
            if reference.calibration_temperature is None:
                return []
            label = f"temperature coefficient of {reference.id}"
            size = float(reference.temperature_coefficient or 0.0)
            source = rectangular(f"{reference.id}/temperature_coefficient", label, size, "%RH/degC")
            away = np.where(np.isnan(probe_c[at]), 0.0, probe_c[at] - reference.calibration_temperature.value)
            return [Terms.of(at, add(source), away)]

        parts = self.per_reference(rows, "hysteresis", hysteresis)
        return parts + self.per_reference(rows, "temperature_coefficient", coefficient)

    def lag(self, rows: np.ndarray, humidity: np.ndarray) -> list[Terms]:
        """Probe and sensor follow a changing room at different speeds: lag · slope of the plateau's readings."""
        cells, cell = np.unique(self.table.cell[rows], return_inverse=True)
        slope = np.nan_to_num(scatter(humidity, self.table.time[rows], cell, len(cells)).slope)

        def behind(reference: Reference, at: np.ndarray) -> list[Terms]:
            numbers, which = np.unique(cell[at], return_inverse=True)
            sources = []
            for number in numbers.tolist():
                place = self.table.cells[int(cells[number])].name
                half = float(reference.response_lag or 0.0) * abs(float(slope[number]))
                identity, label = f"{place}/{reference.id}/response_lag", "lag behind a changing room"
                source = rectangular(identity, label, half, "%RH", Scope.PLATEAU)
                sources.append(self.calibrations.catalogue.add(source))
            return [Terms.of(at, np.array(sources, np.int64)[which], 1.0)]

        return self.per_reference(rows, "response_lag", behind)

    def at_probe(self, quantity: str, rows: np.ndarray) -> Measured:
        """The temperature at the probe: read in the chamber, plus what the chamber's gradient may add."""
        read = self.read(quantity, rows)
        gradient = self.limits(rows, "chamber_gradient", "temperature gradient in the chamber", "degC", a_visit=True)
        return Measured(read.value, Terms.joined([read.terms, *gradient]))
