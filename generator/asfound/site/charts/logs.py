"""The chart of a visit's log as data: what reference and sensor showed, and the windows whose means were read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from asfound.site.charts.axes import as_json, number
from asfound.wording import words

MOST_POINTS = 2000
"""of each series"""
GAP_STEPS = 5.0
"""A log pauses where its samples are this many usual steps apart (our choice)."""


@dataclass(frozen=True, kw_only=True)
class ChartedWindow:
    """One window on the chart; times in seconds since 1970 UTC, numbers in %RH."""

    name: str
    begin: float
    start: int
    end: int
    error: float
    """settled, as it stands in the results"""
    U: float
    hover: Sequence[str]


def log_chart(
    title: str,
    time_utc: np.ndarray,
    reference: np.ndarray,
    error: np.ndarray,
    windows: Sequence[ChartedWindow],
    local: Callable[[float], str],
) -> str:
    """Kind "log", drawn by site_templates/scripts/chart_log.js; of many samples the extremes of each part are kept.

    start: local time of the first sample; seconds: of each sample since then, in order; reference, sensor, error: by
    sample, null where there is none. points: one a window: name, begin of the soak, from, until, middle (seconds since
    start), error, U, hover.
    """
    time_utc, reference, error = _with_breaks(time_utc, reference, error)
    kept = thinned(len(time_utc), (error + reference, error))
    first = float(time_utc[0])
    chart: dict[str, Any] = {
        "kind": "log",
        "title": title,
        "y_title": "Humidity / %RH",
        "error_title": "Error / %RH",
        "start": local(first),
        "seconds": [round(float(second) - first, 1) for second in time_utc[kept]],
        "reference": _rounded(reference[kept]),
        "sensor": _rounded((error + reference)[kept]),
        "error": _rounded(error[kept]),
        "points": [
            {
                "name": window.name,
                "begin": round(window.begin - first),
                "from": round(window.start - first),
                "until": round(window.end - first),
                "error": number(window.error),
                "U": number(window.U),
                "hover": [*window.hover, f"settled error {words.difference(window.error, window.U)} %RH"],
            }
            for window in windows
        ],
    }
    return as_json(chart)


def _with_breaks(time_utc: np.ndarray, *series: np.ndarray) -> tuple[np.ndarray, ...]:
    """With a sample without readings where the log pauses, so that no line is drawn over the pause."""
    if len(time_utc) < 2:
        return time_utc, *series
    steps = np.diff(time_utc)
    after = np.flatnonzero(steps > GAP_STEPS * np.median(steps)) + 1
    times = np.insert(time_utc, after, (time_utc[after - 1] + time_utc[after]) / 2.0)
    return times, *(np.insert(values, after, np.nan) for values in series)


def thinned(n: int, series: Sequence[np.ndarray]) -> np.ndarray:
    """Positions of at most MOST_POINTS of n samples, rising.

    In each of equal parts the lowest and highest of each series, and both ends of the whole.
    """
    if n <= MOST_POINTS:
        return np.arange(n)
    parts = (MOST_POINTS - 2) // (2 * len(series))
    edges = np.linspace(0, n, parts + 1).astype(int)
    chosen = {0, n - 1}
    for start, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        for values in series:
            part = values[start:end]
            if np.isfinite(part).any():
                chosen |= {start + int(np.nanargmin(part)), start + int(np.nanargmax(part))}
    return np.array(sorted(chosen))


def _rounded(values: np.ndarray) -> list[float | None]:
    """To a thousandth of a %RH, less than any display shows."""
    return [round(float(value), 3) if np.isfinite(value) else None for value in values]
