"""What the rules across records look at: the records, and all rows that stand as columns over all visits."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from asfound.faults import Fault, Place, Rule
from asfound.records.load import Records
from asfound.records.methods import reference_readings
from asfound.records.models import Reference, Sensor
from asfound.records.settings_in_force import SettingsOn, instrument_on
from asfound.records.visits.columns import INDICATIONS, READING_PHASES, STATED
from asfound.records.visits.field_values import Words
from asfound.records.visits.rows import standing_rows
from asfound.records.visits.visit_files import Visit

RuleAcross = Callable[["Survey"], Iterator[Fault]]

_REVISIONS = frozenset(str(number) for number in range(2, 100))
_LONGEST_TRIP_S = 2**21
"""More seconds than a visit lasts: a time within a visit is known by its remainder."""


@dataclass(frozen=True, kw_only=True)
class SensorRows:
    """The rows of one sensor (or of a reference under test) in one visit, in the order of the file."""

    visit: Visit
    sensor: str
    rows: np.ndarray


def row_numbers(mask: np.ndarray) -> list[int]:
    """Numbers of the rows that pass."""
    return [int(row) for row in np.flatnonzero(mask)]


class Rows:
    """All rows of all visits that no later revision replaces, in the order of visits and lines."""

    def __init__(self, visits: tuple[Visit, ...], damage: Collection[Place]) -> None:
        self.visits = visits
        self._damage = damage
        self._joined, self.part = standing_rows(visits)
        """and by row, the number of its part"""
        self.visit, self.row = self._joined.visit, self._joined.row
        self._columns: dict[tuple[str, str], np.ndarray] = {}
        self._words: dict[tuple[str, str], Words] = {}

    @property
    def n(self) -> int:
        """Number of rows."""
        return len(self.row)

    def number(self, name: str) -> np.ndarray:
        """A column of numbers in canonical units; nan where blank."""
        return self._column("number", name)

    def read(self, *names: str) -> np.ndarray:
        """Rows in which at least one of these numbers stands."""
        found = np.zeros(self.n, bool)
        for name in names:
            found |= ~np.isnan(self.number(name))
        return found

    def gauge(self, name: str) -> np.ndarray:
        """Rows in which a pressure is a gauge pressure."""
        return self._column("gauge", name)

    def words(self, name: str) -> Words:
        """A column of words."""
        return self._coded("text", name)

    def quantity(self, name: str) -> Words:
        """By row, the quantity that a number was read in."""
        return self._coded("quantity", name)

    @cached_property
    def damaged(self) -> np.ndarray:
        """Rows with a field that could not be read: what is not known of them is not missing."""
        lines: dict[str, list[int]] = {}
        for place in self._damage:
            lines.setdefault(place.path, []).append(place.line)
        damaged = np.zeros(self.n, bool)
        for number, visit in enumerate(self.visits):
            if visit.path in lines:
                hit = {bisect_right(visit.lines, line) - 1 for line in lines[visit.path]}
                of_visit = slice(*np.searchsorted(self.visit, (number, number + 1)))
                damaged[of_visit] |= np.isin(self.row[of_visit], sorted(hit))
        return damaged

    @cached_property
    def time(self) -> np.ndarray:
        """Seconds since 1970 UTC; 0 where the time could not be read."""
        return self._joined.time_utc()

    @cached_property
    def reading(self) -> np.ndarray:
        """Rows of a reading phase that hold a reading or another laboratory's result."""
        phase = self.words("phase").among(READING_PHASES)
        return phase & self.read(*INDICATIONS, *reference_readings(), *STATED)

    @cached_property
    def stated(self) -> np.ndarray:
        """Rows that state another laboratory's result."""
        return self.reading & self.read(*STATED)

    @cached_property
    def own(self) -> np.ndarray:
        """Rows that were read here."""
        return self.reading & ~self.stated

    @cached_property
    def moment(self) -> np.ndarray:
        """A number for each row; rows of one visit, time and reference share it, and the reference's readings."""
        reference = self.words("reference")
        shares = reference.filled & (self.time != 0) & self.words("phase").among(READING_PHASES)
        key = self.visit * len(reference.values) + reference.code
        key = key * _LONGEST_TRIP_S + self.time % _LONGEST_TRIP_S
        key[~shares] = -1 - np.arange(self.n)[~shares]
        return np.unique(key, return_inverse=True)[1]

    @property
    def moment_of_sensor(self) -> np.ndarray:
        """A number for each row; rows of one visit, sensor and time share it."""
        return self.part * _LONGEST_TRIP_S + self.time % _LONGEST_TRIP_S

    def shared(self, name: str) -> np.ndarray:
        """A number of the reference: the row's own, else the first that stands at its moment."""
        own = self.number(name)
        given = np.flatnonzero(~np.isnan(own))
        first = np.full(self.n, np.nan)
        first[self.moment[given[::-1]]] = own[given[::-1]]
        return np.where(np.isnan(own), first[self.moment], own)

    def shared_words(self, name: str) -> Words:
        """A word of the reference: the row's own, else the first that stands at its moment."""
        words = self.words(name)
        given = np.flatnonzero(words.filled)
        first = np.zeros(self.n, words.code.dtype)
        first[self.moment[given[::-1]]] = words.code[given[::-1]]
        return Words(values=words.values, code=np.where(words.filled, words.code, first[self.moment]))

    @cached_property
    def by_sensor(self) -> tuple[SensorRows, ...]:
        """The parts."""
        order, sensor = np.argsort(self.part, kind="stable"), self.words("sensor")
        starts = np.flatnonzero(np.diff(self.part[order], prepend=-1))
        first = order[starts]
        found = zip(
            self.visit[first].tolist(), sensor.code[first].tolist(), np.split(order, starts[1:]), strict=self.n > 0
        )
        return tuple(SensorRows(visit=self.visits[v], sensor=sensor.values[s], rows=rows) for v, s, rows in found)

    def in_part(self, mask: np.ndarray) -> np.ndarray:
        """Rows of parts in which some row passes."""
        return (np.bincount(self.part[mask], minlength=len(self.by_sensor)) > 0)[self.part]

    def firsts(self, mask: np.ndarray) -> Iterator[tuple[SensorRows, int]]:
        """Each visit of a sensor in which some rows pass, with the first of them."""
        passing = np.flatnonzero(mask)
        parts, first = np.unique(self.part[passing], return_index=True)
        for number, row in zip(parts.tolist(), passing[first].tolist(), strict=True):
            yield self.by_sensor[number], row

    def visit_of(self, row: int) -> Visit:
        """The visit that a row stands in."""
        return self.visits[self.visit[row]]

    def place(self, row: int, column: str) -> Place:
        """Place of a row's field."""
        return self.visit_of(row).place(int(self.row[row]), column)

    def fault(self, rule: Rule, row: int, column: str, message: str, cure: str) -> Fault:
        """A fault at a row's field."""
        return Fault(rule=rule, place=self.place(row, column), message=message, cure=cure)

    def _column(self, kind: str, name: str) -> np.ndarray:
        """One column of all visits' `number` or `gauge`."""
        if (kind, name) not in self._columns:
            self._columns[kind, name] = self._joined.numbers(kind, name)
        return self._columns[kind, name]

    def _coded(self, kind: str, name: str) -> Words:
        """One column of all visits' `text` or `quantity`."""
        if (kind, name) not in self._words:
            self._words[kind, name] = self._joined.words(kind, name)
        return self._words[kind, name]


