"""Elementary sources of uncertainty, each with an identity that outlives the visit.

Two results are correlated exactly as far as they lean on the same sources: the identity decides, nobody guesses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from scipy.special import ndtri, stdtrit

COVERAGE = math.erf(math.sqrt(2.0))
"""Coverage probability of k = 2 for a normal distribution: 95.449 973 6 %."""


class Distribution(StrEnum):
    """Distribution of a source (JCGM 101:2008, 6.4; clause from memory)."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"


RECTANGULAR_DIVISOR = math.sqrt(3.0)
"""Half-width of a rectangular distribution → standard uncertainty (JCGM 100:2008, 4.3.7)."""


class Source(NamedTuple):
    """One elementary source: what varies, by how much, how surely that is known."""

    identity: str
    label: str
    u: float
    """standard uncertainty, in `unit`"""
    unit: str
    distribution: Distribution = Distribution.NORMAL
    nu: float = math.inf
    """degrees of freedom of u"""
    group: str = ""
    """variance group: sources whose u is one and the same estimate, counted once in the degrees of freedom"""


@dataclass
class Catalogue:
    """All sources, each once, by number. The same identity must always mean the same source."""

    sources: list[Source] = field(default_factory=list)
    _numbers: dict[str, int] = field(default_factory=dict)
    _cached: tuple[np.ndarray, ...] = field(default=(np.zeros(0),) * 4, repr=False)

    def add(self, source: Source) -> int:
        """The source's number; raises ValueError where the identity already means another size."""
        number = self._numbers.setdefault(source.identity, len(self.sources))
        if number == len(self.sources):
            self.sources.append(source)
        elif self.sources[number] != source:
            raise ValueError(f"source {source.identity!r} is given twice with different values")
        return number

    def standard_uncertainties(self) -> np.ndarray:
        """u of every source, shape (sources,)."""
        return self._columns()[0]

    def degrees_of_freedom(self) -> np.ndarray:
        """ν of every source, shape (sources,)."""
        return self._columns()[1]

    def rectangular(self) -> np.ndarray:
        """Whether a source is rectangular, shape (sources,)."""
        return self._columns()[2]

    def groups(self) -> np.ndarray:
        """Number of every source's variance group (its own where it has none), shape (sources,)."""
        return self._columns()[3]

    def _columns(self) -> tuple[np.ndarray, ...]:
        """The sources as arrays, made again only when sources were added."""
        if len(self._cached[0]) != len(self.sources):
            named: dict[str, int] = {}
            own = len(self.sources)
            groups = [named.setdefault(s.group, own + len(named)) if s.group else i for i, s in enumerate(self.sources)]
            self._cached = (
                np.array([s.u for s in self.sources], float),
                np.array([s.nu for s in self.sources], float),
                np.array([s.distribution is Distribution.RECTANGULAR for s in self.sources], bool),
                np.array(groups, np.int64),
            )
        return self._cached


def rectangular(identity: str, label: str, half_width: float, unit: str) -> Source:
    """A source known by its limits ± half_width."""
    return Source(
        identity=identity,
        label=label,
        u=abs(half_width) / RECTANGULAR_DIVISOR,
        unit=unit,
        distribution=Distribution.RECTANGULAR,
    )


def coverage_factor(nu: np.ndarray | float) -> np.ndarray:
    """k of Student's t for 95.45 % and exact (not truncated) ν (JCGM 100:2008, G.6.4; H.1 there truncates)."""
    nu = np.asarray(nu, float)
    upper = (1.0 + COVERAGE) / 2.0
    finite = np.isfinite(nu)
    return np.where(finite, stdtrit(np.where(finite, np.maximum(nu, 1e-9), 1.0), upper), ndtri(upper))


def freedom_from_k(k: float) -> float:
    """Degrees of freedom that a certificate's k at 95.45 % implies; k ≤ 2: infinitely many."""
    if k <= 2.0:
        return math.inf
    low, high = 1e-3, 1e9
    for _ in range(200):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if float(coverage_factor(middle)) > k else (low, middle)
    return math.sqrt(low * high)
