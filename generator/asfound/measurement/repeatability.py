"""Scatter of readings within a plateau, and what is known of it beforehand: pooled, declared, or its own.

What is known beforehand holds where the plateau's own readings can belong to it: a one-sided χ² test of their variance
against what is declared, an F test against a pool and against what is declared with degrees of freedom (NIST/SEMATECH
e-Handbook, 1.3.5.8 and 1.3.5.9; numbers from memory). Beyond, the readings speak for themselves.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np
from scipy.special import chdtri, fdtri

from asfound.measurement.by_bands import value_at
from asfound.records.models import Channel
from asfound.records.settings_in_force import SettingsOn

FALSE_ALARM = 0.01
"""Of plateaus that scatter as expected, the share that is taken to scatter more (our choice)."""


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """Statistics of each plateau's row errors, shape (cells,): n, mean, standard deviation, slope per minute."""

    n: np.ndarray
    mean: np.ndarray
    s: np.ndarray
    slope: np.ndarray
    minutes: np.ndarray
    """square root of the sum of squared minutes about their mean: slope's u = s / minutes"""
    least: np.ndarray
    """the standard deviation that is left where every display is taken to have rounded it up; nan as s"""


def scatter(
    error: np.ndarray, time: np.ndarray, cell: np.ndarray, cells: int, rounding: np.ndarray | None = None
) -> Scatter:
    """Statistics by cell of row errors (nan: not read); times in seconds, `rounding`: by cell, ± of each reading."""
    good = np.isfinite(error)
    e, c = error[good], cell[good]
    n = np.bincount(c, minlength=cells)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.bincount(c, e, cells) / n
        minutes = time[good] / 60.0
        centre = np.bincount(c, minutes, cells) / n
        dt, de = minutes - centre[c], e - mean[c]
        stt = np.bincount(c, dt * dt, cells)
        slope = np.where(stt > 0, np.bincount(c, dt * de, cells) / stt, np.nan)
        s = np.where(n > 1, np.sqrt(np.bincount(c, de * de, cells) / (n - 1)), np.nan)
        squares = _least_squares(e, mean, c, np.zeros(cells) if rounding is None else rounding)
        least = np.where(n > 1, np.sqrt(squares / (n - 1)), np.nan)
    return Scatter(n=n, mean=mean, s=s, slope=slope, minutes=np.sqrt(stt), least=least)


def _least_squares(error: np.ndarray, mean: np.ndarray, cell: np.ndarray, rounding: np.ndarray) -> np.ndarray:
    """Sums of squares by cell of readings that were rounded from as near to each other as they may have been.

    A display that stands between two digits shows both, and scatters by half a step whatever its sensor does. About the
    mean or the middle, whichever is less: of the two a test never alarms more often than it says, as the least about
    any value does (simulated, from 0.05 steps to 50).
    """
    low, high = np.full(len(mean), np.inf), np.full(len(mean), -np.inf)
    np.minimum.at(low, cell, error)
    np.maximum.at(high, cell, error)
    about = ((low + high) / 2.0, mean)
    beyond = (np.maximum(np.abs(error - centre[cell]) - rounding[cell], 0.0) for centre in about)
    return np.minimum(*(np.bincount(cell, one * one, len(mean)) for one in beyond))


@dataclass(frozen=True, kw_only=True)
class Repeatability:
    """Standard deviation of single readings for one plateau, and how it is known."""

    s: float
    nu: float
    basis: str
    """pooled, declared, own, log; "own, beyond …" where the readings scatter more than the one that is named"""
    group: str
    expected: float | None = None
    """the standard deviation beyond which they scatter"""

    @property
    def by_declaration(self) -> bool:
        """Whether what is declared was asked, though it may have been exceeded."""
        return self.basis.endswith("declared")


