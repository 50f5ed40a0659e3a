"""Properties that every budget has, whatever its sources."""

from __future__ import annotations

import math

import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.uncertainty.budgets import make_budgets
from asfound.uncertainty.covariance import covariance, expanded_of_combination
from asfound.uncertainty.sources import Catalogue, Source, coverage_factor, freedom_from_k, rectangular
from asfound.uncertainty.terms import Terms

SIZES = st.floats(1e-3, 10.0)
SIGNED = st.floats(-5.0, 5.0).filter(lambda x: abs(x) > 1e-3)
SOURCES = st.lists(st.tuples(SIZES, st.sampled_from([1.0, 3.0, 12.0, math.inf])), min_size=2, max_size=5)


def catalogue_of(sources) -> Catalogue:
    catalogue = Catalogue()
    for number, (u, nu) in enumerate(sources):
        catalogue.add(Source(identity=f"source {number}", label="", u=u, unit="%RH", nu=nu))
    return catalogue


@st.composite
def budgets(draw):
    """Three results over a few sources, some of them shared."""
    sources = draw(SOURCES)
    weights = np.array(
        draw(st.lists(st.lists(SIGNED, min_size=len(sources), max_size=len(sources)), min_size=3, max_size=3))
    )
    terms = Terms(np.repeat(np.arange(3), len(sources)), np.tile(np.arange(len(sources)), 3), weights.ravel())
    return weights, sources, make_budgets(catalogue_of(sources), terms, 3)


@settings(max_examples=40)
@given(budgets())
def test_u_and_covariance_are_those_of_the_uncertainties_package(case):
    weights, sources, found = case
    inputs = [uncertainties.ufloat(0.0, u) for u, _ in sources]
    theirs = [sum(w * x for w, x in zip(row, inputs)) for row in weights]
    matrix = np.array(uncertainties.covariance_matrix(theirs))
    scale = float(np.max(np.diag(matrix)))
    assert covariance(found, range(3)) == pytest.approx(matrix, rel=1e-9, abs=1e-12 * scale)
    assert found.u == pytest.approx(np.sqrt(np.diag(matrix)), rel=1e-9)


@settings(max_examples=40)
@given(budgets())
def test_the_shares_of_a_budget_make_up_the_whole(case):
    _, _, found = case
    for result in range(3):
        lines = found.lines(result)
        assert math.fsum(line.share for line in lines) == pytest.approx(1.0)
        assert [abs(line.contribution) for line in lines] == sorted((abs(x.contribution) for x in lines), reverse=True)


@settings(max_examples=40)
@given(budgets())
def test_effective_freedom_lies_between_the_smallest_and_the_sum(case):
    _, sources, found = case
    smallest = min(nu for _, nu in sources)
    total = sum(nu for _, nu in sources)
    assert np.all(found.nu >= smallest * (1.0 - 1e-9)) and np.all(found.nu <= total * (1.0 + 1e-9))
    assert list(found.U) == pytest.approx(list(coverage_factor(found.nu) * found.u))


@settings(max_examples=40)
@given(budgets(), st.tuples(SIGNED, SIGNED, SIGNED))
def test_a_combination_has_the_variance_of_the_covariance_matrix(case, weights):
    _, _, found = case
    u, k, U = expanded_of_combination(found, range(3), weights)
    expected = np.array(weights) @ covariance(found, range(3)) @ np.array(weights)
    assert u**2 == pytest.approx(expected, rel=1e-6, abs=1e-9 * float(np.max(found.u)) ** 2)
    assert pytest.approx(k * u) == U


def test_a_result_minus_itself_is_certain():
    catalogue = catalogue_of([(0.3, 4.0), (0.2, math.inf)])
    found = make_budgets(catalogue, Terms(np.array([0, 0]), np.array([0, 1]), np.array([1.0, -2.0])), 1)
    assert expanded_of_combination(found, (0, 0), (1.0, -1.0))[2] == 0.0


@settings(max_examples=60)
@given(st.floats(0.6, 1e5))
def test_a_certificates_k_gives_its_freedom_back(nu):
    assert freedom_from_k(float(coverage_factor(nu))) == pytest.approx(nu, rel=1e-5)


@pytest.mark.parametrize("k", [1.0, 1.65, 1.96, 2.0])
def test_k_of_two_and_less_means_that_u_is_certain(k):
    assert freedom_from_k(k) == math.inf


def test_k_is_two_for_certain_u_and_grows_as_less_is_known():
    assert coverage_factor(math.inf) == pytest.approx(2.0, abs=1e-12)
    k = coverage_factor(np.array([1.0, 2.0, 5.0, 20.0, 100.0, 1e6, math.inf]))
    assert np.all(np.diff(k) < 0.0)


def test_one_identity_means_one_source():
    catalogue = Catalogue()
    first = catalogue.add(rectangular("GEN-01/2026-01-12/chamber_temperature/drift", "drift", 0.1, "degC"))
    assert catalogue.add(rectangular("GEN-01/2026-01-12/chamber_temperature/drift", "drift", 0.1, "degC")) == first
    with pytest.raises(ValueError, match="twice"):
        catalogue.add(rectangular("GEN-01/2026-01-12/chamber_temperature/drift", "drift", 0.2, "degC"))


def test_a_result_without_sources_has_no_uncertainty_and_k_two():
    found = make_budgets(Catalogue(), Terms.none(), 2)
    assert list(found.u) == [0.0, 0.0] and list(found.U) == [0.0, 0.0]


@settings(max_examples=30)
@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 4), SIGNED), max_size=12))
def test_summed_terms_say_the_same_as_their_parts(entries):
    row, source, weight = (np.array(x) for x in zip(*entries)) if entries else (np.zeros(0, int),) * 3
    whole, by_hand = np.zeros((4, 5)), np.zeros((4, 5))
    np.add.at(by_hand, (row, source), weight)
    summed = Terms(row.astype(np.int64), source.astype(np.int64), weight.astype(float)).summed()
    whole[summed.row, summed.source] = summed.weight
    assert whole == pytest.approx(by_hand)
    assert np.all(np.diff(summed.row * 5 + summed.source) > 0)


@settings(max_examples=60)
@given(SOURCES, st.randoms(use_true_random=False))
def test_no_digit_of_a_budget_depends_on_the_order_in_which_its_sources_were_numbered(sources, chance):
    order = chance.sample(range(len(sources)), len(sources))
    place = np.argsort(order)
    weight = 1.0 / (1.0 + np.arange(len(sources)))
    rows = np.zeros(len(sources), int)
    one = make_budgets(catalogue_of(sources), Terms(rows, np.arange(len(sources)), weight), 1)
    other = make_budgets(catalogue_of([sources[i] for i in order]), Terms(rows, place, weight), 1)
    for figure in ("u", "nu", "U"):
        assert getattr(one, figure)[0] == getattr(other, figure)[0], figure
