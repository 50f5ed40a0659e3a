"""The transfer probe: a corrected reading, brought to the temperature at the sensor at constant vapour pressure."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np

from asfound.humidity import rh_at_sensor, water_to_ice_ratio
from asfound.humidity.domains import PRESSURE_RANGE_PA, TEMPERATURE_RANGE_C
from asfound.measurement.evaluation import Evaluation
from asfound.records.settings_in_force import shows_ice
from asfound.uncertainty.terms import Measured, Terms

_BELOW_FREEZING_C = (TEMPERATURE_RANGE_C["water"][0], TEMPERATURE_RANGE_C["ice"][1])
"""Where both relative humidities exist; what lies beyond is refused as a whole."""


def evaluate_rows(evaluation: Evaluation, rows: np.ndarray, ice: bool) -> None:
    """Relative humidity at the sensor; in air it has a temperature of its own, in a chamber the probe's."""
    table, references = evaluation.table, evaluation.calibrations.records.references
    in_air = table.word["medium"][rows] == "in air"
    names = table.word["reference"][rows]
    shows = {name: shows_ice(references[name]) for name in dict.fromkeys(names)}
    frozen = np.array([shows[name] for name in names], bool) & (table.number["reference_temperature"][rows] < 0.0)
    for air, iced in product((False, True), (False, True)):
        chosen = rows[(in_air == air) & (frozen == iced)]
        if len(chosen):
            _compared(evaluation, chosen, air, iced, ice)


def _compared(evaluation: Evaluation, rows: np.ndarray, air: bool, iced: bool, ice: bool) -> None:
    """`iced`: whether the probe shows humidity over ice; `ice`: whether the sensors do."""
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

    pressure_pa = evaluation.inputs.room_pressure(rows)
    if iced:
        held = np.clip(probe_c.value, *_BELOW_FREEZING_C), np.clip(pressure_pa.value, *PRESSURE_RANGE_PA)
        per_ice = 1.0 / water_to_ice_ratio(*held)
        extra = [terms.scaled(per_ice) for terms in extra]
    inputs = {
        "reference_humidity": humidity,
        "reference_temperature": probe_c,
        "chamber_temperature": sensor_c,
        "chamber_pressure": pressure_pa,
    }
    evaluation.evaluate(
        "transfer_probe in air" if air else "transfer_probe",
        rows,
        inputs,
        _shown_over_ice if iced else rh_at_sensor,
        ice,
        other=extra,
        saturated=("ice" if iced else "water", "reference_temperature", None),
    )


def _shown_over_ice(reading: Any, probe_c: Any, air_c: Any, pressure_pa: Any) -> Any:
    """As `rh_at_sensor`, of a reading over ice."""
    return rh_at_sensor(reading / water_to_ice_ratio(probe_c, pressure_pa), probe_c, air_c, pressure_pa)
