"""Who did and who may: technicians, those who close findings."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import numpy as np

from asfound.faults import Fault, error
from asfound.records.rules.identities import UNKNOWN_PERSON, unknown_id
from asfound.records.rules.survey import RuleAcross, Survey, row_numbers

NOT_ENTITLED = error("person-not-entitled", "a person did what people.yml does not allow them to do")
OUTSIDE_PERIOD = error("person-period", "a person did something before they came or after they left")
NO_TECHNICIAN = error("technician-missing", "nobody is named who read a sensor at a visit")


def technicians_not_entitled(survey: Survey) -> Iterator[Fault]:
    """Who reads must be allowed to calibrate."""
    technicians = survey.rows.words("technician")
    barred = {name for name, person in survey.records.people.items() if "calibrate" not in person.may}
    for row in row_numbers(technicians.among(barred)):
        message = f"{technicians[row]!r} may not calibrate"
        cure = f"name who calibrated, or add `calibrate` to what {technicians[row]!r} may in people.yml"
        yield survey.rows.fault(NOT_ENTITLED, row, "technician", message, cure)


def technicians_outside_their_period(survey: Survey) -> Iterator[Fault]:
    """Who reads must be there on the day."""
    rows, technicians = survey.rows, survey.rows.words("technician")
    days = np.array([visit.day.toordinal() for visit in rows.visits], np.int64)[rows.visit]
    for person in survey.records.people.values():
        last = person.until.toordinal() if person.until else date.max.toordinal()
        absent = (days < person.from_.toordinal()) | (days > last)
        for row in row_numbers(absent & technicians.among((person.id,))):
            message = f"{person.id!r} was not here on {rows.visit_of(row).day}"
            cure = "name who was, or correct from and until in people.yml"
            yield rows.fault(OUTSIDE_PERIOD, row, "technician", message, cure)


def missing_technicians(survey: Survey) -> Iterator[Fault]:
    """A certificate names who calibrated, and who approves must be another."""
    rows, named = survey.rows, survey.rows.words("technician").filled
    # Whoever adjusted between results that another laboratory stated is on its certificate, not here.
    work = rows.own | (rows.words("phase").among(("adjusted",)) & ~rows.in_part(rows.stated))
    for part, row in rows.firsts(work & ~rows.in_part(named)):
        message = f"no technician is named for {part.sensor}"
        yield rows.fault(NO_TECHNICIAN, row, "technician", message, "fill in who read it")


def people_of_findings(survey: Survey) -> Iterator[Fault]:
    """Who owns a finding is known; who closes it may decide."""
    if "people.yml" in survey.unread:
        return
    people = survey.records.people
    for finding in survey.records.findings:
        path = f"findings/{finding.sensor}/{finding.visit}.yml"
        if path not in survey.records.documents:
            continue  # the file lies elsewhere, and has its fault
        for key, name in (("owner", finding.owner), ("closed_by", finding.closed_by)):
            if name is not None and name not in people:
                yield survey.fault(UNKNOWN_PERSON, path, (key,), *unknown_id("technician", name, people))
        person = people.get(finding.closed_by or "")
        if finding.closed is None or person is None:
            continue
        if "decide" not in person.may:
            message = f"{person.id!r} may not decide findings"
            cure = f"name who decided, or add `decide` to what {person.id!r} may in people.yml"
            yield survey.fault(NOT_ENTITLED, path, ("closed_by",), message, cure)
        if not person.holds(finding.closed):
            message = f"{person.id!r} was not here on {finding.closed}"
            cure = "correct closed or closed_by, or the person's from and until in people.yml"
            yield survey.fault(OUTSIDE_PERIOD, path, ("closed_by",), message, cure)


RULES: tuple[RuleAcross, ...] = (
    technicians_not_entitled,
    technicians_outside_their_period,
    missing_technicians,
    people_of_findings,
)
