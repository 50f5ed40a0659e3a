"""Generalised least squares: published examples, and other ways to the same."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.spatial.distance import mahalanobis

from asfound.statistics.least_squares import aitken, chi_squared, generalised_least_squares
from tests.humidity.published_checks import table


def random_covariance(seed, n):
    root = np.random.default_rng(seed).normal(size=(n, n))
    return root @ root.T + 0.1 * np.eye(n)


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_the_fit_is_scipys_with_the_same_covariance(seed):
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0.0, 5.0, 8))
    matrix = random_covariance(seed, 8)
    y = 1.0 + 0.3 * x + rng.multivariate_normal(np.zeros(8), matrix)
    fit, spread = generalised_least_squares(np.column_stack([np.ones(8), x]), y, matrix)
    theirs, their_spread = curve_fit(lambda x, a, c: a + c * x, x, y, sigma=matrix, absolute_sigma=True)
    assert fit == pytest.approx(theirs, rel=1e-5, abs=1e-6)
    assert spread == pytest.approx(their_spread, rel=1e-5, abs=1e-7)
    distance = mahalanobis(y, fit[0] + fit[1] * x, np.linalg.inv(matrix))
    assert chi_squared(y - fit[0] - fit[1] * x, matrix) == pytest.approx(distance**2, rel=1e-6)


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_with_the_identity_the_fit_is_numpys_least_squares(seed):
    rng = np.random.default_rng(seed)
    design, y = rng.normal(size=(9, 3)), rng.normal(size=9)
    fit, spread = generalised_least_squares(design, y, np.eye(9))
    assert fit == pytest.approx(np.linalg.lstsq(design, y, rcond=None)[0], rel=1e-9, abs=1e-9)
    assert spread == pytest.approx(np.linalg.inv(design.T @ design), rel=1e-9, abs=1e-9)


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.floats(-5.0, 5.0))
def test_an_error_common_to_all_results_moves_the_level_and_not_the_rate(seed, shift):
    rng = np.random.default_rng(seed)
    x = np.arange(6.0)
    design, matrix = np.column_stack([np.ones(6), x]), random_covariance(seed, 6)
    y = rng.normal(size=6)
    first, spread = generalised_least_squares(design, y, matrix)
    second, shared = generalised_least_squares(design, y + shift, matrix + 4.0)
    assert second[1] == pytest.approx(first[1], rel=1e-6, abs=1e-6)
    assert shared[1, 1] == pytest.approx(spread[1, 1], rel=1e-6)
    assert shared[0, 0] == pytest.approx(spread[0, 0] + 4.0, rel=1e-6)


THERMOMETER_C = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTION_C = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)
"""JCGM 100:2008, H.3, table H.6."""


def test_the_calibration_line_of_a_thermometer_is_that_of_the_gum():
    """JCGM 100:2008, H.3: intercept at 20 °C, slope, their uncertainties and correlation, correction at 30 °C."""
    printed = {row["quantity"]: row for row in table("gum_examples") if row["quantity"].startswith("H.3 ")}
    t, b = np.array(THERMOMETER_C) - 20.0, np.array(CORRECTION_C)
    design = np.column_stack([np.ones(len(t)), t])
    plain = aitken(design, b, np.eye(len(t)))
    s = math.sqrt(plain.chi_squared / plain.freedom)
    fit = aitken(design, b, s**2 * np.eye(len(t)))
    u = np.sqrt(np.diag(fit.covariance))
    at_30 = np.array([1.0, 10.0])
    computed = {
        "H.3 y1 intercept at t0": fit.values[0],
        "H.3 s(y1)": u[0],
        "H.3 y2 slope": fit.values[1],
        "H.3 s(y2)": u[1],
        "H.3 r(y1,y2)": fit.covariance[0, 1] / (u[0] * u[1]),
        "H.3 s residual sd": s,
        "H.3 b(30 C)": at_30 @ fit.values,
        "H.3 u_c[b(30 C)]": math.sqrt(at_30 @ fit.covariance @ at_30),
    }
    for quantity, value in computed.items():
        row = printed[quantity]
        assert value == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), quantity
    for k, row in enumerate(row for row in table("gum_examples") if "predicted correction" in row["quantity"]):
        assert (design @ fit.values)[k] == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_parameters_that_cannot_be_told_apart_are_refused():
    design = np.column_stack([np.ones(4), 2.0 * np.ones(4)])
    with pytest.raises(np.linalg.LinAlgError):
        aitken(design, np.arange(4.0), np.eye(4))
