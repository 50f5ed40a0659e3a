"""Ids in the rows of visits: that each names something, and what a spreadsheet made of them."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator

import numpy as np

from asfound.faults import Fault, Rule, did_you_mean, error
from asfound.records.rules.survey import RuleAcross, Survey, row_numbers

UNKNOWN_SENSOR = error("unknown-sensor", "a row or finding names a sensor without a record")
UNKNOWN_REFERENCE = error("unknown-reference", "a row names a reference without a record")
UNKNOWN_LOOP_METER = error("unknown-loop-meter", "a row names a loop meter without a record")
UNKNOWN_BAROMETER = error("unknown-barometer", "a row names a barometer without a record")
UNKNOWN_PERSON = error("unknown-person", "a row or finding names a person who is not in people.yml")
DRAGGED_DOWN_ID = error("dragged-down-id", "an id counts up from row to row, as a spreadsheet fills a column")
ID_BECAME_DATE = error("id-became-date", "a date stands where an id belongs, as a spreadsheet reads some ids")
WRONG_KIND = error("wrong-kind-of-reference", "a column names a reference of a kind that cannot stand there")
AGAINST_ITSELF = error("reference-against-itself", "a reference is compared with itself")

_UNKNOWN: dict[str, Rule] = {
    "sensor": UNKNOWN_SENSOR,
    "reference": UNKNOWN_REFERENCE,
    "loop_meter": UNKNOWN_LOOP_METER,
    "barometer": UNKNOWN_BAROMETER,
    "technician": UNKNOWN_PERSON,
}
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DATES = (
    re.compile(rf"(?P<day>\d{{1,2}})[-/. ](?P<month>{_MONTHS})[a-z]*([-/. ]\d{{2,4}})?", re.IGNORECASE),
    re.compile(rf"(?P<month>{_MONTHS})[a-z]*[-/. ](?P<day>\d{{1,4}})", re.IGNORECASE),
    re.compile(r"\d{1,4}([-/.])\d{1,2}\1\d{1,4}(?: \d{1,2}:\d{2}(:\d{2})?)?"),
)
_COUNTED = re.compile(r"(?P<stem>.*?)(?P<number>\d{1,9})")
SHORTEST_RUN = 3
"""Fewer ids that count up are more likely meant."""


def _known(survey: Survey, column: str) -> Collection[str] | None:
    """Ids that may stand in a column; nothing where people.yml could not be read."""
    if column == "technician":
        return None if "people.yml" in survey.unread else survey.records.people.keys()
    names = survey.reference_names
    return names | survey.sensor_names if column == "sensor" else names


def _unknown_rows(survey: Survey, column: str) -> np.ndarray:
    known = _known(survey, column)
    if known is None:
        return np.zeros(survey.rows.n, bool)
    return survey.rows.words(column).where(lambda word: word not in known)


def unknown_ids(survey: Survey) -> Iterator[Fault]:
    """An id without a record, where no spreadsheet is to blame."""
    for column, rule in _UNKNOWN.items():
        words, known = survey.rows.words(column), _known(survey, column) or ()
        unknown = _unknown_rows(survey, column)
        unknown[[row for run in dragged_runs(survey, column) for row in run]] = False
        unknown &= ~words.where(lambda word: _date(word) is not None)
        told: dict[str, tuple[str, str]] = {}
        for row in row_numbers(unknown):
            word = words[row]
            told[word] = told.get(word) or unknown_id(column, word, known)
            yield survey.rows.fault(rule, row, column, *told[word])


def unknown_id(column: str, word: str, known: Collection[str]) -> tuple[str, str]:
    """Message and cure of an id without a record."""
    if column == "technician":
        return (
            f"person {word!r} is not in people.yml",
            f"add the person, or correct the id{did_you_mean(word, known)}",
        )
    folder = "sensors" if column == "sensor" else "references"
    cure = f"add records/{folder}/{word}.yml, or correct the id{did_you_mean(word, known)}"
    return f"{column.replace('_', ' ')} {word!r} has no record", cure


def dragged_down_ids(survey: Survey) -> Iterator[Fault]:
    """GEN-01, GEN-02, GEN-03 … where only the first has a record: once a run, at the first that has none."""
    for column in (*_UNKNOWN, "serial"):
        words = survey.rows.words(column)
        for run in dragged_runs(survey, column):
            true = words[run[0] - 1]
            message = f"{column} counts up from {true!r} to {words[run[-1]]!r} in {len(run) + 1} rows"
            cure = f"a spreadsheet counts on where a cell is dragged down: copy {true!r} into each row"
            yield survey.rows.fault(DRAGGED_DOWN_ID, run[0], column, message, cure)


def dragged_runs(survey: Survey, column: str) -> list[list[int]]:
    """Runs of rows that count on from a row with a right id, and are all wrong."""
    rows = survey.rows
    wrong = survey.wrong_serial if column == "serial" else _unknown_rows(survey, column)
    words = rows.words(column)
    runs: list[list[int]] = []
    for row in row_numbers(wrong):
        counts_on = row > 0 and rows.visit[row] == rows.visit[row - 1] and _counts_on(words[row - 1], words[row])
        if counts_on and runs and runs[-1][-1] == row - 1:
            runs[-1].append(int(row))
        elif counts_on and not wrong[row - 1]:
            runs.append([int(row)])
    return [run for run in runs if len(run) + 1 >= SHORTEST_RUN]


def _counts_on(before: str, after: str) -> bool:
    first, second = _COUNTED.fullmatch(before), _COUNTED.fullmatch(after)
    return (
        first is not None
        and second is not None
        and first["stem"] == second["stem"]
        and int(second["number"]) == int(first["number"]) + 1
    )


def ids_that_became_dates(survey: Survey) -> Iterator[Fault]:
    """`MAR-01` read by a spreadsheet as the first of March."""
    for column in _UNKNOWN:
        words = survey.rows.words(column)
        became = _unknown_rows(survey, column) & words.where(lambda word: _date(word) is not None)
        for row in row_numbers(became):
            guess = _id_before(words[row], _known(survey, column) or ())
            message = f"{column} {words[row]!r} is a date, not an id"
            cure = f"format the column as text in the spreadsheet and type the id again{guess}"
            yield survey.rows.fault(ID_BECAME_DATE, row, column, message, cure)


def _date(word: str) -> re.Match[str] | None:
    return next((match for pattern in _DATES if (match := pattern.fullmatch(word))), None)


def _id_before(word: str, known: Collection[str]) -> str:
    """The known id that a spreadsheet may have read as this date."""
    parts = _date(word)
    if parts is None or "month" not in parts.re.groupindex:
        return ""
    for name in sorted(known):
        letters, _, number = name.partition("-")
        if letters.casefold() == parts["month"].casefold() and number.lstrip("0") == parts["day"].lstrip("0"):
            return f" (did you mean {name!r}?)"
    return ""


_METERS = ("loop_meter", "barometer")
_KINDS_THAT_FIT: dict[str, tuple[Callable[[str], bool], str]] = {
    "sensor": (lambda kind: kind not in _METERS, "a sensor, or a humidity reference that is calibrated here"),
    "reference": (lambda kind: kind not in _METERS, "a humidity reference"),
    "loop_meter": (lambda kind: kind == "loop_meter", "a loop meter"),
    "barometer": (
        lambda kind: kind == "barometer",
        "a barometer, or the row's own reference if its record has ambient_pressure",
    ),
}


def wrong_kinds_of_reference(survey: Survey) -> Iterator[Fault]:
    """A loop meter is no humidity reference, a salt cell no loop meter."""
    rows = survey.rows
    for column, (fits, wanted) in _KINDS_THAT_FIT.items():
        words = rows.words(column)
        wrong = {name for name, reference in survey.records.references.items() if not fits(reference.kind)}
        for row in row_numbers(words.among(wrong)):
            reference = survey.records.references[words[row]]
            own = column == "barometer" and reference.id == rows.words("reference")[row]
            if own and "ambient_pressure" in reference.quantities:
                continue
            message = f"{column.replace('_', ' ')} {reference.id!r} is a {reference.kind}"
            yield rows.fault(WRONG_KIND, row, column, message, f"name {wanted}, or correct the id")


def references_against_themselves(survey: Survey) -> Iterator[Fault]:
    """What is compared with itself shows no error."""
    sensors, references = survey.rows.words("sensor"), survey.rows.words("reference")
    for row in row_numbers(sensors.among(survey.reference_names) & references.filled):
        if sensors[row] == references[row]:
            message = f"{sensors[row]} is compared with itself"
            cure = "name the reference that it was compared with"
            yield survey.rows.fault(AGAINST_ITSELF, row, "reference", message, cure)


RULES: tuple[RuleAcross, ...] = (
    unknown_ids,
    dragged_down_ids,
    ids_that_became_dates,
    wrong_kinds_of_reference,
    references_against_themselves,
)
