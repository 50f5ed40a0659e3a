"""The whole assessment of a set of records on one day: what every page, certificate and command shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from generator.assessment.adjustment import Advice, Hysteresis, advice, hysteresis
from generator.assessment.conformity import Verdict
from generator.assessment.drift import Drift, VisitHistory, drift
from generator.assessment.due import Due, due
from generator.assessment.findings import Case, find_cases
from generator.assessment.results import Result, make_results
from generator.faults import Fault, RecordsRefused
from generator.records.check import check as check_records
from generator.records.load import Records
from generator.records.models import Channel, Sensor, in_force
from generator.records.rows import SensorVisit, sensor_visits
from generator.records.settings import SettingsOn, instrument_on
from generator.records.snapshot import Snapshot
from generator.uncertainty.cell_sources import Part
from generator.uncertainty.measurement import Measurement, measure
from generator.uncertainty.monte_carlo import Answer, monte_carlo, needs_monte_carlo


class State(StrEnum):
    """Conformity of a sensor, from the latest settled phase of its present instrument."""

    OUT = "out of tolerance"
    CLOSE = "too close to call"
    IN = "in tolerance"
    NONE = "no verdict"
    NEVER = "never calibrated"


@dataclass(frozen=True, kw_only=True)
class SensorVisitSummary:
    """One sensor at one visit: its results and what follows from them at once."""

    sensor_visit: SensorVisit
    results: tuple[Result, ...]
    advice: Advice | None
    hysteresis: tuple[Hysteresis, ...]

    @property
    def adjusted(self) -> bool:
        """Whether the instrument was changed."""
        return any(event.kind != "none" for event in self.sensor_visit.events)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where one sensor stands on the day of the assessment."""

    sensor: Sensor
    settings: SettingsOn
    state: State
    state_since: date | None
    """day of the visit that the state comes from"""
    deciding: tuple[Result, ...]
    """results of the phase that decides"""
    due: Due
    drifts: tuple[Drift, ...]
    visits: tuple[SensorVisitSummary, ...]
    """all that stand, in order of days, of every instrument that served"""
    cases: tuple[Case, ...]

    @property
    def drifting(self) -> bool:
        """Whether a channel drifts."""
        return any(d.state == "drifting" for d in self.drifts)


@dataclass(frozen=True, kw_only=True)
class Assessment:
    """Everything that is known on `day`."""

    records: Records
    day: date
    measurement: Measurement
    answers: Mapping[int, Answer]
    results: tuple[Result, ...]
    summaries: tuple[SensorVisitSummary, ...]
    """every sensor's part of every visit that stands (withdrawn ones too), in order of days"""
    standings: Mapping[str, Standing]
    cases: tuple[Case, ...]
    reservations: tuple[Fault, ...]
    """reservations of the records themselves (those of results stand with the results)"""


def check(files: Snapshot) -> tuple[Assessment | None, list[Fault]]:
    """All faults that records, rules across records and physics find; an assessment only where none is an error."""
    return _assess(files, date.max, answers=False)


def assess(files: Snapshot, day: date) -> Assessment:
    """The assessment on a day. Raises RecordsRefused with all faults where there are errors."""
    assessment, faults = _assess(files, day, answers=True)
    if assessment is None:
        raise RecordsRefused(faults)
    return assessment


def _assess(files: Snapshot, day: date, *, answers: bool) -> tuple[Assessment | None, list[Fault]]:
    records, faults = check_records(files)
    if records is None or any(f.rule.severity == "error" for f in faults):
        return None, faults
    everything = sensor_visits(records)
    visits = [sv for sv in everything if sv.visit.day <= day]
    measurement = measure(records, visits)
    faults += measurement.faults
    if measurement.faults:
        return None, faults
    drawn = _answers(records, measurement) if answers else {}
    results, more = make_results(records, visits, measurement, drawn)
    faults += more
    if more:
        return None, faults
    return assemble(records, day, visits, measurement, drawn, results, faults), faults


def _answers(records: Records, measurement: Measurement) -> dict[int, Answer]:
    """Monte Carlo answers for the lines that the linear answer does not serve."""
    totals = {(line.cell, line.channel) for line in measurement.lines if line.part is Part.TOTAL}
    judged = [
        number
        for number, line in enumerate(measurement.lines)
        if line.part is Part.TOTAL
        or (
            line.part is Part.SENSOR
            and ((line.cell, line.channel) not in totals or _at_sensor(records, measurement, number))
        )
    ]
    return {number: monte_carlo(measurement, number) for number in needs_monte_carlo(measurement, judged)}


