"""What is asked of records: all their faults; all that is known on a day; what can be said of one visit now."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

from asfound.assessment.all_rules import ALL_RULES
from asfound.assessment.findings.investigation import Trends
from asfound.assessment.named_rules import unknown_review_rules
from asfound.assessment.pipeline import (
    LINEAR,
    Approved,
    Assessment,
    doubted,
    judged,
    measured,
    monte_carlo_answers,
    summarised,
)
from asfound.assessment.results.conformity import Verdict
from asfound.faults import Fault, RecordsRefused, Severity
from asfound.measurement.calibrations import NO_CURVE
from asfound.measurement.measure import NO_REPEATABILITY
from asfound.records.load import Records
from asfound.records.settings_in_force import SettingsOn
from asfound.records.snapshot import Snapshot
from asfound.records.trends.exports import check_trends
from asfound.records.visits.rows import SensorVisit, sensor_visits, without_lines
from asfound.records.visits.visit_files import Visit
from asfound.soak.checking_with_logs import check as check_records
from asfound.stated.issued import check_issued

__all__ = ["Approvals", "Assessment", "assess", "assess_visit", "check"]

Approvals = Callable[[Records], Approved]
"""Who is approved, asked of the records: path of the visit and sensor. None: there is no history to tell it by."""


def check(files: Snapshot, approvals: Approvals | None = None) -> list[Fault]:
    """All faults that the records, the rules across records and physics find: errors and reservations.

    `approvals`: as `assess` is given them, for a single reading may have nothing but a pool to tell its scatter.
    """
    records, faults = check_records(files)
    if records is None:
        return faults
    parts = sensor_visits(without_faulty_rows(records, faults))
    found = measured(records, parts, faults, approved=approvals(records) if approvals else None)
    faults = [*faults, *_not_follow_on(faults, found.physics)]
    faults += check_trends(files, records.sensors, records.zone)
    faults += check_issued(records.issued)
    faults += unknown_review_rules(records, ALL_RULES)
    if any(fault.rule.severity is Severity.ERROR for fault in faults):
        return faults
    # Linear answers do: no reservation depends on a percent of U.
    results = doubted(judged(found, LINEAR)).results
    return list(dict.fromkeys([*faults, *(fault for result in results for fault in result.reservations)]))


def _not_follow_on(known: Sequence[Fault], found: Sequence[Fault]) -> list[Fault]:
    """What physics finds beyond what the records' own faults may have caused."""
    broken = {fault.place.path for fault in known if fault.rule.severity is Severity.ERROR}
    return [fault for fault in found if fault.place.path not in broken and not (broken and fault.rule is NO_CURVE)]


def assess(files: Snapshot, day: date, approvals: Approvals | None = None) -> Assessment:
    """The assessment on a day. Raises RecordsRefused with all faults where there are errors.

    Everything counts in states and due dates, only what `approvals` holds in pools (left out: everything).
    """
    records, faults = check_records(files)
    if records is None:
        raise RecordsRefused(faults)
    parts = (part for part in sensor_visits(without_faulty_rows(records, faults)) if part.visit.day <= day)
    found = measured(records, parts, faults, approved=approvals(records) if approvals else None)
    faults += _not_follow_on(faults, found.physics)
    faults += unknown_review_rules(records, ALL_RULES)
    if any(f.rule.severity is Severity.ERROR for f in faults):
        raise RecordsRefused(faults)
    trends = Trends(files, records)
    assessment = summarised(doubted(judged(found), day), day, trends)
    if trends.faults:
        raise RecordsRefused([*faults, *trends.faults])
    return assessment


def assess_visit(
    files: Snapshot, path: str, approvals: Approvals | None = None
) -> tuple[Assessment | None, list[Fault]]:
    """What can be said of one visit now, however unfinished: its faulty rows are left out and their faults given.

    Nothing else is held against it: faults elsewhere only leave their own rows out.
    """
    records, faults = check_records(files)
    mine = [f for f in faults if f.place.path == path or not f.place.path.startswith("visits/")]
    if records is None:
        return None, mine
    visit = next((v for v in records.visits if v.path == path), None)
    if visit is None:
        return None, mine
    parts = _bearing_on(records, visit, sensor_visits(without_faulty_rows(records, faults)))
    found = measured(records, parts, faults, approved=approvals(records) if approvals else None)
    physics = [f for f in found.physics if f.place.path == path]
    mine += _not_follow_on_rows(mine, physics)
    here = {i for i, cell in enumerate(found.measurement.cells) if cell.sensor_visit.visit.path == path}
    said = judged(found, monte_carlo_answers(found, here))
    if physics:  # what a reading means is in doubt: nothing is said of it
        without = said.results.column("verdict").copy()
        without[said.results.column("visit") == visit.id] = Verdict.NONE
        said = replace(said, results=said.results.replaced(verdict=without))
    return summarised(doubted(said, visit.day), visit.day), mine


def _not_follow_on_rows(known: Sequence[Fault], found: Sequence[Fault]) -> list[Fault]:
    """Of what physics finds in a visit, not the repeatability that rows left out for their own faults would give."""
    broken = any(fault.rule.severity is Severity.ERROR for fault in known)
    return [fault for fault in found if not (broken and fault.rule is NO_REPEATABILITY)]


def _bearing_on(records: Records, visit: Visit, everything: Sequence[SensorVisit]) -> list[SensorVisit]:
    """What one visit depends on: itself, earlier visits of its families (pools), references calibrated here."""

    def model(sv: SensorVisit) -> str:
        sensor = records.sensors.get(sv.sensor)
        return SettingsOn(records, sensor, sv.visit.day).model if sensor else ""

    models = {model(sv) for sv in everything if sv.visit.path == visit.path}
    return [
        sv
        for sv in everything
        if sv.visit.path == visit.path
        or (sv.visit.day <= visit.day and (sv.sensor in records.references or model(sv) in models))
    ]


def without_faulty_rows(records: Records, faults: Sequence[Fault]) -> Records:
    """The records without the visits' rows that hold an error."""
    lines: dict[str, set[int]] = {}
    for fault in faults:
        if fault.rule.severity is Severity.ERROR:
            lines.setdefault(fault.place.path, set()).add(fault.place.line)
    visits = tuple(without_lines(v, lines[v.path]) if v.path in lines else v for v in records.visits)
    return replace(records, visits=visits)
