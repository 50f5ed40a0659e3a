"""Statements made of an assessment: what a certificate says of one sensor's part of a visit.

Clause numbers are those of ISO/IEC 17025:2017, from memory. Numbers have 10 significant digits.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import date

import numpy as np

from asfound.assessment.assess import Assessment
from asfound.assessment.due import completes, due_day, points_met
from asfound.assessment.results.judging import OTHER_TEMPERATURE
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.certificates import wording as words
from asfound.certificates.evidence import Issue, evidence
from asfound.certificates.statement_references import calibration_links, published_values, salts_sentence
from asfound.certificates.statement_results import (
    PartLines,
    Reservations,
    decision,
    groups,
    number,
    part_lines,
    point,
    withheld,
)
from asfound.certificates.traceability import Traceability
from asfound.records.models import Channel
from asfound.records.models.stated import SCHEMA
from asfound.records.settings_in_force import SettingsOn, shows_ice
from asfound.records.visits.rows import Event
from asfound.rounding import fixed
from asfound.stated.results import Group, MonteCarloAnswer
from asfound.stated.statement import (
    PREVIEW_REVISION,
    Adjustment,
    Authorised,
    Calibrated,
    Condition,
    Item,
    Method,
    Sentences,
    Signal,
    StatedFacility,
    StatedPlace,
    Statement,
    Technician,
    VisitPage,
)


def statements(assessment: Assessment) -> Iterator[Statement]:
    """A preview statement for each visit and sensor with results of our own that may be certified.

    None where a sensor's part was withdrawn, not done, stated by another laboratory, or where reservations withhold
    the certificate from every result. Where they withhold it from some, these stand without U and verdict.
    """
    making = Statements(assessment)
    for summary in assessment.summaries:
        if making.may_be_certified(summary):
            yield making.preview(summary)


class Statements:
    """Makes statements of an assessment's parts of visits.

    `certificates`: numbers of the certificates issued here by (sensor or reference, visit); a link of the chain that
    has one names it. By default those on record on the day of the assessment.
    """

    def __init__(self, assessment: Assessment, certificates: Mapping[tuple[str, str], str] | None = None) -> None:
        self.assessment, self.parts = assessment, part_lines(assessment)
        self.traceability = Traceability(assessment, certificates)

    def may_be_certified(self, summary: SensorVisitSummary) -> bool:
        """Whether there is a result of our own from which no reservation withholds the certificate."""
        return not all(withheld(r) for r in _measured(summary))

    def preview(self, summary: SensorVisitSummary) -> Statement:
        """What a certificate would state today; for a part that may be certified."""
        return self._made(summary, None).whole()

    def issued(self, summary: SensorVisitSummary, issue: Issue) -> Statement:
        """What a certificate states that is issued so; for a part that may be certified."""
        return self._made(summary, issue).whole()

    def _made(self, summary: SensorVisitSummary, issue: Issue | None) -> _Statement:
        return _Statement(self.assessment, self.traceability, summary, _measured(summary), self.parts, issue)


def _measured(summary: SensorVisitSummary) -> list[Result]:
    return [r for r in summary.results if r.line is not None]


class _Statement:
    """One statement in the making."""

    def __init__(
        self,
        assessment: Assessment,
        traceability: Traceability,
        summary: SensorVisitSummary,
        measured: Sequence[Result],
        parts: PartLines,
        issue: Issue | None,
    ) -> None:
        self.issue = issue
        self.assessment, self.records = assessment, assessment.records
        self.summary, self.measured, self.parts = summary, measured, parts
        self.sv = summary.sensor_visit
        self.visit, self.id = self.sv.visit, self.sv.sensor
        self.sensor = self.records.sensors.get(self.id)
        self.settings = SettingsOn(self.records, self.sensor, self.visit.day) if self.sensor else None
        self.policy = self.records.facility.policy_on(self.visit.day)
        self.links, self.published = traceability.links(measured), traceability.published_values(measured)
        self.rows = sorted({row for p in self.sv.plateaus if p.status == "read" for row in p.rows})

    def whole(self) -> Statement:
        facility, wording = self.records.facility, self.records.facility.certificate
        reservations = Reservations()
        results = groups(self.assessment, self.sv, self.settings, self.measured, reservations, self.parts)
        days = sorted({self.visit.time_local[row][:10] for row in self.rows})
        answers = [row.answer for group in results for row in group.rows]
        trials = {answer.trials for answer in answers if isinstance(answer, MonteCarloAnswer)}
        page = f"visits/{self.visit.id}.html#{self.id}"
        issue = self.issue
        revision = f"r{issue.revision}" if issue else PREVIEW_REVISION
        return Statement(
            schema_=SCHEMA,
            number=f"{self.id}/{self.visit.id}.{revision}",
            sensor=self.id,
            visit=self.visit.id,
            revision=revision,
            replaces=issue.replaces if issue else None,
            issued=issue.day if issue else self.assessment.day,
            authorised=self._authorised(),
            evidence=evidence(self.assessment, self.summary, self.measured, self.links, issue),
            title=words.title(r.phase for r in self.measured),
            paper=facility.paper,
            calibrated=Calibrated(first=date.fromisoformat(days[0]), last=date.fromisoformat(days[-1])),
            laboratory=wording.laboratory,
            facility=StatedFacility(name=facility.name, address=facility.address, time_zone=facility.time_zone),
            customer=wording.customer,
            item=self._item(),
            place=self._place(),
            method=Method(
                procedure=wording.method,
                version=wording.method_version,
                principles=tuple(words.principles(r.method for r in self.measured)),
                media=tuple(words.MEDIA[m] for m in dict.fromkeys(r.medium for r in self.measured)),
            ),
            conditions=self._conditions(),
            results=results,
            adjustments=tuple(self._adjustment(event) for event in self.sv.changes),
            decision=decision(
                self.policy, self.measured[0].rule, results, reservations, of_reference=self.settings is None
            ),
            reservations=reservations.listed(),
            deviations=tuple(self._deviations()),
            remarks=tuple(self._remarks(results)),
            traceability=calibration_links(self.links),
            published_values=published_values(self.published),
            words=Sentences(
                basis=words.basis(wording, over_salts=bool(self.published)),
                coverage=words.coverage(trials),
                place=words.place((r.note for r in self.measured if r.note), self._elsewhere()),
                salts=salts_sentence(self.published),
                scope=words.SCOPE,
                reproduction=words.REPRODUCTION,
            ),
            technicians=tuple(
                Technician(id=name, name=self.records.people[name].name if name in self.records.people else name)
                for name in self.sv.words("technician")
            ),
            due=self._due(),
            page=VisitPage(
                path=page,
                address=f"{facility.site_address.rstrip('/')}/{page}" if facility.site_address else None,
            ),
        )

    def _authorised(self) -> Authorised:
        if self.issue is None:
            return Authorised(id=None, name=None, words=words.NOT_REVIEWED)
        approved, other = self.issue.approved, self.issue.authority
        return Authorised(
            id=other.id if other else approved.person,
            name=other.name if other else approved.name,
            words=words.authorised(approved, other.name if other else None),
        )

    def _item(self) -> Item:
        serial_seen, condition = tuple(self.sv.words("serial")), tuple(self.sv.words("condition"))
        if self.settings is None or self.sensor is None:
            reference = self.records.references[self.id]
            return Item(
                id=self.id,
                kind="reference standard",
                name=reference.name,
                serial=reference.serial,
                model=reference.kind,
                model_name=words.KINDS[reference.kind],
                serial_seen=serial_seen,
                condition=condition,
                signals=(),
            )
        family = self.settings.family
        return Item(
            id=self.id,
            kind="sensor",
            name=self.sensor.name,
            serial=self.settings.serial,
            model=self.settings.model,
            model_name=family.name if family else self.settings.model,
            serial_seen=serial_seen,
            condition=condition,
            signals=tuple(
                Signal(channel=channel, words=words.scaling(entry, channel.unit))
                for channel in self.settings.channels
                if (entry := self.settings.scaling(channel)) and any(r.channel is channel for r in self.measured)
            ),
        )

    def _place(self) -> StatedPlace:
        facility = self.records.facility
        if self.settings is None:
            return StatedPlace(id=None, name=facility.name, building=None, position=None)
        period = self.settings.place
        place = next((p for p in facility.places if p.id == period.place), None)
        return StatedPlace(
            id=period.place,
            name=place.name if place else period.place,
            building=place.building if place else None,
            position=period.position,
        )

    def _elsewhere(self) -> str | None:
        """What tells that the calibration was not where the item works: its temperature."""
        away = [r.temperature_c for r in self.measured if OTHER_TEMPERATURE in [f.rule for f in r.reservations]]
        if not away or self.sensor is None:
            return None
        low, high = (fixed(end, 1) for end in (min(away), max(away)))
        return f"at {low if low == high else f'{low} to {high}'} degC, not its working temperature"

    def _conditions(self) -> tuple[Condition, ...]:
        """Readings of the room that belong to this sensor's rows, and the state at the probe."""
        number_of, references = self.visit.number, self.visit.text["reference"]
        moments = {(int(self.visit.time_utc[row]), references[row]) for row in self.rows}
        every_row = range(len(self.visit.lines))
        rows = [row for row in every_row if (int(self.visit.time_utc[row]), references[row]) in moments]
        measurement = self.assessment.measurement
        cells = sorted({measurement.lines[r.line].cell for r in self.measured if r.line is not None})
        pressures = [measurement.pressure_pa[cell] for cell in cells if self._pressure_was_read(cell)]
        found = [
            _condition("room temperature", "degC", number_of["room_temperature"][rows]),
            _condition("room humidity", "%RH", number_of["room_humidity"][rows]),
            _condition("ambient pressure", "Pa", number_of["ambient_pressure"][rows]),
            _condition("temperature at the probe", "degC", np.array([r.temperature_c for r in self.measured])),
            _condition("pressure at the probe", "Pa", np.array(pressures)),
        ]
        return tuple(condition for condition in found if condition is not None)

    def _pressure_was_read(self, cell: int) -> bool:
        """Some methods hardly need the pressure at the probe, and take a usual one where it was not read."""
        rows = list(self.assessment.measurement.cells[cell].plateau.rows)
        return any(
            np.isfinite(self.visit.number[name][rows]).any() for name in ("chamber_pressure", "ambient_pressure")
        )

    def _adjustment(self, event: Event) -> Adjustment:
        return Adjustment(
            time=self.visit.time_local[event.row],
            kind=event.kind,
            words=words.ADJUSTMENTS[event.kind],
            from_=event.before,
            to=event.after,
            note=event.note,
        )

    def _deviations(self) -> list[str]:
        """What was left out or added against the method (7.8.2.1 n)."""
        found = []
        for r in self.summary.results:
            if r.status == "not done":
                what = point(r) if math.isfinite(r.target) else "a point"
                why = "; ".join([r.note] * bool(r.note) + [fault.message for fault in r.reservations])
                found.append(f"{words.PHASES[r.phase]}, {r.channel}: {what} not done{f': {why}' if why else ''}.")
        missing = [f"{target:g} %RH" for target in self._missing_points()]
        if missing:
            found.append(f"Not calibrated of the sensor’s set points: {', '.join(missing)}.")
        if any(r.status == "stated" for r in self.summary.results):
            found.append("Results that another laboratory stated at this visit are not part of this certificate.")
        if self.visit.revision > 1:
            reason = f": {self.sv.reason}" if self.sv.reason else ""
            found.append(f"Revision {self.visit.revision} of the visit’s record replaces the one before{reason}.")
        return found

    def _missing_points(self) -> list[float]:
        points = self.settings.dated("points") if self.settings else None
        done = [r for r in self.measured if r.channel is Channel.HUMIDITY]
        return [point for point in (points.humidity if points else ()) if not points_met(done, (point,))]

    def _remarks(self, results: Sequence[Group]) -> list[str]:
        """What a reader must know to use the results."""
        found = []
        if any(r.channel is Channel.HUMIDITY for r in self.measured):
            found.append(words.humidity_over(shows_ice(self.settings or self.records.references.get(self.id))))
        if any(r.one_way or r.direction == "start" for r in self.measured if r.channel is Channel.HUMIDITY):
            found.append(words.AS_APPROACHED)
        phases = {group.phase for group in results}
        if "as_found" in phases and "as_left" not in phases and not self.summary.adjusted:
            found.append(words.AS_FOUND_IS_AS_LEFT)
        corrected = [r for r in self.measured if r.settling_correction]
        if corrected:
            listed = ", ".join(f"{r.settling_correction:+.2f} {r.unit} at {point(r)}" for r in corrected)
            found.append(f"Errors hold a correction for what was left of settling: {listed}.")
        found += self._logs()
        notes = {r.plateau: r for r in self.measured if r.note}
        return found + [f"{words.PHASES[r.phase]}, {point(r)}: {r.note}" for r in notes.values()]

    def _logs(self) -> Iterator[str]:
        """Which readings are means of which log, and what its bytes are known by."""
        measurement = self.assessment.measurement
        points: dict[str, dict[str, None]] = {}
        for r in self.measured:
            logged = measurement.logged.get(measurement.lines[r.line].cell) if r.line is not None else None
            if logged is not None:
                points.setdefault(logged.path, {})[point(r)] = None
        for path, named in points.items():
            sha256 = hashlib.sha256(self.records.files[path]).hexdigest()
            yield f"Readings at {', '.join(named)} are means over windows of a log, {path} (SHA-256 {sha256})."

    def _due(self) -> date | None:
        """Only where the customer agreed (7.8.4.3): the interval counted from this visit, where it was complete."""
        if not self.records.facility.certificate.due_date_agreed or self.settings is None:
            return None
        interval, points = self.settings.dated("interval"), self.settings.dated("points")
        if interval is None or not completes(self.measured, points.humidity if points else ()):
            return None
        return due_day(self.visit.day, interval.months, self.policy)


def _condition(quantity: str, unit: str, values: np.ndarray) -> Condition | None:
    """Mean and range of what was read; nothing where nothing was."""
    good = values[np.isfinite(values)]
    if not len(good):
        return None
    return Condition(
        quantity=quantity,
        unit=unit,
        mean=number(float(np.mean(good))),
        lowest=number(float(np.min(good))),
        highest=number(float(np.max(good))),
    )
