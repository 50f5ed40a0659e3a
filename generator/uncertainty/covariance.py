"""Covariance of results, and the uncertainty of what is made of several: differences, means, fitted lines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from generator.uncertainty.budgets import Budgets, effective_freedom
from generator.uncertainty.sources import coverage_factor
from generator.uncertainty.terms import Terms


def contributions(budgets: Budgets, results: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """A (results × sources) of signed contributions c·u and the numbers of the sources that stand in it."""
    entries = [budgets.entries(result) for result in results]
    sources = np.unique(np.concatenate([budgets.terms.source[e] for e in entries] or [np.zeros(0, np.int64)]))
    u = budgets.catalogue.standard_uncertainties()
    matrix = np.zeros((len(results), len(sources)))
    for i, e in enumerate(entries):
        numbers = budgets.terms.source[e]
        matrix[i, np.searchsorted(sources, numbers)] = budgets.terms.weight[e] * u[numbers]
    return matrix, sources


def covariance(budgets: Budgets, results: Sequence[int]) -> np.ndarray:
    """Covariance matrix of any results, shape (len(results), len(results))."""
    matrix, _ = contributions(budgets, results)
    return matrix @ matrix.T


def expanded_of_combination(
    budgets: Budgets, results: Sequence[int], weights: Sequence[float]
) -> tuple[float, float, float]:
    """(u, k, U) of Σ weight·result; sources that the results share cancel or add as they should."""
    rows, sources, values = [], [], []
    for result, weight in zip(results, weights, strict=True):
        e = budgets.entries(result)
        rows.append(np.zeros(e.stop - e.start, np.int64))
        sources.append(budgets.terms.source[e])
        values.append(budgets.terms.weight[e] * weight)
    terms = Terms(np.concatenate(rows), np.concatenate(sources), np.concatenate(values)).summed()
    c_u = terms.weight * budgets.catalogue.standard_uncertainties()[terms.source]
    u = np.sqrt(np.sum(c_u**2, keepdims=True))
    nu = effective_freedom(terms, c_u, u, budgets.catalogue)
    k = coverage_factor(nu)
    return float(u[0]), float(k[0]), float(k[0] * u[0])
