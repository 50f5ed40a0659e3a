"""Factors on kinds of effect: by brute force, by the analysis of variance, and as often right as they say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import chi2, f

from asfound.statistics.least_squares import aitken
from asfound.statistics.scale_factors import (
    NU0,
    TAU,
    Factors,
    as_declared,
    contrasts,
    estimate,
    goodness_of,
    scale_factors,
    scatter_p_value,
)


def line(rng, visits=5, size=3, shift=1.0, own=1.0):
    """A straight line of visits: two kinds, own and shared by a visit, each declared 1; (design, values, parts)."""
    number = np.repeat(np.arange(visits), size)
    n = len(number)
    parts = np.array([np.eye(n), (number[:, None] == number).astype(float)])
    values = 0.3 * number + own * rng.standard_normal(n) + shift * rng.standard_normal(visits)[number]
    return np.column_stack([np.ones(n), number]).astype(float), values, parts


def contrasts_of(rng, **keys):
    design, values, parts = line(rng, **keys)
    return contrasts(design, values, parts, 1e-9 * np.eye(len(values)), np.ones(2))


def penalised(lines, phi):
    """−ln of the restricted likelihood times the prior, written out (Harville 1977; from memory)."""
    total = 0.0
    for design, values, parts in lines:
        whole = 1e-9 * np.eye(len(values)) + np.tensordot(np.exp(phi), parts, axes=(0, 0))
        inverse = np.linalg.inv(whole)
        normal = design.T @ inverse @ design
        p = inverse - inverse @ design @ np.linalg.inv(normal) @ design.T @ inverse
        total += 0.5 * (np.linalg.slogdet(whole)[1] + np.linalg.slogdet(normal)[1] + values @ p @ values)
    return total + 0.5 * (NU0 + 1.0) * np.sum(np.log1p(np.asarray(phi) ** 2 / (NU0 * TAU**2)))


@settings(max_examples=8)
@given(st.integers(0, 10_000))
def test_the_factors_are_where_brute_force_finds_the_likeliest(seed):
    rng = np.random.default_rng(seed)
    lines = [line(rng, shift=0.5, own=2.0) for _ in range(4)]
    found = scale_factors([contrasts(d, v, p, 1e-9 * np.eye(len(v)), np.ones(2)) for d, v, p in lines], 2)
    theirs = minimize(lambda phi: penalised(lines, phi), np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-7})
    assert found.log == pytest.approx(theirs.x, abs=0.01)


DYESTUFF = (
    (1545, 1440, 1440, 1520, 1580), (1540, 1555, 1490, 1560, 1495), (1595, 1550, 1605, 1510, 1560),
    (1445, 1440, 1595, 1465, 1545), (1595, 1630, 1515, 1635, 1625), (1520, 1455, 1450, 1480, 1445),
)  # fmt: skip
"""Yield of dyestuff, five samples of each of six batches: Davies and Goldsmith 1972, table 6.3 (from memory)."""
WITHIN, BETWEEN = 2451.25, 1764.05
"""Variances within and between batches, restricted maximum likelihood (printed with the data; from memory)."""


def test_declared_at_the_published_variances_of_a_worked_example_nothing_is_left_to_scale():
    """The prior is about what is declared: both likelihood and prior have their maximum there."""
    values = np.array(DYESTUFF, float).ravel()
    assert np.mean(values) == 1527.5
    batch = np.repeat(np.arange(6), 5)
    parts = np.array([WITHIN * np.eye(30), BETWEEN * (batch[:, None] == batch)])
    found = scale_factors([contrasts(np.ones((30, 1)), values, parts, np.zeros((30, 30)), np.ones(2))], 2)
    assert found.theta == pytest.approx([1.0, 1.0], abs=1e-3)
    # and many copies of the data overrule what was declared three times too large
    wide = contrasts(np.ones((30, 1)), values, 3.0 * parts, np.zeros((30, 30)), np.ones(2))
    assert scale_factors([wide] * 200, 2).theta == pytest.approx([1.0 / 3.0] * 2, rel=0.02)


def test_many_lines_find_what_varies_and_spread_as_their_covariance_says():
    rng = np.random.default_rng(3)
    found = [scale_factors([contrasts_of(rng, shift=0.6, own=1.5) for _ in range(30)], 2) for _ in range(60)]
    logs = np.array([one.log for one in found])
    assert np.exp(logs.mean(axis=0)) == pytest.approx([1.5**2, 0.6**2], rel=0.08)
    stated = np.mean([np.diag(one.covariance) for one in found], axis=0)
    assert logs.var(axis=0) == pytest.approx(stated, rel=0.5)


def test_without_a_line_everything_is_as_declared_and_no_surer_than_that():
    nothing = scale_factors([], 3)
    assert np.all(nothing.theta == 1.0)
    # the prior alone: Var(ln θ) = ν₀τ²/(ν₀ + 1) = 0.8; of a variance that is all of one kind ν = 2/0.8
    assert nothing.freedom(np.array([1.0, 0.0, 0.0])) == pytest.approx(2.0 / 0.8)


def test_a_kind_of_which_nothing_is_declared_stays_at_one():
    rng = np.random.default_rng(1)
    design, values, parts = line(rng)
    parts[1] = 0.0
    found = scale_factors([contrasts(design, values, parts, 1e-9 * np.eye(len(values)), np.ones(2))] * 4, 2)
    assert found.log[1] == 0.0


def test_a_line_that_leans_on_what_others_lean_on_counts_as_a_part_of_one():
    """Four copies of one line at a quarter each say what the one says."""
    rng = np.random.default_rng(5)
    design, values, parts = line(rng, visits=12)
    fixed = 1e-9 * np.eye(len(values))
    whole = scale_factors([contrasts(design, values, parts, fixed, np.ones(2))], 2)
    quarters = scale_factors([contrasts(design, values, parts, fixed, np.full(2, 0.25))] * 4, 2)
    assert quarters.log == pytest.approx(whole.log, abs=1e-3)
    assert quarters.covariance == pytest.approx(whole.covariance, rel=1e-2)


def test_the_degrees_of_freedom_of_a_variance_that_is_all_estimated_are_its_own():
    """Satterthwaite: Var(ln θ) = 2/ν gives ν; where half of the variance is known, four times as many."""
    known = Factors(log=np.zeros(1), covariance=np.full((1, 1), 2.0 / 7.0))
    assert known.freedom(np.array([1.0])) == pytest.approx(7.0)
    assert known.freedom(np.array([0.5])) == pytest.approx(28.0)
    assert known.freedom(np.array([0.0])) == math.inf
    assert known.freedom(np.array([[1.0, 0.5]])) == pytest.approx([7.0, 28.0])
    assert as_declared(1).freedom(np.array([9.0])) == 1.0  # less than one would say nothing at all


@settings(max_examples=20)
@given(st.integers(0, 10_000), st.floats(0.05, 20.0), st.floats(0.05, 20.0))
def test_with_known_factors_the_estimate_is_aitkens(seed, own, shift):
    design, values, parts = line(np.random.default_rng(seed))
    fixed = 0.3 * np.eye(len(values))
    sure = Factors(log=np.log([own, shift]), covariance=np.zeros((2, 2)))
    found = estimate(design, values, parts, fixed, sure)
    theirs = aitken(design, values, fixed + own * parts[0] + shift * parts[1])
    assert found.values == pytest.approx(theirs.values, rel=1e-8, abs=1e-8)
    assert found.covariance == pytest.approx(theirs.covariance, rel=1e-8)
    assert found.chi_squared == pytest.approx(theirs.chi_squared, rel=1e-8) and found.freedom == theirs.freedom
    assert found.p_value == pytest.approx(chi2.sf(theirs.chi_squared, theirs.freedom), rel=1e-6)
    u, nu = found.spread(np.eye(2))
    assert u**2 == pytest.approx(np.diag(theirs.covariance), rel=1e-8) and np.all(np.isinf(nu))


@settings(max_examples=20)
@given(st.integers(0, 10_000))
def test_what_each_kind_has_in_a_variance_is_how_it_grows_with_its_factor(seed):
    """To first order with the weights held: by_kind is dCov/d ln θ of the same estimator."""
    design, values, parts = line(np.random.default_rng(seed))
    fixed = 0.3 * np.eye(len(values))
    found = estimate(design, values, parts, fixed, as_declared(2))
    whole = fixed + parts.sum(axis=0)
    gain = found.covariance @ design.T @ np.linalg.inv(whole)
    for kind in range(2):
        assert found.by_kind[kind] == pytest.approx(gain @ parts[kind] @ gain.T, rel=1e-7, abs=1e-12)
    assert found.by_kind.sum(axis=0) + gain @ fixed @ gain.T == pytest.approx(found.covariance, rel=1e-7, abs=1e-12)


def test_a_line_is_judged_by_f_where_its_scale_is_estimated():
    assert scatter_p_value(12.0, 6, 20.0) == pytest.approx(f.sf(2.0, 6, 20.0), rel=1e-12)
    assert scatter_p_value(12.0, 6, np.inf) == pytest.approx(chi2.sf(12.0, 6), rel=1e-12)
    assert scatter_p_value(0.0, 0, 20.0) == 1.0


def test_a_line_among_others_is_judged_as_it_is_alone():
    """Padding to the longest line changes nothing of a shorter one."""
    rng = np.random.default_rng(2)
    design, values, parts = line(rng, visits=4)
    fixed = 1e-9 * np.eye(len(values))
    short, long = contrasts(design, values, parts, fixed, np.ones(2)), contrasts_of(rng, visits=9)
    found = goodness_of([short, long], as_declared(2))
    both = [column[0] for column in (found.chi_squared, found.freedom, found.p_value)]
    alone = estimate(design, values, parts, fixed, as_declared(2))
    assert both == pytest.approx([alone.chi_squared, alone.freedom, alone.p_value], rel=1e-9)


def test_parameters_that_cannot_be_told_apart_are_refused():
    design = np.column_stack([np.ones(4), 2.0 * np.ones(4)])
    with pytest.raises(np.linalg.LinAlgError):
        estimate(design, np.arange(4.0), np.zeros((2, 4, 4)), np.eye(4), as_declared(2))


def test_a_step_is_found_where_a_test_of_all_residuals_sees_nothing():
    """Twelve visits, six of them higher by some standard deviations of a visit: one contrast of 34."""
    rng = np.random.default_rng(8)
    design, values, parts = line(rng, visits=12, shift=0.0)
    number = np.repeat(np.arange(12), 3)
    steps = (number[:, None] >= np.arange(1, 12)).astype(float)
    fixed, known = 1e-9 * np.eye(36), Factors(log=np.zeros(2), covariance=0.01 * np.eye(2))
    stepped = values + np.where(number >= 6, 7.5, 0.0)
    found = estimate(design, stepped, parts, fixed, known, steps)
    assert found.p_value > 0.05 and found.step_p_values.argmin() == 5 and found.step_p_values.min() < 0.01
    assert estimate(design, values, parts, fixed, known, steps).step_p_values.min() > 0.05
    alone = goodness_of([contrasts(design, stepped, parts, fixed, np.ones(2), steps)], known)
    assert alone.step_p_value[0] == pytest.approx(found.step_p_values.min(), rel=1e-6)


def test_a_step_is_seldom_found_where_there_is_none():
    rng = np.random.default_rng(9)
    number = np.repeat(np.arange(6), 3)
    steps = (number[:, None] >= np.arange(1, 6)).astype(float)
    known = Factors(log=np.zeros(2), covariance=np.zeros((2, 2)))
    lines = [line(rng, visits=6) for _ in range(600)]
    found = goodness_of([contrasts(d, v, p, 1e-9 * np.eye(18), np.ones(2), steps) for d, v, p in lines], known)
    assert 0.005 <= np.mean(found.step_p_value < 0.05) <= 0.06  # Bonferroni over places that hang together: careful
