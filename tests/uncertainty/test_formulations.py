"""The half-widths of the formulas against independent formulations: what they enclose, and where they do not."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from iapws import IAPWS95
from iapws._iapws import _Sublimation_Pressure

from asfound.humidity import saturation_vapour_pressure, two_pressure_rh
from asfound.humidity.vapour import saturated_partial_pressure
from asfound.uncertainty.formulations import (
    ENHANCEMENT_PER_PA,
    ICE_RELATIVE,
    SUPERCOOLED_SCALE_K,
    WATER_RELATIVE,
    formulation_terms,
)
from asfound.uncertainty.sources import Catalogue
from asfound.uncertainty.terms import Measured, Terms
from tests.measurement.methods import carried

ZERO_C = 273.15


def published_rows() -> list[dict[str, str]]:
    path = Path(__file__).parents[2] / "site_templates" / "published_values.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def murphy_koop_water(celsius):
    """Vapour pressure over supercooled water in Pa: Murphy and Koop 2005, QJRMS 131, 1539, eq. 10 (from memory)."""
    t = celsius + ZERO_C
    cold = 53.878 - 1331.22 / t - 9.44523 * np.log(t) + 0.014025 * t
    return np.exp(54.842763 - 6763.22 / t - 4.210 * np.log(t) + 0.000367 * t + np.tanh(0.0415 * (t - 218.8)) * cold)


def test_e_over_water_lies_within_its_half_width_of_iapws_95():
    celsius = np.array([0.02, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0])
    theirs = np.array([IAPWS95(T=t + ZERO_C, x=0).P * 1e6 for t in celsius])
    assert np.all(np.abs(saturation_vapour_pressure(celsius) / theirs - 1.0) <= WATER_RELATIVE)


def test_e_over_supercooled_water_lies_within_its_half_width_of_murphy_and_koop_down_to_minus_50():
    celsius = np.linspace(-50.0, 0.0, 101)
    apart = np.abs(saturation_vapour_pressure(celsius) / murphy_koop_water(celsius) - 1.0)
    half_width = WATER_RELATIVE * np.exp(-celsius / SUPERCOOLED_SCALE_K)
    assert np.all(apart <= half_width)
    assert np.all(apart[celsius <= -10.0] >= half_width[celsius <= -10.0] / 2.0)  # nor is it wider than it must be


def test_the_budget_over_supercooled_water_is_as_wide_as_stated():
    celsius = np.array([5.0, 0.0, -2.0, -5.0, -10.0, -16.0, -30.0, -50.0])
    catalogue = Catalogue()
    inputs = {name: Measured(at, Terms.none()) for name, at in (("cold", celsius), ("warm", celsius + 400.0))}
    # Over ice nothing is added: what is left is that of water alone.
    terms = formulation_terms(
        catalogue, (("water", "cold", None), ("ice", "warm", None)), inputs, np.full(len(celsius), 1.0)
    )
    water = np.array(["ice" not in catalogue[int(number)].identity for number in terms.source])
    u = catalogue.standard_uncertainties()[terms.source] * terms.weight
    combined = np.sqrt(np.bincount(terms.row[water], u[water] ** 2))
    stated = WATER_RELATIVE * np.exp(np.maximum(-celsius, 0.0) / SUPERCOOLED_SCALE_K)
    np.testing.assert_allclose(combined * np.sqrt(3.0), stated, rtol=1e-12)


def test_every_published_vapour_pressure_on_the_method_page_lies_within_the_half_width_stated_there():
    rows = [row for row in published_rows() if row["quantity"] == "saturation_vapour_pressure"]
    for row in rows:
        celsius, value = float(row["temperature_c"]), float(row["published"])
        of_water = WATER_RELATIVE * np.exp(max(-celsius, 0.0) / SUPERCOOLED_SCALE_K)
        apart = saturation_vapour_pressure(celsius, over=row["over"]) / value - 1.0
        assert abs(apart) <= (ICE_RELATIVE if row["over"] == "ice" else of_water), row["id"]
    assert len(rows) > 10


def test_e_over_ice_lies_within_its_half_width_of_iapws_r14_down_to_minus_60():
    celsius = np.linspace(-60.0, 0.0, 61)
    theirs = np.array([_Sublimation_Pressure(t + ZERO_C) * 1e6 for t in celsius])
    assert np.all(np.abs(saturation_vapour_pressure(celsius, over="ice") / theirs - 1.0) <= ICE_RELATIVE)


def test_f_e_over_ice_lies_within_its_half_width_of_coolprop_down_to_minus_40():
    celsius = np.linspace(-40.0, -1.0, 40)
    theirs = np.array([HAPropsSI("Y", "T", t + ZERO_C, "P", 101_325.0, "R", 1.0) * 101_325.0 for t in celsius])
    ours = saturated_partial_pressure(celsius, 101_325.0, "ice")
    assert np.all(np.abs(ours / theirs - 1.0) <= ICE_RELATIVE)


def apart_over_half_width(saturation_c, saturation_pa, chamber_c=None):
    """Difference of the humidity from CoolProp's, over the half-width of the enhancement factor's source."""
    chamber_c = saturation_c if chamber_c is None else chamber_c
    ours = two_pressure_rh(saturation_pa, saturation_c, 101_325.0, chamber_c)
    theirs = carried(saturation_c, saturation_pa, chamber_c, 101_325.0)
    return (ours / theirs - 1.0) / (ENHANCEMENT_PER_PA * (saturation_pa - 101_325.0))


@pytest.mark.parametrize("saturation_c", [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 50.0])
@pytest.mark.parametrize("saturation_pa", [3e5, 6e5, 9e5, 1.2e6])
def test_two_pressure_humidity_lies_within_the_half_width_of_coolprop(saturation_c, saturation_pa):
    assert abs(apart_over_half_width(saturation_c, saturation_pa)) <= 1.0
    assert abs(apart_over_half_width(saturation_c, saturation_pa, saturation_c + 1.0)) <= 1.0


def test_the_formulas_of_f_differ_with_one_sign_so_the_source_is_a_bias_between_them():
    found = [apart_over_half_width(t, p) for t in (5.0, 15.0, 25.0, 35.0) for p in (3e5, 6e5, 1.2e6)]
    assert max(found) < 0.0


def test_in_a_cold_saturator_at_high_pressure_the_half_width_is_passed_by_a_fifth_at_most():
    found = [abs(apart_over_half_width(t, p)) for t in (0.5, 1.0, 3.0, 5.0) for p in (1.2e6, 1.6e6, 2.0e6)]
    assert 1.0 < max(found) < 1.2
