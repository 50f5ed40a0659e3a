"""Air above saturation: wrong beyond saturation over water, doubtful above saturation over ice, told where shown."""

from __future__ import annotations

import math

import CoolProp.CoolProp as coolprop
import pytest

from asfound.assessment.assess import assess_visit, check
from asfound.assessment.results.conformity import Verdict
from asfound.humidity import rh_from_mirror, settled_saturation_rh
from tests import builders as b

SATURATED_OVER_ICE = 83.8
"""%RH over water at −18 °C and one atmosphere; see below."""


def mirrored(target, mirror_c, air_c, condensate, shown=None, **family):
    """What is held against a plateau that a chilled mirror read: names of rules."""
    value = float(rh_from_mirror(mirror_c, air_c, condensate, 101_325.0)) if shown is None else shown
    rows = b.plateau(target, [value, value], b.mirrored(mirror_c, air_c, condensate))
    family = b.family(**({"rh_over": "water"} | family))
    files = b.records(b.sensor(), family, b.chilled_mirror(), b.visit("2026-03-16-lab", rows))
    return {fault.rule.name: fault for fault in check(files) if "saturation" in fault.rule.name}


def mirror_for(rh: float, air_c: float) -> float:
    """Dew point of air, °C, by bisection."""
    low, high = air_c - 10.0, air_c + 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if rh_from_mirror(middle, air_c, "dew", 101_325.0) < rh else (low, middle)
    return round(low, 4)


@pytest.mark.parametrize("celsius", [-30.0, -18.0, -5.0])
def test_settled_air_below_freezing_keeps_what_saturation_over_ice_leaves(celsius: float):
    """Ice by CoolProp (IAPWS R14-08), supercooled water by Murphy and Koop 2005, equation 10, from memory."""
    ice = coolprop.HAPropsSI("P_w", "T", 273.15 + celsius, "P", 101325.0, "R", 1.0)
    kelvin = 273.15 + celsius
    water = math.exp(
        54.842763
        - 6763.22 / kelvin
        - 4.210 * math.log(kelvin)
        + 0.000367 * kelvin
        + math.tanh(0.0415 * (kelvin - 218.8))
        * (53.878 - 1331.22 / kelvin - 9.44523 * math.log(kelvin) + 0.014025 * kelvin)
    )
    assert settled_saturation_rh(celsius, 101_325.0) == pytest.approx(100.0 * ice / water, rel=0.01)


def test_from_the_triple_point_on_settled_air_keeps_a_hundred():
    assert settled_saturation_rh([0.01, 0.1, 23.0], 101_325.0).tolist() == [100.0, 100.0, 100.0]
    assert 99.9 < settled_saturation_rh(-0.01, 101_325.0) < 100.0


@pytest.mark.parametrize(
    ("target", "rh", "held"),
    [
        (80.0, 80.0, set()),
        (83.0, 84.3, set()),  # within U of saturation over ice
        (84.5, 84.3, {"above-ice-saturation"}),  # the target is above it, whatever was reached
        (83.0, 88.0, {"above-ice-saturation"}),
        (98.0, 98.0, {"above-ice-saturation"}),
        (98.0, 103.0, {"beyond-saturation"}),
    ],
)
def test_at_minus_18_degrees_air_is_doubtful_above_ice_and_wrong_above_water(target, rh, held):
    found = mirrored(target, mirror_for(rh, -18.0), -18.0, "dew", shown=min(rh, 90.0))
    assert set(found) == held


def test_a_sensor_over_ice_has_the_same_air_and_other_numbers():
    frost = {"rh_over": "ice"}
    assert set(mirrored(98.0, -18.2, -18.0, "frost", shown=98.0, **frost)) == set()
    assert set(mirrored(100.0, -17.0, -18.0, "frost", shown=100.0, **frost)) == {"above-ice-saturation"}
    assert set(mirrored(100.0, -17.6, -18.0, "dew", shown=100.0, **frost)) == {"beyond-saturation"}


def test_above_freezing_a_reference_may_miss_saturation_by_its_u_alone():
    assert set(mirrored(98.0, mirror_for(102.0, 23.0), 23.0, "dew", shown=98.0)) == {"beyond-saturation"}
    assert set(mirrored(98.0, mirror_for(100.3, 23.0), 23.0, "dew", shown=98.0)) == set()


@pytest.mark.parametrize(("shown", "held"), [(101.9, False), (102.1, True)])
def test_a_wet_sensor_keeps_its_verdict_and_is_told(shown: float, held: bool):
    """The tolerance is 2 %RH."""
    rows = b.plateau(95.0, [shown, shown], b.mirrored(mirror_for(95.0, 23.0), 23.0, "dew"))
    files = b.records(b.sensor(), b.chilled_mirror(), b.visit("2026-03-16-lab", rows))
    (result,) = b.results(files)
    assert ("indication-beyond-saturation" in {f.rule.name for f in result.reservations}) == held
    assert result.verdict == "fail"


def test_doubtful_air_gets_no_verdict_and_no_certificate():
    fault = mirrored(84.5, mirror_for(84.3, -18.0), -18.0, "dew")["above-ice-saturation"]
    assert fault.rule.withholds_verdict and fault.rule.withholds_certificate
    assert fault.message.startswith(f"84.5 %RH aimed at, saturation over ice is {SATURATED_OVER_ICE} %RH at -18.0 degC")


def test_of_a_visit_with_impossible_air_no_verdict_is_said_and_its_results_are_still_shown():
    rows = b.plateau(98.0, [98.0, 98.0], b.mirrored(mirror_for(103.0, 23.0), 23.0, "dew"))
    files = b.records(b.sensor(), b.chilled_mirror(), b.visit("2026-03-16-lab", rows))
    explained, faults = assess_visit(files, "visits/2026/2026-03-16-lab.csv")
    assert "beyond-saturation" in {fault.rule.name for fault in faults}
    assert [result.verdict for result in explained.results] == [Verdict.NONE]
    assert all(isinstance(result.verdict, Verdict) for result in explained.results)
