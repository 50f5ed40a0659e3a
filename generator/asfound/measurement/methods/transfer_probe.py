"""The transfer probe: a corrected reading, brought to the temperature at the sensor at constant vapour pressure."""

from __future__ import annotations

import numpy as np

from asfound.humidity import rh_at_sensor
from asfound.measurement.evaluation import Evaluation
from asfound.uncertainty.terms import Measured, Terms


def evaluate_rows(evaluation: Evaluation, rows: np.ndarray, ice: bool) -> None:
    """Relative humidity at the sensor; in air it has a temperature of its own, in a chamber the probe's."""
    in_air = evaluation.table.word["medium"][rows] == "in air"
    for air in (False, True):
        chosen = rows[in_air == air]
        if len(chosen):
            _compared(evaluation, chosen, air, ice)


def _compared(evaluation: Evaluation, rows: np.ndarray, air: bool, ice: bool) -> None:
    humidity = evaluation.inputs.read("reference_humidity", rows)
    probe_c = evaluation.inputs.read("reference_temperature", rows)
    extra = evaluation.inputs.probe_terms(rows, probe_c.value)
    gradient = evaluation.inputs.limits(
        rows, "chamber_gradient", "probe against reference temperature", "degC", a_visit=True
    )
    if air:
        sensor_c = evaluation.inputs.read("air_temperature", rows)
        sensor_c = Measured(sensor_c.value, Terms.joined([sensor_c.terms, *gradient]))
        for attribute, label in (
            ("instability", "changes of the room while reading"),
            ("vapour_gradient", "vapour between reference and sensor"),
        ):
            extra += evaluation.inputs.limits(rows, attribute, label, "%RH", a_visit=True)
        extra += evaluation.inputs.lag(rows, humidity.value)
    else:
        sensor_c = Measured(probe_c.value, Terms.joined([probe_c.terms, *gradient]))

    inputs = {
        "reference_humidity": humidity,
        "reference_temperature": probe_c,
        "chamber_temperature": sensor_c,
        "chamber_pressure": evaluation.inputs.room_pressure(rows),
    }
    evaluation.evaluate(
        "transfer_probe in air" if air else "transfer_probe",
        rows,
        inputs,
        rh_at_sensor,
        ice,
        other=extra,
        saturated=("water", "reference_temperature", None),
    )
