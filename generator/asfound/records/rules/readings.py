"""What stands in a row of readings: plausible, complete, once, and without contradiction."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from asfound.faults import Fault, error, reservation
from asfound.records.channels import Channel
from asfound.records.methods import reference_readings
from asfound.records.rules.survey import RuleAcross, Survey, row_numbers
from asfound.records.visits.columns import READING_PHASES, SHARED_WORDS, STATED_ALWAYS
from asfound.records.visits.header import read_header
from asfound.units import CANONICAL, UNITS, Unit

IMPLAUSIBLE = error("implausible-reading", "a number lies outside what its column can hold")
CONTRADICTORY = error(
    "contradictory-readings", "rows of one time and reference give different readings of the reference"
)
TWO_AT_ONCE = error("two-readings-at-one-time", "a sensor has two different rows of readings at one time")
SAVED_TWICE = error("visit-saved-twice", "a sensor was read at one time in two visits")
LOG_AND_READINGS = error(
    "log-and-readings", "consecutive rows of a sensor at one target mix a log's window with other readings"
)
TWO_REFERENCES = error(
    "plateau-of-two-references", "consecutive rows of a sensor at one target lean on different references"
)
DUPLICATE_ROW = error("duplicate-row", "a row stands twice")
MISSING_TARGET = error("missing-target", "a row has readings and no target")
TARGET_OUT_OF_RANGE = error("target-out-of-range", "a target is not between 0 and 100 %RH")
NEGATIVE_SOAK = error("negative-soak", "a soak is shorter than nothing")
STATED_INCOMPLETE = error("stated-incomplete", "another laboratory's result lacks its reference value, error or U")
STATED_WITH_READINGS = error(
    "stated-with-readings", "a row holds another laboratory's result and the readings of a reference here"
)
NOT_DONE_WITHOUT_NOTE = reservation("not-done-without-note", "a point was not done, and no note says why")

Range = tuple[float, float]

_TEMPERATURES: Range = (-60.0, 90.0)
_PLAUSIBLE: Mapping[tuple[str, str], Range] = {
    **{(column, "humidity"): (-5.0, 105.0) for column in ("reference_humidity", "stated_reference", "room_humidity")},
    **{(column, c.value): c.declaration.believed for c in Channel for column in c.declaration.columns},
    **{(c.declaration.output, "current"): (0.0, 25.0) for c in Channel},
    **{(c.declaration.output, "voltage"): (-1.0, 12.0) for c in Channel},
    **{
        (column, "temperature"): _TEMPERATURES
        for column in (
            "saturation_temperature",
            "chamber_temperature",
            "reference_temperature",
            "air_temperature",
        )
    },
    ("mirror_temperature", "temperature"): (-95.0, 95.0),
    ("room_temperature", "temperature"): (-40.0, 60.0),
    ("saturation_pressure", "absolute"): (50e3, 3e6),
    ("saturation_pressure", "gauge"): (-20e3, 3e6),
    ("chamber_pressure", "absolute"): (50e3, 300e3),
    ("chamber_pressure", "gauge"): (-50e3, 200e3),
    ("mirror_pressure", "absolute"): (50e3, 1.2e6),
    ("mirror_pressure", "gauge"): (-50e3, 1.1e6),
    ("ambient_pressure", "absolute"): (50e3, 115e3),
    ("stated_error", "humidity"): (-50.0, 50.0),
    ("stated_U", "humidity"): (1e-3, 50.0),
    ("stated_k", "number"): (1.0, 15.0),
    ("stated_nu", "number"): (1.0, 1e9),
    ("soak", "duration"): (0.0, 20160.0),
}
"""(column, quantity or kind of pressure) → lowest and highest in canonical units."""
_GUESSES = ("kPa", "psi", "hPa", "bar", "inHg", "degC", "degF", "mA", "V", "mV", "min")
"""Units that may have been meant, the likeliest first."""
_PER_SENSOR = "air_temperature"
"""Read at the sensor under test: two sensors at one moment may have different ones."""


def plausible_range(column: str, unit: Unit) -> Range | None:
    """Lowest and highest of a column in a unit, beyond which a number is a slip; None where there is no telling."""
    kind = unit.quantity if unit.gauge is None else ("gauge" if unit.gauge else "absolute")
    ends = _PLAUSIBLE.get((column, kind))
    return None if ends is None else (unit.from_canonical(ends[0]), unit.from_canonical(ends[1]))


def implausible_readings(survey: Survey) -> Iterator[Fault]:
    """A slip of the finger, or a unit that is not the header's."""
    rows = survey.rows
    for column in dict.fromkeys(column for column, _ in _PLAUSIBLE):
        number, quantities = rows.number(column), rows.quantity(column)
        pressure = (column, "absolute") in _PLAUSIBLE
        gauge = rows.gauge(column) if pressure else np.zeros(rows.n, bool)
        for (name, kind), (lowest, highest) in _PLAUSIBLE.items():
            if name != column:
                continue
            of_kind = gauge == (kind == "gauge") if pressure else quantities.among((kind,))
            for row in row_numbers(of_kind & ((number < lowest) | (number > highest))):
                if not (column == "soak" and number[row] < 0):
                    message, cure = _implausible(survey, row, column, (lowest, highest))
                    yield rows.fault(IMPLAUSIBLE, row, column, message, cure)


