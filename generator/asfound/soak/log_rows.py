"""Rows of a visit that name a log: the means over the log's window stand where readings would be typed.

A row names `log` (a file below logs/, its ending optional), `log_from` and `log_until` (local times, written as `time`
is), and has no readings of its own in the columns that the log's mapping gives. Its `time` lies in the window. From
here on it is a row as any other: the physics, the rules and the pages see what was read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from asfound.faults import Fault, Rule, did_you_mean, error
from asfound.records.load import Records
from asfound.records.models.log_mapping import LogMapping, read_log_mapping
from asfound.records.rules import once_a_file
from asfound.records.snapshot import LOGS
from asfound.records.visits.columns import LOG, READING_PHASES
from asfound.records.visits.field_values import coded
from asfound.records.visits.local_time import TimeRefused, utc_seconds
from asfound.records.visits.visit_files import Visit
from asfound.soak.raw_log import Log, Readings, read_log

LOG_UNKNOWN = error("log-unknown", "a row names a log that does not lie below logs/, or more than one that does")
LOG_WITHOUT_MAPPING = error("log-without-mapping", "no mapping says what the columns of a log that a row names hold")
LOG_WINDOW_MISSING = error("log-window-missing", "a row names a log and not its window, or a window and no log")
LOG_WINDOW_EMPTY = error("log-window-empty", "the window of a log does not end after it begins")
LOG_WINDOW_OUTSIDE = error("log-window-outside", "a log does not hold the whole window that a row names")
LOG_TIME = error("log-time", "the time of a row does not lie in the window of its log")
LOG_WITH_READINGS = error("log-with-readings", "a row has a reading of its own and names a log that gives it")
LOG_OF_ANOTHER = error("log-of-another", "a log was taken of another sensor or reference than the row says")

LEAST_READINGS = 5
"""A window with fewer readings says nothing of their scatter (our choice)."""
GAP_STEPS = 3.0
"""How many usual steps the readings at a window's ends may lie inside it (our choice)."""


@dataclass(frozen=True, kw_only=True)
class LogWindow:
    """The part of a log whose means are a row's readings."""

    log: Log
    sensor: str
    start: int
    """seconds since 1970 UTC; start and end belong to the window"""
    end: int

    @property
    def rows(self) -> slice:
        """The log's rows that lie in it."""
        return self.log.rows(self.start, self.end)

    @property
    def readings(self) -> Mapping[str, Readings]:
        """All that was logged for the sensor, by column of a visit, whole."""
        return self.log.of(self.sensor)

    @property
    def minutes(self) -> float:
        """How long it is."""
        return (self.end - self.start) / 60.0


def with_logs(records: Records) -> tuple[Records, list[Fault]]:
    """The records with the means of windows in the rows that name them, and what is wrong with those rows.

    A row with a fault stays without readings. Where no visit names a log, nothing is done.
    """
    if not any(column in visit.block.text for visit in records.visits for column in LOG):
        return records, []
    faults: list[Fault] = []
    visits = tuple(
        _filled(records, visit, faults) if any(column in visit.block.text for column in LOG) else visit
        for visit in records.visits
    )
    return replace(records, visits=visits), once_a_file(faults)


def log_window(records: Records, visit: Visit, row: int) -> LogWindow | None:
    """The window whose means a row of readings holds; None where it names none."""
    if "log" not in visit.block.text or not visit.text["log"][row]:
        return None
    window = _Row(records, visit, row, []).window()
    assert window is not None, "its readings can only have come from the window"
    return window


def logs_of(records: Records, visit: Visit, sensor: str) -> tuple[str, ...]:
    """Paths of the logs that a sensor's rows of a visit name, and of their mappings, each once."""
    found: dict[str, None] = {}
    if "log" not in visit.block.text:
        return ()
    for row, (name, named) in enumerate(zip(visit.text["sensor"], visit.text["log"], strict=True)):
        if named and name == sensor:
            read = _Row(records, visit, row, [])
            path = read.path()
            mapping = mapping_path(records.files, path) if path else None
            found |= dict.fromkeys(p for p in (path, mapping) if p)
    return tuple(found)


