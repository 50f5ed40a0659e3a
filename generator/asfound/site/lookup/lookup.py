"""An assessment with what pages look up in it again and again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from asfound.assessment.assess import Assessment
from asfound.assessment.findings.cases import Case
from asfound.assessment.references.checks import good_days
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.certificates.disagreements import Disagreement, disagreements
from asfound.measurement.cell_sources import Part
from asfound.provenance import Provenance, without_history
from asfound.records.issued import Issued
from asfound.records.load import Records
from asfound.records.models import Channel, Place
from asfound.records.visits.visit_files import Visit
from asfound.retrace.carried_back import CarriedBack, carried_back
from asfound.wording.words import Link

Leaning = tuple[tuple[str, ...], tuple[date, ...], int]
"""ids of the sensors and references read, days of the calibrations used, number of results"""


@dataclass(frozen=True, kw_only=True)
class Lookup:
    """The assessment, and its parts by what they are found under."""

    assessment: Assessment
    provenance: Provenance
    visits: Mapping[str, tuple[SensorVisitSummary, ...]]
    """visit id → its sensors' parts, in order of days"""
    revisions: Mapping[str, tuple[Visit, ...]]
    """visit id → its files, first revision first"""
    withdrawn: Mapping[str, tuple[SensorVisitSummary, ...]]
    """sensor → its parts of visits that were withdrawn"""
    cases: Mapping[tuple[str, str], Case]
    """(sensor, visit)"""
    places: Mapping[str, Place]
    reference_results: Mapping[str, tuple[Result, ...]]
    """reference → what visits found when it was itself calibrated or checked"""
    leaning: Mapping[str, Mapping[str, Leaning]]
    """reference → visit id → what of it leans on the reference; visits in order of days"""
    totals: Mapping[tuple[int, Channel], int]
    """(cell, channel) → number of the line that is far end against reference"""
    zone: ZoneInfo

    @property
    def records(self) -> Records:
        """The records behind the assessment."""
        return self.assessment.records

    @property
    def day(self) -> date:
        """The day of the assessment."""
        return self.assessment.day

    @cached_property
    def carried_back(self) -> Mapping[str, tuple[CarriedBack, ...]]:
        """By reference, what its calibrations found, carried back; measured when it is first asked for."""
        return carried_back(self.assessment)

    @cached_property
    def disagreements(self) -> Mapping[tuple[str, str], Disagreement]:
        """By (sensor, visit), issued certificates with which today's computation does not agree."""
        return {(one.issued.sensor, one.issued.visit): one for one in disagreements(self.assessment)}

    @cached_property
    def issued(self) -> Mapping[tuple[str, str], tuple[Issued, ...]]:
        """By (sensor, visit), the certificates that were issued up to the day, in order of revision."""
        found: dict[tuple[str, str], tuple[Issued, ...]] = {}
        for one in sorted(self.records.issued, key=lambda one: one.revision):
            if one.day <= self.day:
                found[one.sensor, one.visit] = (*found.get((one.sensor, one.visit), ()), one)
        return found

    @cached_property
    def good_days(self) -> Mapping[str, tuple[date, ...]]:
        """By reference, the days on which it was calibrated or checked as good."""
        return good_days(self.records, self.assessment.results, self.day)

    def person(self, name: str) -> str:
        """A person's name; the id where people.yml does not know it."""
        known = self.records.people.get(name)
        return known.name if known else name

    def place(self, name: str) -> str:
        """A place's name; the id where facility.yml does not know it."""
        known = self.places.get(name)
        return known.name if known else name

    def item(self, name: str) -> Link:
        """A sensor or a reference, whichever bears the id."""
        if name in self.records.sensors:
            return sensor_link(name)
        return reference_link(name)

    def visit(self, name: str | None) -> Link | None:
        """The page of a visit that stands on record."""
        return visit_link(name) if name in self.visits and name else None

    def local(self, time_utc: int) -> str:
        """A time of the facility's zone as YYYY-MM-DDTHH:MM."""
        return datetime.fromtimestamp(time_utc, UTC).astimezone(self.zone).strftime("%Y-%m-%dT%H:%M")


def look_up(assessment: Assessment, provenance: Provenance | None = None) -> Lookup:
    """Sort an assessment's parts under what they are looked up by; `provenance` left out: no history is at hand."""
    visits: dict[str, list[SensorVisitSummary]] = {}
    withdrawn: dict[str, list[SensorVisitSummary]] = {}
    for summary in assessment.summaries:
        visits.setdefault(summary.sensor_visit.visit.id, []).append(summary)
        if summary.sensor_visit.withdrawn:
            withdrawn.setdefault(summary.sensor_visit.sensor, []).append(summary)
    revisions: dict[str, list[Visit]] = {}
    for visit in assessment.records.visits:
        if visit.id in visits:
            revisions.setdefault(visit.id, []).append(visit)
    reference_results: dict[str, list[Result]] = {}
    for result in assessment.results:
        if result.sensor in assessment.records.references:
            reference_results.setdefault(result.sensor, []).append(result)
    return Lookup(
        assessment=assessment,
        provenance=provenance or without_history(assessment.records),
        visits={name: tuple(parts) for name, parts in visits.items()},
        revisions={name: tuple(files) for name, files in revisions.items()},
        withdrawn={name: tuple(parts) for name, parts in withdrawn.items()},
        cases={(case.sensor, case.visit): case for case in assessment.cases},
        places={place.id: place for place in assessment.records.facility.places},
        reference_results={name: tuple(found) for name, found in reference_results.items()},
        leaning=_leaning(assessment),
        totals={
            (line.cell, line.channel): number
            for number, line in enumerate(assessment.measurement.lines)
            if line.part is Part.TOTAL
        },
        zone=assessment.records.zone,
    )


def _leaning(assessment: Assessment) -> dict[str, dict[str, Leaning]]:
    """Which visits' results lean on which reference, from the sources that each measured plateau used."""
    measurement = assessment.measurement
    found: dict[str, dict[str, tuple[dict[str, None], set[date], list[int]]]] = {}
    for result in assessment.results:
        if result.line is None:
            continue
        used = measurement.used.get(measurement.lines[result.line].cell, set())
        for reference in sorted({name for name, _, _ in used}):
            visits = found.setdefault(reference, {})
            items, days, count = visits.setdefault(result.visit, ({}, set(), [0]))
            items[result.sensor] = None
            days |= {day for name, _, day in used if name == reference}
            count[0] += 1
    return {
        reference: {
            visit: (tuple(items), tuple(sorted(days)), count[0]) for visit, (items, days, count) in visits.items()
        }
        for reference, visits in found.items()
    }


def sensor_link(name: str) -> Link:
    """A sensor's page."""
    return Link(text=name, path=f"sensors/{name}.html")


def reference_link(name: str) -> Link:
    """A reference standard's page."""
    return Link(text=name, path=f"references/{name}.html")


def visit_link(name: str, text: str = "") -> Link:
    """A visit's page, by its id without revision."""
    return Link(text=text or name, path=f"visits/{name}.html")


def finding_link(case: Case, text: str = "") -> Link:
    """A finding's page."""
    return Link(text=text or f"{case.sensor}, {case.day}", path=f"findings/{case.sensor}-{case.visit}.html")
