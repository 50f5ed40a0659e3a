"""The reference value of every reading, by the method of its reference standard, with its named sources.

One model function a method; its partial derivatives carry the sources of the inputs into the humidity.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, assert_never

import numpy as np

from asfound.faults import error
from asfound.humidity import (
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
from asfound.humidity.domains import OutsideRange
from asfound.measurement.calibrations import Calibrations, Report
from asfound.measurement.reading_table import ReadingTable
from asfound.measurement.reference_inputs import ReferenceInputs
from asfound.records.methods import NEEDED
from asfound.records.models import Channel
from asfound.records.models.references import Reference
from asfound.uncertainty.duals import differentiate, in_blocks
from asfound.uncertainty.formulations import State, formulation_terms
from asfound.uncertainty.sources import rectangular
from asfound.uncertainty.terms import Measured, Terms

OUT_OF_PHYSICS = error("no-humidity", "no humidity can be computed from a row's readings")
FROZEN_SATURATOR = error("frozen-saturator", "a saturator is below freezing, and ice or water in it is not known")
UNKNOWN_SALT = error("unknown-salt", "a salt has no published humidity here")

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

    def of(self, channel: Channel) -> Measured:
        """What a channel is compared with."""
        match channel:
            case Channel.HUMIDITY:
                return self.humidity
            case Channel.TEMPERATURE:
                return self.temperature
            case _:
                assert_never(channel)


def reference_values(
    table: ReadingTable, calibrations: Calibrations, over_ice: np.ndarray, report: Report
) -> ReferenceValues:
    """Reference values of a table; `over_ice`: whether the row's sensor shows humidity over ice."""
    return _References(table, calibrations, over_ice, report).values()


