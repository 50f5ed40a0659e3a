"""Every published value of tests/published/ is met within its tolerance; the source stands beside each in
the table.
"""

from __future__ import annotations

import math

import pytest

from asfound import humidity
from asfound.humidity import vapour
from tests.humidity import published_checks


@pytest.mark.parametrize("checks", published_checks.ALL, ids=lambda checks: checks.__name__)
def test_published_values_are_met(checks):
    made = list(checks(humidity))
    assert made
    assert [str(check) for check in made if not check.holds] == []


@pytest.mark.parametrize(
    ("group", "used"),
    [
        ("vapour_water", vapour.VAPOUR_WATER),
        ("vapour_ice", vapour.VAPOUR_ICE[1:6] + vapour.VAPOUR_ICE[7:]),
        ("kelvin_water_0_100", vapour.ENHANCEMENT_WATER),
        ("kelvin_water_m50_0", vapour.ENHANCEMENT_SUPERCOOLED),
        ("kelvin_ice_m100_0", vapour.ENHANCEMENT_ICE),
        ("dew_point", vapour.INVERSE_WATER),
        ("frost_point", vapour.INVERSE_ICE),
    ],
)
def test_coefficients_are_the_published_ones_digit_by_digit(group, used):
    rows = published_checks.table("hardy_coefficients")
    assert used == tuple(float(row["expected"]) for row in rows if row["group"] == group)


@pytest.mark.parametrize(
    ("group", "over", "celsius"),
    [("water_0_100", "water", (0, 50, 100)), ("ice_m100_0", "ice", (-90, -40, 0))],
)
def test_the_publication_s_celsius_form_gives_the_same_enhancement_factor(group, over, celsius):
    """Hardy 1998 prints α and ln β both as polynomials in T and in t; the two agree to 2.5e-8 up to 1.2
    MPa.
    """
    printed = [
        float(row["expected"])
        for row in published_checks.table("hardy_coefficients")
        if row["group"] == f"celsius_{group}"
    ]
    for t in celsius:
        for pressure_pa in (2e5, 1.2e6):
            e = humidity.saturation_vapour_pressure(t, over)
            alpha = sum(a * t**i for i, a in enumerate(printed[:4]))
            beta = math.exp(sum(b * t**i for i, b in enumerate(printed[4:])))
            f = math.exp(alpha * (1 - e / pressure_pa) + beta * (pressure_pa / e - 1))
            assert humidity.enhancement_factor(t, pressure_pa, over) == pytest.approx(f, abs=1e-6)
