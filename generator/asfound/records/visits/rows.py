"""From rows to plateaus: which rows count, which belong together, in which direction the humidity went."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass, replace

import numpy as np

from asfound.records.load import Records
from asfound.records.methods import reference_readings
from asfound.records.visits.columns import INDICATIONS, READING_PHASES, SHARED_WORDS
from asfound.records.visits.field_values import Words
from asfound.records.visits.joined import Joined, whole_visits
from asfound.records.visits.visit_files import Visit

_STATUS = ("not done", "read", "stated")
WAYS = ("rising", "falling")
"""From below and from above; what stands first in a phase came from wherever the sensor was."""
_DIRECTIONS = ("start", *WAYS)


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
    def changes(self) -> tuple[Event, ...]:
        """What was done to the instrument here: adjustments and changes of element, in order of time."""
        return tuple(event for event in self.events if event.kind != "none")

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
    taking = _taking(visit)
    if not taking:
        return visit
    rows, givers = np.array(taking).T
    block = visit.own_block
    number, step, gauge, text = (dict(getattr(block, kind)) for kind in ("number", "step", "gauge", "text"))
    for name in (*reference_readings(), "ambient_pressure"):
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


def _taking(visit: Visit) -> list[tuple[int, int]]:
    """(row, the row that gives it the readings of the reference) of each row after the first of its moment."""
    first: dict[tuple[int, str], int] = {}
    moments = zip(visit.time_utc.tolist(), visit.text["reference"], visit.text["phase"], strict=True)
    together = (
        (row, first.setdefault((time, reference), row))
        for row, (time, reference, phase) in enumerate(moments)
        if reference and phase in READING_PHASES
    )
    return [(row, giver) for row, giver in together if giver != row]


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


def standing_rows(visits: Sequence[Visit]) -> tuple[Joined, np.ndarray]:
    """The rows that stand, and of each the number of its part: the rows of one sensor in one visit.

    Of a visit's revisions, the latest that holds a sensor stands for it, whole. `visits`: by day, id and revision;
    parts are numbered in the order in which their sensors first appear.
    """
    visit, row = whole_visits(visits)
    whole = Joined(visits, visit, row)
    sensor = whole.words("text", "sensor")
    ids = {held.id: number for number, held in enumerate(visits)}
    key = np.array([ids[held.id] for held in visits], np.int64)[visit] * len(sensor.values) + sensor.code
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    latest = np.zeros(len(first), np.int64)
    np.maximum.at(latest, which, visit)
    stands = sensor.filled & (visit == latest[which])
    return Joined(visits, visit[stands], row[stands]), np.unique(first[which][stands], return_inverse=True)[1]


def sensor_visits(records: Records) -> tuple[SensorVisit, ...]:
    """Every sensor's part of every visit that stands, by day, visit and sensor."""
    rows, part = standing_rows(_sharing(records.visits))
    order = np.lexsort((rows.time_utc(), part))
    rows, part = Joined(rows.visits, rows.visit[order], rows.row[order]), part[order]
    phase, reason, sensor = (rows.words("text", name) for name in ("phase", "reason", "sensor"))
    starts = np.flatnonzero(np.diff(part, prepend=-1))
    plateaus: list[list[Plateau]] = [[] for _ in starts]
    events: list[list[Event]] = [[] for _ in starts]
    _fill_plateaus(rows, part, plateaus)
    for row in np.flatnonzero(phase.among(("adjusted",))).tolist():
        events[part[row]].append(_event(rows.visits[rows.visit[row]], int(rows.row[row])))
    withdrawn = set(part[phase.among(("withdrawn",))].tolist())
    reasons = {int(part[row]): reason[row] for row in np.flatnonzero(reason.filled)[::-1].tolist()}
    return tuple(
        SensorVisit(
            visit=rows.visits[visit],
            sensor=sensor.values[name],
            plateaus=tuple(plateaus[number]),
            events=tuple(events[number]),
            withdrawn=number in withdrawn,
            reason=reasons.get(number, ""),
        )
        for number, (visit, name) in enumerate(
            zip(rows.visit[starts].tolist(), sensor.code[starts].tolist(), strict=True)
        )
    )


def _sharing(visits: Sequence[Visit]) -> list[Visit]:
    """Visits, with shared readings those in which several rows have one time and reference."""
    visit, row = whole_visits(visits)
    rows = Joined(visits, visit, row)
    reference = rows.words("text", "reference")
    shares = reference.filled & rows.words("text", "phase").among(READING_PHASES)
    moment = np.array([rows.time_utc(), reference.code, visit])[:, shares]
    moment = moment[:, np.lexsort(moment)]
    again = set(moment[2, 1:][(moment[:, 1:] == moment[:, :-1]).all(axis=0)].tolist())
    return [with_shared_readings(held) if number in again else held for number, held in enumerate(visits)]


def _fill_plateaus(rows: Joined, part: np.ndarray, plateaus: Sequence[list[Plateau]]) -> None:
    """Cut rows, in order of part and time, into plateaus, and put each into its part's list.

    Repeats at one target, or without one, are one plateau; a row that is no reading ends it.
    """
    phase, note, target = rows.words("text", "phase"), rows.words("text", "note"), rows.numbers("number", "target")
    read = np.zeros(len(part), bool)
    for name in INDICATIONS:
        read |= ~np.isnan(rows.numbers("number", name))
    status = np.where(~np.isnan(rows.numbers("number", "stated_error")), 2, read)
    reading = phase.among(READING_PHASES)
    before, after = slice(None, -1), slice(1, None)
    in_phase = reading[1:] & (part[before] == part[after]) & (phase.code[before] == phase.code[after])
    same = (target[before] == target[after]) | (np.isnan(target[before]) & np.isnan(target[after]))
    first = np.ones(len(part), bool)
    first[1:] = ~(in_phase & same & (status[before] == status[after]))
    direction = np.zeros(len(part), np.int64)
    direction[1:] = in_phase * (1 * (target[after] > target[before]) - (target[after] < target[before]))
    starts = np.flatnonzero(first)
    ends = np.append(starts[1:], len(part))
    kept = reading[starts]
    starts, ends = starts[kept], ends[kept]
    row, noted = rows.row.tolist(), set(np.flatnonzero(note.filled).tolist())
    columns = (starts, ends, part[starts], phase.code[starts], target[starts], direction[starts], status[starts])
    for start, end, number, word, aim, way, state in zip(*(column.tolist() for column in columns), strict=True):
        notes = dict.fromkeys(note[at] for at in range(start, end) if at in noted) if noted else ()
        plateaus[number].append(
            Plateau(
                number=len(plateaus[number]) + 1,
                phase=phase.values[word],
                target=aim,
                direction=_DIRECTIONS[way],
                rows=tuple(row[start:end]),
                status=_STATUS[state],
                note="; ".join(notes),
            )
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
