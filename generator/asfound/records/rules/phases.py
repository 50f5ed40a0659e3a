"""The order of things in a visit: as found, adjusted, as left; revisions and withdrawals."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from asfound.faults import Fault, Place, error, reservation
from asfound.records.methods import reference_readings
from asfound.records.rules.survey import RuleAcross, Survey, row_numbers
from asfound.records.visits.columns import INDICATIONS, STATED

ADJUSTED_WITHOUT_WORD = error("adjusted-without-word", "an adjusted row does not say what was adjusted")
ADJUSTED_WITH_READINGS = error("adjusted-with-readings", "an adjusted row holds readings")
ADJUSTMENT_OUT_OF_PLACE = error("adjustment-out-of-place", "a row that is not adjusted holds an adjustment")
PHASES_OUT_OF_ORDER = error("phases-out-of-order", "a sensor is read as found after it was adjusted or left")
CHECK_OF_SENSOR = error("check-of-sensor", "a sensor has a row of phase check, which is for references")
WITHDRAWN_WITHOUT_REASON = error("withdrawn-without-reason", "a sensor's rows are withdrawn without a reason")
WITHDRAWN_WITH_READINGS = error(
    "withdrawn-with-readings", "a sensor's rows are withdrawn in a file that has other rows of it"
)
NOTHING_TO_WITHDRAW = error("nothing-to-withdraw", "a sensor is withdrawn from a visit that does not hold it")
REVISION_WITHOUT_REASON = error("revision-without-reason", "a later revision replaces a sensor's rows without a reason")
REVISION_GAP = error("revision-gap", "a later revision of a visit stands without the one before")
AS_LEFT_WITHOUT_AS_FOUND = reservation(
    "as-left-without-as-found", "a sensor was read as left and not as found: what it showed before is unknown"
)
ADJUSTED_WITHOUT_AS_LEFT = reservation(
    "adjusted-without-as-left", "a sensor was adjusted and not read after: what it shows now is unknown"
)


def adjusted_rows(survey: Survey) -> Iterator[Fault]:
    """An adjusted row is an event: it says what was done, and holds no reading."""
    rows = survey.rows
    phase, word = rows.words("phase"), rows.words("adjustment")
    adjusted = phase.among(("adjusted",))
    for row in row_numbers(adjusted & ~word.filled):
        message = "the row does not say what was adjusted"
        cure = "write none, zero, span, table or element under adjustment"
        yield rows.fault(ADJUSTED_WITHOUT_WORD, row, "adjustment", message, cure)
    readings = (*INDICATIONS, *reference_readings(), *STATED)
    for row in row_numbers(adjusted & rows.read(*readings)):
        column = next(name for name in readings if not np.isnan(rows.number(name)[row]))
        message, cure = "an adjusted row holds a reading", "give the reading a row of its own, with its phase"
        yield rows.fault(ADJUSTED_WITH_READINGS, row, column, message, cure)
    for column in ("adjustment", "from", "to"):
        for row in row_numbers(phase.filled & ~adjusted & rows.words(column).filled):
            message = f"{column} stands in a row of phase {phase[row]}"
            cure = "give the adjustment a row of its own, of phase adjusted, at its time"
            yield rows.fault(ADJUSTMENT_OUT_OF_PLACE, row, column, message, cure)


def order_of_phases(survey: Survey) -> Iterator[Fault]:
    """As found comes first: after an adjustment nobody finds the sensor as it was."""
    rows, phase = survey.rows, survey.rows.words("phase")
    later = phase.among(("adjusted", "as_left")) & (rows.time != 0)
    found = phase.among(("as_found",)) & (rows.time != 0) & rows.reading
    for part, _ in rows.firsts(later):
        mine = part.rows
        after = mine[later[mine]]
        first = after[np.argmin(rows.time[after])]
        for row in mine[found[mine] & (rows.time[mine] > rows.time[first])]:
            line = rows.place(int(first), "phase").line
            message = f"{part.sensor} is read as found after line {line} says {phase[first]}"
            cure = "correct the phase or the time"
            yield rows.fault(PHASES_OUT_OF_ORDER, row, "phase", message, cure)


def checks_of_sensors(survey: Survey) -> Iterator[Fault]:
    """A reference is checked between calibrations; a sensor is calibrated."""
    rows = survey.rows
    sensors = rows.words("sensor").among(survey.sensor_names)
    for row in row_numbers(sensors & rows.words("phase").among(("check",))):
        message = f"{rows.words('sensor')[row]} is a sensor, and check is for references"
        yield rows.fault(CHECK_OF_SENSOR, row, "phase", message, "write as_found or as_left")


def half_adjustments(survey: Survey) -> Iterator[Fault]:
    """Without as found nothing is known of the time before, without as left nothing of the time after."""
    rows, phase, word = survey.rows, survey.rows.words("phase"), survey.rows.words("adjustment")
    found = phase.among(("as_found",)) & rows.reading
    left = phase.among(("as_left",)) & rows.own
    for part, row in rows.firsts(left):
        mine = part.rows
        if part.sensor in survey.sensor_names and not (found | rows.damaged)[mine].any():
            message = f"{part.sensor} is read as left and not as found"
            cure = "add the as-found readings, if they were taken"
            yield rows.fault(AS_LEFT_WITHOUT_AS_FOUND, row, "phase", message, cure)
    changed = phase.among(("adjusted",)) & word.filled & ~word.among(("none",))
    left = phase.among(("as_left",)) & rows.reading
    for part, _ in rows.firsts(changed):
        mine = part.rows
        events = mine[changed[mine]]
        last = events[np.argmax(rows.time[events])]
        read_after = left[mine] & (rows.time[mine] >= rows.time[last])
        if not (read_after | rows.damaged[mine]).any():
            message = f"{part.sensor} is adjusted and not read as left"
            cure = "add the as-left readings, if they were taken"
            yield rows.fault(ADJUSTED_WITHOUT_AS_LEFT, int(last), "phase", message, cure)


def withdrawals(survey: Survey) -> Iterator[Fault]:
    """A withdrawal is one row with its reason, in a later revision."""
    rows, reasons = survey.rows, survey.rows.words("reason")
    withdrawn = rows.words("phase").among(("withdrawn",))
    held = rows.read(*INDICATIONS, *reference_readings(), *STATED)
    concerned = list(rows.firsts(withdrawn))
    visits = {part.visit.id for part, _ in concerned}
    first_revision: dict[tuple[str, str], int] = {}
    for visit in survey.records.visits:
        for name in visit.text["sensor"] if visit.id in visits else ():
            first_revision.setdefault((visit.id, name), visit.revision)
    for part, row in concerned:
        if not reasons.filled[part.rows].any():
            message = f"{part.sensor} is withdrawn without a reason"
            yield rows.fault(WITHDRAWN_WITHOUT_REASON, row, "reason", message, "say why under reason")
        if not withdrawn[part.rows].all() or held[part.rows].any():
            message = f"{part.sensor} is withdrawn, and has other rows or readings in the same file"
            cure = "keep the withdrawn row alone, or the readings that replace the earlier ones"
            yield rows.fault(WITHDRAWN_WITH_READINGS, row, "phase", message, cure)
        first = first_revision[part.visit.id, part.sensor] == part.visit.revision
        if first and survey.visit_was_read(part.visit.id):
            message = f"no earlier revision of {part.visit.id} holds {part.sensor}"
            cure = "correct the sensor or the file's name; rows that are not yet merged are simply deleted"
            yield rows.fault(NOTHING_TO_WITHDRAW, row, "sensor", message, cure)


def reasons_of_revisions(survey: Survey) -> Iterator[Fault]:
    """A later revision says, for each sensor, why it replaces."""
    rows, reasons = survey.rows, survey.rows.words("reason")
    later = np.array([visit.revision > 1 for visit in rows.visits], bool)[rows.visit]
    for part, row in rows.firsts(later & ~rows.words("phase").among(("withdrawn",))):
        if not reasons.filled[part.rows].any():
            message = f"{part.visit.name} replaces the rows of {part.sensor} without a reason"
            yield rows.fault(REVISION_WITHOUT_REASON, row, "reason", message, "say why under reason")


def gaps_of_revisions(survey: Survey) -> Iterator[Fault]:
    """Revision 3 follows revision 2, and that the original."""
    for visit in survey.records.visits:
        if visit.revision > 1 and visit.revision - 1 not in survey.visit_files.get(visit.id, ()):
            before = f"{visit.id}.csv" if visit.revision == 2 else f"{visit.id}.r{visit.revision - 1}.csv"
            message = f"revision {visit.revision} stands without {before}"
            cure = f"name it {before}, or bring back the one before: a merged visit is never deleted"
            place = Place(path=visit.path)
            yield Fault(rule=REVISION_GAP, place=place, message=message, cure=cure)


RULES: tuple[RuleAcross, ...] = (
    adjusted_rows,
    order_of_phases,
    checks_of_sensors,
    half_adjustments,
    withdrawals,
    reasons_of_revisions,
    gaps_of_revisions,
)