class Survey:
    """The records that could be read, as the rules across records see them."""

    def __init__(self, records: Records, unread: Collection[str], damage: Collection[Place]) -> None:
        self.records = records
        self.unread = frozenset(unread)
        """of facility.yml and people.yml, those that could not be read: nothing is known to be unknown there"""
        self.rows = Rows(records.visits, damage)
        self._settings: dict[tuple[int, date], SettingsOn] = {}

    def names(self, folder: str) -> frozenset[str]:
        """Ids that have a file in a folder, whether or not it could be read."""
        start = f"{folder}/"
        return frozenset(
            path.removeprefix(start).removesuffix(".yml")
            for path in self.records.files
            if path.startswith(start) and path.endswith(".yml")
        )

    @cached_property
    def sensor_names(self) -> frozenset[str]:
        """Ids of sensors."""
        return self.names("sensors")

    @cached_property
    def reference_names(self) -> frozenset[str]:
        """Ids of references."""
        return self.names("references")

    @cached_property
    def visit_files(self) -> dict[str, set[int]]:
        """Id of each visit that has a file, readable or not → its revisions."""
        found: dict[str, set[int]] = {}
        for path in self.records.files:
            if path.startswith("visits/") and path.endswith(".csv"):
                stem = path.rpartition("/")[2].removesuffix(".csv")
                visit, _, revision = stem.partition(".r")
                found.setdefault(visit, set()).add(int(revision) if revision in _REVISIONS else 1)
        return found

    def visit_was_read(self, visit: str) -> bool:
        """Whether every revision of a visit could be read."""
        read = sum(1 for other in self.records.visits if other.id == visit)
        return read == len(self.visit_files.get(visit, ()))

    def sensor(self, name: str) -> Sensor | None:
        """A sensor's record, where it could be read."""
        return self.records.sensors.get(name)

    def reference(self, name: str) -> Reference | None:
        """A reference's record, where it could be read."""
        return self.records.references.get(name)

    def settings(self, sensor: Sensor, day: date) -> SettingsOn | None:
        """What holds for a sensor on a day; nothing where its family could not be read."""
        key = (id(sensor), day)  # two files may hold one id by mistake
        if key not in self._settings:
            self._settings[key] = SettingsOn(self.records, sensor, day)
        found = self._settings[key]
        return found if found.family is not None else None

    def visited(self, mask: np.ndarray) -> Iterator[tuple[SensorRows, int, Sensor, SettingsOn]]:
        """Each visit of a sensor in which some rows pass, the first of them, and the settings of its day."""
        for part, row in self.rows.firsts(mask):
            sensor = self.sensor(part.sensor)
            settings = self.settings(sensor, part.visit.day) if sensor else None
            if sensor is not None and settings is not None:
                yield part, row, sensor, settings

    def serial(self, name: str, day: date) -> str | None:
        """Serial of the instrument at a sensor's position on a day, or of a reference; None where none is known."""
        sensor, reference = self.sensor(name), self.reference(name)
        if sensor is not None:
            instrument = instrument_on(sensor, day)
            return instrument.serial if instrument else None
        return reference.serial if reference else None

    @cached_property
    def wrong_serial(self) -> np.ndarray:
        """Rows whose serial is another than that of the instrument at the position."""
        seen = self.rows.words("serial")
        wrong = np.zeros(self.rows.n, bool)
        for part, _ in self.rows.firsts(seen.filled):
            expected = self.serial(part.sensor, part.visit.day)
            if expected is not None:
                wrong[part.rows] = [seen[row].casefold() not in ("", expected.casefold()) for row in part.rows]
        return wrong

    def fault(self, rule: Rule, path: str, loc: tuple[str | int, ...], message: str, cure: str) -> Fault:
        """A fault at a value of a YAML record."""
        return Fault(rule=rule, place=self.records.place(path, *loc), message=message, cure=cure)
