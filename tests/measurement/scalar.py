"""Whole budgets number by number, by the uncertainty package GTC, beside those of the program.

A budget here is a GTC number of the error, made of one elementary GTC number a source under the name that the program
gives it. Physics come from CoolProp, linearised by central differences: nothing of the program's is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import GTC
from CoolProp.CoolProp import PropsSI

from tests.measurement.lab import Lab
from tests.measurement.methods import ZERO_C

TWO_SIGMA = 95.449973610
"""coverage of k, in percent"""
HALF = 1.0 / math.sqrt(3.0)
"""standard uncertainty of a rectangle, over its half-width"""

Number = Any
"""an uncertain number of GTC, which has no types"""


@dataclass
class Scalar:
    """The elementary numbers of one budget."""

    sources: dict[str, Number] = field(default_factory=dict)

    def u(self, identity: str, u: float, nu: float = math.inf) -> Number:
        """Zero with a standard uncertainty and its degrees of freedom."""
        self.sources[identity] = GTC.ureal(0.0, u, nu, label=identity)
        return self.sources[identity]

    def limit(self, identity: str, half_width: float) -> Number:
        """Zero within ± half_width, all alike."""
        return self.u(identity, half_width * HALF)

    def expanded(self, identity: str, U: float, k: float) -> Number:
        """Zero with U and k of a certificate; GTC says which degrees of freedom k means."""
        return self.u(identity, U / k, GTC.rp.k_to_dof(k, TWO_SIGMA) if k > 2.0 else math.inf)

    def shown(self, outputs: list[float], place: str) -> Number:
        """The mean of a sensor's readings, with their own scatter and a display of 0.01 %RH."""
        n = len(outputs)
        mean = sum(outputs) / n
        s = math.sqrt(sum((one - mean) ** 2 for one in outputs) / (n - 1))
        scatter = self.u(f"{place}/humidity/sensor/repeatability", s / math.sqrt(n), n - 1)
        return mean + scatter + self.limit(f"{place}/humidity/output_resolution", 0.005)


def through(model: Callable[..., float], *inputs: Number) -> Number:
    """A function of plain numbers at uncertain ones: its value, and its central differences times their deviations."""
    values = [GTC.value(one) for one in inputs]
    found = model(*values)
    for i, (one, value) in enumerate(zip(inputs, values, strict=True)):
        step = 1e-4 * max(abs(value), 100.0) if value != 1.0 else 1e-4
        low, high = (model(*values[:i], value + sign * step, *values[i + 1 :]) for sign in (-1.0, 1.0))
        found = found + (high - low) / (2.0 * step) * (one - value)
    return found


def vapour_pressure(celsius: float) -> float:
    """Of water, Pa: CoolProp (IAPWS-95)."""
    return float(PropsSI("P", "T", celsius + ZERO_C, "Q", 0, "Water"))


def relative_slope(celsius: float) -> float:
    """Relative change of the vapour pressure over water with temperature, 1/K."""
    return math.log(vapour_pressure(celsius + 0.05) / vapour_pressure(celsius - 0.05)) / 0.1


def differences(lab: Lab, target: float, error: Number, scalar: Scalar) -> dict[str, float]:
    """How far the program's budget is from GTC's: of the value in %RH, of u, ν and U as shares, and of the one
    contribution that is furthest as a share of u. The sources must be the same ones."""
    number = lab.number(target)
    program = lab.measurement.whole()
    contributions = {name: line.contribution for name, line in lab.budget(target).items()}
    u, nu = GTC.uncertainty(error), GTC.dof(error)
    theirs = {name: GTC.rp.u_component(error, one) for name, one in scalar.sources.items()}
    assert contributions.keys() == theirs.keys(), contributions.keys() ^ theirs.keys()
    return {
        "error": abs(lab.line(target).error - GTC.value(error)),
        "u": abs(program.u[number] / u - 1.0),
        "nu": abs(program.nu[number] / nu - 1.0),
        "U": abs(program.U[number] / (GTC.rp.k_factor(nu, TWO_SIGMA) * u) - 1.0),
        "contribution": max(abs(contributions[name] - one) / u for name, one in theirs.items()),
    }
