"""Signed sensitivities to named sources: the sparse rows C that every value carries with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Terms:
    """Entries of C: for value number `row`, `weight` = d value / d source. Several entries of a pair add up.

    Each array has the shape (entries,); `source` is a number in the catalogue, `weight` in unit of value per unit of
    source.
    """

    row: np.ndarray
    source: np.ndarray
    weight: np.ndarray

    @classmethod
    def none(cls) -> Terms:
        """No entries."""
        return cls(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0))

    @classmethod
    def of(cls, rows: np.ndarray, source: int | np.ndarray, weight: float | np.ndarray) -> Terms:
        """One entry for each of `rows`."""
        n = len(rows)
        sources = np.broadcast_to(np.asarray(source, np.int64), n)
        return cls(np.asarray(rows, np.int64), sources, np.broadcast_to(np.asarray(weight, float), n))

    @classmethod
    def joined(cls, parts: Iterable[Terms]) -> Terms:
        """The entries of all parts."""
        whole = list(parts)
        if not whole:
            return cls.none()
        return cls(
            np.concatenate([part.row for part in whole]),
            np.concatenate([part.source for part in whole]),
            np.concatenate([part.weight for part in whole]),
        )

    def scaled(self, factor: np.ndarray) -> Terms:
        """Entries of g(value), where `factor` = dg/d value by row number."""
        return Terms(self.row, self.source, self.weight * factor[self.row])

    def moved(self, new_row: np.ndarray, factor: np.ndarray | None = None) -> Terms:
        """Rows renumbered by `new_row` (-1: dropped), weighted by `factor` of the old row (a mean: 1/n)."""
        row = new_row[self.row]
        keep = row >= 0
        weight = self.weight[keep]
        if factor is not None:
            weight = weight * factor[self.row[keep]]
        return Terms(row[keep], self.source[keep], weight)

    def picker(self) -> Callable[[Iterable[int]], Terms]:
        """What gives the entries of some rows, in the order that they stand in: many picks cost one sort."""
        order = np.argsort(self.row, kind="stable")
        rows = self.row[order]

        def pick(chosen: Iterable[int]) -> Terms:
            parts = [order[slice(*np.searchsorted(rows, (row, row + 1)))] for row in chosen]
            at = np.sort(np.concatenate(parts))
            return Terms(self.row[at], self.source[at], self.weight[at])

        return pick

    def summed(self) -> Terms:
        """One entry a pair, sorted by row, then source; zero entries dropped."""
        if not len(self.row):
            return self
        span = int(self.source.max()) + 1
        keys, inverse = np.unique(self.row * span + self.source, return_inverse=True)
        weight = np.bincount(inverse, self.weight, len(keys))
        keep = weight != 0.0
        return Terms(keys[keep] // span, keys[keep] % span, weight[keep])


@dataclass(frozen=True)
class Measured:
    """A quantity over n rows: its values (canonical unit; nan where not read) and their terms."""

    value: np.ndarray
    terms: Terms
