"""GUM H.1 to H.3 by the general-purpose packages GTC and uncertainties, beside the program's own budgets."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
import uncertainties
from uncertainties import umath

from tests.program import as_it_is
from tests.uncertainty.guide_checks import (
    H1_INPUTS,
    H2_AMPERE,
    H2_RADIAN,
    H2_VOLT,
    H3_CELSIUS,
    H3_CORRECTION,
    budget,
    h1_length,
    rows_over_columns,
)

PROGRAM = as_it_is()
IMPEDANCES = {
    "R": (lambda v, i, phi, m: v / i * m.cos(phi)),
    "X": (lambda v, i, phi, m: v / i * m.sin(phi)),
    "Z": (lambda v, i, phi, m: v / i),
}


def test_the_end_gauge_of_h1_agrees_with_gtc_to_its_last_digits():
    length, found = budget(PROGRAM, h1_length, H1_INPUTS)
    inputs = [GTC.ureal(x, u, nu, label=name) for name, (x, u, nu) in H1_INPUTS.items()]
    by_gtc = h1_length(*inputs)
    assert length == pytest.approx(GTC.value(by_gtc), rel=1e-14)
    assert found.u[0] == pytest.approx(GTC.uncertainty(by_gtc), rel=1e-12)
    assert found.nu[0] == pytest.approx(GTC.dof(by_gtc), rel=1e-9)
    components = {name: abs(GTC.component(by_gtc, x)) for name, x in zip(H1_INPUTS, inputs)}
    for line in found.lines(0):
        assert abs(line.contribution) == pytest.approx(components[line.source.identity], rel=1e-12)


def test_the_end_gauge_of_h1_agrees_with_uncertainties():
    _, found = budget(PROGRAM, h1_length, H1_INPUTS)
    by_package = h1_length(*(uncertainties.ufloat(x, u) for x, u, _ in H1_INPUTS.values()))
    assert found.u[0] == pytest.approx(by_package.std_dev, rel=1e-12)


def _columns():
    n = len(H2_VOLT)
    means = [float(np.mean(x)) for x in (H2_VOLT, H2_AMPERE, H2_RADIAN)]
    return means, np.array([(x - np.mean(x)) / math.sqrt(n * (n - 1)) for x in (H2_VOLT, H2_AMPERE, H2_RADIAN)])


class _DualMath:
    cos = staticmethod(lambda x: PROGRAM.duals.Dual(np.cos(x.real), -np.sin(x.real) * x.gradient))
    sin = staticmethod(lambda x: PROGRAM.duals.Dual(np.sin(x.real), np.cos(x.real) * x.gradient))


def test_the_impedance_of_h2_agrees_with_uncertainties_covariance_and_all():
    means, columns = _columns()
    correlated = uncertainties.correlated_values(means, columns @ columns.T)
    theirs = [f(*correlated, umath) for f in IMPEDANCES.values()]
    rows = []
    for f in IMPEDANCES.values():
        _, gradient = PROGRAM.duals.differentiate(
            lambda v, i, phi, f=f: f(v, i, phi, _DualMath), *(np.array([m]) for m in means)
        )
        rows.append(gradient[:, 0] @ columns)
    ours = PROGRAM.covariance.covariance(rows_over_columns(PROGRAM, rows), range(3))
    assert ours == pytest.approx(np.array(uncertainties.covariance_matrix(theirs)), rel=1e-9)


def test_the_impedance_of_h2_agrees_with_gtc():
    v, i, phi = GTC.ta.multi_estimate_real([H2_VOLT, H2_AMPERE, H2_RADIAN])
    means, columns = _columns()
    for f in IMPEDANCES.values():
        _, gradient = PROGRAM.duals.differentiate(
            lambda a, b, c, f=f: f(a, b, c, _DualMath), *(np.array([m]) for m in means)
        )
        u = rows_over_columns(PROGRAM, [gradient[:, 0] @ columns]).u[0]
        assert u == pytest.approx(GTC.uncertainty(f(v, i, phi, GTC)), rel=1e-9)


def test_the_line_of_h3_agrees_with_gtc_and_numpy():
    design = np.column_stack([np.ones(len(H3_CELSIUS)), H3_CELSIUS - 20.0])
    fit = GTC.ta.line_fit(H3_CELSIUS - 20.0, H3_CORRECTION)
    intercept, slope = fit.a_b
    s = math.sqrt(fit.ssr / (fit.N - 2))
    line, spread = PROGRAM.least_squares.generalised_least_squares(design, H3_CORRECTION, s**2 * np.eye(fit.N))
    assert line == pytest.approx([GTC.value(intercept), GTC.value(slope)], rel=1e-10)
    assert np.sqrt(np.diag(spread)) == pytest.approx([GTC.uncertainty(intercept), GTC.uncertainty(slope)], rel=1e-10)
    assert spread[0, 1] / math.sqrt(spread[0, 0] * spread[1, 1]) == pytest.approx(
        GTC.get_correlation(intercept, slope), rel=1e-9
    )
    polynomial, covariance = np.polyfit(H3_CELSIUS - 20.0, H3_CORRECTION, 1, cov=True)
    assert line[::-1] == pytest.approx(polynomial, rel=1e-10)
    assert spread[::-1, ::-1] == pytest.approx(covariance, rel=1e-9)


def test_without_the_covariance_of_intercept_and_slope_h3_goes_wrong():
    design = np.column_stack([np.ones(len(H3_CELSIUS)), H3_CELSIUS - 20.0])
    _, spread = PROGRAM.least_squares.generalised_least_squares(design, H3_CORRECTION, 0.0035**2 * np.eye(11))
    found = rows_over_columns(PROGRAM, list(np.linalg.cholesky(spread)))
    u, _, _ = PROGRAM.covariance.expanded_of_combination(found, (0, 1), (1.0, 10.0))
    assert u == pytest.approx(0.0041, abs=6e-5)  # JCGM 100:2008, H.3.4
    assert math.hypot(found.u[0], 10.0 * found.u[1]) > 1.7 * u
