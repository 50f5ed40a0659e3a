"""A calibration's table between its points, and how far beyond its ends a reading may lie."""

from __future__ import annotations

import numpy as np

from asfound.records.models.references import QuantityRecord

EDGE_SHARE = 0.01
"""Beyond a table's ends by more than this share of its span a reading is outside: nothing is known of it (our choice).
Nearer than that the end's correction holds, and it is told where a reading is beyond by more than the end's own U."""


def interpolation(points: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Left point, weight of the right one (0…1, held at the ends), and whether x lies far outside the table."""
    if len(points) == 1:
        outside = ~np.isclose(x, points[0], rtol=0.05, atol=0.5)
        return np.zeros(len(x), np.int64), np.zeros(len(x)), outside
    left = np.clip(np.searchsorted(points, x, side="right") - 1, 0, len(points) - 2)
    weight = (x - points[left]) / (points[left + 1] - points[left])
    return left, np.clip(weight, 0.0, 1.0), beyond(points, x) > EDGE_SHARE * (points[-1] - points[0])


def beyond(points: np.ndarray, x: np.ndarray) -> np.ndarray:
    """How far readings lie beyond a table's ends, in their unit; 0 inside."""
    return np.asarray(np.maximum(np.maximum(points[0] - x, x - points[-1]), 0.0))


def outside_use(known: QuantityRecord, points: np.ndarray, x: np.ndarray, beyond_table: np.ndarray) -> np.ndarray:
    """Whether readings lie beyond the ends of use; an end that the record leaves out is its table's."""
    below = beyond_table & (x < points[0]) if known.lowest is None else x < known.lowest.value
    above = beyond_table & (x > points[-1]) if known.highest is None else x > known.highest.value
    return below | above


def reach_text(known: QuantityRecord, points: np.ndarray, unit: str) -> str:
    """From where to where a quantity is calibrated, as messages say it."""
    if known.lowest is None and known.highest is None:
        return f"certificate ({range_text(points, unit)})"
    lowest = points[0] if known.lowest is None else known.lowest.value
    highest = points[-1] if known.highest is None else known.highest.value
    return f"range of use ({range_text(np.array([lowest, highest]), unit)})"


def range_text(points: np.ndarray, unit: str) -> str:
    """From where to where a table goes."""
    shown, unit = (points / 1000.0, "kPa") if unit == "Pa" else (points, unit)
    return f"{shown[0]:g} to {shown[-1]:g} {unit}" if len(shown) > 1 else f"{shown[0]:g} {unit}"


def amount_text(value: float, unit: str) -> str:
    """How far, as messages say it."""
    value, unit = (value / 1000.0, "kPa") if unit == "Pa" else (value, unit)
    return f"{value:.2g} {unit}"
