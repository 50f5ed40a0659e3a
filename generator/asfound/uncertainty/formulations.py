"""What the published formulations themselves may be off by: one identity for each formula, shared by all results.

Vapour pressure: half-widths enclose the differences of Hardy 1998 from IAPWS-95, IF97 and the table of the ASHRAE
Handbook (water; the last is furthest, 113 ppm at 50 °C), from Murphy and Koop 2005 (supercooled water, down to −50 °C)
and from IAPWS R14-08 (ice, down to −60 °C; f·e down to −40 °C). Enhancement
factor: Hardy 1998 lies below the virial model of ASHRAE RP-1485 by up to 1.2e-3 at 1.2 MPa, growing with pressure;
taken as a half-width proportional to pressure, one sign for numerator and denominator, so that it cancels where both
states have one pressure. It encloses two-pressure humidity above 5 °C up to 1.2 MPa; colder or at higher pressure the
models differ by up to a fifth more. tests/uncertainty holds these widths against the independent models.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from asfound.uncertainty.sources import Catalogue, Source, rectangular
from asfound.uncertainty.terms import Measured, Terms

ENHANCEMENT_PER_PA = 1.0e-9
"""relative half-width of the enhancement factor per Pa of total pressure"""
WATER_RELATIVE = 1.2e-4
"""relative half-width of e over water, 0 °C and above"""
SUPERCOOLED_SCALE_K = 9.8
"""below 0 °C the relative half-width of e over (supercooled) water is WATER_RELATIVE · exp(−t / this)"""
ICE_RELATIVE = 1.0e-3
"""relative half-width of f·e over ice at ambient pressure"""

_WATER = rectangular("formula/saturation_pressure/water", "formulation of e over water", WATER_RELATIVE, "1")
_SUPERCOOLED = rectangular(
    "formula/saturation_pressure/supercooled",
    "formulation of e over supercooled water",
    WATER_RELATIVE,
    "1",
)
_ICE = rectangular("formula/saturation_pressure/ice", "formulation of e over ice", ICE_RELATIVE, "1")
_ENHANCEMENT = rectangular(
    "formula/enhancement_factor", "formulation of the enhancement factor", ENHANCEMENT_PER_PA, "1/Pa"
)

State = tuple[str, str, str | None]
"""(phase, name of the temperature input, name of the pressure input or None)"""


def formulation_terms(
    catalogue: Catalogue,
    states: tuple[State, State],
    inputs: Mapping[str, Measured],
    humidity: np.ndarray,
) -> Terms:
    """Terms of RH ∝ f·e (first state) / f·e (second state): equal parts of the two cancel."""
    at = np.flatnonzero(np.isfinite(humidity))
    weights: dict[Source, np.ndarray] = {}

    def add(source: Source, weight: np.ndarray) -> None:
        weights[source] = weights.get(source, np.zeros(len(at))) + weight

    for sign, (phase, temperature, pressure) in zip((1.0, -1.0), states, strict=True):
        rh = sign * humidity[at]
        if phase == "ice":
            add(_ICE, rh)
        else:
            add(_WATER, rh)
            below = np.maximum(-inputs[temperature].value[at], 0.0)
            # Beside that of water, so that the two together are as wide as stated.
            add(_SUPERCOOLED, rh * np.sqrt(np.expm1(2.0 * below / SUPERCOOLED_SCALE_K)))
        if pressure is not None:
            add(_ENHANCEMENT, rh * inputs[pressure].value[at])
    return Terms.joined(
        Terms.of(at, catalogue.add(source), weight) for source, weight in weights.items() if np.any(weight)
    )
