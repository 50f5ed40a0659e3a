"""How long what makes the results of one instrument vary lasts: the kinds of effect that its line is read with.

A source that touches one result is that result's own, one that touches several of one visit the visit's, and one that
a calibration of a reference brought lasts until the next one; what else is shared, and a calibration that has been
behind every visit so far, lasts as long as the history. Whole visits shift beside that. How much of each kind there
is against what is declared the data of many instruments tell (`scales.py`). What touches one result stays its own
even where its declared scope is longer (hysteresis, the condition of a salt): the factor must find from the data
whether it lasts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

import numpy as np

from asfound.assessment.results.table import Result
from asfound.uncertainty.budgets import Budgets
from asfound.uncertainty.covariance import entries_of
from asfound.uncertainty.sources import SCOPES, Scope

STATED_OWN = 0.25
"""Part of a stated variance that each point has for itself before any data; its visit's points share the rest. How
another laboratory's points hang together is seldom stated (our choice; the factors find it)."""
TRACE = 1e-9
"""Part of a line's middle variance that keeps each result apart where nothing of its own is declared."""
SHARED_TRACE = 1e-12
"""Part of the largest variance that does so where results hang together wholly."""
LEAST = 1e-18
"""The same where nothing varies at all: a standard deviation of a billionth of a unit."""


class Kind(IntEnum):
    """Kinds of effect whose size data can tell."""

    OWN = 0
    """of one result"""
    VISIT = 1
    """shared by the results of one visit, as the sources say"""
    SHIFT = 2
    """of a whole visit, beyond its sources"""
    PERIOD = 3
    """until a reference is calibrated again"""


KINDS = len(Kind)
_FIXED, _ROUNDING = KINDS, KINDS + 1
_SHARED = (Kind.VISIT, Kind.PERIOD, _FIXED)
_CALIBRATION, _READING = SCOPES.index(Scope.CALIBRATION), SCOPES.index(Scope.READING)


@dataclass(frozen=True, eq=False, kw_only=True)
class Parts:
    """Covariance of n results by kind, as declared; what whole visits shift by is a variance of 1 here."""

    reading: np.ndarray
    """variance of chance alone, shape (n,)"""
    own: np.ndarray
    """variance of what else is a result's own, without the rounding of its display, shape (n,)"""
    rounding: np.ndarray
    """of its display, shape (n,)"""
    visit: np.ndarray
    """shape (n, n)"""
    shift: np.ndarray
    """1 where two results are of one visit, shape (n, n)"""
    period: np.ndarray
    """shape (n, n)"""
    constant: np.ndarray
    """what lasts longer, shape (n, n)"""

    def covariances(self, shift: float) -> tuple[np.ndarray, np.ndarray]:
        """(of each kind (K, n, n), fixed (n, n)); `shift`: standard deviation of a visit's own shift.

        What a display hides is fixed: it is there however smoothly a family runs.
        """
        n = len(self.own)
        diagonal = np.arange(n)
        parts = np.zeros((KINDS, n, n))
        parts[Kind.OWN, diagonal, diagonal] = self.reading + self.own
        parts[Kind.VISIT], parts[Kind.SHIFT], parts[Kind.PERIOD] = self.visit, shift**2 * self.shift, self.period
        fixed = self.constant.copy()
        fixed[diagonal, diagonal] += self.rounding
        middle = float(np.median(self.reading + self.own + self.rounding))
        largest = float(np.max(np.diag(parts.sum(axis=0) + fixed)))
        fixed[diagonal, diagonal] += max(TRACE * middle, SHARED_TRACE * largest, LEAST)
        return parts, fixed