def mapping_path(files: Mapping[str, bytes], path: str) -> str | None:
    """Where the mapping of a log lies: beside it under its name, else the one of its folder, else of logs/."""
    folder = path.rpartition("/")[0]
    candidates = (f"{path.rpartition('.')[0]}.yml", f"{folder}/mapping.yml", f"{LOGS}mapping.yml")
    return next((candidate for candidate in candidates if candidate in files), None)


def _filled(records: Records, visit: Visit, faults: list[Fault]) -> Visit:
    """A visit with the means of its logs' windows."""
    windows: dict[int, LogWindow] = {}
    for row, (log, begins, ends) in enumerate(
        zip(visit.text["log"], visit.text["log_from"], visit.text["log_until"], strict=True)
    ):
        if log or begins or ends:
            window = _Row(records, visit, row, faults).compared()
            if window is not None:
                windows[row] = window
    return _with_means(visit, windows) if windows else visit


class _Row:
    """One row that names a log; collects faults."""

    def __init__(self, records: Records, visit: Visit, row: int, faults: list[Fault]) -> None:
        self.records, self.visit, self.row, self.faults = records, visit, row, faults
        self.mapping: LogMapping | None = None

    def word(self, column: str) -> str:
        return self.visit.text[column][self.row]

    def fault(self, rule: Rule, column: str, message: str, cure: str) -> None:
        place = self.visit.place(self.row, column)
        self.faults.append(Fault(rule=rule, place=place, message=message, cure=cure))

    def compared(self) -> LogWindow | None:
        """The window; None, with faults, where the row or the log do not do for each other."""
        before = len(self.faults)
        window = self.window()
        if window is not None and self.mapping is not None:
            self._compare(window, self.mapping)
        return window if len(self.faults) == before else None

    def window(self) -> LogWindow | None:
        """The window; None, with faults, where the row does not name one that can be read."""
        if self.word("phase") not in READING_PHASES:
            message = f"a row of phase {self.word('phase')} names a log"
            self.fault(LOG_WINDOW_MISSING, "log", message, "give the log to a row of readings")
            return None
        path, span = self.path(), self._span()
        opened = self._opened(path) if path else None
        if opened is None or span is None:
            return None
        self.mapping = opened[1]
        return LogWindow(log=opened[0], sensor=self.word("sensor"), start=span[0], end=span[1])

    def path(self) -> str | None:
        """The log's path below the records' folder."""
        name, files = self.word("log"), self.records.files
        if not name:
            message, cure = "the row has the window of a log and names no log", "fill in log, a file below logs/"
            self.fault(LOG_WINDOW_MISSING, "log", message, cure)
            return None
        wanted = LOGS + name.removeprefix(LOGS)
        if wanted in files and not wanted.endswith(".yml"):
            return wanted
        logs = [path for path in files if path.startswith(LOGS) and not path.endswith(".yml")]
        fitting = [path for path in logs if path.rpartition(".")[0] == wanted]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            message = f"{len(fitting)} logs are called {name!r}"
            cure = f"write one of {', '.join(path.removeprefix(LOGS) for path in fitting)}"
        else:
            message = f"there is no log records/{LOGS}{name}".replace(LOGS + LOGS, LOGS)
            guess = did_you_mean(wanted, logs)
            cure = f"put it there, or correct its name{guess.replace(LOGS, '')}"
        self.fault(LOG_UNKNOWN, "log", message, cure)
        return None

    def _span(self) -> tuple[int, int] | None:
        """Beginning and end in seconds UTC."""
        ends = [self._time(column) for column in ("log_from", "log_until")]
        if ends[0] is None or ends[1] is None:
            return None
        start, end = ends[0], ends[1]
        if end <= start:
            message = f"the window ends at {self.word('log_until')} and begins at {self.word('log_from')}"
            self.fault(LOG_WINDOW_EMPTY, "log_until", message, "correct log_from or log_until")
            return None
        time = int(self.visit.time_utc[self.row])
        if time and not start <= time <= end:
            message = f"{self.word('time')} does not lie between log_from and log_until"
            self.fault(LOG_TIME, "time", message, f"write a time of the window, e.g. its end {self.word('log_until')}")
        return start, end

    def _time(self, column: str) -> int | None:
        written = self.word(column)
        if not written:
            if self.word("log"):
                message, cure = f"the row names a log and no {column}", f"fill in {column}, as time is written"
                self.fault(LOG_WINDOW_MISSING, column, message, cure)
            return None
        try:
            return utc_seconds(written, self.visit.day, self.records.zone)
        except TimeRefused as why:
            self.fault(why.rule, column, why.message, why.cure)
            return None

    def _opened(self, path: str) -> tuple[Log, LogMapping] | None:
        """The log and its mapping; their faults stand at their own places."""
        files, zone = self.records.files, self.records.zone
        by = mapping_path(files, path)
        if by is None:
            cure = f"say what its columns hold in records/{path.rpartition('.')[0]}.yml"
            self.fault(LOG_WITHOUT_MAPPING, "log", f"no mapping lies beside records/{path}", cure)
            return None
        log, mapping, faults = _read(path, files[path], by, files[by], zone)
        self.faults += [fault for fault in faults if fault not in self.faults]
        return (log, mapping) if log is not None and mapping is not None else None

    def _compare(self, window: LogWindow, mapping: LogMapping) -> None:
        """The log holds the window, is of what the row says, and gives no reading that the row has."""
        self._within(window)
        references = (mapping.reference,) if mapping.reference else ()
        for key, known in (("sensor", mapping.of_sensors), ("reference", references)):
            if known and self.word(key) and self.word(key) not in known:
                message = f"the log was taken of the {key} {' and '.join(known)}, the row says {self.word(key)}"
                self.fault(LOG_OF_ANOTHER, key, message, f"correct {key}, or the log, or its mapping")
        for name in window.readings:
            if not np.isnan(self.visit.number[name][self.row]):
                message = f"the row has {name}, which its log gives"
                self.fault(LOG_WITH_READINGS, name, message, f"clear {name}, or clear log and its window")

    def _within(self, window: LogWindow) -> None:
        times = window.log.time_utc
        held = len(times[window.rows])
        step = float(np.median(np.diff(times))) if len(times) > 1 else 0.0
        if not held or times[0] > window.start + GAP_STEPS * step or times[-1] < window.end - GAP_STEPS * step:
            message = f"records/{window.log.path} does not hold the whole window"
            cure = "correct log_from or log_until, or the zone in the log's mapping"
            self.fault(LOG_WINDOW_OUTSIDE, "log_from", message, cure)
        elif held < LEAST_READINGS:
            message = f"the window holds {held} reading{'' if held == 1 else 's'} of the log"
            cure = f"choose a window with at least {LEAST_READINGS}"
            self.fault(LOG_WINDOW_OUTSIDE, "log_from", message, cure)


