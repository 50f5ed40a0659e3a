"""What a reference standard read, corrected, with its sources, and the limits that its record gives."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, NamedTuple

import numpy as np

from asfound.measurement.by_bands import largest, value_at
from asfound.measurement.calibrations import Calibrations, Report
from asfound.measurement.reading_table import ReadingTable
from asfound.measurement.repeatability import scatter
from asfound.records.methods import METHODS
from asfound.records.models.periods import Dated, Known
from asfound.records.models.references import Reference
from asfound.records.models.spreads import KnownByBands, Spread
from asfound.uncertainty.sources import Scope, Size, Source, rectangular, size_of
from asfound.uncertainty.terms import Measured, Terms

STANDARD_PRESSURE_PA = 101_325.0
"""Taken where the room's pressure was not read and only its ratio of enhancement factors matters."""


class Declared(NamedTuple):
    """A property of a reference as it is known on some days."""

    reference: Reference
    attribute: str
    entry: Known[Any]

    @property
    def value(self) -> Any:
        """In the canonical unit."""
        return self.entry.value

    @property
    def by_bands(self) -> KnownByBands[Any]:
        """The same where it may have bands."""
        assert isinstance(self.entry, KnownByBands)
        return self.entry

    @property
    def identity(self) -> str:
        """Of a source that lasts until another value is in force: what was found anew is another error."""
        since = "" if self.entry.from_ == date.min else f"{self.entry.from_}/"
        return f"{self.reference.id}/{since}{self.attribute}"


def _in_force(entries: Sequence[Dated], days: np.ndarray) -> np.ndarray:
    """Number of the entry that is in force on each day, -1 where none is; shape as the days'."""
    first = np.array([entry.from_ for entry in entries], "datetime64[D]")
    return np.searchsorted(first, days, side="right") - 1


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
        of_reference: Callable[[Declared, np.ndarray], Sequence[Terms]],
    ) -> list[Terms]:
        """Terms that a reference's own key brings, for each reference among `rows` and each value in force on a day."""
        none = 1.0 if attribute == "lowest_efficiency" else 0.0
        parts: list[Terms] = []
        names, days = self.table.word["reference"][rows], self.table.day[rows]
        for name in dict.fromkeys(names):
            reference = self.calibrations.records.references[name]
            at = np.flatnonzero(names == name)
            entries = getattr(reference, attribute) or ()
            in_force = _in_force(entries, days[at])
            for number, entry in enumerate(entries):
                declared = entry.value != none or getattr(entry, "bands", ())
                if declared and len(of_entry := at[in_force == number]):
                    parts += of_reference(Declared(reference, attribute, entry), of_entry)
        return parts

    def limits(self, rows: np.ndarray, attribute: str, label: str, unit: str, *, a_visit: bool = False) -> list[Terms]:
        """A source of the reference as large as its record says; `a_visit`: its own column at each visit and sensor."""

        def terms(declared: Declared, at: np.ndarray) -> list[Terms]:
            reference, (size, weight) = declared.reference, self.spread(rows, declared, at)
            scale = np.zeros(len(rows))
            scale[at] = weight

            def source(identity: str, text: str, scope: Scope) -> Source:
                return Source(identity, text, size.u, unit, size.distribution, size.nu, scope=scope)

            if not a_visit:
                made = source(declared.identity, f"{label} of {reference.id}", Scope.LONGER)
                return [Terms.of(at, self.calibrations.catalogue.add(made), weight)]
            place = f"{reference.id}/{attribute}"
            own = self.own_at_each_visit(rows, at, lambda name: source(f"{name}/{place}", label, Scope.VISIT))
            return [own.scaled(scale)]

        return self.per_reference(rows, attribute, terms)

    def spread(self, rows: np.ndarray, declared: Declared, at: np.ndarray) -> tuple[Size, np.ndarray]:
        """Size of what is declared where it is largest, and how much of that it is at positions `at` of `rows`.

        Bands are of one effect: it grows and shrinks with the target or the temperature, with one sign.
        """
        entry = declared.entry
        assert isinstance(entry, Spread)
        most = largest(entry)
        size = size_of(most, entry.means, entry.distribution, entry.nu, entry.k)
        return size, self.value(rows, declared, at) / most if most > 0.0 else np.zeros(len(at))

    def value(self, rows: np.ndarray, declared: Declared, at: np.ndarray) -> np.ndarray:
        """What is declared at positions `at` of `rows`, by the target there and the temperature at the reference."""
        table, here, warm = self.table, rows[at], METHODS[declared.reference.kind].probe_temperature
        return value_at(
            [declared.by_bands], np.zeros(len(at), np.int64), table.number["target"][here], table.number[warm][here]
        )

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

        def hysteresis(declared: Declared, at: np.ndarray) -> list[Terms]:
            name, width = declared.reference.id, largest(declared.by_bands)
            if width == 0.0:
                return []
            own = self.own_at_each_visit(
                rows,
                at,
                lambda place: rectangular(
                    f"{place}/{name}/hysteresis", f"hysteresis of {name}", width / 2.0, "%RH", Scope.VISIT
                ),
            )
            share = np.zeros(len(rows))
            share[at] = self.value(rows, declared, at) / width
            return [own.scaled(share)]

        def coefficient(declared: Declared, at: np.ndarray) -> list[Terms]:
            reference = declared.reference
            entries = reference.calibration_temperature or ()
            calibrated_c = np.array([*(entry.value.value for entry in entries), np.nan])
            away = probe_c[at] - calibrated_c[_in_force(entries, self.table.day[rows[at]])]
            if np.isnan(calibrated_c).all():
                return []
            label = f"temperature coefficient of {reference.id}"
            source = rectangular(declared.identity, label, declared.value, "%RH/degC")
            return [Terms.of(at, add(source), np.where(np.isnan(away), 0.0, away))]

        parts = self.per_reference(rows, "hysteresis", hysteresis)
        return parts + self.per_reference(rows, "temperature_coefficient", coefficient)

    def lag(self, rows: np.ndarray, humidity: np.ndarray) -> list[Terms]:
        """Probe and sensor follow a changing room at different speeds: lag · slope of the plateau's readings."""
        cells, cell = np.unique(self.table.cell[rows], return_inverse=True)
        slope = np.nan_to_num(scatter(humidity, self.table.time[rows], cell, len(cells)).slope)

        def behind(declared: Declared, at: np.ndarray) -> list[Terms]:
            reference = declared.reference
            numbers, which = np.unique(cell[at], return_inverse=True)
            sources = []
            for number in numbers.tolist():
                place = self.table.cells[int(cells[number])].name
                half = declared.value * abs(float(slope[number]))
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
