"""Budgets: from signed contributions to u, effective degrees of freedom, k and U (JCGM 100:2008, 5.1, G.4, G.6)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from asfound.uncertainty.sources import Catalogue, Source, coverage_factor
from asfound.uncertainty.terms import Terms


@dataclass(frozen=True, kw_only=True)
class BudgetLine:
    """One source in one result's budget."""

    source: Source
    sensitivity: float
    contribution: float
    """signed: sensitivity · standard uncertainty, in the result's unit"""
    share: float
    """part of the combined variance, 0…1"""


@dataclass(frozen=True)
class Budgets:
    """The budgets of n results over one catalogue of sources.

    `u`, `nu`, `k`, `U` have shape (n,). Sources are independent of each other: what hangs together shares a column,
    so the combined variance is the sum of squares (JCGM 100:2008, eq. 10) and the covariance of results is C·S·Cᵀ
    (JCGM 102:2011, 6.2; clause from memory).
    """

    catalogue: Catalogue
    terms: Terms
    """summed: sorted by result, one entry a pair"""
    starts: np.ndarray
    u: np.ndarray
    nu: np.ndarray
    k: np.ndarray
    U: np.ndarray

    def entries(self, result: int) -> slice:
        """Where the entries of a result stand in `terms`."""
        return slice(int(self.starts[result]), int(self.starts[result + 1]))

    def lines(self, result: int) -> list[BudgetLine]:
        """The budget of one result, largest contribution first."""
        entries = self.entries(result)
        variance = float(self.u[result]) ** 2
        lines = []
        for number, weight in zip(self.terms.source[entries], self.terms.weight[entries], strict=True):
            source = self.catalogue[int(number)]
            contribution = float(weight) * source.u
            share = contribution**2 / variance if variance else 0.0
            lines.append(BudgetLine(source=source, sensitivity=float(weight), contribution=contribution, share=share))
        return sorted(lines, key=lambda line: (-abs(line.contribution), line.source.identity))


def make_budgets(catalogue: Catalogue, terms: Terms, results: int) -> Budgets:
    """Combine the terms of results 0 … results−1."""
    terms = terms.summed()
    c_u = terms.weight * catalogue.standard_uncertainties()[terms.source] if len(terms.row) else terms.weight
    u = np.sqrt(sums_by(terms.row, c_u**2, results))
    nu = effective_freedom(terms, c_u, u, catalogue)
    k = coverage_factor(nu)
    starts = np.searchsorted(terms.row, np.arange(results + 1))
    return Budgets(catalogue, terms, starts, u, nu, k, k * u)


def sums_by(number: np.ndarray, values: np.ndarray, n: int) -> np.ndarray:
    """Sums of the values of each number 0 … n−1, shape (n,), the smallest first.

    In an order of their own: sources are numbered as they come, and the last digit of a result's u must not depend on
    what else is on record.
    """
    order = np.lexsort((values, number))
    return np.bincount(number[order], values[order], n)


def effective_freedom(terms: Terms, c_u: np.ndarray, u: np.ndarray, catalogue: Catalogue) -> np.ndarray:
    """ν_eff by Welch–Satterthwaite (JCGM 100:2008, eq. G.2b), a variance group counted once; shape (results,)."""
    if not len(terms.row):
        return np.full(len(u), np.inf)
    groups = catalogue.groups()[terms.source]
    span = int(groups.max()) + 1
    keys, first, inverse = np.unique(terms.row * span + groups, return_index=True, return_inverse=True)
    variance = sums_by(inverse, c_u**2, len(keys))
    nu = catalogue.degrees_of_freedom()[terms.source][first]
    denominator = sums_by(keys // span, variance**2 / nu, len(u))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(denominator > 0, u**4 / denominator, np.inf)
