"""Plateaus that were read from a log: the errors sample by sample, their scatter, and what was left of the approach.

The mean of a window is one reading. How far it scatters cannot be read off single readings divided by √n, for samples
of a log follow each other too closely: it is taken from the samples with their correlation.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from asfound.measurement.calibrations import Calibrations
from asfound.measurement.cell_sources import Part
from asfound.measurement.indications import indications
from asfound.measurement.reading_table import Cell, ReadingTable, reading_table
from asfound.measurement.reference_values import reference_values
from asfound.measurement.repeatability import Repeatability
from asfound.records.load import Records
from asfound.records.models import Channel
from asfound.records.settings_in_force import SettingsOn, shows_ice
from asfound.records.visits.rows import SensorVisit
from asfound.soak.approach import Approach, approach, not_known
from asfound.soak.log_rows import LogWindow, log_window
from asfound.soak.plateaus import BAND, NOISE_BANDS
from asfound.uncertainty.sources import Catalogue

BATCHES = 8
"""Parts of a window whose means are taken as independent of each other (our choice)."""
LEAD_S, LOOK_BACK_S = 300.0, 4 * 3600.0
"""How far before a soak, and where none is written before a window, a log is looked at (our choice)."""
SOAK_WRITTEN_S = 90.0
"""A soak is written to the minute, and by hand: to this it is right (our choice)."""
LEAST_STEP_RH = 1.0
"""Below this the humidity did not come from another target: where it came from is not known (our choice)."""

Which = tuple[Channel, Part]


@dataclass(frozen=True, kw_only=True)
class Samples:
    """What a log says of one plateau, sample by sample; arrays of shape (n,)."""

    time_utc: np.ndarray
    reference: np.ndarray
    """reference humidity, %RH"""
    errors: Mapping[Which, np.ndarray]
    """by channel and part, in the channel's unit; nan where not read"""

    def since(self, begin: float) -> Samples:
        """Those from a time on."""
        kept = self.time_utc >= begin
        errors = {which: error[kept] for which, error in self.errors.items()}
        return Samples(time_utc=self.time_utc[kept], reference=self.reference[kept], errors=errors)


@dataclass(frozen=True, kw_only=True)
class Logged:
    """One plateau that was read from a log: what its samples come to."""

    path: str
    """of the log"""
    begin: float
    """when the soak began; this and what follows in seconds since 1970 UTC"""
    start: int
    """of the window whose mean was read"""
    end: int
    step: float | None
    """by how much the target moved before, signed, %RH, where that is known"""
    drift_per_s: float
    """slope of the reference over the window, %RH/s"""
    scatter: Mapping[Which, Repeatability]
    """how far the window's mean scatters"""
    approaches: Mapping[Part, Approach]
    """of the humidity errors at the sensor and in all: what was left of them when the window was read"""
    slope: float
    """of the judged humidity error over the window, %RH/min; nan where it was not read"""
    u_slope: float

    @property
    def minutes(self) -> float:
        """How long the window is."""
        return (self.end - self.start) / 60.0

    @property
    def judged(self) -> Approach | None:
        """The approach in all, where the far end was read, else at the sensor."""
        return self.approaches.get(Part.TOTAL) or self.approaches.get(Part.SENSOR)


def logged_cells(
    records: Records,
    table: ReadingTable,
    settings: Sequence[SettingsOn | None],
    calibrations: Calibrations,
    came_from: Callable[[int], float],
) -> dict[int, Logged]:
    """By number, those of the cells that were read from a log. `came_from`: target before a cell's, nan: not known."""
    cells = table.cells
    if not any("log" in visit.block.text for visit in table.visits):
        return {}
    windows: dict[int, LogWindow] = {}
    for number, (sv, plateau) in enumerate(cells):
        if (window := log_window(records, sv.visit, plateau.rows[0])) is not None:
            windows[number] = window
    if not windows:
        return {}
    soaks = {number: _soak_s(cells[number]) for number in windows}
    looks = {number: soak + LEAD_S if soak else LOOK_BACK_S for number, soak in soaks.items()}
    chosen = [
        (cells[number], settings[number], window, window.start - looks[number]) for number, window in windows.items()
    ]
    found = {}
    for number, samples in zip(windows, samples_of(chosen, calibrations), strict=True):
        begin, why = began(samples, windows[number].start, soaks[number])
        plateau = cells[number].plateau
        # Before the first target the sensor showed its place, not the room that the technician wrote down.
        step = plateau.target - came_from(number) if plateau.number > 1 else math.nan
        found[number] = _fitted(windows[number], samples.since(begin or windows[number].start), begin, why, step)
    return found


