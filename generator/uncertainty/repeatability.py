"""Scatter of readings within a plateau, and what is known of it beforehand: pooled, declared, or its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

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
    days: np.ndarray,
    spread: Scatter,
    usable: np.ndarray,
    declared: np.ndarray,
    least_pool: np.ndarray,
) -> list[Repeatability | None]:
    """One for each plateau, None where nothing is known (a single reading, nothing declared).

    `keys`: what is pooled together (model, channel, part); `usable`: settled plateaus that may enter a pool;
    a pool holds only plateaus of days before the plateau's own, so adding a visit never changes older results.
    """
    result: list[Repeatability | None] = [None] * len(keys)
    by_key: dict[tuple[str, ...], list[int]] = {}
    for i, key in enumerate(keys):
        by_key.setdefault(key, []).append(i)
    for key, members in by_key.items():
        members.sort(key=lambda i: (days[i], i))
        squares, freedom = 0.0, 0
        waiting: list[int] = []
        for i in members:
            while waiting and days[waiting[0]] < days[i]:
                j = waiting.pop(0)
                squares += float(spread.s[j]) ** 2 * (int(spread.n[j]) - 1)
                freedom += int(spread.n[j]) - 1
            result[i] = _choose(key, days[i], spread, i, declared[i], least_pool[i], squares, freedom)
            if usable[i] and spread.n[i] > 1:
                waiting.append(i)
    return result


def _choose(
    key: tuple[str, ...],
    day: np.datetime64,
    spread: Scatter,
    i: int,
    declared: float,
    least_pool: float,
    squares: float,
    freedom: int,
) -> Repeatability | None:
    if freedom >= least_pool and squares > 0.0:
        group = f"pool/{'/'.join(key)}/{day}/{freedom}"  # of one day and freedom: one estimate
        return Repeatability(s=math.sqrt(squares / freedom), nu=float(freedom), basis="pooled", group=group)
    if np.isfinite(declared):
        return Repeatability(s=float(declared), nu=math.inf, basis="declared", group="")
    if spread.n[i] > 1:
        return Repeatability(s=float(spread.s[i]), nu=float(spread.n[i] - 1), basis="own", group="")
    return None