def _implausible(survey: Survey, row: int, column: str, plausible: Range) -> tuple[str, str]:
    visit, at = survey.rows.visit_of(row), int(survey.rows.row[row])
    raw = visit.raw_row(at)
    fields = read_header(visit.header).of(column)
    field = next((f for f in fields if raw[f.index : f.index + 1] and raw[f.index].strip()), None)
    if field is None:  # the mean of a log
        value, (lowest, highest) = float(survey.rows.number(column)[row]), plausible
        symbol = CANONICAL[survey.rows.quantity(column)[row]]
        message = f"{column} is {value:.6g} {symbol} in the log, not between {lowest:g} and {highest:g}"
        return message, "check the units in the log's mapping, and the window"
    written = raw[field.index].strip()
    unit = field.unit
    if unit is None:
        lowest, highest = plausible
        return f"{column} {written} is not between {lowest:g} and {highest:g}", "check the number"
    lowest, highest = (unit.from_canonical(edge) for edge in plausible)
    message = f"{column} {written} [{unit.symbol}] is not between {lowest:.4g} and {highest:.4g}"
    value = unit.from_canonical(float(survey.rows.number(column)[row]))
    guess = next((other for other in _others(unit) if plausible[0] <= other.canonical(value) <= plausible[1]), None)
    if guess is None:
        return message, "check the number and the unit in the header"
    symbol = guess.symbol if unit.gauge is None else f"{guess.symbol} {'gauge' if unit.gauge else 'absolute'}"
    return message, f"check the number; if it was read in {guess.symbol}, write [{symbol}] in the header"


def _others(unit: Unit) -> Iterator[Unit]:
    """Other units that the number may have been read in."""
    for symbol in _GUESSES:
        other = UNITS[symbol]
        if other.quantity == unit.quantity and other.scale != unit.scale:
            yield other


def contradictory_readings(survey: Survey) -> Iterator[Fault]:
    """Of several rows at one time and reference, each gives the reference's reading of the first, or none."""
    rows = survey.rows
    for column in (*reference_readings(), "ambient_pressure"):
        if column != _PER_SENSOR:
            number = rows.number(column)
            yield from _contradictions(survey, column, number, ~np.isnan(number))
    for column in SHARED_WORDS:
        words = rows.words(column)
        yield from _contradictions(survey, column, words.code, words.filled)


def _contradictions(survey: Survey, column: str, values: np.ndarray, given: np.ndarray) -> Iterator[Fault]:
    rows = survey.rows
    giving = np.flatnonzero(given)
    first_of_moment = np.zeros(rows.n, np.int64)
    first_of_moment[rows.moment[giving[::-1]]] = giving[::-1]
    first = first_of_moment[rows.moment[giving]]
    differs = values[giving] != values[first]
    for row, other in zip(giving[differs].tolist(), first[differs].tolist(), strict=True):
        line, reference = rows.place(other, column).line, rows.words("reference")[row]
        message = f"{column} differs from line {line}, of the same time and {reference}"
        cure = "correct one of the two or the time; a reading of the reference stands once"
        yield rows.fault(CONTRADICTORY, row, column, message, cure)


def rows_at_one_time(survey: Survey) -> Iterator[Fault]:
    """A sensor shows one thing at a time."""
    rows = survey.rows
    timed = np.flatnonzero(rows.reading & (rows.time != 0))
    _, index, moment = np.unique(rows.moment_of_sensor[timed], return_index=True, return_inverse=True)
    first = timed[index[moment]]
    later = first != timed
    for row, earlier in zip(timed[later].tolist(), first[later].tolist(), strict=True):
        visit, line = rows.visit_of(row), rows.place(earlier, "time").line
        if _content(visit.raw_row(rows.row[row])) == _content(visit.raw_row(rows.row[earlier])):
            message, cure = f"the row repeats line {line}", "delete one of the two"
            yield rows.fault(DUPLICATE_ROW, row, "time", message, cure)
        else:
            message = f"{rows.words('sensor')[row]} has another row at this time in line {line}"
            cure = "correct the time; write seconds where readings follow within a minute"
            yield rows.fault(TWO_AT_ONCE, row, "time", message, cure)


def visits_saved_twice(survey: Survey) -> Iterator[Fault]:
    """A sensor is in one visit at a time: the same readings under two names would count twice."""
    rows = survey.rows
    timed = np.flatnonzero(rows.reading & (rows.time != 0))
    sensor = rows.words("sensor").code
    order = timed[np.lexsort((rows.visit[timed], rows.time[timed], sensor[timed]))]
    before, after = order[:-1], order[1:]
    at_once = (sensor[before] == sensor[after]) & (rows.time[before] == rows.time[after])
    again = at_once & (rows.visit[before] != rows.visit[after])
    for row, earlier in zip(after[again].tolist(), before[again].tolist(), strict=True):
        message = f"{rows.words('sensor')[row]} was read at this time in {rows.visit_of(earlier).path} already"
        cure = "delete the file that is a copy, or correct the times; a correction is a revision (.r2) of its visit"
        yield rows.fault(SAVED_TWICE, row, "time", message, cure)


