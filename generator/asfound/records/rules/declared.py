"""What a reference must declare of itself: a source of uncertainty that nobody names counts as zero."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from asfound.faults import Fault, reservation
from asfound.records.methods import METHODS
from asfound.records.models import ChannelDefaults, Known, Record, TimeConstant
from asfound.records.models.references import Reference
from asfound.records.rules.survey import RuleAcross, Survey

NOT_DECLARED = reservation("not-declared", "a reference does not say how large one of its usual errors may be")
NOT_YET_KNOWN = reservation("not-yet-known", "what is known of an instrument's errors begins after a visit")


def sources_not_declared(survey: Survey) -> Iterator[Fault]:
    """A small U is earned by knowing the sources, not by leaving them out."""
    for name, reference in survey.records.references.items():
        silent = list(_silent(reference))
        if silent:
            message = f"not declared, so counted as none: {'; '.join(silent)}"
            cure = (
                "declare each from a measurement, a certificate or the manual; write 0 with its unit where it is none"
            )
            yield survey.fault(NOT_DECLARED, f"references/{name}.yml", ("kind",), message, cure)


def _silent(reference: Reference) -> Iterator[str]:
    usual = METHODS[reference.kind].usual_sources if reference.kind in METHODS else ()
    yield from (key for key in usual if getattr(reference, key) is None)
    without = [name for name, known in reference.quantities.items() if known.calibrations[-1].drift is None]
    if without:
        yield f"drift since the newest calibration of {', '.join(without)}"


def known_later(survey: Survey) -> Iterator[Fault]:
    """What is known from a day on says nothing of the visits before: there it counts as none."""
    rows = survey.rows
    of_reference = {name: _begins(one) for name, one in survey.records.references.items()}
    reference = rows.words("reference")
    late = rows.own & reference.among([name for name, begins in of_reference.items() if begins])
    for part, row in rows.firsts(late):
        for name in dict.fromkeys(reference[r] for r in part.rows if late[r]):
            yield from _early(survey, row, "reference", name, of_reference[name], part.visit.day)
    instruments = (*survey.records.sensors.values(), *survey.records.families.values())
    keys = {key for one in instruments for key in _begins(one)}
    for _, row, sensor, settings in survey.visited(rows.own) if keys else ():
        begins = {key: first for key in keys if (first := _first_day(settings.whole(key))) is not None}
        yield from _early(survey, row, "sensor", sensor.id, begins, settings.day)


def _early(survey: Survey, row: int, column: str, name: str, begins: Mapping[str, date], day: date) -> Iterator[Fault]:
    late = [f"{key} from {first}" for key, first in sorted(begins.items()) if day < first]
    if late:
        message = f"of {name} is known {', '.join(late)}, so counted as none on {day}"
        cure = "add an entry from that day or earlier, or leave out the `from:` of the first"
        yield survey.rows.fault(NOT_YET_KNOWN, row, column, message, cure)


def _begins(record: Record) -> dict[str, date]:
    """First day of what is known of an instrument, where it was not always."""
    found = {key: _first_day(getattr(record, key)) for key in type(record).model_fields}
    return {key: day for key, day in found.items() if day is not None}


def _first_day(entries: Any) -> date | None:
    known = isinstance(entries, tuple) and entries and isinstance(entries[0], Known | ChannelDefaults | TimeConstant)
    return entries[0].from_ if known and entries[0].from_ != date.min else None


RULES: tuple[RuleAcross, ...] = (sources_not_declared, known_later)
