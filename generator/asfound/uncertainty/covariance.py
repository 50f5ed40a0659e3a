"""Covariance of results, and the uncertainty of what is made of several: differences, means, fitted lines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from asfound.uncertainty.budgets import Budgets, effective_freedom, sums_by
from asfound.uncertainty.sources import coverage_factor
from asfound.uncertainty.terms import Terms


def contributions(budgets: Budgets, results: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """A (results × sources) of signed contributions c·u and the numbers of the sources that stand in it."""
    which, entries = entries_of(budgets, results)
    sources, columns = np.unique(budgets.terms.source[entries], return_inverse=True)
    matrix = np.zeros((len(results), len(sources)))
    matrix[which, columns] = (
        budgets.terms.weight[entries] * budgets.catalogue.standard_uncertainties()[sources][columns]
    )
    return matrix, sources


def covariance(budgets: Budgets, results: Sequence[int]) -> np.ndarray:
    """Covariance matrix of any results, shape (len(results), len(results))."""
    matrix, _ = contributions(budgets, results)
    return matrix @ matrix.T


def expanded_of_combination(
    budgets: Budgets, results: Sequence[int], weights: Sequence[float]
) -> tuple[float, float, float]:
    """(u, k, U) of Σ weight·result; sources that the results share cancel or add as they should."""
    u, k, U = expanded_of_combinations(budgets, np.zeros(len(results), np.int64), results, weights)
    return float(u[0]), float(k[0]), float(U[0])


def expanded_of_combinations(
    budgets: Budgets, sums: Sequence[int] | np.ndarray, results: Sequence[int], weights: Sequence[float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(u, k, U) of several sums at once, shape (number of sums,): weights[i]·results[i] goes into sum sums[i]."""
    terms, c_u = summed_contributions(budgets, sums, results, weights)
    u = np.sqrt(sums_by(terms.row, c_u**2, int(np.max(sums)) + 1))
    k = coverage_factor(effective_freedom(terms, c_u, u, budgets.catalogue))
    return u, k, k * u


def summed_contributions(
    budgets: Budgets, sums: Sequence[int] | np.ndarray, results: Sequence[int], weights: Sequence[float]
) -> tuple[Terms, np.ndarray]:
    """(sensitivities of several sums, one entry a sum and source; c·u of each): weights[i]·results[i] in sums[i]."""
    which, entries = entries_of(budgets, results)
    terms = Terms(
        np.asarray(sums, np.int64)[which],
        budgets.terms.source[entries],
        budgets.terms.weight[entries] * np.asarray(weights, float)[which],
    ).summed()
    return terms, terms.weight * budgets.catalogue.standard_uncertainties()[terms.source]


def entries_of(budgets: Budgets, results: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """All entries of results in `budgets.terms`, in order: of which result by its place in `results`, and where."""
    chosen = np.asarray(results, np.int64)
    first, counts = budgets.starts[chosen], budgets.starts[chosen + 1] - budgets.starts[chosen]
    which = np.repeat(np.arange(len(chosen)), counts)
    return which, np.arange(len(which)) + np.repeat(first - np.cumsum(counts) + counts, counts)