def plateaus_of_two_references(survey: Survey) -> Iterator[Fault]:
    """Repeats are readings against one reference, through one meter."""
    rows = survey.rows
    own = np.flatnonzero(rows.own & (rows.time != 0))
    order = own[np.lexsort((rows.time[own], rows.part[own]))]
    before, after = order[:-1], order[1:]
    target, phase = rows.number("target"), rows.words("phase").code
    repeats = (
        (rows.part[before] == rows.part[after]) & (phase[before] == phase[after]) & (target[before] == target[after])
    )
    for column in ("reference", "loop_meter"):
        words = rows.words(column)
        known = words.among(survey.reference_names)
        changes = repeats & (words.code[before] != words.code[after]) & known[before] & known[after]
        for row, other in zip(after[changes].tolist(), before[changes].tolist(), strict=True):
            message = f"{column} is {words[row]!r} after {words[other]!r} at one target"
            cure = "correct the id; to compare two references, give each a visit of its own"
            yield rows.fault(TWO_REFERENCES, row, column, message, cure)


def plateaus_of_logs(survey: Survey) -> Iterator[Fault]:
    """One window of a log is a plateau: its readings follow each other too closely to be counted with others."""
    rows = survey.rows
    named = rows.words("log").filled
    if not named.any():
        return
    own = np.flatnonzero(rows.own & (rows.time != 0))
    order = own[np.lexsort((rows.time[own], rows.part[own]))]
    before, after = order[:-1], order[1:]
    phase, target = rows.words("phase").code, rows.number("target")
    repeats = (
        (rows.part[before] == rows.part[after]) & (phase[before] == phase[after]) & (target[before] == target[after])
    )
    mixed = repeats & (named[before] | named[after])
    for row, other in zip(after[mixed].tolist(), before[mixed].tolist(), strict=True):
        line = rows.place(other, "log").line
        message = f"the row and line {line} are one plateau, and a log's window is a plateau by itself"
        cure = "keep the window that counts; what was read beside it belongs into the note"
        yield rows.fault(LOG_AND_READINGS, row, "log", message, cure)


def _content(row: tuple[str, ...]) -> list[str]:
    texts = [text.strip() for text in row]
    while texts and not texts[-1]:
        texts.pop()
    return texts


def targets(survey: Survey) -> Iterator[Fault]:
    """A target says to which point a row belongs."""
    rows, target = survey.rows, survey.rows.number("target")
    aimless = rows.reading & np.isnan(target) & ~rows.read("stated_reference")
    for row in row_numbers(aimless):
        cure = "fill in the humidity that was aimed at"
        yield rows.fault(MISSING_TARGET, row, "target", "the row has readings and no target", cure)
    for row in row_numbers((target < 0.0) | (target > 100.0)):
        message = f"target {target[row]:g} %RH is not between 0 and 100 %RH"
        yield rows.fault(TARGET_OUT_OF_RANGE, row, "target", message, "correct the target")


def negative_soaks(survey: Survey) -> Iterator[Fault]:
    """A soak is the time at the point before the first reading."""
    soak = survey.rows.number("soak")
    for row in row_numbers(soak < 0.0):
        message = f"soak is {soak[row]:g} min"
        cure = "write the minutes at the point before the first reading, or leave it blank"
        yield survey.rows.fault(NEGATIVE_SOAK, row, "soak", message, cure)


def stated_results(survey: Survey) -> Iterator[Fault]:
    """Another laboratory's result is whole, and no reading of ours."""
    rows = survey.rows
    for row in row_numbers(rows.stated):
        missing = [name for name in STATED_ALWAYS if np.isnan(rows.number(name)[row])]
        if missing:
            message = f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing"
            cure = "copy the result from the other laboratory's certificate"
            yield rows.fault(STATED_INCOMPLETE, row, missing[0], message, cure)
    for row in row_numbers(rows.stated & rows.read(*reference_readings())):
        column = next(name for name in reference_readings() if not np.isnan(rows.number(name)[row]))
        message = "the row holds another laboratory's result and a reading of a reference here"
        cure = "give the two a row each"
        yield rows.fault(STATED_WITH_READINGS, row, column, message, cure)


def points_not_done(survey: Survey) -> Iterator[Fault]:
    """A row without readings says why: the door was locked."""
    rows = survey.rows
    phase, said = rows.words("phase").among(READING_PHASES), rows.words("note").filled | rows.words("log").filled
    for row in row_numbers(phase & ~rows.reading & ~said & ~rows.damaged):
        message = "the row has no readings, and no note says why"
        cure = "say under note why the point was not done"
        yield rows.fault(NOT_DONE_WITHOUT_NOTE, row, "note", message, cure)


RULES: tuple[RuleAcross, ...] = (
    implausible_readings,
    contradictory_readings,
    rows_at_one_time,
    visits_saved_twice,
    plateaus_of_two_references,
    plateaus_of_logs,
    targets,
    negative_soaks,
    stated_results,
    points_not_done,
)
