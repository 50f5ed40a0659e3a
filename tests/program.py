"""The computing modules as one namespace; checks that take it hold for the program, and fail for a slip (slips.py)."""

from __future__ import annotations

import importlib
from types import SimpleNamespace
from typing import Any

MODULES = {
    "asfound.statistics": ("control_charts", "least_squares", "scale_factors"),
    "asfound.uncertainty": ("budgets", "covariance", "duals", "formulations", "sources", "terms"),
    "asfound.measurement": (
        "calibrations", "cell_sources", "evaluation", "indications", "lines", "measure", "monte_carlo", "reading_table",
        "reference_inputs", "reference_values", "repeatability", "settling", "shifts", "visit_curves",
    ),
    "asfound.measurement.methods": ("chilled_mirror", "saturated_salt", "transfer_probe", "two_pressure", "registry"),
    "asfound.assessment": ("assess", "due", "pipeline", "standing"),
    "asfound.assessment.results": ("adjustment", "assembly", "conformity", "judging", "slots", "summary", "table"),
    "asfound.assessment.history": (
        "change_charts", "changes", "design", "drift", "epochs", "instruments", "interval", "lasting", "line",
        "outlook", "reliability", "scales",
    ),
    "asfound.assessment.references": ("checks", "doubt", "recalibrations"),
    "asfound.assessment.findings": ("cases", "error_curve", "error_path", "exposure", "investigation"),
    "asfound.retrace": ("carried_back", "retrace"),
}  # fmt: skip

Program = Any
"""A namespace of modules: `program.budgets.make_budgets`, …"""


def as_it_is() -> Program:
    """The program."""
    found = {name: importlib.import_module(f"{package}.{name}") for package, names in MODULES.items() for name in names}
    return SimpleNamespace(**found)
