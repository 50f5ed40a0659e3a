"""Elementary sources of uncertainty, each with an identity that outlives the visit.

Two results are correlated exactly as far as they lean on the same sources: the identity decides, nobody guesses.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, TypeVar, overload

import numpy as np
from scipy.special import ndtri, stdtrit

Width = TypeVar("Width", float, np.ndarray)

COVERAGE = math.erf(math.sqrt(2.0))
"""Coverage probability of k = 2 for a normal distribution: 95.449 973 6 %."""


class Distribution(StrEnum):
    """Distribution of a source (JCGM 101:2008, 6.4; clause from memory)."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "u_shaped"
    """arcsine: of a sinusoidal cycle (6.4.6)"""


class Scope(StrEnum):
    """How long an effect keeps its value: only what has ended is drawn anew."""

    READING = "reading"
    """chance: another one in each reading"""
    PLATEAU = "plateau"
    VISIT = "visit"
    CALIBRATION = "calibration period"
    """until the reference is calibrated again"""
    LONGER = "longer"
    """as long as the instrument, the solution or the formula is in use"""


SCOPES = tuple(Scope)

RECTANGULAR_DIVISOR = math.sqrt(3.0)
"""Half-width of a rectangular distribution → standard uncertainty (JCGM 100:2008, 4.3.7)."""
DIVISORS = {
    Distribution.RECTANGULAR: RECTANGULAR_DIVISOR,
    Distribution.TRIANGULAR: math.sqrt(6.0),
    Distribution.U_SHAPED: math.sqrt(2.0),
}
"""Half-width → standard uncertainty (JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4.6, from memory)."""
_FLAT = (Distribution.RECTANGULAR, Distribution.U_SHAPED)


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
    scope: Scope = Scope.LONGER
    """how long the effect keeps its value"""
    rounding: bool = False
    """whether it is what a display's step hides, which is the same again while the display stands still"""


@dataclass(frozen=True, kw_only=True)
class Series:
    """Sources of one kind that have no number yet: their sizes as arrays, each made only when it is asked for."""

    source: Callable[[int], Source]
    """of a position; its size is the one that stands there in `u` and `nu`"""
    u: np.ndarray
    nu: np.ndarray | None = None
    """None: infinite"""
    groups: Sequence[str] | None = None
    """None: of no variance group"""
    distribution: Distribution = Distribution.RECTANGULAR
    scope: Scope = Scope.LONGER
    rounding: bool = False
    named: bool = False
    """whether others may give them again, and find them by their identity"""

    @classmethod
    def rectangular(
        cls,
        half_width: np.ndarray,
        identity: Callable[[int], str],
        label: str,
        unit: str,
        *,
        scope: Scope = Scope.LONGER,
        rounding: bool = False,
        named: bool = False,
    ) -> Series:
        """Sources known by their limits ± half_width; `identity` of a position."""
        return cls(
            source=lambda i: rectangular(identity(i), label, float(half_width[i]), unit, scope, rounding=rounding),
            u=half_width_u(half_width),
            scope=scope,
            rounding=rounding,
            named=named,
        )


