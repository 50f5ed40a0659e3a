"""The reference value of every reading, by the method of its reference standard, with its named sources.

One model function a method; its partial derivatives carry the sources of the inputs into the humidity.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from generator.faults import error
from generator.humidity import (
    SALTS,
    rh_at_sensor,
    rh_from_mirror,
    salt_range_c,
    salt_rh,
    salt_uncertainty,
    saturation_vapour_pressure,
    two_pressure_rh,
    water_to_ice_ratio,
)
from generator.records.references import NEEDED, Reference
from generator.uncertainty.calibrations import Calibrations, Report
from generator.uncertainty.duals import differentiate
from generator.uncertainty.formulations import State, formulation_terms
from generator.uncertainty.repeatability import scatter
from generator.uncertainty.sources import rectangular
from generator.uncertainty.table import ReadingTable
from generator.uncertainty.terms import Measured, Terms

OUT_OF_PHYSICS = error("no-humidity", "no humidity can be computed from a row's readings")
UNKNOWN_SALT = error("unknown-salt", "a salt has no published humidity here")

STANDARD_PRESSURE_PA = 101_325.0
"""Taken where a transfer probe's room pressure was not read: f nearly cancels between probe and sensor."""

Model = Callable[..., Any]


@dataclass(frozen=True, kw_only=True)
class MethodGroup:
    """Rows of one method and one model function: what Monte Carlo draws again."""

    method: str
    rows: np.ndarray
    inputs: tuple[str, ...]
    measured: tuple[Measured, ...]
    """one for each input, terms by position in `rows`"""
    model: Model
    other: Terms
    """sources that act on the humidity itself, by position in `rows`"""


@dataclass(frozen=True, kw_only=True)
class ReferenceValues:
    """Reference humidity and temperature of all n rows; nan where there is none."""

    humidity: Measured
    temperature: Measured
    slope: np.ndarray
    """relative change of saturation vapour pressure with temperature at the probe, 1/K"""
    pressure: np.ndarray
    """pressure at the probe, Pa"""
    method: np.ndarray
    groups: tuple[MethodGroup, ...]


def reference_values(
    table: ReadingTable, calibrations: Calibrations, over_ice: np.ndarray, report: Report
) -> ReferenceValues:
    """Reference values of a table; `over_ice`: whether the row's sensor shows humidity over ice."""
    return _References(table, calibrations, over_ice, report).values()


