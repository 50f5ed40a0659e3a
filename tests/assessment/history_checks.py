"""What charts, interval proposals and checks of references must be: by published examples, and worked out apart.

Each function takes the program (see tests/program.py) and yields what was computed beside what it must be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from tests.assessment.checks import _number, _word
from tests.humidity.published_checks import Check, table
from tests.program import Program

EXAMPLE_SIGMA, EXAMPLE_TARGET, EXAMPLE_WEIGHT = 2.0539, 50.0, 0.3
"""Of the EWMA example in the NIST/SEMATECH e-Handbook, 6.3.2.4."""


def control_limits(program: Program) -> Iterator[Check]:
    """NIST/SEMATECH e-Handbook 6.3.2.2 and 6.3.2.4: values, averages and limits as printed there."""
    charts = program.control_charts
    for row in table("control_charts"):
        x = [float(value) for value in row["x"].split()]
        if row["chart"] == "individuals":
            chart = charts.individuals(x)
            computed = {
                "centre": chart.centre,
                "mean moving range": charts.moving_range_sigma(x) * charts.D2,
                "upper limit": chart.upper,
                "lower limit": chart.lower,
            }[row["quantity"]]
        elif row["quantity"] == "value":
            computed = charts.ewma(x, EXAMPLE_TARGET, EXAMPLE_SIGMA, EXAMPLE_WEIGHT).values[-1]
        else:
            number = float(row["number"] or math.inf)
            reach = float(charts.ewma_half_width(number, EXAMPLE_SIGMA, EXAMPLE_WEIGHT))
            computed = EXAMPLE_TARGET - reach if "lower" in row["quantity"] else EXAMPLE_TARGET + reach
        yield _number(
            f"{row['id']} {row['quantity']}",
            computed,
            float(row["expected"]),
            float(row["tolerance"]),
            row["source"],
        )
    values = [float(value) for value in table("control_charts")[0]["x"].split()]
    printed = charts.individuals(values, sigma=1.8778 / 1.128)
    source = "NIST/SEMATECH e-Handbook 6.3.2.2, with its rounded d2"
    yield _number("upper limit by the page's d2", printed.upper, 55.8041, 2e-4, source)
    yield _number("the process is in control", len(printed.signals), 0, source=source)


def signals(program: Program) -> Iterator[Check]:
    """A value beyond its limits is a signal, one on them is none; a small lasting shift is the average's to find."""
    charts = program.control_charts
    x = np.array([0.0, 3.0, -3.0, 3.1, -3.1])
    yield _word("limits 0 ± 3·1", charts.individuals(x, centre=0.0, sigma=1.0).signals, (3, 4))
    shifted = np.array([0.4, -0.6, 0.5, -0.3, 1.4, 1.6, 1.3, 1.7, 1.5, 1.4])
    yield _word("a shift of 1.5 σ, single values", charts.individuals(shifted, 0.0, 1.0).signals, ())
    found = charts.ewma(shifted, 0.0, 1.0).signals
    yield _word(f"a shift of 1.5 σ, the average: {found}", bool(found) and min(found) > 5, True)


ALL = (control_limits, signals)