class Catalogue(Sequence[Source]):
    """All sources, each once, by number. The same identity must always mean the same source."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}
        self._groups: dict[str, int] = {}
        self._starts, self._blocks = [0], list[Callable[[int], Source]]()  # first numbers, and what makes the sources
        self._sizes: list[tuple[Sequence[float] | np.ndarray, ...]] = []
        self._cached: tuple[np.ndarray, ...] = tuple(np.zeros(0, kind) for kind in (float, float, bool, int, int, bool))

    def __len__(self) -> int:
        return self._starts[-1]

    @overload
    def __getitem__(self, number: int) -> Source: ...
    @overload
    def __getitem__(self, number: slice) -> list[Source]: ...
    def __getitem__(self, number: int | slice) -> Source | list[Source]:
        if isinstance(number, slice):
            return [self[i] for i in range(*number.indices(len(self)))]
        if not 0 <= number < len(self):
            raise IndexError(number)
        block = bisect_right(self._starts, number) - 1
        return self._blocks[block](number - self._starts[block])

    def find(self, source: Source) -> int | None:
        """The number that a source has; raises ValueError where its identity already means another size."""
        number = self._numbers.get(source.identity)
        if number is not None and self[number] != source:
            raise ValueError(f"source {source.identity!r} is given twice with different values")
        return number

    def add(self, source: Source) -> int:
        """The source's number, a new one where it has none; raises ValueError as `find` does."""
        number = self.find(source)
        if number is None:
            number = self._numbers[source.identity] = len(self)
            flat = source.distribution in _FLAT
            group, scope = self._group(source.group), SCOPES.index(source.scope)
            sizes = ([source.u], [source.nu], [flat], [group], [scope], [source.rounding])
            self._append(1, lambda _: source, sizes)
        return number

    def extend(self, series: Sequence[Series], places: Sequence[np.ndarray]) -> list[np.ndarray]:
        """Number the sources of several series by ascending place, at one place in the order of the series.

        By place and not by kind, so that a result's sources stand in one order however many are numbered at once.
        """
        counts = [len(one.u) for one in series]
        ends = np.cumsum(counts)
        which = np.repeat(np.arange(len(series)), counts)
        order = np.lexsort((which, np.concatenate(places)))
        kinds, positions = which[order], order - (ends - counts)[which[order]]
        sizes = [self._sizes_of(one) for one in series]
        numbers = np.empty(len(order), np.int64)
        numbers[order] = np.arange(len(self), len(self) + len(order))

        def source(number: int) -> Source:
            return series[kinds[number]].source(int(positions[number]))

        self._append(len(order), source, tuple(np.concatenate(column)[order] for column in zip(*sizes, strict=True)))
        parts = np.split(numbers, ends[:-1])
        for one, part in zip(series, parts, strict=True):
            if one.named:
                self._numbers |= {one.source(i).identity: number for i, number in enumerate(part.tolist())}
        return parts

    def standard_uncertainties(self) -> np.ndarray:
        """U of every source, shape (sources,)."""
        return self._columns()[0]

    def degrees_of_freedom(self) -> np.ndarray:
        """ν of every source, shape (sources,)."""
        return self._columns()[1]

    def flat(self) -> np.ndarray:
        """Whether a source has limits near which its values are no rarer, shape (sources,)."""
        return self._columns()[2]

    def groups(self) -> np.ndarray:
        """Number of every source's variance group (its own where it has none), shape (sources,)."""
        return self._columns()[3]

    def scopes(self) -> np.ndarray:
        """Position of every source's scope in SCOPES, shape (sources,)."""
        return self._columns()[4]

    def rounding(self) -> np.ndarray:
        """Whether a source is what a display's step hides, shape (sources,)."""
        return self._columns()[5]

    def _group(self, name: str) -> int:
        return self._groups.setdefault(name, len(self._groups)) if name else -1

    def _sizes_of(self, one: Series) -> tuple[np.ndarray, ...]:
        n = len(one.u)
        nu = np.full(n, math.inf) if one.nu is None else one.nu
        groups = np.full(n, -1) if one.groups is None else np.array([self._group(name) for name in one.groups], int)
        flat = np.full(n, one.distribution in _FLAT)
        return one.u, nu, flat, groups, np.full(n, SCOPES.index(one.scope)), np.full(n, one.rounding)

    def _append(
        self, count: int, source: Callable[[int], Source], sizes: tuple[Sequence[float] | np.ndarray, ...]
    ) -> None:
        self._starts.append(len(self) + count)
        self._blocks.append(source)
        self._sizes.append(sizes)

    def _columns(self) -> tuple[np.ndarray, ...]:
        """The sizes of all sources, joined again only when sources were added."""
        if len(self._cached[0]) != len(self):
            u, nu, flat, group, scope, rounding = map(np.concatenate, zip(*self._sizes, strict=True))
            self._sizes = [(u, nu, flat, group, scope, rounding)]
            own = len(self)
            groups = np.where(group < 0, np.arange(own), own + group)
            self._cached = (u, nu, flat, groups, scope, rounding)
        return self._cached


class Size(NamedTuple):
    """How large a source is, and how surely that is known."""

    u: float
    nu: float
    distribution: Distribution


def size_of(
    value: float, means: str, distribution: str = "rectangular", nu: float | None = None, k: float | None = None
) -> Size:
    """The size of what is told as a `limit` (half-width) with a distribution, as `u` with ν, or as `U` with k.

    ν of U follows from k at 95.45 %. Raises ValueError for another meaning.
    """
    if means == "limit":
        shape = Distribution(distribution)
        return Size(value / DIVISORS[shape], math.inf, shape)
    if means == "u":
        return Size(value, math.inf if nu is None else nu, Distribution.NORMAL)
    if means == "U" and k is not None:
        return Size(value / k, freedom_from_k(k), Distribution.NORMAL)
    raise ValueError(f"{means!r} is no size, or lacks its k")


def half_width_u(half_width: Width) -> Width:
    """Standard uncertainty of a rectangular distribution ± half_width."""
    return abs(half_width) / RECTANGULAR_DIVISOR


def rectangular(
    identity: str, label: str, half_width: float, unit: str, scope: Scope = Scope.LONGER, *, rounding: bool = False
) -> Source:
    """A source known by its limits ± half_width."""
    return Source(
        identity=identity,
        label=label,
        u=half_width_u(half_width),
        unit=unit,
        distribution=Distribution.RECTANGULAR,
        scope=scope,
        rounding=rounding,
    )


def coverage_factor(nu: np.ndarray | float) -> np.ndarray:
    """K of Student's t for 95.45 % and exact (not truncated) ν (JCGM 100:2008, G.6.4; H.1 there truncates)."""
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
        middle, before = math.sqrt(low * high), (low, high)
        low, high = (middle, high) if float(coverage_factor(middle)) > k else (low, middle)
        if (low, high) == before:  # nothing lies between them
            break
    return math.sqrt(low * high)
