"""Instruments at their positions: when, where, and whether the one seen is the one installed."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from datetime import date, timedelta

from asfound.faults import Fault, error, reservation
from asfound.records.rules.identities import dragged_runs
from asfound.records.rules.survey import RuleAcross, Survey, row_numbers
from asfound.records.settings_in_force import instrument_on

INSTRUMENT_PERIODS = error("instrument-periods", "instruments at one position overlap or are not in order")
NOT_INSTALLED = error("not-installed", "a sensor was visited on a day without an instrument at its position")
IN_TWO_PLACES = error("instrument-in-two-places", "one instrument is installed at two positions at once")
NOT_AS_INSTALLED = reservation(
    "serial-not-as-installed",
    "the serial number seen is not that of the instrument on record",
    certificate=False,
)


def instrument_periods(survey: Survey) -> Iterator[Fault]:
    """One instrument after the other."""
    for name, sensor in survey.records.sensors.items():
        for number, (before, after) in enumerate(itertools.pairwise(sensor.installed), start=1):
            if after.from_ <= before.from_:
                message = f"{after.serial} from {after.from_} stands behind {before.serial} from {before.from_}"
                cure = "sort the instruments, earliest first, one a day"
            elif before.until is not None and before.until >= after.from_:
                message = f"{after.serial} begins {after.from_}, {before.serial} ends {before.until}"
                cure = "end the earlier instrument the day before, or leave out its until"
            else:
                continue
            at = ("installed", number, "from")
            yield survey.fault(INSTRUMENT_PERIODS, f"sensors/{name}.yml", at, message, cure)


def instruments_in_two_places(survey: Survey) -> Iterator[Fault]:
    """A serial of one model stands at one position at a time."""
    stays: dict[tuple[str, str], list[tuple[date, date, str, int]]] = {}
    for name, sensor in survey.records.sensors.items():
        for number, installed in enumerate(sensor.installed):
            following = sensor.installed[number + 1].from_ if number + 1 < len(sensor.installed) else date.max
            last = installed.until or (following - timedelta(days=1))
            key = (installed.family, installed.serial.casefold())
            stays.setdefault(key, []).append((installed.from_, last, name, number))
    for periods in stays.values():
        (_, last, before, _), *later = sorted(periods)
        for first, until, after, number in later:
            if before != after and first <= last:
                serial = survey.records.sensors[after].installed[number].serial
                message = f"{serial} is also installed as {before} on {first}"
                cure = f"give the instrument at {before} its last day: until"
                at = ("installed", number, "serial")
                yield survey.fault(IN_TWO_PLACES, f"sensors/{after}.yml", at, message, cure)
            if until >= last:  # a long stay overlaps with others than the next
                last, before = until, after


def sensors_not_installed(survey: Survey) -> Iterator[Fault]:
    """A reading belongs to an instrument."""
    rows = survey.rows
    for part, row in rows.firsts(rows.reading | rows.words("phase").among(("adjusted",))):
        sensor = survey.sensor(part.sensor)
        if sensor is not None and instrument_on(sensor, part.visit.day) is None:
            message = f"no instrument was installed as {part.sensor} on {part.visit.day}"
            cure = f"correct `installed:` in sensors/{part.sensor}.yml, or the visit's sensor or day"
            yield rows.fault(NOT_INSTALLED, row, "sensor", message, cure)


def serials_not_as_installed(survey: Survey) -> Iterator[Fault]:
    """Another instrument than the one on record: swapped unnoticed, or mistyped."""
    rows, seen = survey.rows, survey.rows.words("serial")
    other = survey.wrong_serial.copy()
    other[[row for run in dragged_runs(survey, "serial") for row in run]] = False
    for row in row_numbers(other):
        name = rows.words("sensor")[row]
        expected = survey.serial(name, rows.visit_of(row).day)
        message = f"serial {seen[row]!r} was seen, {expected!r} is on record for {name}"
        cure = f"record the swap under `installed:` of {name}, or correct the serial (a spreadsheet drops zeros)"
        yield rows.fault(NOT_AS_INSTALLED, row, "serial", message, cure)


RULES: tuple[RuleAcross, ...] = (
    instrument_periods,
    instruments_in_two_places,
    sensors_not_installed,
    serials_not_as_installed,
)
