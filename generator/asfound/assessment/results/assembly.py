"""Results: one for each plateau and channel, with its verdict; what the site, the data and certificates show."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from asfound.assessment.results.conformity import judge, rule_in_words
from asfound.assessment.results.judging import Read, Tolerances, measured_results, unless_withheld
from asfound.assessment.results.result import Common, Result, blank_result
from asfound.faults import Fault, Severity, reservation
from asfound.measurement.cell_sources import Part
from asfound.measurement.indications import COLUMNS_OF
from asfound.measurement.lines import Measurement
from asfound.measurement.monte_carlo import Answer
from asfound.records.load import Records
from asfound.records.models import Channel, Policy
from asfound.records.models.references import Reference
from asfound.records.settings_in_force import SettingsOn
from asfound.records.visits.rows import Plateau, SensorVisit
from asfound.records.visits.visit_files import Visit
from asfound.uncertainty.sources import freedom_from_k

NOT_BRACKETED = reservation("points-do-not-bracket", "the points of a visit do not bracket the working humidity")


def make_results(
    records: Records,
    sensor_visits: Sequence[SensorVisit],
    measurement: Measurement,
    answers: Mapping[int, Answer],
    faults: Sequence[Fault] = (),
) -> list[Result]:
    """Results of all sensor visits that were not withdrawn, in order of day, visit, sensor, channel and plateau.

    `faults`: reservations of the records; one that stands in a sensor's rows goes with that sensor's results.
    """
    maker = _Maker(records, measurement, answers, faults)
    results = maker.of(sv for sv in sensor_visits if not sv.withdrawn)
    order = {channel: number for number, channel in enumerate(Channel)}
    results.sort(key=lambda r: (r.day, r.visit, r.sensor, order[r.channel], r.plateau))
    return results


class _Maker:
    def __init__(
        self,
        records: Records,
        measurement: Measurement,
        answers: Mapping[int, Answer],
        faults: Sequence[Fault],
    ) -> None:
        self.records, self.measurement, self.answers = records, measurement, answers
        self.of_lines: dict[str, dict[int, list[Fault]]] = {}
        for fault in faults:
            if fault.rule.severity is Severity.RESERVATION:
                self.of_lines.setdefault(fault.place.path, {}).setdefault(fault.place.line, []).append(fault)
        policies = records.facility.policies
        self.rules = {policy.from_: rule_in_words(policy) for policy in policies}
        self.cells = {cell.key: i for i, cell in enumerate(measurement.cells)}
        self.lines: dict[tuple[int, Channel], dict[Part, int]] = {}
        for number, line in enumerate(measurement.lines):
            self.lines.setdefault((line.cell, line.channel), {})[line.part] = number

    def of(self, sensor_visits: Iterable[SensorVisit]) -> list[Result]:
        """Results by sensor visit: first what is known without a budget, then all that were measured at once."""
        of_visits = [(sv, *self._known(sv)) for sv in sensor_visits]
        reads = [one for _, _, found in of_visits for one in found if isinstance(one, Read)]
        measured = iter(measured_results(self.measurement, self.answers, reads))
        results: list[Result] = []
        for sv, settings, found in of_visits:
            made = [next(measured) if isinstance(one, Read) else one for one in found]
            more = self._of_visit(sv, settings, made)
            results += [_with_reservations(result, more) for result in made] if more else made
        return results

    def _known(self, sv: SensorVisit) -> tuple[SettingsOn | None, list[Read | Result]]:
        """Settings of the sensor on the day, and by plateau and channel a result, or what was read for one."""
        sensor = self.records.sensors.get(sv.sensor)
        settings = SettingsOn(self.records, sensor, sv.visit.day) if sensor else None
        reference = None if settings else self.records.references.get(sv.sensor)
        policy = self.records.facility.policy_on(sv.visit.day)
        channels = settings.channels if settings else tuple(Channel)
        at_sensor = settings is not None and settings.whole("judged_at") == "sensor"
        wanted = (Part.SENSOR, Part.TOTAL) if at_sensor else (Part.TOTAL, Part.SENSOR)
        of_visit = (sv.visit.id, sv.visit.revision, sv.visit.day, sv.sensor, *_instrument(settings, reference))
        found: list[Read | Result] = []
        for plateau in sv.plateaus:
            common = self._common(of_visit, sv.visit, plateau, policy)
            if plateau.status == "not done":
                found.append(blank_result(common._asdict(), Channel.HUMIDITY, status="not done"))
                continue
            if plateau.status == "stated":
                found.append(_stated(common, sv, settings, reference, policy, plateau))
                continue
            cell = self.cells[(sv.visit.path, sv.sensor, plateau.number)]
            for channel in channels:
                parts = self.lines.get((cell, channel), {})
                part = next((part for part in wanted if part in parts), None)
                if part is not None:  # a loop alone has no reference to be judged by
                    found.append(Read(common, sv, settings, reference, policy, plateau, channel, cell, parts, part))
                elif _was_read(sv, plateau, channel):  # a loop's fault: shown with what is held against it
                    held = tuple(self.measurement.reservations.get(cell, ()))
                    found.append(blank_result(common._asdict(), channel, status="not done", reservations=held))
        return settings, found

    def _of_visit(self, sv: SensorVisit, settings: SettingsOn | None, results: Sequence[Result]) -> list[Fault]:
        """Reservations that concern all of a sensor's results at one visit."""
        visit = sv.visit
        of_line = self.of_lines.get(visit.path, {})
        mine = (line for line, name in zip(visit.lines, visit.text["sensor"], strict=True) if name == sv.sensor)
        found = [fault for line in mine for fault in of_line.get(line, ())] if of_line else []
        working = settings.sensor.working_humidity if settings else None
        if working is None:
            return found
        done = [
            r.reference_value
            for r in results
            if r.channel is Channel.HUMIDITY and r.phase == "as_found" and r.status in ("done", "stated")
        ]
        if done and not min(done) <= working <= max(done):
            points = f"points from {min(done):.0f} to {max(done):.0f} %RH do"
            points = points if len(done) > 1 else f"a single point at {done[0]:.0f} %RH does"
            message = f"{points} not bracket the working humidity {working:g} %RH"
            cure = "calibrate below and above the humidity at which the sensor works"
            place = visit.place(sv.first_row, "target")
            found.append(Fault(rule=NOT_BRACKETED, place=place, message=message, cure=cure))
        return found

    def _common(
        self, of_visit: tuple[str, int, date, str, str, str], visit: Visit, plateau: Plateau, policy: Policy
    ) -> Common:
        row = plateau.rows[0]
        return Common(
            *of_visit,
            plateau=plateau.number,
            phase=plateau.phase,
            target=plateau.target,
            direction=plateau.direction,
            medium=visit.text["medium"][row] or "chamber",
            reference=visit.text["reference"][row],
            time_utc=int(visit.time_utc[row]),
            note=plateau.note,
            rule=self.rules[policy.from_],
        )


