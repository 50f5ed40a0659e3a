"""Logs on a visit's page: their chart, and what the soak at each point said."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import groupby

import numpy as np

from generator.assessment.result import Result
from generator.assessment.summary import SensorVisitSummary
from generator.records.models import Channel
from generator.records.settings import SettingsOn
from generator.rounding import NOTHING
from generator.site import words
from generator.site.log_chart import ChartedWindow, log_chart
from generator.site.views.lookup import Lookup
from generator.site.words import Link
from generator.soak.approach import Approach
from generator.soak.log_rows import log_window
from generator.uncertainty.calibrations import Calibrations
from generator.uncertainty.cell_sources import Part
from generator.uncertainty.log_errors import Logged, left_with_U, samples_of
from generator.uncertainty.sources import Catalogue

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
    remark: str


@dataclass(frozen=True, kw_only=True)
class LogView:
    """One log of a sensor at a visit."""

    anchor: str
    title: str
    download: Link
    sha256: str
    chart: str
    rows: tuple[SoakRow, ...]


def log_views(lookup: Lookup, summary: SensorVisitSummary) -> tuple[LogView, ...]:
    """The logs whose windows were read, in order of time."""
    measurement = lookup.assessment.measurement
    if not measurement.logged:
        return ()
    read = [
        (r, cell, measurement.logged[cell])
        for r in summary.results
        if r.channel is Channel.HUMIDITY
        and r.line is not None
        and (cell := measurement.lines[r.line].cell) in measurement.logged
    ]
    by_log = groupby(read, key=lambda one: one[2].path)
    return tuple(_view(lookup, summary, path, list(group)) for path, group in by_log)


def log_path(path: str) -> str:
    """Where the site publishes a log, byte for byte."""
    return f"data/{path}"


def _view(lookup: Lookup, summary: SensorVisitSummary, path: str, read: list[tuple[Result, int, Logged]]) -> LogView:
    return LogView(
        anchor=f"{summary.sensor_visit.sensor}-{path.removeprefix('logs/').replace('/', '-')}",
        title=f"records/{path}",
        download=Link(text=path.rpartition("/")[2], path=log_path(path)),
        sha256=hashlib.sha256(lookup.records.files[path]).hexdigest(),
        chart=_chart(lookup, summary, path, read),
        rows=tuple(_row(lookup, r, logged) for r, _, logged in read),
    )


def _clock(lookup: Lookup, time_utc: float) -> datetime:
    return datetime.fromtimestamp(time_utc, UTC).astimezone(lookup.zone)


def _chart(lookup: Lookup, summary: SensorVisitSummary, path: str, read: list[tuple[Result, int, Logged]]) -> str:
    """The whole of the log from before the first soak to the end of the last window."""
    measurement = lookup.assessment.measurement
    begin = min(logged.begin for _, _, logged in read) - LEAD_S
    end = max(logged.end for _, _, logged in read)
    cell = measurement.cells[read[0][1]]
    window = log_window(lookup.records, cell.sensor_visit.visit, cell.plateau.rows[0])
    assert window is not None, "its plateau was read from a log"
    sensor = lookup.records.sensors.get(summary.sensor_visit.sensor)
    settings = SettingsOn(lookup.records, sensor, summary.sensor_visit.visit.day) if sensor is not None else None
    calibrations = Calibrations(lookup.records, Catalogue(), curves=measurement.curves)
    (samples,) = samples_of([(cell, settings, replace(window, end=end), begin)], calibrations)
    errors = samples.errors
    error = errors.get((Channel.HUMIDITY, Part.TOTAL), errors.get((Channel.HUMIDITY, Part.SENSOR)))
    name = summary.sensor_visit.sensor
    return log_chart(
        f"log of {name} at {summary.sensor_visit.visit.id}: {len(read)} windows that were read",
        samples.time_utc.astype(float),
        samples.reference,
        error if error is not None else np.full(len(samples.time_utc), np.nan),
        [
            ChartedWindow(
                name=f"{r.target:g}",
                begin=logged.begin,
                start=logged.start,
                end=logged.end,
                error=r.error,
                U=r.U,
                hover=[f"{words.point(r)}, {_span(lookup, logged)}", f"left {_left(logged.judged)}"],
            )
            for r, _, logged in read
        ],
        lambda time: _clock(lookup, time).strftime("%Y-%m-%dT%H:%M:%S"),
    )


def _row(lookup: Lookup, r: Result, logged: Logged) -> SoakRow:
    one = logged.judged
    soak = (logged.start - logged.begin) / 60.0
    return SoakRow(
        plateau=str(r.plateau),
        point=words.point(r),
        phase=words.phase(r.phase),
        window=_span(lookup, logged),
        soak=f"{soak:.3g} min" if soak > 0 else NOTHING,
        approach=_approach(one) if one is not None else NOTHING,
        left=_left(one),
        remark=one.reason if one is not None else "",
    )


def _span(lookup: Lookup, logged: Logged) -> str:
    ends = [_clock(lookup, time).strftime("%H:%M:%S").removesuffix(":00") for time in (logged.start, logged.end)]
    return f"{ends[0]} to {ends[1]}"


def _approach(one: Approach) -> str:
    constants = [f"{words.digits(minutes, 2)} min" for minutes in one.time_constants_min]
    return f"{one.model}, {words.listed(constants)}" if constants else one.model


def _left(one: Approach | None) -> str:
    if one is None or not math.isfinite(one.left):
        return "not known"
    return f"{words.difference(*left_with_U(one))} %RH"
