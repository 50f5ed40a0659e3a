"""How large an amount is that a record declares by bands of humidity or of temperature."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from asfound.records.models.spreads import ByBands


def number(value: Any) -> float:
    """A value as the records hold it, in the canonical unit."""
    return float(getattr(value, "value", value))


def value_at(
    amounts: Sequence[ByBands[Any] | None], which: np.ndarray, humidity: np.ndarray, temperature_c: np.ndarray
) -> np.ndarray:
    """The value of `amounts[which]` at each humidity (%RH) and temperature (°C), in its canonical unit.

    All arrays have one shape. nan where no amount is declared; where the humidity or the temperature is not known
    (nan), the value outside all bands.
    """
    outside = np.array([*(np.nan if one is None else number(one.value) for one in amounts), np.nan])
    value = outside[which]
    # A family's amount is one and the same for all of its instruments.
    for amount in {id(one): one for one in amounts if one is not None and one.bands}.values():
        at = np.flatnonzero(np.array([*(one is amount for one in amounts), False])[which])
        for band in sorted(amount.bands, key=lambda one: one.lowest.value):
            by = humidity if band.lowest.quantity == "humidity" else temperature_c
            value[at[(band.lowest.value <= by[at]) & (by[at] <= band.highest.value)]] = number(band.value)
    return value


def largest(amount: ByBands[Any]) -> float:
    """The largest value of all bands and outside them."""
    return max(_values(amount))


def smallest(amount: ByBands[Any]) -> float:
    """The smallest value of all bands and outside them."""
    return min(_values(amount))


def _values(amount: ByBands[Any]) -> list[float]:
    return [number(amount.value), *(number(band.value) for band in amount.bands)]