class _References:
    def __init__(self, table: ReadingTable, calibrations: Calibrations, over_ice: np.ndarray, report: Report) -> None:
        self.table, self.calibrations, self.over_ice, self.report = table, calibrations, over_ice, report
        self.inputs = ReferenceInputs(table, calibrations, report)
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
        for block in in_blocks(len(known)):
            at = known[block]
            slope[at] = _relative_slope(self.temperature[at], self.over_ice[at])
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

    def _two_pressure(self, rows: np.ndarray, ice: bool) -> None:
        add = self.calibrations.catalogue.add
        saturation_pa = self.inputs.pressure("saturation_pressure", rows)
        lost = np.zeros(len(rows))

        def pressure_drop(reference: Reference, at: np.ndarray) -> list[Terms]:
            # One-sided: behind the saturator the transducer reads up to this much less than the saturator's pressure.
            half = float(reference.pressure_drop or 0.0) / 2.0
            lost[at] = half
            label = f"pressure lost behind the saturator of {reference.id}"
            return [Terms.of(at, add(rectangular(f"{reference.id}/pressure_drop", label, half, "Pa")), 1.0)]

        drop = self.inputs.per_reference(rows, "pressure_drop", pressure_drop)
        saturation_pa = Measured(saturation_pa.value + lost, Terms.joined([saturation_pa.terms, *drop]))
        saturation_c = self.inputs.read("saturation_temperature", rows)
        gradient = self.inputs.limits(rows, "saturator_gradient", "temperature gradient in the saturator", "degC")
        saturation_c = Measured(saturation_c.value, Terms.joined([saturation_c.terms, *gradient]))
        self._refuse_frozen_saturator(rows, saturation_c.value)
        chamber_pa = self.inputs.chamber_pressure(rows)
        chamber_c = self.inputs.at_probe("chamber_temperature", rows)
        efficiency = np.ones(len(rows))

        def one_sided(reference: Reference, at: np.ndarray) -> list[Terms]:
            half = (1.0 - float(reference.lowest_efficiency or 1.0)) / 2.0
            efficiency[at] = 1.0 - half
            label = f"saturation efficiency of {reference.id}"
            return [Terms.of(at, add(rectangular(f"{reference.id}/efficiency", label, half, "1")), 1.0)]

        reached = Measured(efficiency, Terms.joined(self.inputs.per_reference(rows, "lowest_efficiency", one_sided)))
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

    def _refuse_frozen_saturator(self, rows: np.ndarray, saturation_c: np.ndarray) -> None:
        """Below 0 °C a saturator holds ice or supercooled water, 1 % of reading per kelvin apart: not guessed."""
        for row in rows[np.nan_to_num(saturation_c) < 0.0]:
            place = self.table.place(int(row), "saturation_temperature")
            message = "the saturator is below 0 degC: whether it holds ice or supercooled water is not known"
            cure = "saturate above 0 degC, or correct the reading or its unit"
            self.report(FROZEN_SATURATOR, int(row), place, message, cure)

    def _chilled_mirror(self, rows: np.ndarray, condensate: str, ice: bool) -> None:
        mirror_c = self.inputs.read("mirror_temperature", rows)
        chamber_c = self.inputs.at_probe("chamber_temperature", rows)
        chamber_pa = self.inputs.chamber_pressure(rows)
        own = ~np.isnan(self.table.number["mirror_pressure"][rows])
        mirror_pa = self.inputs.pressure("mirror_pressure", rows)
        mirror_pa = Measured(
            np.where(own, mirror_pa.value, chamber_pa.value),
            Terms.joined([mirror_pa.terms, chamber_pa.terms.scaled((~own).astype(float))]),
        )
        apart = self.inputs.limits(rows, "mirror_pressure_difference", "mirror pressure against the chamber's", "Pa")
        apart = [terms.scaled((~own).astype(float)) for terms in apart]
        mirror_pa = Measured(mirror_pa.value, Terms.joined([mirror_pa.terms, *apart]))

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
        solution_c = self.inputs.read("chamber_temperature", rows)
        # The probe may be warmer or colder than the solution: the vapour pressure is the solution's.
        warmer = Measured(
            np.zeros(len(rows)),
            Terms.joined(
                self.inputs.limits(rows, "chamber_gradient", "probe against solution temperature", "degC", a_visit=True)
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
        terms += self._condition_of_cell(rows, salt)
        inputs = {
            "chamber_temperature": solution_c,
            "probe_difference": warmer,
            "chamber_pressure": self.inputs.room_pressure(rows),
        }
        saturated = ("water", "chamber_temperature", None)
        self._evaluate(f"saturated_salt ({salt})", rows, inputs, model, ice, other=terms, saturated=saturated)
        self.temperature_terms.append(_at_rows(warmer.terms, rows))

    def _condition_of_cell(self, rows: np.ndarray, salt: str) -> list[Terms]:
        """Purity and distance from equilibrium: of each cell its own at each visit; its sensors share it."""
        visits = [self.table.cells[c].sensor_visit.visit.name for c in self.table.cell[rows].tolist()]

        def condition(reference: Reference, at: np.ndarray) -> list[Terms]:
            number_of: dict[str, int] = {}
            for visit in dict.fromkeys(visits[i] for i in at.tolist()):
                identity = f"{visit}/{reference.id}/{salt}/condition"
                half = float(reference.salt_condition or 0.0)
                source = rectangular(identity, "condition of the solution and equilibrium", half, "%RH")
                number_of[visit] = self.calibrations.catalogue.add(source)
            return [Terms.of(at, np.array([number_of[visits[i]] for i in at.tolist()], np.int64), 1.0)]

        return self.inputs.per_reference(rows, "salt_condition", condition)

    def _transfer_probe(self, rows: np.ndarray, air: bool, ice: bool) -> None:
        humidity = self.inputs.read("reference_humidity", rows)
        probe_c = self.inputs.read("reference_temperature", rows)
        extra = self.inputs.probe_terms(rows, probe_c.value)
        gradient = self.inputs.limits(
            rows, "chamber_gradient", "probe against reference temperature", "degC", a_visit=True
        )
        if air:
            sensor_c = self.inputs.read("air_temperature", rows)
            sensor_c = Measured(sensor_c.value, Terms.joined([sensor_c.terms, *gradient]))
            for attribute, label in (
                ("instability", "changes of the room while reading"),
                ("vapour_gradient", "vapour between reference and sensor"),
            ):
                extra += self.inputs.limits(rows, attribute, label, "%RH", a_visit=True)
            extra += self.inputs.lag(rows, humidity.value)
        else:
            sensor_c = Measured(probe_c.value, Terms.joined([probe_c.terms, *gradient]))

        inputs = {
            "reference_humidity": humidity,
            "reference_temperature": probe_c,
            "chamber_temperature": sensor_c,
            "chamber_pressure": self.inputs.room_pressure(rows),
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
        refused: dict[int, str] = {}
        for block in in_blocks(len(good)):
            at = good[block]
            while len(at):
                try:
                    values[at], gradient[:, at] = differentiate(model, *(m.value[at] for m in measured))
                    break
                except OutsideRange as problem:
                    refused |= zip(at[problem.where].tolist(), problem.messages(), strict=True)
                    at = at[~problem.where]
        for i in sorted(refused):
            self._refuse(int(rows[i]), refused[i])
        return values, gradient

    def _refuse(self, row: int, problem: str) -> None:
        cure = "check the readings of this row, their units, and gauge against absolute pressure"
        self.report(OUT_OF_PHYSICS, row, self.table.place(row, "reference"), problem, cure)


def _over_ice(model: Model, temperature: int, pressure: int) -> Model:
    def over_ice(*values: Any) -> Any:
        return model(*values) * water_to_ice_ratio(values[temperature], values[pressure])

    return over_ice


def _relative_slope(temperature_c: np.ndarray, over_ice: np.ndarray) -> np.ndarray:
    """Relative change of saturation vapour pressure with temperature, 1/K."""
    over = np.where(over_ice, "ice", "water")
    value, gradient = differentiate(lambda t: saturation_vapour_pressure(t, over), temperature_c)
    return gradient[0] / value


def _at_rows(terms: Terms, rows: np.ndarray) -> Terms:
    return Terms(rows[terms.row], terms.source, terms.weight)
