"""Generalised least squares and the variance that visits share: published examples, and other ways to the same."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit, minimize_scalar
from scipy.spatial.distance import mahalanobis

from asfound.statistics.least_squares import (
    aitken,
    chi_squared,
    contrasts,
    effective_freedom,
    generalised_least_squares,
    information,
    log_likelihood,
    pooled,
    restricted_maximum,
    score,
)
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
    plain = aitken(design, b, np.eye(len(t)), np.zeros((len(t), 0)))
    s = math.sqrt(plain.chi_squared / plain.freedom)
    fit = aitken(design, b, s**2 * np.eye(len(t)), np.zeros((len(t), 0)))
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
        aitken(design, np.arange(4.0), np.eye(4), np.zeros((4, 0)))


def one_way(groups, size, between, within, seed):
    """A balanced one-way layout: `groups` visits of `size` results each."""
    rng = np.random.default_rng(seed)
    visits = np.kron(np.eye(groups), np.ones((size, 1)))
    y = visits @ (between * rng.standard_normal(groups)) + within * rng.standard_normal(groups * size)
    return np.ones((groups * size, 1)), y, within**2 * np.eye(groups * size), visits


@settings(max_examples=25)
@given(st.integers(3, 12), st.integers(1, 5), st.sampled_from([0.0, 0.3, 2.0]), st.integers(0, 10_000))
def test_in_a_balanced_layout_the_variance_between_visits_is_that_of_the_analysis_of_variance(
    groups, size, between, seed
):
    """Mean square between visits less the variance within, over the size of a visit; no less than zero.

    The variance within is known here, so it stands for the mean square within (NIST/SEMATECH e-Handbook, 7.4.3,
    one-way analysis of variance with random effects; from memory).
    """
    within = 0.5
    layout = one_way(groups, size, between, within, seed)
    means = layout[1].reshape(groups, size).mean(axis=1)
    expected = max(0.0, float(np.var(means, ddof=1)) - within**2 / size)
    found = contrasts(*layout)
    assert len(found.weights) == groups - 1
    assert restricted_maximum(found) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_its_information_is_that_of_a_scaled_chi_squared():
    """Var(σ̂²) = 2·(σ² + w)²/(n − 1) for the mean square of n visits whose means have variance σ² + w."""
    layout = one_way(9, 4, 1.0, 0.5, 3)
    assert 1.0 / information(contrasts(*layout), 0.7) == pytest.approx(2.0 * (0.7 + 0.25 / 4.0) ** 2 / 8.0, rel=1e-12)


def unbalanced(seed):
    """An instrument with a line, visits of one to four results, and correlated errors."""
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, 5, 6)
    visits = np.repeat(np.eye(6), sizes, axis=0)
    n = len(visits)
    design = np.column_stack([np.ones(n), visits @ np.arange(6.0)])
    matrix = 0.05 * random_covariance(seed, n)
    y = design @ [0.3, 0.1] + visits @ rng.standard_normal(6) + rng.multivariate_normal(np.zeros(n), matrix)
    return design, y, matrix, visits


def restricted_log_likelihood(design, y, matrix, visits, variance):
    """−½·[ln|V| + ln|XᵀV⁻¹X| + yᵀPy], written out (Harville 1977; from memory)."""
    whole = matrix + variance * visits @ visits.T
    inverse = np.linalg.inv(whole)
    normal = design.T @ inverse @ design
    p = inverse - inverse @ design @ np.linalg.inv(normal) @ design.T @ inverse
    return -0.5 * (np.linalg.slogdet(whole)[1] + np.linalg.slogdet(normal)[1] + y @ p @ y)


@settings(max_examples=15)
@given(st.integers(0, 10_000))
def test_contrasts_hold_the_whole_restricted_likelihood(seed):
    instrument = unbalanced(seed)
    found = contrasts(*instrument)
    ours = [log_likelihood(found, v) - log_likelihood(found, 0.0) for v in (0.1, 1.0, 7.0)]
    at_zero = restricted_log_likelihood(*instrument, 0.0)
    assert ours == pytest.approx(
        [restricted_log_likelihood(*instrument, v) - at_zero for v in (0.1, 1.0, 7.0)], rel=1e-6
    )


@settings(max_examples=10)
@given(st.integers(0, 10_000))
def test_the_pool_of_several_instruments_has_its_maximum_where_brute_force_finds_it(seed):
    instruments = [unbalanced(seed + i) for i in range(4)]
    found = pooled([contrasts(*instrument) for instrument in instruments])
    best = restricted_maximum(found)

    def loss(log_variance):
        return -sum(restricted_log_likelihood(*instrument, math.exp(log_variance)) for instrument in instruments)

    theirs = minimize_scalar(loss, bounds=(-6.0, 5.0), method="bounded", options={"xatol": 1e-10})
    assert best == pytest.approx(math.exp(theirs.x), rel=1e-4)
    assert score(found, best) == pytest.approx(0.0, abs=1e-6)


def test_the_variance_is_found_on_average_and_spreads_as_its_information_says():
    estimates, informations = [], []
    for seed in range(150):
        found = pooled([contrasts(*unbalanced(7 * seed + i)) for i in range(5)])
        estimates.append(restricted_maximum(found))
        informations.append(information(found, 1.0))
    assert np.mean(estimates) == pytest.approx(1.0, abs=0.1)
    assert np.std(estimates) == pytest.approx(math.sqrt(np.mean(1.0 / np.array(informations))), rel=0.15)


def test_without_any_contrast_there_is_no_variance():
    assert restricted_maximum(pooled([])) == 0.0 and information(pooled([]), 0.0) == 0.0


def test_the_degrees_of_freedom_of_a_variance_that_is_all_estimated_are_its_own():
    """Satterthwaite: Var = σ̂² with Var(σ̂²) = 2σ⁴/ν gives ν; half of it known gives four times as many."""
    nu, variance = 7.0, 0.3
    known = nu / (2.0 * variance**2)
    assert effective_freedom(variance, 1.0, known) == pytest.approx(nu)
    assert effective_freedom(2.0 * variance, 1.0, known) == pytest.approx(4.0 * nu)
    assert effective_freedom(variance, 1.0, math.inf) == math.inf
    assert effective_freedom(variance, 0.0, known) == math.inf
    assert effective_freedom(0.01 * variance, 1.0, known) == 1.0  # less than one would say nothing at all


def test_what_visits_share_tells_how_far_the_variance_of_a_parameter_grows():
    """The covariance of the estimates at σ² + δ, by the derivative that the shared columns give."""
    design, y, matrix, visits = unbalanced(4)
    step = 1e-6
    here, there = (aitken(design, y, matrix + v * visits @ visits.T, visits) for v in (0.5, 0.5 + step))
    assert here.shared @ here.shared.T == pytest.approx((there.covariance - here.covariance) / step, rel=1e-4)
