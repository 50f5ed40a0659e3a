"""What records say of each other: ids held twice, findings, calibrations from visits."""

from __future__ import annotations

import graphlib
from collections.abc import Iterable, Iterator
from datetime import date

from asfound.faults import Fault, Place, did_you_mean, error
from asfound.records.models.model_rules import DUPLICATE_ID
from asfound.records.models.references import Calibration
from asfound.records.rules.identities import UNKNOWN_SENSOR, unknown_id
from asfound.records.rules.survey import RuleAcross, Survey
from asfound.records.trends.exports import misplaced_trends

FINDING_WITHOUT_VISIT = error("finding-without-visit", "a finding's visit is not there or does not hold its sensor")
FROM_VISIT_UNKNOWN = error(
    "from-visit-unknown", "a reference was calibrated by a visit that is not there or does not hold it"
)
FROM_VISIT_DATE = error("from-visit-date", "a calibration's date is not that of the visit that gave it")
FROM_VISIT_CYCLE = error("from-visit-cycle", "references were calibrated against each other on one day")


def duplicate_ids(survey: Survey) -> Iterator[Fault]:
    """An id names one thing, also where a file system ignores capitals."""
    for path, key in (("facility.yml", "places"), ("people.yml", "people")):
        document = survey.records.documents.get(path)
        listed = document.data.get(key) if document and isinstance(document.data, dict) else None
        entries = listed if isinstance(listed, list) else []
        names = [entry.get("id") if isinstance(entry, dict) else None for entry in entries]
        for number, other in _repeated(names):
            message = f"{key} holds {names[number]!r} and {other!r}"
            yield survey.fault(DUPLICATE_ID, path, (key, number, "id"), message, "give each its own id")
    files = [(folder, name) for folder in ("references", "sensors") for name in sorted(survey.names(folder))]
    for number, other in _repeated([name for _, name in files]):
        path = "/".join(files[number]) + ".yml"
        message = f"another sensor or reference is called {other!r}"
        cure = "give one of them another id: rows name sensors and references in one column"
        yield Fault(rule=DUPLICATE_ID, place=Place(path=path), message=message, cure=cure)


def _repeated(names: Iterable[object]) -> Iterator[tuple[int, str]]:
    """Number of each name that was there before, with the one before."""
    seen: dict[str, str] = {}
    for number, name in enumerate(names):
        if isinstance(name, str):
            if name.casefold() in seen:
                yield number, seen[name.casefold()]
            seen.setdefault(name.casefold(), name)


def findings_without_visit(survey: Survey) -> Iterator[Fault]:
    """A finding is about a sensor at a visit."""
    held = {(part.visit.id, part.sensor) for part in survey.rows.by_sensor}
    for finding in survey.records.findings:
        path = f"findings/{finding.sensor}/{finding.visit}.yml"
        if path not in survey.records.documents:
            continue  # the file lies elsewhere, and has its fault
        if finding.sensor not in survey.sensor_names:
            message, cure = unknown_id("sensor", finding.sensor, survey.sensor_names)
            yield survey.fault(UNKNOWN_SENSOR, path, ("sensor",), message, cure)
        elif finding.visit not in survey.visit_files:
            message = f"there is no visit {finding.visit!r}"
            cure = f"correct the id{did_you_mean(finding.visit, survey.visit_files)}"
            yield survey.fault(FINDING_WITHOUT_VISIT, path, ("visit",), message, cure)
        elif (finding.visit, finding.sensor) not in held and survey.visit_was_read(finding.visit):
            message = f"visit {finding.visit!r} does not hold {finding.sensor}"
            cure = "correct sensor or visit, and the file's name with them"
            yield survey.fault(FINDING_WITHOUT_VISIT, path, ("visit",), message, cure)


Calibrated = tuple[str, str, int, Calibration]
"""Reference, quantity, number and record of a calibration."""


def _from_visits(survey: Survey) -> Iterator[Calibrated]:
    """Every calibration that a visit here gave."""
    for name, reference in survey.records.references.items():
        for quantity, record in reference.quantities.items():
            for number, calibration in enumerate(record.calibrations):
                if calibration.from_visit is not None:
                    yield name, quantity, number, calibration


def calibrations_from_unknown_visits(survey: Survey) -> Iterator[Fault]:
    """A calibration from a visit is that visit's as-left readings of the reference."""
    rows = survey.rows
    left = rows.own & rows.words("phase").among(("as_left",))
    days = {(part.visit.id, part.sensor): part.visit.day for part, _ in rows.firsts(left)}
    for name, quantity, number, calibration in _from_visits(survey):
        visit, path = calibration.from_visit or "", f"references/{name}.yml"
        at = ("quantities", quantity, "calibrations", number)
        if visit not in survey.visit_files:
            message = f"there is no visit {visit!r}"
            cure = f"correct the id{did_you_mean(visit, survey.visit_files)}"
            yield survey.fault(FROM_VISIT_UNKNOWN, path, (*at, "from_visit"), message, cure)
        elif (visit, name) not in days:
            if survey.visit_was_read(visit):
                message = f"visit {visit!r} has no as-left readings of {name}"
                cure = "name the visit that calibrated it, or give the certificate's points"
                yield survey.fault(FROM_VISIT_UNKNOWN, path, (*at, "from_visit"), message, cure)
        elif calibration.date != days[visit, name]:
            message = f"the calibration is of {calibration.date}, visit {visit!r} is of {days[visit, name]}"
            yield survey.fault(FROM_VISIT_DATE, path, (*at, "date"), message, "write the day of the visit")


def calibrations_in_a_circle(survey: Survey) -> Iterator[Fault]:
    """What a reference leans on must not lean on the reference."""
    given = {(name, calibration.from_visit): quantity for name, quantity, _, calibration in _from_visits(survey)}
    leans: dict[tuple[str, str], set[tuple[str, str]]] = {}
    references = survey.rows.words("reference")
    for part in survey.rows.by_sensor:
        if (part.sensor, part.visit.id) in given:
            used = {references[row] for row in part.rows}
            leans[part.sensor, part.visit.id] = {
                (name, visit) for name in used for visit in _visits_leant_on(survey, name, part.visit.day)
            }
    try:
        graphlib.TopologicalSorter(leans).prepare()
    except graphlib.CycleError as cycle:
        circle = cycle.args[1]
        name, visit = min(circle)
        quantity = given.get((name, visit), "")
        chain = " leans on ".join(reference for reference, _ in reversed(circle))
        cure = "calibrate one of them by a laboratory, or by a reference that does not lean on it"
        at = ("quantities", quantity)
        yield survey.fault(FROM_VISIT_CYCLE, f"references/{name}.yml", at, f"in a circle: {chain}", cure)


def _visits_leant_on(survey: Survey, name: str, day: date) -> Iterator[str]:
    """The visits that gave a reference the calibrations in force on a day."""
    reference = survey.reference(name)
    for record in reference.quantities.values() if reference else ():
        current = [calibration for calibration in record.calibrations if calibration.date <= day]
        if current and current[-1].from_visit is not None:
            yield current[-1].from_visit


def trends_of_no_sensor(survey: Survey) -> Iterator[Fault]:
    """An export of the building system lies where its sensor's finding looks for it."""
    yield from misplaced_trends(survey.records.files, sorted(survey.sensor_names))


RULES: tuple[RuleAcross, ...] = (
    duplicate_ids,
    findings_without_visit,
    calibrations_from_unknown_visits,
    calibrations_in_a_circle,
    trends_of_no_sensor,
)
