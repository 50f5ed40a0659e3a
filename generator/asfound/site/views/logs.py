"""Logs on a visit's page: their chart, and what the soak at each point said."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import groupby

import numpy as np

from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.measurement.calibrations import Calibrations
from asfound.measurement.cell_sources import Part
from asfound.measurement.log_errors import Logged, Samples, resolution_of, samples_of
from asfound.records.models import Channel
from asfound.records.settings_in_force import SettingsOn
from asfound.rounding import NOTHING
from asfound.site.charts.logs import ChartedWindow, log_chart
from asfound.site.lookup.lookup import Lookup
from asfound.soak.approach import Approach
from asfound.soak.log_rows import LogWindow, log_window
from asfound.soak.plateaus import Plateau
from asfound.soak.waiting import SHARE_OF_TOLERANCE, Wait, expanded, wait_at
from asfound.uncertainty.sources import Catalogue
from asfound.wording import words
from asfound.wording.words import Link

LEAD_S = 120.0
"""The chart begins this long before the first soak, so that the step is seen."""


@dataclass(frozen=True, kw_only=True)
class SoakRow:
    """What the soak at one point said."""

    plateau: str
    point: str
    phase: str
    window: str
    soak: str
    approach: str
    left: str
    enough: str
    saved: str


@dataclass(frozen=True, kw_only=True)
class LogView:
    """One log of a sensor at a visit."""

    anchor: str
    title: str
    download: Link
    sha256: str
    chart: str
    rows: tuple[SoakRow, ...]
    asked: str
    """what was asked of the soak, and the minutes that could have been saved in all"""


@dataclass(frozen=True, kw_only=True)
class _Read:
    """One plateau that was read from the log."""

    result: Result
    cell: int
    logged: Logged


def log_views(lookup: Lookup, summary: SensorVisitSummary) -> tuple[LogView, ...]:
    """The logs whose windows were read, in order of time."""
    measurement = lookup.assessment.measurement
    if not measurement.logged:
        return ()
    read = [
        _Read(result=r, cell=cell, logged=measurement.logged[cell])
        for r in summary.results
        if r.channel is Channel.HUMIDITY
        and r.line is not None
        and (cell := measurement.lines[r.line].cell) in measurement.logged
    ]
    by_log = groupby(read, key=lambda one: one.logged.path)
    return tuple(_view(lookup, summary, path, list(group)) for path, group in by_log)


def log_path(path: str) -> str:
    """Where the site publishes a log, byte for byte."""
    return f"data/{path}"


def _view(lookup: Lookup, summary: SensorVisitSummary, path: str, read: Sequence[_Read]) -> LogView:
    window, samples = _whole(lookup, summary, read)
    error = _judged_error(samples)
    waits = [_wait(lookup, summary, one, window, samples.time_utc, error) for one in read]
    return LogView(
        anchor=f"{summary.sensor_visit.sensor}-{path.removeprefix('logs/').replace('/', '-')}",
        title=f"records/{path}",
        download=Link(text=path.rpartition("/")[2], path=log_path(path)),
        sha256=hashlib.sha256(lookup.records.files[path]).hexdigest(),
        chart=_chart(lookup, summary, read, samples, error),
        rows=tuple(_row(lookup, one, wait) for one, wait in zip(read, waits, strict=True)),
        asked=_asked(lookup, summary, waits),
    )


def _whole(lookup: Lookup, summary: SensorVisitSummary, read: Sequence[_Read]) -> tuple[LogWindow, Samples]:
    """The log from before the first soak to the end of the last window, sample by sample."""
    measurement = lookup.assessment.measurement
    cell = measurement.cells[read[0].cell]
    window = log_window(lookup.records, cell.sensor_visit.visit, cell.plateau.rows[0])
    assert window is not None, "its plateau was read from a log"
    whole = replace(window, end=max(one.logged.end for one in read))
    begin = min(one.logged.begin for one in read) - LEAD_S
    sensor = lookup.records.sensors.get(summary.sensor_visit.sensor)
    settings = SettingsOn(lookup.records, sensor, summary.sensor_visit.visit.day) if sensor is not None else None
    calibrations = Calibrations(lookup.records, Catalogue(), curves=dict(measurement.curves))
    (samples,) = samples_of([(cell, settings, whole, begin)], calibrations)
    return whole, samples


def _judged_error(samples: Samples) -> np.ndarray:
    """In all, where the far end was read, else at the sensor."""
    for part in (Part.TOTAL, Part.SENSOR):
        if (Channel.HUMIDITY, part) in samples.errors:
            return samples.errors[Channel.HUMIDITY, part]
    return np.full(len(samples.time_utc), np.nan)


def _wait(
    lookup: Lookup, summary: SensorVisitSummary, one: _Read, window: LogWindow, time: np.ndarray, error: np.ndarray
) -> Wait:
    """How long the soak was and would have had to be."""
    logged = one.logged
    part = Part.TOTAL if Part.TOTAL in logged.approaches else Part.SENSOR
    allowed = lookup.records.facility.policy_on(summary.sensor_visit.visit.day).settling.largest_left
    return wait_at(
        Plateau(
            start_utc=logged.begin,
            end_utc=logged.end,
            level=one.result.target,
            step=logged.step,
            drift_per_s=logged.drift_per_s,
        ),
        time.astype(float),
        error,
        largest_left=allowed if allowed is not None else SHARE_OF_TOLERANCE * one.result.tolerance,
        window_min=logged.minutes,
        resolution=resolution_of(window, part),
    )


def _asked(lookup: Lookup, summary: SensorVisitSummary, waits: Sequence[Wait]) -> str:
    allowed = lookup.records.facility.policy_on(summary.sensor_visit.visit.day).settling.largest_left
    share = f"{100 * SHARE_OF_TOLERANCE:g} % of the tolerance (our choice; the policy asks for none)"
    limit = f"{allowed:g} %RH (policy)" if allowed is not None else share
    saved = sum(wait.saved_min for wait in waits)
    less = f" {saved:.0f} minutes of waiting could have been saved in all." if saved else ""
    return f"Long enough: |left| + U is at most {limit}.{less}"


def _clock(lookup: Lookup, time_utc: float) -> datetime:
    return datetime.fromtimestamp(time_utc, UTC).astimezone(lookup.zone)


def _chart(
    lookup: Lookup, summary: SensorVisitSummary, read: Sequence[_Read], samples: Samples, error: np.ndarray
) -> str:
    windows = [
        ChartedWindow(
            name=f"{one.result.target:g}",
            begin=one.logged.begin,
            start=one.logged.start,
            end=one.logged.end,
            error=one.result.error,
            U=one.result.U,
            hover=[f"{words.point(one.result)}, {_span(lookup, one.logged)}", f"left {_left(one.logged.judged)}"],
        )
        for one in read
        if math.isfinite(one.result.error) and math.isfinite(one.result.U)
    ]
    title = f"log of {summary.sensor_visit.sensor} at {summary.sensor_visit.visit.id}: {len(read)} windows were read"
    times = samples.time_utc.astype(float)
    return log_chart(
        title,
        times,
        samples.reference,
        error,
        windows,
        lambda time: _clock(lookup, time).strftime("%Y-%m-%dT%H:%M:%S"),
    )


def _row(lookup: Lookup, read: _Read, wait: Wait) -> SoakRow:
    r, logged, one = read.result, read.logged, read.logged.judged
    soak = (logged.start - logged.begin) / 60.0
    judged = soak > 0 and math.isfinite(wait.largest_left)
    return SoakRow(
        plateau=str(r.plateau),
        point=words.point(r),
        phase=words.phase(r.phase),
        window=_span(lookup, logged),
        soak=f"{soak:.3g} min" if soak > 0 else NOTHING,
        approach=_approach(one) if one is not None else NOTHING,
        left=_left(one),
        enough=("yes" if wait.long_enough else "no") if judged else "not asked",
        saved=f"{wait.saved_min:.0f} min" if wait.saved_min else NOTHING,
    )


def _span(lookup: Lookup, logged: Logged) -> str:
    ends = [_clock(lookup, time).strftime("%H:%M:%S").removesuffix(":00") for time in (logged.start, logged.end)]
    return f"{ends[0]} to {ends[1]}"


def _approach(one: Approach) -> str:
    constants = [f"{words.digits(minutes, 2)} min" for minutes in one.time_constants_min]
    reason = f": {one.reason}" if one.reason else ""
    return f"{one.model}, {words.listed(constants)}" if constants else f"{one.model}{reason}"


def _left(one: Approach | None) -> str:
    if one is None or not math.isfinite(one.left):
        return "not known"
    return f"{words.difference(one.left, expanded(one))} %RH"