class _References:
    def __init__(self, table: ReadingTable, calibrations: Calibrations, over_ice: np.ndarray, report: Report) -> None:
        self.table, self.calibrations, self.over_ice, self.report = table, calibrations, over_ice, report
        n = table.n
        self.humidity = np.full(n, np.nan)
        self.temperature = np.full(n, np.nan)
        self.pressure = np.full(n, np.nan)
        self.method = np.full(n, "", object)
        self.humidity_terms: list[Terms] = []
        self.temperature_terms: list[Terms] = []
        self.groups: list[MethodGroup] = []

    def values(self) -> ReferenceValues:
        records = self.calibrations.records
        kinds = np.array([getattr(records.references.get(r), "kind", "") for r in self.table.word["reference"]], object)
        for kind in NEEDED:
            for ice in (False, True):
                rows = np.flatnonzero((kinds == kind) & (self.over_ice == ice))
                if len(rows):
                    self._by_kind(kind, rows, ice)
        slope = np.full(self.table.n, np.nan)
        known = np.flatnonzero(np.isfinite(self.temperature) & np.isfinite(self.humidity))
        if len(known):
            value, gradient = differentiate(saturation_vapour_pressure, self.temperature[known])
            slope[known] = gradient[0] / value
        return ReferenceValues(
            humidity=Measured(self.humidity, Terms.joined(self.humidity_terms)),
            temperature=Measured(self.temperature, Terms.joined(self.temperature_terms)),
            slope=slope,
            pressure=self.pressure,
            method=self.method,
            groups=tuple(self.groups),
        )

    def _by_kind(self, kind: str, rows: np.ndarray, ice: bool) -> None:
        if kind == "two_pressure":
            self._two_pressure(rows, ice)
        elif kind == "chilled_mirror":
            for condensate in ("dew", "frost"):
                chosen = rows[self.table.word["condensate"][rows] == condensate]
                if len(chosen):
                    self._chilled_mirror(chosen, condensate, ice)
        elif kind == "saturated_salt":
            for salt in dict.fromkeys(self.table.word["salt"][rows]):
                self._saturated_salt(rows[self.table.word["salt"][rows] == salt], salt, ice)
        elif kind == "transfer_probe":
            in_air = self.table.word["medium"][rows] == "in air"
            for air in (False, True):
                chosen = rows[in_air == air]
                if len(chosen):
                    self._transfer_probe(chosen, air, ice)

    def _read(self, quantity: str, rows: np.ndarray) -> Measured:
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

    def _pressure(self, quantity: str, rows: np.ndarray) -> Measured:
        """An absolute pressure: what the transducer read, corrected, plus ambient where it reads gauge."""
        reading = self._read(quantity, rows)
        gauge = self.table.gauge[quantity][rows] & ~np.isnan(reading.value)
        if not gauge.any():
            return reading
        ambient = self._ambient(rows)
        value = reading.value + np.where(gauge, ambient.value, 0.0)
        return Measured(value, Terms.joined([reading.terms, ambient.terms.scaled(gauge.astype(float))]))

    def _ambient(self, rows: np.ndarray) -> Measured:
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

    def _chamber_pressure(self, rows: np.ndarray) -> Measured:
        """Pressure at the probe: the chamber's where it was read, else ambient."""
        chamber = self._pressure("chamber_pressure", rows)
        missing = np.isnan(self.table.number["chamber_pressure"][rows])
        if not missing.any():
            return chamber
        ambient = self._ambient(rows)
        value = np.where(missing, ambient.value, chamber.value)
        terms = [chamber.terms, ambient.terms.scaled(missing.astype(float))]
        return Measured(value, Terms.joined(terms))

    def _per_reference(
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
            if getattr(reference, attribute) is not None:
                parts += of_reference(reference, np.flatnonzero(names == name))
        return parts

    def _limits(self, rows: np.ndarray, attribute: str, label: str, unit: str, *, a_visit: bool = False) -> list[Terms]:
        """A rectangular source of the reference; `a_visit`: its own column at each visit and sensor."""

        def terms(reference: Reference, at: np.ndarray) -> list[Terms]:
            half_width = float(getattr(reference, attribute))
            if not a_visit:
                source = rectangular(f"{reference.id}/{attribute}", f"{label} of {reference.id}", half_width, unit)
                return [Terms.of(at, self.calibrations.catalogue.add(source), 1.0)]
            parts = []
            for cells, place in self._by_sensor_visit(rows[at]):
                source = rectangular(f"{place}/{reference.id}/{attribute}", f"{label}", half_width, unit)
                parts.append(Terms.of(at[cells], self.calibrations.catalogue.add(source), 1.0))
            return parts

        return self._per_reference(rows, attribute, terms)

    def _by_sensor_visit(self, rows: np.ndarray) -> list[tuple[np.ndarray, str]]:
        """Positions in `rows` of each sensor's part of each visit, with its name; its rows stand together."""
        cells = self.table.cells
        parts = [cells[c].sensor_visit for c in self.table.cell[rows]]
        starts = [i for i, part in enumerate(parts) if i == 0 or part is not parts[i - 1]]
        ends = [*starts[1:], len(parts)]
        return [
            (np.arange(start, end), f"{parts[start].visit.name}/{parts[start].sensor}")
            for start, end in zip(starts, ends, strict=True)
        ]

    def _two_pressure(self, rows: np.ndarray, ice: bool) -> None:
        add = self.calibrations.catalogue.add
        saturation_pa = self._pressure("saturation_pressure", rows)
        drop: list[Terms] = []
        lost = np.zeros(len(rows))

        def pressure_drop(reference: Reference, at: np.ndarray) -> list[Terms]:
            # One-sided: behind the saturator the transducer reads up to this much less than the saturator's pressure.
            half = float(reference.pressure_drop or 0.0) / 2.0
            lost[at] = half
            label = f"pressure lost behind the saturator of {reference.id}"
            return [Terms.of(at, add(rectangular(f"{reference.id}/pressure_drop", label, half, "Pa")), 1.0)]

        drop = self._per_reference(rows, "pressure_drop", pressure_drop)
        saturation_pa = Measured(saturation_pa.value + lost, Terms.joined([saturation_pa.terms, *drop]))
        saturation_c = self._read("saturation_temperature", rows)
        gradient = self._limits(rows, "saturator_gradient", "temperature gradient in the saturator", "degC")
        saturation_c = Measured(saturation_c.value, Terms.joined([saturation_c.terms, *gradient]))
        chamber_pa = self._chamber_pressure(rows)
        chamber_c = self._at_probe("chamber_temperature", rows)
        efficiency = np.ones(len(rows))

        def one_sided(reference: Reference, at: np.ndarray) -> list[Terms]:
            half = (1.0 - float(reference.lowest_efficiency or 1.0)) / 2.0
            efficiency[at] = 1.0 - half
            label = f"saturation efficiency of {reference.id}"
            return [Terms.of(at, add(rectangular(f"{reference.id}/efficiency", label, half, "1")), 1.0)]

        reached = Measured(efficiency, Terms.joined(self._per_reference(rows, "lowest_efficiency", one_sided)))
        inputs = {
            "saturation_pressure": saturation_pa,
            "saturation_temperature": saturation_c,
            "chamber_pressure": chamber_pa,
            "chamber_temperature": chamber_c,
            "saturation_efficiency": reached,
        }
        self._evaluate(
            "two_pressure",
            rows,
            inputs,
            two_pressure_rh,
            ice,
            saturated=("water", "saturation_temperature", "saturation_pressure"),
        )

    def _chilled_mirror(self, rows: np.ndarray, condensate: str, ice: bool) -> None:
        mirror_c = self._read("mirror_temperature", rows)
        chamber_c = self._at_probe("chamber_temperature", rows)
        chamber_pa = self._chamber_pressure(rows)
        own = ~np.isnan(self.table.number["mirror_pressure"][rows])
        mirror_pa = self._pressure("mirror_pressure", rows)
        mirror_pa = Measured(
            np.where(own, mirror_pa.value, chamber_pa.value),
            Terms.joined([mirror_pa.terms, chamber_pa.terms.scaled((~own).astype(float))]),
        )

        def model(mirror: Any, air: Any, mirror_pressure: Any, pressure: Any) -> Any:
            return rh_from_mirror(mirror, air, condensate, pressure, mirror_pressure)

        inputs = {
            "mirror_temperature": mirror_c,
            "chamber_temperature": chamber_c,
            "mirror_pressure": mirror_pa,
            "chamber_pressure": chamber_pa,
        }
        phase = "ice" if condensate == "frost" else "water"
        saturated = (phase, "mirror_temperature", "mirror_pressure")
        self._evaluate(f"chilled_mirror ({condensate})", rows, inputs, model, ice, saturated=saturated)

    def _saturated_salt(self, rows: np.ndarray, salt: str, ice: bool) -> None:
        if salt not in SALTS:
            row = int(rows[0])
            cure = f"use one of {', '.join(SALTS)}"
            self.report(UNKNOWN_SALT, row, self.table.place(row, "salt"), f"unknown salt {salt!r}", cure)
            return
        solution_c = self._read("chamber_temperature", rows)
        # The probe may be warmer or colder than the solution: the vapour pressure is the solution's.
        warmer = Measured(
            np.zeros(len(rows)),
            Terms.joined(
                self._limits(rows, "chamber_gradient", "probe against solution temperature", "degC", a_visit=True)
            ),
        )

        def model(temperature: Any, difference: Any, _pressure: Any) -> Any:
            ratio = saturation_vapour_pressure(temperature) / saturation_vapour_pressure(temperature + difference)
            return salt_rh(salt, temperature) * ratio

        lowest, highest = salt_range_c(salt)
        inside = (solution_c.value >= lowest) & (solution_c.value <= highest)
        stated = np.where(inside, salt_uncertainty(salt, np.clip(solution_c.value, lowest, highest)), 0.0)
        # Greenspan's stated uncertainty is taken as limits: its coverage level could not be verified.
        published = rectangular(f"salt/{salt}/published", f"published humidity over {salt}", 1.0, "1")
        at = np.arange(len(rows))
        terms = [Terms.of(at, self.calibrations.catalogue.add(published), stated)]
        terms += self._limits(rows, "salt_condition", "condition of the solution and equilibrium", "%RH")
        inputs = {
            "chamber_temperature": solution_c,
            "probe_difference": warmer,
            "chamber_pressure": self._room_pressure(rows),
        }
        saturated = ("water", "chamber_temperature", None)
        self._evaluate(f"saturated_salt ({salt})", rows, inputs, model, ice, other=terms, saturated=saturated)
        self.temperature_terms.append(_at_rows(warmer.terms, rows))

    def _transfer_probe(self, rows: np.ndarray, air: bool, ice: bool) -> None:
        humidity = self._read("reference_humidity", rows)
        probe_c = self._read("reference_temperature", rows)
        extra = self._probe_terms(rows, probe_c.value)
        gradient = self._limits(rows, "chamber_gradient", "probe against reference temperature", "degC", a_visit=True)
        if air:
            sensor_c = self._read("air_temperature", rows)
            sensor_c = Measured(sensor_c.value, Terms.joined([sensor_c.terms, *gradient]))
            for attribute, label in (
                ("instability", "changes of the room while reading"),
                ("vapour_gradient", "vapour between reference and sensor"),
            ):
                extra += self._limits(rows, attribute, label, "%RH", a_visit=True)
            extra += self._lag(rows, humidity.value)
        else:
            sensor_c = Measured(probe_c.value, Terms.joined([probe_c.terms, *gradient]))

        inputs = {
            "reference_humidity": humidity,
            "reference_temperature": probe_c,
            "chamber_temperature": sensor_c,
            "chamber_pressure": self._room_pressure(rows),
        }
        self._evaluate(
            "transfer_probe in air" if air else "transfer_probe",
            rows,
            inputs,
            rh_at_sensor,
            ice,
            other=extra,
            saturated=("water", "reference_temperature", None),
        )

    def _room_pressure(self, rows: np.ndarray) -> Measured:
        """The room's pressure where only its ratio of enhancement factors matters: read, else the standard one."""
        ambient = self._ambient(rows)
        return Measured(np.where(np.isnan(ambient.value), STANDARD_PRESSURE_PA, ambient.value), ambient.terms)

    def _probe_terms(self, rows: np.ndarray, probe_c: np.ndarray) -> list[Terms]:
        """A transfer probe's hysteresis and its change with temperature since its calibration."""
        add = self.calibrations.catalogue.add

        def hysteresis(reference: Reference, at: np.ndarray) -> list[Terms]:
            label = f"hysteresis of {reference.id}"
            half = float(reference.hysteresis or 0.0) / 2.0
            return [
                Terms.of(at[cells], add(rectangular(f"{place}/{reference.id}/hysteresis", label, half, "%RH")), 1.0)
                for cells, place in self._by_sensor_visit(rows[at])
            ]

        def coefficient(reference: Reference, at: np.ndarray) -> list[Terms]:
            if reference.calibration_temperature is None:
                return []
            label = f"temperature coefficient of {reference.id}"
            size = float(reference.temperature_coefficient or 0.0)
            source = rectangular(f"{reference.id}/temperature_coefficient", label, size, "%RH/degC")
            away = np.where(np.isnan(probe_c[at]), 0.0, probe_c[at] - reference.calibration_temperature.value)
            return [Terms.of(at, add(source), away)]

        parts = self._per_reference(rows, "hysteresis", hysteresis)
        return parts + self._per_reference(rows, "temperature_coefficient", coefficient)

    def _lag(self, rows: np.ndarray, humidity: np.ndarray) -> list[Terms]:
        """Probe and sensor follow a changing room at different speeds: lag · slope of the plateau's readings."""
        cells, cell = np.unique(self.table.cell[rows], return_inverse=True)
        slope = np.nan_to_num(scatter(humidity, self.table.time[rows], cell, len(cells)).slope)

        def lag(reference: Reference, at: np.ndarray) -> list[Terms]:
            parts = []
            for number in np.unique(cell[at]):
                here = self.table.cells[int(cells[number])]
                place = f"{here.sensor_visit.visit.name}/{here.sensor_visit.sensor}/{here.plateau.number}"
                half = float(reference.response_lag or 0.0) * abs(float(slope[number]))
                source = rectangular(f"{place}/{reference.id}/response_lag", "lag behind a changing room", half, "%RH")
                parts.append(Terms.of(at[cell[at] == number], self.calibrations.catalogue.add(source), 1.0))
            return parts

        return self._per_reference(rows, "response_lag", lag)

    def _at_probe(self, quantity: str, rows: np.ndarray) -> Measured:
        """The temperature at the probe: read in the chamber, plus what the chamber's gradient may add."""
        read = self._read(quantity, rows)
        gradient = self._limits(rows, "chamber_gradient", "temperature gradient in the chamber", "degC", a_visit=True)
        return Measured(read.value, Terms.joined([read.terms, *gradient]))

    def _evaluate(
        self,
        method: str,
        rows: np.ndarray,
        inputs: dict[str, Measured],
        model: Model,
        ice: bool,
        *,
        saturated: State,
        other: Sequence[Terms] = (),
    ) -> None:
        """Humidity and its terms: the model's partial derivatives carry each input's sources.

        Every method has `chamber_temperature` and `chamber_pressure`, those at the probe, among its inputs;
        `saturated` is the state in which the vapour was saturated.
        """
        names = tuple(inputs)
        at_probe: State = ("water", "chamber_temperature", saturated[2] and "chamber_pressure")
        own = Terms.joined(other)
        if ice:
            model = _over_ice(model, names.index("chamber_temperature"), names.index("chamber_pressure"))
            at_probe = ("ice", *at_probe[1:])
        measured = tuple(inputs.values())
        values, gradient = self._differentiated(model, measured, rows)
        parts = [m.terms.scaled(np.nan_to_num(gradient[i])) for i, m in enumerate(measured)]
        if ice and len(own.row):
            own = own.scaled(self._ice_ratio(inputs, values))
        formula = formulation_terms(self.calibrations.catalogue, (saturated, at_probe), inputs, values)
        own = Terms.joined([own, formula])
        self.humidity[rows] = values
        self.method[rows] = method
        self.humidity_terms.append(_at_rows(Terms.joined([*parts, own]), rows))
        self.temperature[rows] = inputs["chamber_temperature"].value
        self.temperature_terms.append(_at_rows(inputs["chamber_temperature"].terms, rows))
        self.pressure[rows] = inputs["chamber_pressure"].value
        self.groups.append(
            MethodGroup(method=method, rows=rows, inputs=names, measured=measured, model=model, other=own)
        )

    @staticmethod
    def _ice_ratio(inputs: dict[str, Measured], humidity: np.ndarray) -> np.ndarray:
        """%RH over ice per %RH over water, 0 where there is no humidity."""
        ratio = np.zeros(len(humidity))
        good = np.isfinite(humidity)
        ratio[good] = water_to_ice_ratio(
            inputs["chamber_temperature"].value[good], inputs["chamber_pressure"].value[good]
        )
        return ratio

    def _differentiated(
        self, model: Model, measured: tuple[Measured, ...], rows: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Values and gradient, nan where a reading is missing; a row that physics refuses is a fault of its own."""
        values = np.full(len(rows), np.nan)
        gradient = np.full((len(measured), len(rows)), np.nan)
        good = np.flatnonzero(np.all([np.isfinite(m.value) for m in measured], axis=0))
        if not len(good):
            return values, gradient
        try:
            values[good], gradient[:, good] = differentiate(model, *(m.value[good] for m in measured))
        except ValueError:
            for i in good:
                try:
                    value, slopes = differentiate(model, *(m.value[i : i + 1] for m in measured))
                except ValueError as problem:
                    self._refuse(int(rows[i]), str(problem))
                else:
                    values[i], gradient[:, i] = value[0], slopes[:, 0]
        return values, gradient

    def _refuse(self, row: int, problem: str) -> None:
        cure = "check the readings of this row, their units, and gauge against absolute pressure"
        self.report(OUT_OF_PHYSICS, row, self.table.place(row, "reference"), problem, cure)


def _over_ice(model: Model, temperature: int, pressure: int) -> Model:
    def over_ice(*values: Any) -> Any:
        return model(*values) * water_to_ice_ratio(values[temperature], values[pressure])

    return over_ice


def _at_rows(terms: Terms, rows: np.ndarray) -> Terms:
    return Terms(rows[terms.row], terms.source, terms.weight)
