"""Trends: what the building system recorded of a sensor over the years, joined from its exports.

`trends/SENSOR.csv`, `trends/SENSOR.parquet`, or any number of either in `trends/SENSOR/`. Evidence, not records: the
files are read only where a finding needs them, and all of them where records are checked.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from asfound.faults import Fault, Place, did_you_mean, error
from asfound.records.snapshot import TRENDS, Snapshot
from asfound.records.trends.files import QUANTITIES, TrendFile, read_trend_file
from asfound.records.trends.repeated_hour import Span
from asfound.records.visits.csv_text import field_place

TREND_NAME = error("trend-name", "an export is not trends/SENSOR.csv, nor in the folder of a sensor on record")
TREND_CONTRADICTORY = error("trend-contradictory", "exports give two values of one sensor at one time")
TREND_IMPLAUSIBLE = error("trend-implausible", "all humidities of an export are shares of one, not percents")

_PATH = re.compile(r"trends/([^/]+?)(?:/[^/]+)?\.(?:csv|parquet)")
_FOLDER = re.compile(r"trends/([^/]+)/[^/]+\.(?:csv|parquet)")
LOWEST_RH, HIGHEST_RH = -1.0, 105.0
"""A humidity outside is a broken loop's, not the air's: it is left out and told (our choice)."""
SHARE_OF_ONE = 1.05
HELD_STEPS = 2.0
"""A value stands until the next one; where that is more than so many usual steps away, for one step (our choice)."""
LONGEST_STEP_S = 3600.0
"""Exports are hourly or finer: a value of a coarser one stands for an hour, not for its day or month (our choice)."""
STUCK_S = 24 * 3600
"""A value that stays the same for longer than this is told as stuck (our choice)."""


@dataclass(frozen=True, kw_only=True)
class Trend:
    """What was recorded of one sensor, in order of time."""

    sensor: str
    files: tuple[tuple[str, str], ...]
    """(path, SHA-256) of each export"""
    time_utc: np.ndarray
    """seconds since 1970 UTC, int64, rising"""
    readings: dict[str, np.ndarray]
    """humidity in %RH, temperature in °C where it was exported; nan where there is none"""
    left_out: int
    """humidities that were no humidity of the air"""
    unplaced: tuple[Span, ...] = ()
    """(from, until), seconds UTC, of each hour that the clocks repeated and whose values were left out, because nothing
    tells in which pass they were recorded; a row without readings stands at its beginning"""

    @property
    def step_s(self) -> float:
        """The usual time from one value to the next, seconds, at most an hour."""
        return min(float(np.median(np.diff(self.time_utc))), LONGEST_STEP_S) if len(self.time_utc) > 1 else 0.0

    def held_s(self) -> np.ndarray:
        """For how long each value stands, seconds; shape of `time_utc`.

        Until the next one; one usual step before a gap and at the end.
        """
        step = self.step_s
        until_next = np.diff(self.time_utc, append=self.time_utc[-1:] + round(step)).astype(float)
        return np.where(until_next > HELD_STEPS * step, step, until_next)

    def within(self, start: int, end: int) -> Trend:
        """The part from one time up to another, seconds UTC."""
        part = slice(*np.searchsorted(self.time_utc, (start, end)))
        return Trend(
            sensor=self.sensor,
            files=self.files,
            time_utc=self.time_utc[part],
            readings={name: values[part] for name, values in self.readings.items()},
            left_out=self.left_out,
            unplaced=tuple(span for span in self.unplaced if span[0] < end and span[1] >= start),
        )

    def stuck(self) -> Iterator[tuple[int, int, float]]:
        """(from, until, value) of each stretch in which the humidity did not move for too long to be the air's."""
        humidity = self.readings["humidity"]
        if not len(humidity):
            return
        begins = np.flatnonzero(np.append(True, np.diff(humidity) != 0.0))
        ends = np.append(begins[1:], len(humidity)) - 1
        for first, last in zip(begins, ends, strict=True):
            if self.time_utc[last] - self.time_utc[first] > STUCK_S:
                yield int(self.time_utc[first]), int(self.time_utc[last]), float(humidity[first])


def trend_sensor(path: str) -> str | None:
    """The sensor whose trend lies at a path; None where no trend is looked for there."""
    match = _FOLDER.fullmatch(path) or _PATH.fullmatch(path)
    return match[1] if match else None


def misplaced_trends(paths: Iterable[str], sensors: Collection[str]) -> Iterator[Fault]:
    """Files below trends/ that belong to no sensor on record."""
    for path in paths:
        if not path.startswith(TRENDS):
            continue
        sensor = trend_sensor(path)
        if sensor is None:
            message, cure = "no export is looked for here", "name it trends/SENSOR.csv, or trends/SENSOR/WORDS.csv"
            yield Fault(rule=TREND_NAME, place=Place(path=path), message=message, cure=cure)
        elif sensor not in sensors:
            message = f"no sensor is called {sensor!r}"
            cure = f"name it after its sensor{did_you_mean(sensor, sensors)}, or add sensors/{sensor}.yml"
            yield Fault(rule=TREND_NAME, place=Place(path=path), message=message, cure=cure)


