"""Results: one for each plateau and channel, with its verdict; what the site, the data and certificates show."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from generator.assessment.conformity import Judgement, Verdict, judge, rule_in_words, tolerance_at, verdict_by_rule
from generator.assessment.result import Result, blank_result
from generator.faults import Fault, Rule, Severity, reservation
from generator.records.load import Records
from generator.records.models import Channel, Policy, in_force
from generator.records.rows import Plateau, SensorVisit
from generator.records.settings import SettingsOn
from generator.uncertainty.cell_sources import Part, temperature_away
from generator.uncertainty.indications import COLUMNS_OF
from generator.uncertainty.measured import Line, Measurement
from generator.uncertainty.monte_carlo import Answer
from generator.uncertainty.sources import freedom_from_k

OUTSIDE_SENSOR_RANGE = reservation(
    "outside-sensor-range", "the reference value lies outside the range the sensor is specified for", verdict=False
)
NO_TOLERANCE = reservation("no-tolerance", "no tolerance covers the reference value", verdict=False)
FAR_RH, FAR_SHARE = 2.0, 0.1
"""A plateau more than 2 %RH and a tenth of the target away from it was not what was aimed at (our choice)."""
FAR_FROM_TARGET = reservation(
    "far-from-target", "the humidity of a plateau is not the one that was aimed at", verdict=False, certificate=False
)
NOT_BRACKETED = reservation("points-do-not-bracket", "the points of a visit do not bracket the working humidity")
LARGE_UNCERTAINTY = reservation("large-uncertainty", "U is larger than the policy allows against the tolerance")
OTHER_TEMPERATURE = reservation(
    "other-temperature",
    "calibrated away from the working temperature, and no temperature coefficient is declared",
)


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
    results: list[Result] = []
    for sv in sensor_visits:
        if not sv.withdrawn:
            results += maker.of(sv)
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
        self.budget = {name: getattr(measurement.whole(), name).tolist() for name in ("u", "nu", "k", "U")}
        policies = records.facility.policies
        self.rules = {policy.from_: rule_in_words(policy) for policy in policies}
        self.cells = {
            (cell.sensor_visit.visit.path, cell.sensor_visit.sensor, cell.plateau.number): i
            for i, cell in enumerate(measurement.cells)
        }
        self.lines: dict[tuple[int, Channel], dict[Part, int]] = {}
        for number, line in enumerate(measurement.lines):
            self.lines.setdefault((line.cell, line.channel), {})[line.part] = number

    def of(self, sv: SensorVisit) -> list[Result]:
        sensor = self.records.sensors.get(sv.sensor)
        settings = SettingsOn(self.records, sensor, sv.visit.day) if sensor else None
        policies = self.records.facility.policies
        policy = in_force(policies, sv.visit.day) or policies[0]
        channels = settings.channels if settings else tuple(Channel)
        found: list[Result] = []
        for plateau in sv.plateaus:
            if plateau.status == "not done":
                found.append(self._not_done(sv, settings, policy, plateau))
            elif plateau.status == "stated":
                found.append(self._stated(sv, settings, policy, plateau))
            else:
                cell = self.cells[(sv.visit.path, sv.sensor, plateau.number)]
                for channel in channels:
                    parts = self.lines.get((cell, channel), {})
                    if parts.keys() & {Part.SENSOR, Part.TOTAL}:  # a loop alone has no reference to be judged by
                        found.append(self._measured(sv, settings, policy, plateau, cell, channel, parts))
                    elif _was_read(sv, plateau, channel):
                        found.append(self._without_result(sv, settings, policy, plateau, cell, channel))
        more = self._of_visit(sv, settings, found)
        return [_with_reservations(result, more) for result in found] if more else found

    def _of_visit(self, sv: SensorVisit, settings: SettingsOn | None, results: Sequence[Result]) -> list[Fault]:
        """Reservations that concern all of a sensor's results at one visit."""
        visit = sv.visit
        of_line = self.of_lines.get(visit.path, {})
        mine = (line for line, name in zip(visit.lines, visit.text["sensor"], strict=True) if name == sv.sensor)
        found = [fault for line in mine for fault in of_line.get(line, ())] if of_line else []
        working = settings.sensor.working_humidity if settings else None
        done = [
            r.reference_value
            for r in results
            if r.channel is Channel.HUMIDITY and r.phase == "as_found" and r.status in ("done", "stated")
        ]
        if working is not None and done and not min(done) <= working <= max(done):
            points = f"points from {min(done):.0f} to {max(done):.0f} %RH do"
            points = points if len(done) > 1 else f"a single point at {done[0]:.0f} %RH does"
            message = f"{points} not bracket the working humidity {working:g} %RH"
            cure = "calibrate below and above the humidity at which the sensor works"
            place = visit.place(sv.first_row, "target")
            found.append(Fault(rule=NOT_BRACKETED, place=place, message=message, cure=cure))
        return found

    def _common(
        self, sv: SensorVisit, settings: SettingsOn | None, plateau: Plateau, policy: Policy
    ) -> dict[str, object]:
        row, visit = plateau.rows[0], sv.visit
        reference = self.records.references.get(sv.sensor)
        return {
            "visit": visit.id,
            "revision": visit.revision,
            "day": visit.day,
            "sensor": sv.sensor,
            "serial": settings.serial if settings else reference.serial if reference else "",
            "model": settings.model if settings else reference.kind if reference else "",
            "plateau": plateau.number,
            "phase": plateau.phase,
            "target": plateau.target,
            "direction": plateau.direction,
            "medium": visit.text["medium"][row] or "chamber",
            "reference": visit.text["reference"][row],
            "time_utc": int(visit.time_utc[row]),
            "note": plateau.note,
            "rule": self.rules[policy.from_],
        }

    def _without_result(
        self,
        sv: SensorVisit,
        settings: SettingsOn | None,
        policy: Policy,
        plateau: Plateau,
        cell: int,
        channel: Channel,
    ) -> Result:
        """A plateau whose readings are none (a loop's fault): shown with what is held against it."""
        reservations = tuple(self.measurement.reservations.get(cell, ()))
        return blank_result(
            self._common(sv, settings, plateau, policy), channel, status="not done", reservations=reservations
        )

    def _not_done(self, sv: SensorVisit, settings: SettingsOn | None, policy: Policy, plateau: Plateau) -> Result:
        return blank_result(self._common(sv, settings, plateau, policy), Channel.HUMIDITY, status="not done")

    def _stated(self, sv: SensorVisit, settings: SettingsOn | None, policy: Policy, plateau: Plateau) -> Result:
        """Another laboratory's result, as it stated it."""
        row, number = plateau.rows[0], sv.visit.number
        k = float(number["stated_k"][row])
        U = float(number["stated_U"][row])
        nu = freedom_from_k(k)
        reference_value, found = float(number["stated_reference"][row]), float(number["stated_error"][row])
        tolerance = self._tolerance(sv, settings, Channel.HUMIDITY, plateau.phase, reference_value)
        judged = judge(policy, found, U / k, nu, U, tolerance)
        return blank_result(
            self._common(sv, settings, plateau, policy),
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
            **_judged(judged),
        )

    def _measured(
        self,
        sv: SensorVisit,
        settings: SettingsOn | None,
        policy: Policy,
        plateau: Plateau,
        cell: int,
        channel: Channel,
        parts: dict[Part, int],
    ) -> Result:
        budget, measurement = self.budget, self.measurement
        part = self._judged_part(settings, parts)
        number = parts[part]
        line = measurement.lines[number]
        answer = self.answers.get(number)
        u, nu, k, U = (budget[name][number] for name in ("u", "nu", "k", "U"))
        tolerance = self._tolerance(sv, settings, channel, plateau.phase, line.reference_value)
        judged = judge(policy, line.error, u, nu, U, tolerance)
        if answer is not None:
            u, k, U = answer.u, answer.U / answer.u, answer.U
            p = answer.outside(tolerance)
            verdict = verdict_by_rule(policy, line.error, U, tolerance, p, answer.outside(tolerance, centred=True))
            judged = Judgement(verdict=verdict, tolerance=tolerance, p_outside=p, tur=tolerance / U)
        reservations = [*measurement.reservations.get(cell, [])]
        reservations += self._reservations(sv, settings, policy, plateau, channel, line, judged, U)
        verdict = judged.verdict
        if any(f.rule.withholds_verdict for f in reservations):
            verdict = Verdict.NONE
        unsettled = any(f.rule.name == "unsettled-plateau" for f in reservations)
        sensor, far_end, loop = (
            measurement.lines[parts[p]] if p in parts else None for p in (Part.SENSOR, Part.TOTAL, Part.LOOP)
        )
        return Result(
            **self._common(sv, settings, plateau, policy),  # type: ignore[arg-type]
            channel=channel,
            method=measurement.method[cell],
            temperature_c=measurement.temperature_c[cell],
            n=line.n,
            s=line.s,
            repeatability=line.repeatability.basis,
            reference_value=line.reference_value,
            output=sensor.indication if sensor else math.nan,
            far_end=far_end.indication if far_end else math.nan,
            error=line.error,
            part=part,
            error_sensor=sensor.error if sensor else math.nan,
            error_loop=loop.error if loop else math.nan,
            U_sensor=budget["U"][parts[Part.SENSOR]] if sensor else math.nan,
            U_loop=budget["U"][parts[Part.LOOP]] if loop else math.nan,
            settling_correction=line.settling_correction,
            u=u,
            nu_eff=nu,
            k=k,
            U=U,
            answer="monte carlo" if answer is not None else "linear",
            tolerance=judged.tolerance,
            verdict=verdict,
            p_outside=judged.p_outside,
            tur=judged.tur,
            status="unsettled" if unsettled else "done",
            reservations=tuple(reservations),
            line=number,
        )

    def _judged_part(self, settings: SettingsOn | None, parts: dict[Part, int]) -> Part:
        at_sensor = settings is not None and settings.whole("judged_at") == "sensor"
        wanted = (Part.SENSOR, Part.TOTAL) if at_sensor else (Part.TOTAL, Part.SENSOR)
        return next(part for part in wanted if part in parts)

    def _tolerance(
        self, sv: SensorVisit, settings: SettingsOn | None, channel: Channel, phase: str, reference_value: float
    ) -> float:
        """Of a sensor its tolerance; of a reference that is checked between calibrations its check limit."""
        if settings is None:
            reference = self.records.references.get(sv.sensor)
            limit = reference.check_limit if reference and phase == "check" else None
            return limit.humidity if limit and channel is Channel.HUMIDITY else math.nan
        tolerance = settings.tolerance(channel, phase)
        return tolerance_at(tolerance, reference_value, settings.range(channel)) if tolerance else math.nan

    def _reservations(
        self,
        sv: SensorVisit,
        settings: SettingsOn | None,
        policy: Policy,
        plateau: Plateau,
        channel: Channel,
        line: Line,
        judged: Judgement,
        U: float,
    ) -> list[Fault]:
        if settings is None:
            return []
        found: list[Fault] = []

        def hold(rule: Rule, message: str, cure: str, column: str = "sensor") -> None:
            found.append(Fault(rule=rule, place=sv.visit.place(plateau.rows[0], column), message=message, cure=cure))

        span = settings.range(channel)
        if span and not (span.lowest.value <= line.reference_value <= span.highest.value):
            message = (
                f"{line.reference_value:.1f} {channel.unit} is outside the sensor's range "
                f"{span.lowest.value:g} to {span.highest.value:g} {channel.unit}"
            )
            cure = "calibrate within the range, or correct the range on record"
            hold(OUTSIDE_SENSOR_RANGE, message, cure)
        if channel is Channel.HUMIDITY and far_from_target(line.reference_value, plateau.target):
            message = f"{line.reference_value:.1f} %RH by the reference, where {plateau.target:g} %RH was aimed at"
            cure = "correct the target or the reading; rows of different points are no repeats"
            hold(FAR_FROM_TARGET, message, cure, "target")
        if math.isnan(judged.tolerance):
            message = f"no {channel.value} tolerance covers {line.reference_value:.1f} {channel.unit} on {sv.visit.day}"
            cure = "add a band, or limits beside the bands, to the tolerance of the sensor or its family"
            hold(NO_TOLERANCE, message, cure)
        ratio = policy.largest_u_over_t
        if policy.rule == "simple_acceptance" and ratio is not None and ratio * judged.tolerance < U:
            message = f"U/T is {U / judged.tolerance:.2f}, the policy allows {ratio:g}"
            cure = "use a better reference, or a rule with a guard band"
            hold(LARGE_UNCERTAINTY, message, cure)
        temperature = self.measurement.temperature_c[line.cell]
        working = settings.sensor.working_temperature
        away = working is not None and bool(temperature_away(np.array(working), np.array(temperature)))
        # The coefficient carries the humidity to another temperature; nothing carries the temperature channel there.
        carried = channel is Channel.HUMIDITY and settings.whole("temperature_coefficient")
        if away and not carried:
            message = f"holds at {temperature:.1f} degC only; the sensor works at {working:g} degC"
            cure = "calibrate at the working temperature, or declare the temperature coefficient"
            hold(OTHER_TEMPERATURE, message, cure)
        return found


def far_from_target(humidity: float, target: float) -> bool:
    """Whether a plateau missed its target by more than FAR_RH and a share of it; nan: it did not."""
    return abs(humidity - target) > FAR_RH + FAR_SHARE * target


def _with_reservations(result: Result, more: Sequence[Fault]) -> Result:
    if result.status == "not done":
        return result
    withheld = any(fault.rule.withholds_verdict for fault in more)
    verdict = Verdict.NONE if withheld else result.verdict
    return replace(result, reservations=(*result.reservations, *more), verdict=verdict)


def _was_read(sv: SensorVisit, plateau: Plateau, channel: Channel) -> bool:
    rows = list(plateau.rows)
    return any(not math.isnan(value) for column in COLUMNS_OF[channel] for value in sv.visit.number[column][rows])


def _judged(judged: Judgement) -> dict[str, object]:
    return {
        "verdict": judged.verdict,
        "tolerance": judged.tolerance,
        "p_outside": judged.p_outside,
        "tur": judged.tur,
    }
