"""The two-pressure method: air is saturated under pressure and expanded into the chamber."""

from __future__ import annotations

import numpy as np

from asfound.faults import error
from asfound.humidity import two_pressure_rh
from asfound.measurement.by_bands import smallest
from asfound.measurement.evaluation import Evaluation
from asfound.measurement.reference_inputs import Declared
from asfound.uncertainty.sources import rectangular
from asfound.uncertainty.terms import Measured, Terms

FROZEN_SATURATOR = error("frozen-saturator", "a saturator is below freezing, and ice or water in it is not known")


def evaluate_rows(evaluation: Evaluation, rows: np.ndarray, ice: bool) -> None:
    """Relative humidity at the probe from the saturator's state and the chamber's."""
    add = evaluation.calibrations.catalogue.add
    saturation_pa = evaluation.inputs.pressure("saturation_pressure", rows)
    lost = np.zeros(len(rows))

    def pressure_drop(declared: Declared, at: np.ndarray) -> list[Terms]:
        # One-sided: behind the saturator the transducer reads up to this much less than the saturator's pressure.
        half = declared.value / 2.0
        lost[at] = half
        label = f"pressure lost behind the saturator of {declared.reference.id}"
        return [Terms.of(at, add(rectangular(declared.identity, label, half, "Pa")), 1.0)]

    drop = evaluation.inputs.per_reference(rows, "pressure_drop", pressure_drop)
    saturation_pa = Measured(saturation_pa.value + lost, Terms.joined([saturation_pa.terms, *drop]))
    saturation_c = evaluation.inputs.read("saturation_temperature", rows)
    gradient = evaluation.inputs.limits(rows, "saturator_gradient", "temperature gradient in the saturator", "degC")
    saturation_c = Measured(saturation_c.value, Terms.joined([saturation_c.terms, *gradient]))
    _refuse_frozen_saturator(evaluation, rows, saturation_c.value)
    chamber_pa = evaluation.inputs.chamber_pressure(rows)
    chamber_c = evaluation.inputs.at_probe("chamber_temperature", rows)
    efficiency = np.ones(len(rows))

    def one_sided(declared: Declared, at: np.ndarray) -> list[Terms]:
        half = (1.0 - evaluation.inputs.value(rows, declared, at)) / 2.0
        efficiency[at] = 1.0 - half
        most = (1.0 - smallest(declared.by_bands)) / 2.0
        label = f"saturation efficiency of {declared.reference.id}"
        source = rectangular(declared.identity.replace("lowest_", ""), label, most, "1")
        return [Terms.of(at, add(source), half / most if most > 0.0 else np.ones(len(at)))]

    reached = Measured(efficiency, Terms.joined(evaluation.inputs.per_reference(rows, "lowest_efficiency", one_sided)))
    inputs = {
        "saturation_pressure": saturation_pa,
        "saturation_temperature": saturation_c,
        "chamber_pressure": chamber_pa,
        "chamber_temperature": chamber_c,
        "saturation_efficiency": reached,
    }
    evaluation.evaluate(
        "two_pressure",
        rows,
        inputs,
        two_pressure_rh,
        ice,
        saturated=("water", "saturation_temperature", "saturation_pressure"),
    )


def _refuse_frozen_saturator(evaluation: Evaluation, rows: np.ndarray, saturation_c: np.ndarray) -> None:
    """Below 0 °C a saturator holds ice or supercooled water, 1 % of reading per kelvin apart: not guessed."""
    for row in rows[np.nan_to_num(saturation_c) < 0.0]:
        place = evaluation.table.place(int(row), "saturation_temperature")
        message = "the saturator is below 0 degC: whether it holds ice or supercooled water is not known"
        cure = "saturate above 0 degC, or correct the reading or its unit"
        evaluation.report(FROZEN_SATURATOR, int(row), place, message, cure)
