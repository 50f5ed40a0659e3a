"""Saturated salt solutions: the humidity over a solution follows from its temperature."""

from __future__ import annotations

from typing import Any

import numpy as np

from asfound.faults import error
from asfound.humidity import SALTS, salt_range_c, salt_rh, salt_uncertainty, saturation_vapour_pressure
from asfound.measurement.evaluation import Evaluation, at_rows
from asfound.measurement.reference_inputs import Declared
from asfound.uncertainty.sources import Source, rectangular
from asfound.uncertainty.terms import Measured, Terms

UNKNOWN_SALT = error("unknown-salt", "a salt has no published humidity here")


def evaluate_rows(evaluation: Evaluation, rows: np.ndarray, ice: bool) -> None:
    """Relative humidity at the probe, after Greenspan (1977); each salt has a model of its own."""
    salts = evaluation.table.word["salt"][rows]
    for salt in dict.fromkeys(salts):
        _over_solution(evaluation, rows[salts == salt], salt, ice)


def _over_solution(evaluation: Evaluation, rows: np.ndarray, salt: str, ice: bool) -> None:
    if salt not in SALTS:
        row = int(rows[0])
        cure = f"use one of {', '.join(SALTS)}"
        evaluation.report(UNKNOWN_SALT, row, evaluation.table.place(row, "salt"), f"unknown salt {salt!r}", cure)
        return
    solution_c = evaluation.inputs.read("chamber_temperature", rows)
    # The probe may be warmer or colder than the solution: the vapour pressure is the solution's.
    warmer = Measured(
        np.zeros(len(rows)),
        Terms.joined(
            evaluation.inputs.limits(
                rows, "chamber_gradient", "probe against solution temperature", "degC", a_visit=True
            )
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
    terms = [Terms.of(at, evaluation.calibrations.catalogue.add(published), stated)]
    terms += _condition_of_cell(evaluation, rows, salt)
    inputs = {
        "chamber_temperature": solution_c,
        "probe_difference": warmer,
        "chamber_pressure": evaluation.inputs.room_pressure(rows),
    }
    saturated = ("water", "chamber_temperature", None)
    evaluation.evaluate(f"saturated_salt ({salt})", rows, inputs, model, ice, other=terms, saturated=saturated)
    evaluation.temperature_terms.append(at_rows(warmer.terms, rows))


def _condition_of_cell(evaluation: Evaluation, rows: np.ndarray, salt: str) -> list[Terms]:
    """Purity and distance from equilibrium: of each cell its own at each visit; its sensors share it."""
    visits = [evaluation.table.cells[c].sensor_visit.visit.name for c in evaluation.table.cell[rows].tolist()]

    def condition(declared: Declared, at: np.ndarray) -> list[Terms]:
        number_of: dict[str, int] = {}
        size, weight = evaluation.inputs.spread(rows, declared, at)
        for visit in dict.fromkeys(visits[i] for i in at.tolist()):
            identity = f"{visit}/{declared.reference.id}/{salt}/condition"
            label = "condition of the solution and equilibrium"
            source = Source(identity, label, size.u, "%RH", size.distribution, size.nu)
            number_of[visit] = evaluation.calibrations.catalogue.add(source)
        return [Terms.of(at, np.array([number_of[visits[i]] for i in at.tolist()], np.int64), weight)]

    return evaluation.inputs.per_reference(rows, "salt_condition", condition)
