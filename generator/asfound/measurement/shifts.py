"""Errors that a reference is held to have had beyond what its calibrations say: what a retrace measures again with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np


@dataclass(frozen=True, kw_only=True)
class Shift:
    """A further error (reading − true) of one quantity of a reference, from a day to a day, both included."""

    reference: str
    quantity: str
    since: date
    until: date | None
    """None: ever since"""
    value: Callable[[np.ndarray, np.ndarray], np.ndarray]
    """(reading in the canonical unit, day as datetime64[D]), shapes (n,) → further error, shape (n,)"""

    def holds(self, day: date) -> bool:
        """Whether it is one of its days."""
        return self.since <= day and (self.until is None or day <= self.until)

    def error(self, reading: np.ndarray, day: np.ndarray) -> np.ndarray:
        """The further error at each reading, canonical unit, shape (n,); zero outside its days."""
        within = day >= np.datetime64(self.since, "D")
        if self.until is not None:
            within &= day <= np.datetime64(self.until, "D")
        further = np.zeros(len(reading))
        if within.any():
            further[within] = self.value(reading[within], day[within])
        return further


def constant(reference: str, quantity: str, since: date, until: date | None, size: float) -> Shift:
    """A shift of one size (canonical unit) at every reading and on every one of its days."""

    def value(reading: np.ndarray, day: np.ndarray) -> np.ndarray:
        return np.full(len(reading), size)

    return Shift(reference=reference, quantity=quantity, since=since, until=until, value=value)
