"""From rows to plateaus: which rows count, which belong together, in which direction the humidity went."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from generator.records.columns import INDICATIONS, READING_PHASES, REFERENCE_READINGS, SHARED_WORDS
from generator.records.load import Records
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
    number = {name: values.copy() for name, values in visit.number.items()}
    gauge = {name: values.copy() for name, values in visit.gauge.items()}
    step = {name: values.copy() for name, values in visit.step.items()}
    text = {name: list(visit.text[name]) for name in SHARED_WORDS}
    for row, (time, reference) in enumerate(zip(visit.time_utc, visit.text["reference"], strict=True)):
        if not reference or visit.text["phase"][row] not in READING_PHASES:
            continue
        giver = first.setdefault((int(time), reference), row)
        if giver == row:
            continue
        for name in (*REFERENCE_READINGS, "ambient_pressure"):
            if np.isnan(number[name][row]) and not np.isnan(number[name][giver]):
                number[name][row] = number[name][giver]
                step[name][row] = step[name][giver]
                if name in gauge:
                    gauge[name][row] = gauge[name][giver]
        for name in SHARED_WORDS:
            text[name][row] = text[name][row] or text[name][giver]
    words = {**visit.text, **{name: tuple(values) for name, values in text.items()}}
    return replace(visit, number=number, gauge=gauge, step=step, text=words)


def without_lines(visit: Visit, lines: Container[int]) -> Visit:
    """The visit without the rows that begin on these lines."""
    keep = [row for row, line in enumerate(visit.lines) if line not in lines]

    def words(column: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(column[row] for row in keep)

    return replace(
        visit,
        raw_rows=tuple(visit.raw_rows[row] for row in keep),
        lines=tuple(visit.lines[row] for row in keep),
        text={name: words(column) for name, column in visit.text.items()},
        number={name: column[keep] for name, column in visit.number.items()},
        quantity={name: words(column) for name, column in visit.quantity.items()},
        gauge={name: column[keep] for name, column in visit.gauge.items()},
        step={name: column[keep] for name, column in visit.step.items()},
        time_utc=visit.time_utc[keep],
        time_local=words(visit.time_local),
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
    filled = {visit.path: with_shared_readings(visit) for visit in records.visits}
    return tuple(
        _sensor_visit(filled[visit.path], sensor) for (_, sensor), visit in standing_rows(records.visits).items()
    )


def _sensor_visit(visit: Visit, sensor: str) -> SensorVisit:
    rows = [row for row, name in enumerate(visit.text["sensor"]) if name == sensor]
    rows.sort(key=lambda row: (int(visit.time_utc[row]), row))
    plateaus: list[Plateau] = []
    events: list[Event] = []
    open_rows: list[int] = []
    previous: Plateau | None = None

    def close() -> None:
        nonlocal previous, open_rows
        if open_rows:
            previous = _plateau(visit, open_rows, len(plateaus) + 1, previous)
            plateaus.append(previous)
            open_rows = []

    for row in rows:
        phase = visit.text["phase"][row]
        if phase not in READING_PHASES:
            close()
            previous = None
            if phase == "adjusted":
                events.append(_event(visit, row))
            continue
        if open_rows and not _same_plateau(visit, open_rows[-1], row):
            close()
        open_rows.append(row)
    close()
    return SensorVisit(
        visit=visit,
        sensor=sensor,
        plateaus=tuple(plateaus),
        events=tuple(events),
        withdrawn=any(visit.text["phase"][row] == "withdrawn" for row in rows),
        reason=next((visit.text["reason"][row] for row in rows if visit.text["reason"][row]), ""),
    )


def _same_plateau(visit: Visit, before: int, row: int) -> bool:
    target_before, target = visit.number["target"][before], visit.number["target"][row]
    return (
        visit.text["phase"][before] == visit.text["phase"][row]
        and bool(target_before == target or (np.isnan(target_before) and np.isnan(target)))
        and _status(visit, [before]) == _status(visit, [row])
    )


def _plateau(visit: Visit, rows: list[int], number: int, previous: Plateau | None) -> Plateau:
    phase, target = visit.text["phase"][rows[0]], float(visit.number["target"][rows[0]])
    direction = "start"
    if previous is not None and previous.phase == phase:
        direction = "rising" if target > previous.target else "falling" if target < previous.target else "start"
    note = "; ".join(dict.fromkeys(visit.text["note"][row] for row in rows if visit.text["note"][row]))
    return Plateau(
        number=number,
        phase=phase,
        target=target,
        direction=direction,
        rows=tuple(rows),
        status=_status(visit, rows),
        note=note,
    )


def _status(visit: Visit, rows: list[int]) -> str:
    if any(not np.isnan(visit.number["stated_error"][row]) for row in rows):
        return "stated"
    read = any(not np.isnan(visit.number[name][row]) for row in rows for name in INDICATIONS)
    return "read" if read else "not done"


def _event(visit: Visit, row: int) -> Event:
    return Event(
        row=row,
        time_utc=int(visit.time_utc[row]),
        kind=visit.text["adjustment"][row] or "none",
        before=visit.text["from"][row],
        after=visit.text["to"][row],
        note=visit.text["note"][row],
    )