def _soak_s(cell: Cell) -> float:
    """Seconds at the point before the window as they are written; 0 where they are not."""
    return 60.0 * float(np.nan_to_num(cell.sensor_visit.visit.number["soak"][cell.plateau.rows[0]]))


def began(samples: Samples, start: float, soak_s: float) -> tuple[float | None, str]:
    """When the approach began, seconds since 1970 UTC, and why it is not known where it is not.

    When the reference came to stand, which a soak that is written confirms to a minute or so; where it stood long
    before, the probe came later: when the soak says.
    """
    before = samples.time_utc < start
    read = samples.reference[~before]
    read = read[np.isfinite(read)]
    if not before.any() or len(read) < 2:
        return None, "the log begins with the window"
    level, noise = float(np.median(read)), float(np.std(np.diff(read))) / math.sqrt(2.0)
    moving = np.flatnonzero(before & (np.abs(samples.reference - level) > max(BAND, NOISE_BANDS * noise)))
    stood = float(samples.time_utc[moving[-1] + 1] if len(moving) else samples.time_utc[0])
    if not soak_s:
        return (stood, "") if len(moving) else (None, "no soak is written, and the reference stood when the log began")
    return (stood, "") if stood >= start - soak_s - SOAK_WRITTEN_S else (start - soak_s + SOAK_WRITTEN_S, "")


def samples_of(
    chosen: Sequence[tuple[Cell, SettingsOn | None, LogWindow, float]], calibrations: Calibrations
) -> list[Samples]:
    """The samples of some plateaus, each from a time on to its window's end, by the same models as their means.

    The sources of single samples are nobody's: they are counted apart.
    """
    table = reading_table([_sampled(cell, window, begin) for cell, _, window, begin in chosen])
    apart = replace(calibrations, catalogue=Catalogue(), used={}, _resolutions={})
    settings = [on for _, on, _, _ in chosen]
    references = calibrations.records.references
    over_ice = np.array([shows_ice(on or references.get(cell.sensor_visit.sensor)) for cell, on, _, _ in chosen], bool)
    reference = reference_values(table, apart, over_ice[table.cell], _untold)
    errors: dict[Which, np.ndarray] = {}
    for channel in Channel:
        shown = indications(table, apart, settings, channel, _untold)
        value = reference.of(channel).value
        errors[channel, Part.TOTAL] = shown.far_end - value
        errors[channel, Part.SENSOR] = shown.sensor.value - value
        errors[channel, Part.LOOP] = shown.far_end - shown.sensor.value
    ends = np.searchsorted(table.cell, np.arange(len(chosen) + 1)).tolist()
    return [
        Samples(
            time_utc=table.time[start:end],
            reference=reference.humidity.value[start:end],
            errors={which: e[start:end] for which, e in errors.items() if np.isfinite(e[start:end]).any()},
        )
        for start, end in pairwise(ends)
    ]


def _sampled(cell: Cell, window: LogWindow, begin: float) -> SensorVisit:
    """The plateau with one row for each sample of its log."""
    sv, plateau = cell
    row = plateau.rows[0]
    times = window.log.time_utc
    at = np.flatnonzero((times >= begin) & (times <= window.end))
    block = sv.visit.block.taken(np.full(len(at), sv.visit.start + row))
    number = dict(block.number)
    for name, read in window.readings.items():
        number[name] = read.values[at]
    visit = replace(
        sv.visit,
        lines=(sv.visit.lines[row],) * len(at),
        block=replace(block, number=number),
        start=0,
        time_utc=times[at],
    )
    return replace(sv, visit=visit, plateaus=(replace(plateau, rows=tuple(range(len(at)))),), events=())


