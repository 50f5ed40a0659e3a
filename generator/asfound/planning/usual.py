"""How things were last done here: with which reference, meter and units a sensor was read, and beside which others."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from asfound.records.load import Records
from asfound.records.models.periods import in_force
from asfound.records.visits.columns import INDICATIONS, READING_PHASES
from asfound.records.visits.header import read_header
from asfound.records.visits.visit_files import Visit
from asfound.units import Unit


@dataclass(frozen=True, kw_only=True)
class Usual:
    """One sensor's part of the last visit that read it against a reference here."""

    visit: str
    """the visit's id"""
    reference: str
    medium: str
    """blank: chamber"""
    loop_meter: str
    barometer: str
    indications: Mapping[str, Unit]
    """columns in which the sensor was read, and their units"""
    company: tuple[str, ...]
    """sensors read in the same moments, itself among them, in the file's order"""


def usual(records: Records, sensor: str, day: date) -> Usual | None:
    """How a sensor was last read, up to a day; None where it never was."""
    for visit in _latest_first(records, day):
        rows = [row for row in _read_rows(visit) if visit.text["sensor"][row] == sensor]
        if rows:
            return _usual(visit, sensor, rows)
    return None


def usual_at(records: Records, place: str, day: date) -> Usual | None:
    """How the sensor of a place that was read last was read; None where none ever was."""
    there = [
        name
        for name, sensor in records.sensors.items()
        if (in_force(sensor.place, day) or sensor.place[0]).place == place
    ]
    found = [last for name in there if (last := usual(records, name, day)) is not None]
    return max(found, key=lambda last: last.visit, default=None)


def _usual(visit: Visit, sensor: str, rows: list[int]) -> Usual:
    text, names = visit.text, visit.text["sensor"]
    moments = {(int(visit.time_utc[row]), text["reference"][row]) for row in rows}
    together = [row for row in _read_rows(visit) if (int(visit.time_utc[row]), text["reference"][row]) in moments]

    def word(column: str, among: list[int]) -> str:
        return next((text[column][row] for row in among if text[column][row]), "")

    return Usual(
        visit=visit.id,
        reference=word("reference", rows),
        medium=word("medium", rows) or word("medium", together),
        loop_meter=word("loop_meter", rows),
        barometer=word("barometer", rows) or word("barometer", together),
        indications={name: unit for name in INDICATIONS if (unit := _unit(visit, name, rows)) is not None},
        company=tuple(dict.fromkeys(names[row] for row in together)) or (sensor,),
    )


def usual_unit(records: Records, instrument: str, column: str, day: date) -> Unit | None:
    """The unit in which a column was last read with a reference, meter or barometer, up to a day."""
    for visit in _latest_first(records, day):
        if column in visit.fields:
            named = [visit.text[name] for name in ("reference", "barometer", "loop_meter")]
            rows = [row for row in range(len(visit.lines)) if any(words[row] == instrument for words in named)]
            unit = _unit(visit, column, rows)
            if unit is not None:
                return unit
    return None


def _unit(visit: Visit, column: str, rows: list[int]) -> Unit | None:
    """The unit of a column in the first of these rows that fills it."""
    for row in rows:
        if not math.isnan(visit.number[column][row]):
            raw = visit.raw_row(row)
            fields = read_header(visit.header).of(column)
            unit = next((f.unit for f in fields if f.index < len(raw) and raw[f.index].strip()), None)
            if unit is not None:  # else it is the mean of a log
                return unit
    return None


def _latest_first(records: Records, day: date) -> Iterator[Visit]:
    return (visit for visit in reversed(records.visits) if visit.day <= day)


def _read_rows(visit: Visit) -> list[int]:
    phase, reference = visit.text["phase"], visit.text["reference"]
    return [row for row in range(len(visit.lines)) if reference[row] and phase[row] in READING_PHASES]
