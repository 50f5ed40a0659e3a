"""Humidity and temperature at the probe of rows that methods evaluate, with their sources.

A method hands over its inputs and one model function, whose partial derivatives carry the sources of the inputs into
the humidity.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from asfound.faults import error
from asfound.humidity import water_to_ice_ratio
from asfound.humidity.domains import OutsideRange
from asfound.measurement.calibrations import Calibrations, Report
from asfound.measurement.further_sources import further_sources
from asfound.measurement.reading_table import ReadingTable
from asfound.measurement.reference_inputs import ReferenceInputs
from asfound.records.models.further import RESULT
from asfound.uncertainty.duals import differentiate, in_blocks
from asfound.uncertainty.formulations import State, formulation_terms
from asfound.uncertainty.terms import Measured, Terms

OUT_OF_PHYSICS = error("no-humidity", "no humidity can be computed from a row's readings")

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


class Evaluation:
    """Reference humidity and temperature of a table's n rows, filled method by method; nan where there is none.

    Attributes that a method's model reads: `table`, `calibrations`, `inputs` (corrected readings and the limits of
    the reference's record), and `report` for a fault of a row.
    """

    def __init__(self, table: ReadingTable, calibrations: Calibrations, report: Report) -> None:
        self.table, self.calibrations, self.report = table, calibrations, report
        self.inputs = ReferenceInputs(table, calibrations, report)
        n = table.n
        self.humidity = np.full(n, np.nan)
        self.temperature = np.full(n, np.nan)
        self.pressure = np.full(n, np.nan)
        self.method = np.full(n, "", object)
        self.humidity_terms: list[Terms] = []
        self.temperature_terms: list[Terms] = []
        self.groups: list[MethodGroup] = []

    def evaluate(
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
        if ice:
            model = _over_ice(model, names.index("chamber_temperature"), names.index("chamber_pressure"))
            at_probe = ("ice", *at_probe[1:])
        measured = tuple(inputs.values())
        values, gradient = self._differentiated(model, measured, rows)
        parts = [m.terms.scaled(np.nan_to_num(gradient[i])) for i, m in enumerate(measured)]
        ratio = self._ice_ratio(inputs, values) if ice else np.ones(len(rows))
        added, further = self._further(rows, values / np.where(ratio > 0.0, ratio, 1.0))
        values += added * ratio
        own = Terms.joined([*other, *further]).scaled(ratio)
        formula = formulation_terms(self.calibrations.catalogue, (saturated, at_probe), inputs, values)
        own = Terms.joined([own, formula])
        self.humidity[rows] = values
        self.method[rows] = method
        self.humidity_terms.append(at_rows(Terms.joined([*parts, own]), rows))
        self.temperature[rows] = inputs["chamber_temperature"].value
        self.temperature_terms.append(at_rows(inputs["chamber_temperature"].terms, rows))
        self.pressure[rows] = inputs["chamber_pressure"].value
        self.groups.append(
            MethodGroup(method=method, rows=rows, inputs=names, measured=measured, model=model, other=own)
        )

    def _further(self, rows: np.ndarray, humidity: np.ndarray) -> tuple[np.ndarray, list[Terms]]:
        """What the references' further sources do to the humidity itself: corrections to be added, and terms."""
        added, parts = np.zeros(len(rows)), list[Terms]()
        names = self.table.word["reference"][rows]
        for name in dict.fromkeys(names):
            reference = self.calibrations.records.references[name]
            if reference.further:
                at = np.flatnonzero(names == name)
                catalogue = self.calibrations.catalogue
                more, terms = further_sources(catalogue, self.table, rows, at, reference, RESULT, humidity[at])
                added[at] += more
                parts += terms
        return added, parts

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


def at_rows(terms: Terms, rows: np.ndarray) -> Terms:
    """Terms by position in chosen rows as terms by row of the table."""
    return Terms(rows[terms.row], terms.source, terms.weight)
