"""The chilled mirror: the temperature at which dew or frost stands on it gives the vapour pressure of the air."""

from __future__ import annotations

from typing import Any

import numpy as np

from asfound.humidity import rh_from_mirror
from asfound.measurement.evaluation import Evaluation
from asfound.uncertainty.terms import Measured, Terms


def evaluate_rows(evaluation: Evaluation, rows: np.ndarray, ice: bool) -> None:
    """Relative humidity at the probe, dew and frost each with its model; a row that says neither has none."""
    for condensate in ("dew", "frost"):
        chosen = rows[evaluation.table.word["condensate"][rows] == condensate]
        if len(chosen):
            _of_condensate(evaluation, chosen, condensate, ice)


def _of_condensate(evaluation: Evaluation, rows: np.ndarray, condensate: str, ice: bool) -> None:
    mirror_c = evaluation.inputs.read("mirror_temperature", rows)
    chamber_c = evaluation.inputs.at_probe("chamber_temperature", rows)
    chamber_pa = evaluation.inputs.chamber_pressure(rows)
    own = ~np.isnan(evaluation.table.number["mirror_pressure"][rows])
    mirror_pa = evaluation.inputs.pressure("mirror_pressure", rows)
    mirror_pa = Measured(
        np.where(own, mirror_pa.value, chamber_pa.value),
        Terms.joined([mirror_pa.terms, chamber_pa.terms.scaled((~own).astype(float))]),
    )
    apart = evaluation.inputs.limits(rows, "mirror_pressure_difference", "mirror pressure against the chamber's", "Pa")
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
    evaluation.evaluate(f"chilled_mirror ({condensate})", rows, inputs, model, ice, saturated=saturated)
