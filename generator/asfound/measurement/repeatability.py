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
        name = "/".join(key)
        squares, freedom = 0.0, 0
        waiting: deque[int] = deque()
        estimated: tuple[date, int] | None = None
        for i in members:
            while waiting and days[waiting[0]] < days[i]:
                j = waiting.popleft()
                squares += s[j] ** 2 * (n[j] - 1)
                freedom += n[j] - 1
            if freedom >= least_pool[i] and squares > 0.0:
                if (days[i], freedom) != estimated:  # of one day and freedom: one estimate
                    estimated = (days[i], freedom)
                    group = f"pool/{name}/{days[i]}/{freedom}"
                    pooled = Repeatability(
                        s=math.sqrt(squares / freedom), nu=float(freedom), basis="pooled", group=group
                    )
                result[i] = pooled
            elif math.isfinite(declared[i]):
                if declared[i] not in of_family:
                    of_family[declared[i]] = Repeatability(s=declared[i], nu=math.inf, basis="declared", group="")
                result[i] = of_family[declared[i]]
            elif n[i] > 1:
                result[i] = Repeatability(s=s[i], nu=n[i] - 1.0, basis="own", group="")
            if usable[i] and n[i] > 1:
                waiting.append(i)
    return result
