"""Salt solutions: the humidity over a solution follows from its temperature, as published or as certified."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from asfound.faults import error
from asfound.humidity import SALTS, salt_range_c, salt_rh, salt_uncertainty, saturation_vapour_pressure
from asfound.measurement.certified_cells import certified_humidity
from asfound.measurement.evaluation import Evaluation, at_rows
from asfound.measurement.reference_inputs import Declared
from asfound.uncertainty.sources import Source, rectangular
from asfound.uncertainty.terms import Measured, Terms

UNKNOWN_SALT = error("unknown-salt", "a salt has no published humidity here")
CELL_NAMED_AS_SALT = error("cell-named-as-salt", "a certified cell bears the formula of a salt")


def evaluate_rows(evaluation: Evaluation, rows: np.ndarray, ice: bool) -> None:
    """Relative humidity at the probe, after Greenspan (1977) or the cell's certificate; a model for each solution."""
    salts = evaluation.table.word["salt"][rows]
    references = evaluation.calibrations.records.references
    names = evaluation.table.word["reference"][rows]
    for salt in dict.fromkeys(salts):
        having = [name for name in dict.fromkeys(names) if salt not in references[name].salts]
        certified = np.isin(names, [name for name in having if salt in references[name].solutions])
        chosen = salts == salt
        if (chosen & certified).any():
            _over_cell(evaluation, rows[chosen & certified], salt, ice)
        if (chosen & ~certified).any():
            _over_salt(evaluation, rows[chosen & ~certified], salt, ice)


def _over_salt(evaluation: Evaluation, rows: np.ndarray, salt: str, ice: bool) -> None:
    if salt not in SALTS:
        row = int(rows[0])
        cure = f"use one of {', '.join(SALTS)}, or give the cell its certificate under `cells`"
        evaluation.report(UNKNOWN_SALT, row, evaluation.table.place(row, "salt"), f"unknown salt {salt!r}", cure)
        return
    solution_c = evaluation.inputs.read("chamber_temperature", rows)
    lowest, highest = salt_range_c(salt)
    inside = (solution_c.value >= lowest) & (solution_c.value <= highest)
    stated = np.where(inside, salt_uncertainty(salt, np.clip(solution_c.value, lowest, highest)), 0.0)
    # Greenspan's stated uncertainty is taken as limits: its coverage level could not be verified.
    published = rectangular(f"salt/{salt}/published", f"published humidity over {salt}", 1.0, "1")
    term = Terms.of(np.arange(len(rows)), evaluation.calibrations.catalogue.add(published), stated)
    _evaluate(evaluation, rows, salt, solution_c, {}, lambda temperature: salt_rh(salt, temperature), ice, [term])


def _over_cell(evaluation: Evaluation, rows: np.ndarray, name: str, ice: bool) -> None:
    if name in SALTS:
        row = int(rows[0])
        message = f"a certified cell is called {name!r}, as the salt whose humidity is published"
        cure = "give the cell another name, in its record and in the visits"
        evaluation.report(CELL_NAMED_AS_SALT, row, evaluation.table.place(row, "salt"), message, cure)
        return

    def certified(temperature: Any, value: Any, at: Any, change: Any) -> Any:
        return value + change * (temperature - at)

    solution_c = evaluation.inputs.read("chamber_temperature", rows)
    inputs = certified_humidity(evaluation, rows, name)
    _evaluate(evaluation, rows, f"cell {name}", solution_c, inputs, certified, ice, [])


def _evaluate(
    evaluation: Evaluation,
    rows: np.ndarray,
    solution: str,
    solution_c: Measured,
    more: dict[str, Measured],
    over_solution: Callable[..., Any],
    ice: bool,
    terms: list[Terms],
) -> None:
    """`over_solution`: humidity over the solution, of its temperature and the inputs `more`."""
    # The probe may be warmer or colder than the solution: the vapour pressure is the solution's.
    warmer = Measured(
        np.zeros(len(rows)),
        Terms.joined(
            evaluation.inputs.limits(
                rows, "chamber_gradient", "probe against solution temperature", "degC", a_visit=True
            )
        ),
    )

    def model(temperature: Any, difference: Any, _pressure: Any, *others: Any) -> Any:
        ratio = saturation_vapour_pressure(temperature) / saturation_vapour_pressure(temperature + difference)
        return over_solution(temperature, *others) * ratio

    inputs = {
        "chamber_temperature": solution_c,
        "probe_difference": warmer,
        "chamber_pressure": evaluation.inputs.room_pressure(rows),
        **more,
    }
    terms = [*terms, *_condition_of_cell(evaluation, rows, solution)]
    saturated = ("water", "chamber_temperature", None)
    evaluation.evaluate(f"saturated_salt ({solution})", rows, inputs, model, ice, other=terms, saturated=saturated)
    evaluation.temperature_terms.append(at_rows(warmer.terms, rows))


def _condition_of_cell(evaluation: Evaluation, rows: np.ndarray, solution: str) -> list[Terms]:
    """Purity and distance from equilibrium: of each cell its own at each visit; its sensors share it."""
    visits = [evaluation.table.cells[c].sensor_visit.visit.name for c in evaluation.table.cell[rows].tolist()]

    def condition(declared: Declared, at: np.ndarray) -> list[Terms]:
        number_of: dict[str, int] = {}
        size, weight = evaluation.inputs.spread(rows, declared, at)
        for visit in dict.fromkeys(visits[i] for i in at.tolist()):
            identity = f"{visit}/{declared.reference.id}/{solution}/condition"
            label = "condition of the solution and equilibrium"
            source = Source(identity, label, size.u, "%RH", size.distribution, size.nu)
            number_of[visit] = evaluation.calibrations.catalogue.add(source)
        return [Terms.of(at, np.array([number_of[visits[i]] for i in at.tolist()], np.int64), weight)]

    return evaluation.inputs.per_reference(rows, "salt_condition", condition)