def _untold(*_: object) -> None:
    """What is wrong with the samples is told of their mean."""


def _fitted(window: LogWindow, samples: Samples, begin: float | None, why: str, step: float) -> Logged:
    """What one plateau's samples come to. `begin`: when the approach began, and they; `why`: that is not known."""
    time, errors = samples.time_utc, samples.errors
    inside = time >= window.start
    minutes = (time[inside] - window.start) / 60.0
    drift = float(np.nan_to_num(slope_of(minutes, samples.reference[inside])[0])) / 60.0
    moved = step if abs(step) >= LEAST_STEP_RH else None
    approaches = {}
    for part in (Part.TOTAL, Part.SENSOR):
        if (Channel.HUMIDITY, part) not in errors:
            continue
        if begin is None:
            approaches[part] = not_known(why)
            continue
        approaches[part] = _approach(
            (time - begin).tobytes(),
            errors[Channel.HUMIDITY, part].tobytes(),
            (window.start - begin, window.end - begin),
            moved,
            drift,
            resolution_of(window, part),
        )
    scatter = {}
    for which, error in errors.items():
        fit = approaches.get(which[1]) if which[0] is Channel.HUMIDITY else None
        u, nu = (fit.u_mean, fit.nu_mean) if fit is not None and fit.u_mean > 0.0 else scatter_of_mean(error[inside])
        if math.isfinite(u):
            scatter[which] = Repeatability(s=u, nu=nu, basis="log", group="")
    judged = next((errors[Channel.HUMIDITY, part] for part in approaches), np.full(len(time), np.nan))
    slope, u_slope = slope_of(minutes, judged[inside])
    return Logged(
        path=window.log.path,
        begin=window.start if begin is None else begin,
        start=window.start,
        end=window.end,
        step=moved,
        drift_per_s=drift,
        scatter=scatter,
        approaches=approaches,
        slope=slope,
        u_slope=u_slope,
    )


def resolution_of(window: LogWindow, part: Part) -> float:
    """Last digit of a display that was logged, %RH; a loop signal has none that counts."""
    read = window.readings.get(Channel.HUMIDITY.declaration.columns[part is Part.TOTAL])
    return read.step if read is not None and read.unit.quantity == "humidity" else 0.0


@lru_cache(maxsize=4096)
def _approach(
    seconds: bytes,
    errors: bytes,
    window_s: tuple[float, float],
    step: float | None,
    drift_per_s: float,
    resolution: float,
) -> Approach:
    """`asfound.soak.approach.approach`, once for the same samples however often they are measured."""
    return approach(
        np.frombuffer(seconds),
        np.frombuffer(errors),
        window_s=window_s,
        step=step,
        drift_per_s=drift_per_s,
        resolution=resolution,
    )


def _batches(values: np.ndarray) -> list[np.ndarray]:
    """The positions of what was read, in equal parts that follow each other."""
    good = np.flatnonzero(np.isfinite(values))
    return [part for part in np.array_split(good, min(BATCHES, max(len(good), 1))) if len(part)]


def scatter_of_mean(values: np.ndarray) -> tuple[float, float]:
    """Standard uncertainty of the mean of correlated samples and its ν, by the means of batches; nan where too few.

    Batches longer than the noise is correlated have independent means (the method of batch means, from memory).
    """
    means = np.array([values[part].mean() for part in _batches(values)])
    if len(means) < 2:
        return math.nan, math.nan
    return float(np.std(means, ddof=1)) / math.sqrt(len(means)), len(means) - 1.0


def slope_of(minutes: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Slope per minute of correlated samples and its standard uncertainty, by the means of batches."""
    parts = _batches(values)
    if len(parts) < 3:
        return math.nan, math.nan
    x, y = (np.array([column[part].mean() for part in parts]) for column in (minutes, values))
    dx = x - x.mean()
    sxx = float(dx @ dx)
    slope = float(dx @ y) / sxx
    rest = y - y.mean() - slope * dx
    return slope, math.sqrt(float(rest @ rest) / (len(x) - 2) / sxx)