def trend_paths(files: Iterable[str]) -> dict[str, list[str]]:
    """By sensor, the paths of its exports, sorted."""
    found: dict[str, list[str]] = {}
    for path in sorted(path for path in files if path.startswith(TRENDS)):
        sensor = trend_sensor(path)
        if sensor is not None:
            found.setdefault(sensor, []).append(path)
    return found


def check_trends(files: Snapshot, sensors: Collection[str], zone: ZoneInfo) -> list[Fault]:
    """Every fault of every sensor's trend, one sensor's exports in memory at a time."""
    faults = []
    for sensor, paths in trend_paths(files).items():
        if sensor in sensors:
            faults += read_trend({path: files[path] for path in paths}, sensor, zone)[1]
    return faults


def read_trend(files: Snapshot, sensor: str, zone: ZoneInfo) -> tuple[Trend | None, list[Fault]]:
    """The trend of one sensor from all its exports; None where there is none, or with faults."""
    parts, faults, hashes = [], [], []
    for path in trend_paths(files).get(sensor, ()):
        content = files[path]
        hashes.append((path, hashlib.sha256(content).hexdigest()))
        part, found = read_trend_file(path, content, zone)
        found = found or list(_implausible(part, content) if part else ())
        faults += found
        if part is not None:
            parts.append(part)
    if faults or not parts:
        return None, faults
    return _joined(files, sensor, tuple(hashes), parts)


def _implausible(part: TrendFile, content: bytes) -> Iterator[Fault]:
    humidity = part.readings["humidity"]
    told = humidity[np.isfinite(humidity)]
    if len(told) > 1 and (np.abs(told) <= SHARE_OF_ONE).all() and (told > 0).any():
        message = f"no humidity is above {SHARE_OF_ONE:g} %RH"
        cure = "export percents: 0.45 of one is 45 %RH"
        yield Fault(rule=TREND_IMPLAUSIBLE, place=_place(part, 0, content), message=message, cure=cure)


def _place(part: TrendFile, row: int, content: bytes) -> Place:
    if part.path.endswith(".parquet"):
        return Place(path=part.path)
    return field_place(part.path, content, int(part.lines[row]), 0)


def _joined(
    files: Snapshot, sensor: str, hashes: tuple[tuple[str, str], ...], parts: list[TrendFile]
) -> tuple[Trend | None, list[Fault]]:
    """All exports in order of time; of values that overlapping exports repeat, the first."""
    time = np.concatenate([part.time_utc for part in parts])
    names = [name for name in QUANTITIES if any(name in part.readings for part in parts)]
    readings = {
        name: np.concatenate([part.readings.get(name, np.full(len(part.time_utc), np.nan)) for part in parts])
        for name in names
    }
    order = np.argsort(time, kind="stable")
    time, readings = time[order], {name: values[order] for name, values in readings.items()}
    again = np.append(False, np.diff(time) == 0)
    if again.any():
        fault = _contradiction(files, parts, order, again, readings["humidity"])
        if fault is not None:
            return None, [fault]
        time, readings = time[~again], {name: values[~again] for name, values in readings.items()}
    unplaced = _not_covered(parts, time)
    at = np.searchsorted(time, [start for start, _ in unplaced])
    time = np.insert(time, at, [start for start, _ in unplaced])  # the value before stands until there
    readings = {name: np.insert(values, at, np.nan) for name, values in readings.items()}
    humidity = readings["humidity"]
    broken = (humidity < LOWEST_RH) | (humidity > HIGHEST_RH)
    readings["humidity"] = np.where(broken, np.nan, humidity)
    trend = Trend(
        sensor=sensor,
        files=hashes,
        time_utc=time,
        readings=readings,
        left_out=int(broken.sum()),
        unplaced=unplaced,
    )
    return trend, []


def _not_covered(parts: list[TrendFile], time: np.ndarray) -> tuple[Span, ...]:
    """The repeated hours of which one export does not tell the passes and no other has values; each once."""
    found: list[Span] = []
    for start, end in sorted({span for part in parts for span in part.unplaced}):
        if np.searchsorted(time, start) < np.searchsorted(time, end, side="right"):
            continue
        if found and start <= found[-1][1]:
            found[-1] = found[-1][0], max(end, found[-1][1])
        else:
            found.append((start, end))
    return tuple(found)


def _contradiction(
    files: Snapshot, parts: list[TrendFile], order: np.ndarray, again: np.ndarray, humidity: np.ndarray
) -> Fault | None:
    """The first row that gives another value for a time that had one."""
    rows = np.flatnonzero(again)
    apart = ~((humidity[rows] == humidity[rows - 1]) | (np.isnan(humidity[rows]) & np.isnan(humidity[rows - 1])))
    if not apart.any():
        return None
    row = rows[apart][0]
    number = int(order[row])
    for part in parts:
        if number < len(part.time_utc):
            break
        number -= len(part.time_utc)
    more = f" (and at {apart.sum() - 1} more times)" if apart.sum() > 1 else ""
    message = f"{humidity[row]:g} %RH at a time that has {humidity[row - 1]:g} %RH already{more}"
    cure = "keep the export that is right"
    place = _place(part, number, files[part.path])
    return Fault(rule=TREND_CONTRADICTORY, place=place, message=message, cure=cure)
