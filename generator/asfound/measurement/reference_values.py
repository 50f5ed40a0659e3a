"""The reference value of every reading, by the method of its reference standard, with its named sources."""

from __future__ import annotations

from dataclasses import dataclass
from typing import assert_never

import numpy as np

from asfound.humidity import saturation_vapour_pressure
from asfound.measurement.calibrations import Calibrations, Report
from asfound.measurement.evaluation import Evaluation, MethodGroup
from asfound.measurement.methods.registry import MODELS
from asfound.measurement.reading_table import ReadingTable
from asfound.records.methods import METHODS
from asfound.records.models import Channel
from asfound.uncertainty.duals import differentiate, in_blocks
from asfound.uncertainty.terms import Measured, Terms


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
    """Reference values of a table; `over_ice`: whether the row's sensor shows humidity over ice below 0 °C.

    Raises KeyError for a method that is declared and has no model.
    """
    evaluation = Evaluation(table, calibrations, report)
    references = calibrations.records.references
    kinds = np.array([getattr(references.get(r), "kind", "") for r in table.word["reference"]], object)
    over_ice = over_ice & (_sensor_temperature(table, kinds) < 0.0)
    for kind in METHODS:
        model = MODELS[kind]
        for ice in (False, True):
            rows = np.flatnonzero((kinds == kind) & (over_ice == ice))
            if len(rows):
                model(evaluation, rows, ice)
    return ReferenceValues(
        humidity=Measured(evaluation.humidity, Terms.joined(evaluation.humidity_terms)),
        temperature=Measured(evaluation.temperature, Terms.joined(evaluation.temperature_terms)),
        slope=_slopes(evaluation, over_ice),
        pressure=evaluation.pressure,
        method=evaluation.method,
        groups=tuple(evaluation.groups),
    )


def _sensor_temperature(table: ReadingTable, kinds: np.ndarray) -> np.ndarray:
    """Temperature at the sensor as it was read, shape (n,), °C; nan where it was not."""
    found = np.full(table.n, np.nan)
    for kind, method in METHODS.items():
        of_kind = kinds == kind
        for column in (method.probe_temperature, *method.in_air_only):
            read = of_kind & ~np.isnan(table.number[column])
            found[read] = table.number[column][read]
    return found


def _slopes(evaluation: Evaluation, over_ice: np.ndarray) -> np.ndarray:
    slope = np.full(evaluation.table.n, np.nan)
    known = np.flatnonzero(np.isfinite(evaluation.temperature) & np.isfinite(evaluation.humidity))
    for block in in_blocks(len(known)):
        at = known[block]
        slope[at] = _relative_slope(evaluation.temperature[at], over_ice[at])
    return slope


def _relative_slope(temperature_c: np.ndarray, over_ice: np.ndarray) -> np.ndarray:
    """Relative change of saturation vapour pressure with temperature, 1/K."""
    over = np.where(over_ice, "ice", "water")
    value, gradient = differentiate(lambda t: saturation_vapour_pressure(t, over), temperature_c)
    return gradient[0] / value