def _at_sensor(records: Records, measurement: Measurement, number: int) -> bool:
    sv = measurement.cells[measurement.lines[number].cell].sensor_visit
    sensor = records.sensors.get(sv.sensor)
    return sensor is not None and SettingsOn(records, sensor, sv.visit.day).whole("judged_at") == "sensor"


def assemble(
    records: Records,
    day: date,
    visits: Sequence[SensorVisit],
    measurement: Measurement,
    answers: Mapping[int, Answer],
    results: Sequence[Result],
    faults: Sequence[Fault],
) -> Assessment:
    """Summaries by visit and standings by sensor from the results."""
    by_visit: dict[tuple[str, str], list[Result]] = {}
    for result in results:
        by_visit.setdefault((result.visit, result.sensor), []).append(result)
    cases = find_cases({key: tuple(found) for key, found in by_visit.items()}, records.findings)
    summaries = tuple(_summary(records, measurement, sv, by_visit) for sv in visits)
    by_sensor: dict[str, list[SensorVisitSummary]] = {}
    for summary in summaries:
        if not summary.sensor_visit.withdrawn:
            by_sensor.setdefault(summary.sensor_visit.sensor, []).append(summary)
    standings = {
        name: _standing(records, measurement, sensor, by_sensor.get(name, []), cases, day)
        for name, sensor in sorted(records.sensors.items())
    }
    return Assessment(
        records=records,
        day=day,
        measurement=measurement,
        answers=answers,
        results=tuple(results),
        summaries=summaries,
        standings=standings,
        cases=cases,
        reservations=tuple(f for f in faults if f.rule.severity == "reservation"),
    )


def _summary(
    records: Records, measurement: Measurement, sv: SensorVisit, by_visit: Mapping[tuple[str, str], Sequence[Result]]
) -> SensorVisitSummary:
    found = () if sv.withdrawn else tuple(by_visit.get((sv.visit.id, sv.sensor), ()))
    sensor = records.sensors.get(sv.sensor)
    advised = None
    if sensor is not None and found:
        advised = advice(found, SettingsOn(records, sensor, sv.visit.day), measurement.whole())
    return SensorVisitSummary(
        sensor_visit=sv, results=found, advice=advised, hysteresis=hysteresis(found, measurement.whole())
    )


def _standing(
    records: Records,
    measurement: Measurement,
    sensor: Sensor,
    visits: Sequence[SensorVisitSummary],
    cases: Sequence[Case],
    day: date,
) -> Standing:
    settings = SettingsOn(records, sensor, day)
    instrument = instrument_on(sensor, day)
    present = [v for v in visits if instrument and v.results and v.results[0].serial == instrument.serial]
    state, since, deciding = _state(present)
    interval = settings.dated("interval")
    policy = in_force(records.facility.policies, day) or records.facility.policies[0]
    return Standing(
        sensor=sensor,
        settings=settings,
        state=state,
        state_since=since,
        deciding=deciding,
        due=due(records, sensor, [v.results for v in present], day),
        drifts=tuple(
            drift(
                _history(present, channel), measurement.whole(), channel, policy, interval.months if interval else None
            )
            for channel in settings.channels
        ),
        visits=tuple(visits),
        cases=tuple(case for case in cases if case.sensor == sensor.id),
    )


def _history(visits: Sequence[SensorVisitSummary], channel: Channel) -> list[VisitHistory]:
    history = []
    for visit in visits:
        usable = [r for r in visit.results if r.channel is channel and r.status in ("done", "stated")]
        usable = [r for r in usable if not any(f.rule.withholds_verdict for f in r.reservations)]
        if usable or visit.adjusted:
            history.append(
                VisitHistory(
                    day=visit.sensor_visit.visit.day,
                    as_found=tuple(r for r in usable if r.phase == "as_found"),
                    as_left=tuple(r for r in usable if r.phase == "as_left"),
                    adjusted=visit.adjusted,
                )
            )
    return history


def _state(visits: Sequence[SensorVisitSummary]) -> tuple[State, date | None, tuple[Result, ...]]:
    """From the latest phase that has a verdict: as left where there is one, else as found."""
    for visit in reversed(visits):
        for phase in ("as_left", "as_found"):
            judged = tuple(r for r in visit.results if r.phase == phase and r.has_verdict)
            if judged:
                return _worst(judged), visit.sensor_visit.visit.day, judged
    return (State.NONE if visits else State.NEVER), None, ()


def _worst(results: Sequence[Result]) -> State:
    verdicts = {r.verdict for r in results}
    if Verdict.FAIL in verdicts:
        return State.OUT
    return State.IN if verdicts == {Verdict.PASS} else State.CLOSE
