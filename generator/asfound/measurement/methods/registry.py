"""Kind of reference → the model of its method."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from asfound.measurement.evaluation import Evaluation
from asfound.measurement.methods import chilled_mirror, saturated_salt, transfer_probe, two_pressure

MethodModel = Callable[[Evaluation, np.ndarray, bool], None]
"""Evaluates rows of one kind of reference; the last says whether their sensors show humidity over ice."""

MODELS: dict[str, MethodModel] = {
    "two_pressure": two_pressure.evaluate_rows,
    "chilled_mirror": chilled_mirror.evaluate_rows,
    "saturated_salt": saturated_salt.evaluate_rows,
    "transfer_probe": transfer_probe.evaluate_rows,
}
"""For every method that `asfound.records.methods` declares; read when rows are evaluated, so one may be added."""