@lru_cache(maxsize=16)
def _read(
    path: str, content: bytes, by: str, mapping: bytes, zone: ZoneInfo
) -> tuple[Log | None, LogMapping | None, tuple[Fault, ...]]:
    """A log and its mapping, read once however many rows name it."""
    known, faults = read_log_mapping(by, mapping)
    if known is None:
        return None, None, tuple(faults)
    log, faults = read_log(path, content, known, zone)
    return log, known, tuple(faults)


def _with_means(visit: Visit, windows: Mapping[int, LogWindow]) -> Visit:
    """The visit as a block of its own, with the windows' means in their rows."""
    block = visit.own_block  # a copy, row by row
    number, step, gauge, quantity = (dict(getattr(block, kind)) for kind in ("number", "step", "gauge", "quantity"))
    texts = {name: list(words.texts) for name, words in quantity.items()}
    for row, window in windows.items():
        for name, read in window.readings.items():
            values = read.values[window.rows]
            values = values[np.isfinite(values)]
            if len(values):  # else it is told as a missing reading
                _own(number, name, block.n, np.nan)[row] = float(np.mean(values))
                _own(step, name, block.n, np.nan)[row] = read.step
                texts.setdefault(name, [""] * block.n)[row] = read.unit.quantity
                if read.unit.gauge is not None:
                    _own(gauge, name, block.n, False)[row] = read.unit.gauge
    quantity = {name: coded(words) for name, words in texts.items()}
    return replace(visit, block=replace(block, number=number, step=step, gauge=gauge, quantity=quantity), start=0)


def _own(columns: dict[str, np.ndarray], name: str, n: int, blank: float | bool) -> np.ndarray:
    """A column that may be written to; one that is not there is made, blank."""
    return columns.setdefault(name, np.full(n, blank))
