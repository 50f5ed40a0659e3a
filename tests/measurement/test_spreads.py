"""What a record declares to either side: a limit with its distribution, u with ν, U with k, and by bands."""

from __future__ import annotations

import math
from typing import Any

import pytest

from asfound.records.load import load
from asfound.uncertainty.sources import coverage_factor
from tests import builders as b

Declared = str | dict[str, Any]


def gradients(declared: Declared, *targets: float, chamber_c: float = 23.0) -> list[tuple[float, float, str]]:
    """(contribution of the chamber's gradient per humidity and K of it at its base, ν, distribution) at each target."""
    rows = [b.plateau(at, [at] * 2, b.generated(at, chamber_c, chamber_c)) for at in targets]
    assessment = b.assessed(
        b.records(b.sensor(), b.two_pressure(chamber_gradient=declared), b.visit("2026-03-16-lab", *rows))
    )
    found = []
    for result in assessment.results:
        assert result.line is not None
        lines = assessment.measurement.whole().lines(result.line)
        (line,) = [one for one in lines if one.source.identity.endswith("/chamber_gradient")]
        # 0.0603/K of reading at 23 °C: d ln e/dT (computed by differences from Hardy 1998)
        found.append((abs(line.contribution) / (0.0603 * result.target), line.source.nu, line.source.distribution))
    return found


@pytest.mark.parametrize(
    ("declared", "u", "nu", "distribution"),
    [
        ("0.3 degC", 0.3 / math.sqrt(3.0), math.inf, "rectangular"),
        ({"value": "0.3 degC"}, 0.3 / math.sqrt(3.0), math.inf, "rectangular"),
        ({"value": "0.3 degC", "distribution": "triangular"}, 0.3 / math.sqrt(6.0), math.inf, "triangular"),
        ({"value": "0.3 degC", "distribution": "u_shaped"}, 0.3 / math.sqrt(2.0), math.inf, "u_shaped"),
        ({"value": "0.3 degC", "means": "u", "nu": "7"}, 0.3, 7.0, "normal"),
        ({"value": "0.3 degC", "means": "U", "k": f"{float(coverage_factor(9.0)):.12f}"}, 0.3 / 2.32, 9.0, "normal"),
    ],
)
def test_an_amount_says_what_it_means(declared: Declared, u: float, nu: float, distribution: str):
    (found,) = gradients(declared, 50.0)
    assert found == (pytest.approx(u, rel=5e-3), pytest.approx(nu, rel=1e-6), distribution)


def test_by_bands_of_the_target_one_effect_grows_with_the_humidity():
    bands = [
        {"lowest": "0 %RH", "highest": "30 %RH", "value": "0.1 degC"},
        {"lowest": "70 %RH", "highest": "100 %RH", "value": "0.4 degC"},
    ]
    found = gradients({"value": "0.2 degC", "bands": bands}, 20.0, 50.0, 80.0)
    assert [u for u, _, _ in found] == [pytest.approx(half / math.sqrt(3.0), rel=5e-3) for half in (0.1, 0.2, 0.4)]


def test_a_band_may_be_one_of_temperatures():
    declared = {"value": "0.2 degC", "bands": [{"lowest": "22 degC", "highest": "24 degC", "value": "0.6 degC"}]}
    ((at_23, _, _),), ((at_20, _, _),) = gradients(declared, 50.0), gradients(declared, 50.0, chamber_c=20.0)
    assert at_23 == pytest.approx(0.6 / math.sqrt(3.0), rel=5e-3)
    assert at_20 == pytest.approx(0.2 / math.sqrt(3.0), rel=0.03)


def test_the_condition_of_a_solution_is_said_alike():
    rows = b.plateau(75, [75.2] * 2, b.over_salt("NaCl"))
    files = b.saturated_salt(salt_condition={"value": "0.4 %RH", "means": "u", "nu": "5"})
    assessment = b.assessed(b.records(b.sensor(), files, b.visit("2026-03-16-lab", rows)))
    (result,) = assessment.results
    assert result.line is not None
    lines = assessment.measurement.whole().lines(result.line)
    (line,) = [one for one in lines if one.source.identity.endswith("/condition")]
    assert (abs(line.contribution), line.source.nu) == (pytest.approx(0.4), 5.0)


@pytest.mark.parametrize(
    ("keys", "complaint"),
    [
        ({"means": "U"}, "U and k belong together"),
        ({"k": "2"}, "U and k belong together"),
        ({"nu": "4"}, "nu belongs to u"),
        ({"means": "u", "distribution": "u_shaped"}, "a distribution belongs to a limit"),
        ({"bands": [{"lowest": "3 %RH", "highest": "2 %RH", "value": "1 degC"}]}, "the band is empty"),
        ({"bands": [{"lowest": "3 %RH", "highest": "4 degC", "value": "1 degC"}]}, "of humidity and temperature"),
        (
            {
                "bands": [
                    {"lowest": "3 %RH", "highest": "4 %RH", "value": "1 degC"},
                    {"lowest": "3 degC", "highest": "4 degC", "value": "1 degC"},
                ]
            },
            "some bands are of humidity, others of temperature",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused(keys: dict[str, Any], complaint: str):
    _, faults = load(b.records(b.sensor(), b.two_pressure(chamber_gradient={"value": "0.1 degC", **keys})))
    assert [complaint in fault.message for fault in faults] == [True], [fault.text() for fault in faults]


@pytest.mark.parametrize(("lowest", "reached"), [("100 %", 1.0), ("99 %", 0.995), ("0 %", 0.5)])
def test_an_efficiency_of_all_is_none_to_correct_and_of_nothing_is_half(lowest: str, reached: float):
    def value(declared: str | None, target: float = 50.0) -> float:
        rows = b.plateau(target, [target] * 2, b.generated(50.0, 23.0, 23.0))
        files = b.records(b.sensor(), b.two_pressure(lowest_efficiency=declared), b.visit("2026-03-16-lab", rows))
        return b.results(files)[0].reference_value

    assert value(lowest, 50.0 * reached) == pytest.approx(reached * value(None), rel=1e-12)