class Lasting:
    """The sources behind all results of one channel of one instrument, by kind."""

    def __init__(self, budgets: Budgets, results: Sequence[Result], visits: Sequence[int]) -> None:
        """`visits`: number of each result's visit."""
        self.budgets = budgets
        found = ((r.line, visit) for r, visit in zip(results, visits, strict=True))
        measured = [(line, visit) for line, visit in found if line is not None]
        lines = [line for line, _ in measured]
        which, entries = entries_of(budgets, lines)
        self.sources, column = np.unique(budgets.terms.source[entries], return_inverse=True)
        count = np.bincount(column, minlength=len(self.sources))
        numbers, visit_of_line = np.unique([visit for _, visit in measured], return_inverse=True)
        visits_seen = np.unique(column * max(len(numbers), 1) + visit_of_line[which]) // max(len(numbers), 1)
        in_visits = np.bincount(visits_seen, minlength=len(self.sources))
        scope = budgets.catalogue.scopes()[self.sources]
        # A calibration behind every visit has not varied yet: how large its error is, its certificate alone says.
        dated = (scope == _CALIBRATION) & (in_visits < len(numbers))
        own = count == 1
        self.reading = own & (scope == _READING)
        self.kind = np.select(
            [dated, own & budgets.catalogue.rounding()[self.sources], own, (in_visits == 1) & (scope != _CALIBRATION)],
            [Kind.PERIOD, _ROUNDING, Kind.OWN, Kind.VISIT],
            _FIXED,
        )
        """of each source: a Kind, fixed or a display's rounding, shape (sources,)"""

    def parts(self, results: Sequence[Result], visits: np.ndarray) -> Parts:
        """Covariance of some of these results by kind; `visits` (n,): number of each one's visit."""
        n = len(results)
        lines = [r.line for r in results]
        at = np.array([i for i, line in enumerate(lines) if line is not None], np.int64)
        which, number, c_u = self.contributions([line for line in lines if line is not None])
        row, kind = at[which], self.kind[number]

        def squares(chosen: np.ndarray) -> np.ndarray:
            return np.bincount(row[chosen], c_u[chosen] ** 2, n)

        column, ends = self._columns
        together_lent = np.zeros((n, ends[-1]))
        many = column[number] >= 0
        together_lent[row[many], column[number[many]]] = c_u[many]

        def shared(wanted: int) -> np.ndarray:
            place = _SHARED.index(wanted)
            matrix = together_lent[:, ends[place] : ends[place + 1]]
            return matrix @ matrix.T

        own = kind == Kind.OWN
        together = (visits[:, None] == visits).astype(float)
        stated = np.array([0.0 if line is not None else r.u for line, r in zip(lines, results, strict=True)])
        alike = (1.0 - STATED_OWN) * np.outer(stated, stated) * together
        return Parts(
            reading=squares(own & self.reading[number]),
            own=squares(own & ~self.reading[number]) + STATED_OWN * stated**2,
            rounding=squares(kind == _ROUNDING),
            visit=shared(Kind.VISIT) + alike,
            shift=together,
            period=shared(Kind.PERIOD),
            constant=shared(_FIXED),
        )

    @cached_property
    def _columns(self) -> tuple[np.ndarray, list[int]]:
        """Of each source that several results share its column, kind by kind, else -1; and where each kind's end."""
        column, ends = np.full(len(self.sources), -1), [0]
        for kind in _SHARED:
            mine = np.flatnonzero(self.kind == kind)
            column[mine] = ends[-1] + np.arange(len(mine))
            ends.append(ends[-1] + len(mine))
        return column, ends

    def contributions(self, lines: Sequence[int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Entries of measured lines: (position of the line, position of the source in `sources`, signed c·u)."""
        which, entries = entries_of(self.budgets, lines)
        terms = self.budgets.terms
        source = terms.source[entries]
        c_u = terms.weight[entries] * self.budgets.catalogue.standard_uncertainties()[source]
        return which, np.searchsorted(self.sources, source), c_u

    def of_periods(self, results: Sequence[Result]) -> tuple[np.ndarray, np.ndarray]:
        """Sources that calibrations brought to some results, by number, and the variance that each lends them."""
        _, number, c_u = self.contributions([int(r.line) for r in results if r.line is not None])
        lent = np.bincount(number, c_u**2, len(self.sources))
        used = (self.kind == Kind.PERIOD) & (lent > 0.0)
        return self.sources[used], lent[used]

    def labels(self, results: Sequence[Result]) -> dict[Kind, str]:
        """Of each kind that stands behind these results, what most of it is, in the words of its source."""
        _, number, c_u = self.contributions([int(r.line) for r in results if r.line is not None])
        lent: dict[tuple[int, str], float] = {}
        for at, variance in enumerate(np.bincount(number, c_u**2, len(self.sources)).tolist()):
            if variance > 0.0 and self.kind[at] < KINDS:
                label = self.budgets.catalogue[int(self.sources[at])].label
                key = (int(self.kind[at]), label)
                lent[key] = lent.get(key, 0.0) + variance
        largest = sorted(lent, key=lambda key: (lent[key], key[1]))
        return {Kind(kind): label for kind, label in largest}

    def kinds_of(self, number: np.ndarray) -> np.ndarray:
        """Of sources by position: their Kind, or KINDS where no factor scales them."""
        return np.minimum(self.kind[number], _FIXED)