def _instrument(settings: SettingsOn | None, reference: Reference | None) -> tuple[str, str]:
    """Serial and model of what was calibrated or checked; of a reference its kind."""
    if settings:
        return settings.serial, settings.model
    return (reference.serial, reference.kind) if reference else ("", "")


def _stated(
    common: Common,
    sv: SensorVisit,
    settings: SettingsOn | None,
    reference: Reference | None,
    policy: Policy,
    plateau: Plateau,
) -> Result:
    """Another laboratory's result, as it stated it."""
    row, number = plateau.rows[0], sv.visit.number
    k = float(number["stated_k"][row])
    U = float(number["stated_U"][row])
    nu = freedom_from_k(k)
    reference_value, found = float(number["stated_reference"][row]), float(number["stated_error"][row])
    tolerance = Tolerances().at(settings, reference, Channel.HUMIDITY, plateau.phase, reference_value)
    judged = judge(policy, found, U / k, nu, U, tolerance)
    return blank_result(
        common._asdict(),
        Channel.HUMIDITY,
        status="stated",
        method="stated",
        answer="stated",
        reference_value=reference_value,
        error=found,
        error_sensor=found,
        u=U / k,
        nu_eff=nu,
        k=k,
        U=U,
        verdict=judged.verdict,
        tolerance=judged.tolerance,
        p_outside=judged.p_outside,
        tur=judged.tur,
    )


def _with_reservations(result: Result, more: Sequence[Fault]) -> Result:
    if result.status == "not done":
        return result
    verdict = unless_withheld(result.verdict, more)
    return result._replace(reservations=(*result.reservations, *more), verdict=verdict)


def _was_read(sv: SensorVisit, plateau: Plateau, channel: Channel) -> bool:
    rows = list(plateau.rows)
    return any(not math.isnan(value) for column in COLUMNS_OF[channel] for value in sv.visit.number[column][rows])
