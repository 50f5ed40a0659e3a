"""From rows to plateaus: which rows count, which belong together, in which direction the humidity went."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from math import isnan

import numpy as np

from generator.records.columns import INDICATIONS, READING_PHASES, REFERENCE_READINGS, SHARED_WORDS
from generator.records.load import Records
from generator.records.visit_columns import Words
from generator.records.visits import Visit


@dataclass(frozen=True, kw_only=True)
class Plateau:
    """Consecutive readings of one sensor at one target; one result for each channel."""

    number: int
    """from 1, in order of time, within visit and sensor"""
    phase: str
    target: float
    direction: str
    """start, rising or falling"""
    rows: tuple[int, ...]
    """row numbers in the visit, in order of time"""
    status: str
    """read, not done, or stated (another laboratory's result)"""
    note: str


@dataclass(frozen=True, kw_only=True)
class Event:
    """An adjustment or a change of element between plateaus."""

    row: int
    time_utc: int
    kind: str
    before: str
    after: str
    note: str


@dataclass(frozen=True, kw_only=True)
class SensorVisit:
    """All that one visit says of one sensor (or of a reference that was calibrated or checked)."""

    visit: Visit
    sensor: str
    plateaus: tuple[Plateau, ...]
    events: tuple[Event, ...]
    withdrawn: bool
    reason: str
    """why this revision stands, or why the visit was withdrawn"""

    @property
    def first_row(self) -> int:
        """A row of this sensor, for its words and place."""
        rows = [p.rows[0] for p in self.plateaus if p.rows] + [e.row for e in self.events]
        return min(rows) if rows else self.visit.text["sensor"].index(self.sensor)

    def word(self, column: str) -> str:
        """The first word that stands in a column in this sensor's rows."""
        for name, word in zip(self.visit.text["sensor"], self.visit.text[column], strict=True):
            if name == self.sensor and word:
                return word
        return ""

    def words(self, column: str) -> tuple[str, ...]:
        """Each word of a column in this sensor's rows, once."""
        both = zip(self.visit.text["sensor"], self.visit.text[column], strict=True)
        return tuple(dict.fromkeys(word for name, word in both if name == self.sensor and word))


def with_shared_readings(visit: Visit) -> Visit:
    """Of rows with one time and reference, only the first needs the reference's readings: the others get them."""
    first: dict[tuple[int, str], int] = {}
    taking: list[tuple[int, int]] = []
    moments = zip(visit.time_utc.tolist(), visit.text["reference"], visit.text["phase"], strict=True)
    for row, (time, reference, phase) in enumerate(moments):
        if reference and phase in READING_PHASES:
            giver = first.setdefault((time, reference), row)
            if giver != row:
                taking.append((row, giver))
    if not taking:
        return visit
    rows, givers = np.array(taking).T
    block = visit.own_block
    number, step, gauge, text = (dict(getattr(block, kind)) for kind in ("number", "step", "gauge", "text"))
    for name in (*REFERENCE_READINGS, "ambient_pressure"):
        if name in number:
            lacking = np.isnan(number[name][rows]) & ~np.isnan(number[name][givers])
            for columns in (number, step, gauge):
                if name in columns:
                    columns[name] = columns[name].copy()
                    columns[name][rows[lacking]] = columns[name][givers[lacking]]
    for name in SHARED_WORDS:
        if name in text:
            code = text[name].code.copy()
            code[rows] = np.where(code[rows] > 0, code[rows], code[givers])
            text[name] = Words(values=text[name].values, code=code)
    return replace(visit, block=replace(block, number=number, gauge=gauge, step=step, text=text), start=0)


def without_lines(visit: Visit, lines: Container[int]) -> Visit:
    """The visit without the rows that begin on these lines."""
    keep = np.array([row for row, line in enumerate(visit.lines) if line not in lines], np.int64)
    return replace(
        visit,
        lines=tuple(visit.lines[row] for row in keep),
        block=visit.own_block.taken(keep),
        start=0,
        time_utc=visit.time_utc[keep],
    )


def standing_rows(visits: Sequence[Visit]) -> Mapping[tuple[str, str], Visit]:
    """(visit id, sensor) → the latest revision that holds the sensor: that one stands, whole."""
    standing: dict[tuple[str, str], Visit] = {}
    for visit in sorted(visits, key=lambda v: (v.day, v.id, v.revision)):
        for sensor in dict.fromkeys(visit.text["sensor"]):
            if sensor:
                standing[(visit.id, sensor)] = visit
    return standing


def sensor_visits(records: Records) -> tuple[SensorVisit, ...]:
    """Every sensor's part of every visit that stands, by day, visit and sensor."""
    readings = {visit.path: _Readings(with_shared_readings(visit)) for visit in records.visits}
    return tuple(
        _sensor_visit(readings[visit.path], sensor) for (_, sensor), visit in standing_rows(records.visits).items()
    )


class _Readings:
    """What the rows of a visit say, as plain lists: the walk over them reads one value at a time."""

    def __init__(self, visit: Visit) -> None:
        self.visit = visit
        self.phase, self.note = visit.text["phase"], visit.text["note"]
        self.time = visit.time_utc.tolist()
        self.target = visit.number["target"].tolist()
        stated = ~np.isnan(visit.number["stated_error"])
        read = np.zeros(len(stated), bool)
        for name in INDICATIONS:
            read |= ~np.isnan(visit.number[name])
        self.status = [
            "stated" if s else "read" if r else "not done" for s, r in zip(stated.tolist(), read.tolist(), strict=True)
        ]
        self.rows: dict[str, list[int]] = {}
        for row, sensor in enumerate(visit.text["sensor"]):
            self.rows.setdefault(sensor, []).append(row)

    def same_plateau(self, before: int, row: int) -> bool:
        """Whether a row repeats the one before; two rows without a target do."""
        return (
            self.phase[before] == self.phase[row]
            and self.status[before] == self.status[row]
            and (self.target[before] == self.target[row] or (isnan(self.target[before]) and isnan(self.target[row])))
        )

    def plateau(self, rows: list[int], number: int, previous: Plateau | None) -> Plateau:
        """The rows as one plateau; `previous`: the one before, since the last event."""
        phase, target = self.phase[rows[0]], self.target[rows[0]]
        direction = "start"
        if previous is not None and previous.phase == phase:
            direction = "rising" if target > previous.target else "falling" if target < previous.target else "start"
        return Plateau(
            number=number,
            phase=phase,
            target=target,
            direction=direction,
            rows=tuple(rows),
            status=self.status[rows[0]],
            note="; ".join(dict.fromkeys(filter(None, (self.note[row] for row in rows)))),
        )


def _sensor_visit(readings: _Readings, sensor: str) -> SensorVisit:
    visit, phase = readings.visit, readings.phase
    rows = sorted(readings.rows[sensor], key=readings.time.__getitem__)
    plateaus: list[Plateau] = []
    events: list[Event] = []
    open_rows: list[int] = []
    previous: Plateau | None = None

    def close() -> None:
        nonlocal previous, open_rows
        if open_rows:
            previous = readings.plateau(open_rows, len(plateaus) + 1, previous)
            plateaus.append(previous)
            open_rows = []

    for row in rows:
        if phase[row] not in READING_PHASES:
            close()
            previous = None
            if phase[row] == "adjusted":
                events.append(_event(visit, row))
            continue
        if open_rows and not readings.same_plateau(open_rows[-1], row):
            close()
        open_rows.append(row)
    close()
    return SensorVisit(
        visit=visit,
        sensor=sensor,
        plateaus=tuple(plateaus),
        events=tuple(events),
        withdrawn=any(phase[row] == "withdrawn" for row in rows),
        reason=next(filter(None, (visit.text["reason"][row] for row in rows)), ""),
    )


def _event(visit: Visit, row: int) -> Event:
    return Event(
        row=row,
        time_utc=int(visit.time_utc[row]),
        kind=visit.text["adjustment"][row] or "none",
        before=visit.text["from"][row],
        after=visit.text["to"][row],
        note=visit.text["note"][row],
    )