def declared_repeatabilities(
    instruments: Sequence[SettingsOn],
    which: np.ndarray,
    channel: Channel,
    humidity: np.ndarray,
    temperature_c: np.ndarray,
) -> list[Repeatability | None]:
    """What is declared of each plateau's instrument at its humidity or temperature; None where nothing is.

    `which` (number of the instrument, -1: none), `humidity` and `temperature_c` have shape (plateaus,). What was found
    from few readings is one estimate for all that share it.
    """
    amounts = [on.declared(channel).repeatability for on in instruments]
    result: list[Repeatability | None] = [None] * len(which)
    made: dict[tuple[int, float], Repeatability] = {}
    at = value_at(amounts, which, humidity, temperature_c)
    for i in np.flatnonzero(~np.isnan(at)).tolist():
        key = (number, s) = (int(which[i]), float(at[i]))
        if key not in made:
            amount = amounts[number]
            assert amount is not None
            known = amount.nu is not None
            made[key] = Repeatability(
                s=s,
                nu=amount.nu or math.inf,
                basis="declared",
                group=f"declared/{instruments[number].named_after(channel.value)}/{s:g}" if known else "",
            )
        result[i] = made[key]
    return result


def repeatabilities(
    keys: Sequence[tuple[str, ...]],
    days: Sequence[date],
    spread: Scatter,
    usable: Sequence[bool],
    declared: Sequence[Repeatability | None],
    least_pool: Sequence[float],
) -> list[Repeatability | None]:
    """One for each plateau, None where nothing is known (a single reading, nothing declared).

    `keys`: what is pooled together (model, channel, part); `usable`: settled plateaus that may enter a pool;
    a pool holds only plateaus of days before the plateau's own, so adding a visit never changes older results. Of a
    plateau that scatters more than its pool says, no more enters than the pool would have borne: one loose wire does
    not blur a family, and a family that has become noisier is learnt.
    """
    result: list[Repeatability | None] = [None] * len(keys)
    n, s, least = spread.n.tolist(), spread.s.tolist(), spread.least.tolist()
    entering = dict[int, float]()
    by_key: dict[tuple[str, ...], list[int]] = {}
    for i, key in enumerate(keys):
        by_key.setdefault(key, []).append(i)
    for key, members in by_key.items():
        members.sort(key=days.__getitem__)
        pool = _Pool("/".join(key))
        waiting: deque[int] = deque()
        for i in members:
            while waiting and days[waiting[0]] < days[i]:
                j = waiting.popleft()
                pool.add(entering.pop(j, s[j]), n[j])
            expected = pool.on(days[i]) if pool.freedom >= least_pool[i] and pool.squares > 0.0 else declared[i]
            largest = _largest(expected, n[i] - 1) if expected is not None and n[i] > 1 else math.inf
            result[i] = expected
            if n[i] > 1 and (expected is None or least[i] > largest):
                result[i] = _own(s[i], n[i], expected)
                if expected is not None and expected.basis == "pooled":
                    entering[i] = min(s[i], largest)
            if usable[i] and n[i] > 1:
                waiting.append(i)
    return result


def _own(s: float, n: int, expected: Repeatability | None) -> Repeatability:
    """What n readings say themselves; `expected`: what they scatter more than."""
    basis, beyond = ("own", None) if expected is None else (f"own, beyond {expected.basis}", expected.s)
    return Repeatability(s=s, nu=n - 1.0, basis=basis, group="", expected=beyond)


def _largest(expected: Repeatability, freedom: int) -> float:
    """The largest standard deviation of readings that belong to what is expected."""
    return expected.s * _largest_ratio(freedom, expected.nu)


@lru_cache(maxsize=4096)
def _largest_ratio(freedom: int, nu: float) -> float:
    """How often its expected value (of ν degrees of freedom) a standard deviation may be and still belong to it."""
    if math.isinf(nu):
        return math.sqrt(float(chdtri(freedom, FALSE_ALARM)) / freedom)
    return math.sqrt(float(fdtri(freedom, nu, 1.0 - FALSE_ALARM)))


class _Pool:
    """What a family's plateaus say of the scatter of single readings, as it grows from day to day."""

    def __init__(self, name: str) -> None:
        self.name, self.squares, self.freedom = name, 0.0, 0
        self._estimates: dict[tuple[date, int], Repeatability] = {}

    def add(self, s: float, n: int) -> None:
        """One more plateau: the standard deviation of its n readings."""
        self.squares += s**2 * (n - 1)
        self.freedom += n - 1

    def on(self, day: date) -> Repeatability:
        """The estimate on a day: of one day and freedom one and the same."""
        key = (day, self.freedom)
        if key not in self._estimates:
            self._estimates = {
                key: Repeatability(
                    s=math.sqrt(self.squares / self.freedom),
                    nu=float(self.freedom),
                    basis="pooled",
                    group=f"pool/{self.name}/{day}/{self.freedom}",
                )
            }
        return self._estimates[key]
