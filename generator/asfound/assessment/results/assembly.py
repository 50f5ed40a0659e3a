"""Results: one for each plateau and channel, with its verdict; what the site, the data and certificates show."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from itertools import groupby

import numpy as np

from asfound.assessment.results.conformity import rule_in_words
from asfound.assessment.results.elsewhere import as_stated
from asfound.assessment.results.judging import judged_columns, unless_withheld
from asfound.assessment.results.points import points_of
from asfound.assessment.results.slots import Slot, held_against, slots_of
from asfound.assessment.results.table import BLANK, NAMES, NO_RESULTS, Results
from asfound.faults import Fault, Severity, reservation
from asfound.measurement.lines import Measurement
from asfound.measurement.monte_carlo import Answer
from asfound.records.load import Records
from asfound.records.models import Channel
from asfound.records.visits.rows import SensorVisit

NOT_BRACKETED = reservation("points-do-not-bracket", "the points of a visit do not bracket the working humidity")

CHANNELS = tuple(Channel)

Columns = dict[str, list[object]]
"""By name, one entry a slot."""

OF_PLATEAU: Mapping[str, Callable[[Slot], object]] = {
    "visit": lambda slot: slot.sensor_visit.visit.id,
    "revision": lambda slot: slot.sensor_visit.visit.revision,
    "day": lambda slot: slot.sensor_visit.visit.day,
    "sensor": lambda slot: slot.sensor_visit.sensor,
    "serial": lambda slot: slot.instrument[0],
    "model": lambda slot: slot.instrument[1],
    "plateau": lambda slot: slot.plateau.number,
    "phase": lambda slot: slot.plateau.phase,
    "target": lambda slot: slot.plateau.target,
    "direction": lambda slot: slot.plateau.direction,
    "medium": lambda slot: slot.sensor_visit.visit.text["medium"][slot.plateau.rows[0]] or "chamber",
    "reference": lambda slot: slot.sensor_visit.visit.text["reference"][slot.plateau.rows[0]],
    "time_utc": lambda slot: int(slot.sensor_visit.visit.time_utc[slot.plateau.rows[0]]),
    "note": lambda slot: slot.plateau.note,
    "channel": lambda slot: slot.channel,
}
"""What a result says of its plateau, whatever was measured there."""


def make_results(
    records: Records,
    sensor_visits: Sequence[SensorVisit],
    measurement: Measurement,
    answers: Mapping[int, Answer],
    faults: Sequence[Fault] = (),
) -> Results:
    """Results of all sensor visits that were not withdrawn, in order of day, visit, sensor, channel and plateau.

    `faults`: reservations of the records; one that stands in a sensor's rows goes with that sensor's results.
    """
    slots = list(slots_of(records, measurement, (sv for sv in sensor_visits if not sv.withdrawn)))
    if not slots:
        return NO_RESULTS
    columns = _unjudged(records, measurement, slots)
    points = points_of(measurement, slots)
    columns |= {"point": points.point.tolist(), "reach": points.reach.tolist()}
    _fill(columns, *judged_columns(measurement, answers, slots, points))
    _fill(columns, *_stated(slots))
    _reserve(columns, slots, faults)
    order = sorted(range(len(slots)), key=lambda i: _place(slots[i]))
    return Results.table({name: [columns[name][i] for i in order] for name in NAMES})


def _place(slot: Slot) -> tuple[date, str, str, int, int]:
    """What results are in order of."""
    visit = slot.sensor_visit.visit
    return visit.day, visit.id, slot.sensor_visit.sensor, CHANNELS.index(slot.channel), slot.plateau.number


def _unjudged(records: Records, measurement: Measurement, slots: Sequence[Slot]) -> Columns:
    """All columns, with what is known before anything is judged."""
    rules = {policy.from_: rule_in_words(policy) for policy in records.facility.policies}
    columns: Columns = {name: [value] * len(slots) for name, value in BLANK.items()}
    columns |= {name: [value(slot) for slot in slots] for name, value in OF_PLATEAU.items()}
    columns["rule"] = [rules[slot.policy.from_] for slot in slots]
    columns["status"] = ["stated" if slot.plateau.status == "stated" else "not done" for slot in slots]
    columns["reservations"] = [held_against(measurement, slot) for slot in slots]
    return columns


def _fill(columns: Columns, at: Sequence[int], values: Mapping[str, Sequence[object]]) -> None:
    """Put values into the rows `at`."""
    for name, given in values.items():
        column = columns[name]
        for row, value in zip(at, given, strict=True):
            column[row] = value


def _stated(slots: Sequence[Slot]) -> tuple[list[int], dict[str, list[object]]]:
    """Another laboratory's results, as it stated them: their rows, and by column their values."""
    at = [i for i, slot in enumerate(slots) if slot.plateau.status == "stated"]
    found = [as_stated(slots[i]) for i in at]
    return at, {name: [one[name] for one in found] for name in (found[0] if found else ())}


def _reserve(columns: Columns, slots: Sequence[Slot], faults: Sequence[Fault]) -> None:
    """Add the reservations that concern all of a sensor's results at one visit; verdicts that they withhold fall."""
    of_lines: dict[str, dict[int, list[Fault]]] = {}
    for fault in faults:
        if fault.rule.severity is Severity.RESERVATION:
            of_lines.setdefault(fault.place.path, {}).setdefault(fault.place.line, []).append(fault)
    reservations, verdicts, status = columns["reservations"], columns["verdict"], columns["status"]
    others = columns["other_way"]
    for _, together in groupby(range(len(slots)), key=lambda i: id(slots[i].sensor_visit)):
        rows = list(together)
        more = [
            *_of_lines(slots[rows[0]].sensor_visit, of_lines),
            *_not_bracketed(columns, slots[rows[0]], rows),
        ]
        for row in rows if more else ():
            if status[row] != "not done":
                reservations[row] = (*reservations[row], *more)  # type: ignore[misc]
                verdicts[row] = unless_withheld(verdicts[row], more)  # type: ignore[arg-type]
                others[row] = unless_withheld(others[row], more)  # type: ignore[arg-type]


def _of_lines(sv: SensorVisit, of_lines: Mapping[str, Mapping[int, Sequence[Fault]]]) -> Iterator[Fault]:
    """What the records' own rules hold against a sensor's rows."""
    of_line = of_lines.get(sv.visit.path)
    if of_line:
        for line, name in zip(sv.visit.lines, sv.visit.text["sensor"], strict=True):
            if name == sv.sensor:
                yield from of_line.get(line, ())


def _not_bracketed(columns: Columns, slot: Slot, rows: Sequence[int]) -> Iterator[Fault]:
    """Whether the working humidity lies outside the points that were found."""
    working = slot.settings.sensor.working_humidity if slot.settings else None
    if working is None:
        return
    channel, phase, status = columns["channel"], columns["phase"], columns["status"]
    done = np.array(
        [
            columns["reference_value"][row]
            for row in rows
            if channel[row] is Channel.HUMIDITY and phase[row] == "as_found" and status[row] in ("done", "stated")
        ],
        float,
    )
    if len(done) and not done.min() <= working <= done.max():
        points = f"points from {done.min():.0f} to {done.max():.0f} %RH do"
        points = points if len(done) > 1 else f"a single point at {done[0]:.0f} %RH does"
        message = f"{points} not bracket the working humidity {working:g} %RH"
        cure = "calibrate below and above the humidity at which the sensor works"
        sv = slot.sensor_visit
        yield Fault(rule=NOT_BRACKETED, place=sv.visit.place(sv.first_row, "target"), message=message, cure=cure)
