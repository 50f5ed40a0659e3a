"""Scatter of readings within a plateau, and what is known of it beforehand: pooled, declared, or its own."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """Statistics of each plateau's row errors, shape (cells,): n, mean, standard deviation, slope per minute."""

    n: np.ndarray
    mean: np.ndarray
    s: np.ndarray
    slope: np.ndarray
    minutes: np.ndarray
    """square root of the sum of squared minutes about their mean: slope's u = s / minutes"""


def scatter(error: np.ndarray, time: np.ndarray, cell: np.ndarray, cells: int) -> Scatter:
    """Statistics by cell of row errors (nan: not read); times in seconds."""
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
    return Scatter(n=n, mean=mean, s=s, slope=slope, minutes=np.sqrt(stt))


@dataclass(frozen=True, kw_only=True)
class Repeatability:
    """Standard deviation of single readings for one plateau, and how it is known."""

    s: float
    nu: float
    basis: str
    """pooled, declared or own"""
    group: str


def repeatabilities(
    keys: Sequence[tuple[str, ...]],
    days: Sequence[date],
    spread: Scatter,
    usable: Sequence[bool],
    declared: Sequence[float],
    least_pool: Sequence[float],
) -> list[Repeatability | None]:
    """One for each plateau, None where nothing is known (a single reading, nothing declared).

    `keys`: what is pooled together (model, channel, part); `usable`: settled plateaus that may enter a pool;
    a pool holds only plateaus of days before the plateau's own, so adding a visit never changes older results.
    """
    result: list[Repeatability | None] = [None] * len(keys)
    n, s = spread.n.tolist(), spread.s.tolist()
    of_family: dict[float, Repeatability] = {}
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
                pool.add(s[j], n[j])
            if pool.freedom >= least_pool[i] and pool.squares > 0.0:
                result[i] = pool.on(days[i])
            elif math.isfinite(declared[i]):
                known = Repeatability(s=declared[i], nu=math.inf, basis="declared", group="")
                result[i] = of_family.setdefault(declared[i], known)
            elif n[i] > 1:
                result[i] = Repeatability(s=s[i], nu=n[i] - 1.0, basis="own", group="")
            if usable[i] and n[i] > 1:
                waiting.append(i)
    return result


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
