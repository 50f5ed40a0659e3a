"""Budgets a second here beside those of scalar uncertainty packages, for the same two-pressure readings.

    python -m tests.benchmarks.scalar_budgets [READINGS]

Each budget: humidity, its standard uncertainty and its sensitivities to four readings with a common and an own
source each. The scalar packages (GTC, uncertainties) evaluate the same published formulas number by number.
"""

# ruff: noqa: E402
from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

from asfound.cli import suit_the_work

suit_the_work()  # as the commands do, before numpy is loaded

import GTC
import numpy as np
import uncertainties
import uncertainties.umath

from asfound.humidity import two_pressure_rh
from asfound.humidity.vapour import ENHANCEMENT_WATER, VAPOUR_WATER
from asfound.uncertainty.budgets import Budgets, make_budgets
from asfound.uncertainty.duals import differentiate
from asfound.uncertainty.sources import Catalogue, Source
from asfound.uncertainty.terms import Terms

Readings = tuple[float, float, float, float]
"""saturation temperature, saturation pressure, chamber temperature, chamber pressure; degC and Pa"""
COMMON, OWN = (0.015, 200.0, 0.015, 30.0), (0.001, 5.0, 0.001, 1.0)
SCALAR = 200


def readings(n: int) -> np.ndarray:
    """Readings about 20 to 90 %RH at 25 °C, shape (4, n)."""
    pressure = np.linspace(112_000.0, 510_000.0, n)
    return np.array([np.full(n, 25.0), pressure, np.full(n, 25.02), np.full(n, 101_325.0)])


def here(x: np.ndarray) -> Budgets:
    """Budgets of all readings at once."""
    catalogue = Catalogue()
    n = x.shape[1]
    rows = np.arange(n)

    def model(saturation_c: Any, saturation_pa: Any, chamber_c: Any, chamber_pa: Any) -> Any:
        return two_pressure_rh(saturation_pa, saturation_c, chamber_pa, chamber_c, 1.0)

    _, gradient = differentiate(model, *x)
    parts = []
    for quantity, (common, own) in enumerate(zip(COMMON, OWN, strict=True)):
        shared = catalogue.add(Source(identity=f"{quantity}", label="", u=common, unit=""))
        sources = [catalogue.add(Source(identity=f"{quantity}/{row}", label="", u=own, unit="")) for row in range(n)]
        parts += [Terms.of(rows, shared, gradient[quantity]), Terms.of(rows, np.array(sources), gradient[quantity])]
    return make_budgets(catalogue, Terms.joined(parts), n)


def by_package(x: np.ndarray, number: Callable[[float, float], Any], exp: Any, log: Any) -> list[Any]:
    """The same humidities, one by one, as numbers of a package."""

    def saturated(celsius: Any, pressure: Any) -> Any:
        kelvin = celsius + 273.15
        exponent = VAPOUR_WATER[7] * log(kelvin)
        for i in range(7):
            exponent = exponent + VAPOUR_WATER[i] * kelvin ** (i - 2)
        e = exp(exponent)
        alpha, beta = (
            sum(ENHANCEMENT_WATER[start + i] * kelvin**i for i in range(1, 4)) + ENHANCEMENT_WATER[start]
            for start in (0, 4)
        )
        return exp(alpha * (1.0 - e / pressure) + exp(beta) * (pressure / e - 1.0)) * e / pressure

    common = [number(0.0, u) for u in COMMON]
    found = []
    for column in x.T.tolist():
        ts, ps, tc, pc = (
            value + shared + number(0.0, own) for value, shared, own in zip(column, common, OWN, strict=True)
        )
        found.append(100.0 * saturated(ts, ps) / saturated(tc, pc))
    return found


def main(arguments: list[str]) -> None:
    n = int(arguments[0]) if arguments else 100_000
    x = readings(n)
    started = time.process_time()
    budgets = here(x)
    rate = n / (time.process_time() - started)
    print(f"{'here':14s} {rate:12,.0f} budgets/s")
    few = x[:, :: n // SCALAR][:, :SCALAR]
    packages: dict[str, tuple[Callable[..., Any], Any, Any, Callable[[Any], float]]] = {
        "GTC": (GTC.ureal, GTC.exp, GTC.log, GTC.uncertainty),
        "uncertainties": (
            uncertainties.ufloat, uncertainties.umath.exp, uncertainties.umath.log, lambda y: float(y.std_dev)
        ),
    }  # fmt: skip
    for name, (number, exp, log, uncertainty_of) in packages.items():
        started = time.process_time()
        theirs = [uncertainty_of(y) for y in by_package(few, number, exp, log)]
        slow = few.shape[1] / (time.process_time() - started)
        apart = np.max(np.abs(np.array(theirs) / budgets.u[:: n // SCALAR][:SCALAR] - 1.0))
        print(f"{name:14s} {slow:12,.0f} budgets/s: here {rate / slow:,.0f} × as fast; u differs by {apart:.1e}")


if __name__ == "__main__":
    main(sys.argv[1:])
