"""Results of measured plateaus, all at once: judged by the policy of their day, with what is held against each."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import NamedTuple

import numpy as np

from asfound.assessment.results.conformity import Verdict, judge_all, tolerance_at, verdict_by_rule
from asfound.assessment.results.loops import WIDER_THAN_DECLARED, Loops
from asfound.assessment.results.points import Points
from asfound.assessment.results.saturation import Air, doubtful_air
from asfound.assessment.results.slots import Slot, held_against
from asfound.assessment.results.table import across_the_loop
from asfound.faults import Fault, Rule, reservation
from asfound.measurement.cell_sources import Part, temperature_away
from asfound.measurement.lines import Line, Measurement
from asfound.measurement.measure import UNSETTLED
from asfound.measurement.monte_carlo import Answer
from asfound.records.models import Channel, MeasuringRange, Policy, Tolerance
from asfound.records.settings_in_force import SettingsOn, shows_ice
from asfound.rounding import significant
from asfound.uncertainty.budgets import Budgets

OUTSIDE_SENSOR_RANGE = reservation(
    "outside-sensor-range", "the reference value lies outside the range the sensor is specified for", verdict=False
)
NO_TOLERANCE = reservation("no-tolerance", "no tolerance covers the reference value", verdict=False)
FAR_RH, FAR_SHARE = 2.0, 0.1
"""A plateau more than 2 %RH and a tenth of the target away from it was not what was aimed at (our choice)."""
FAR_FROM_TARGET = reservation(
    "far-from-target", "the humidity of a plateau is not the one that was aimed at", verdict=False, certificate=False
)
MISSED_SET_POINT = reservation(
    "missed-set-point", "a plateau was aimed at a set point, and its humidity does not count there"
)
FAR_END_IN_PART = reservation("far-end-in-part", "the far end of a loop was read in some rows of a plateau only")
LARGE_UNCERTAINTY = reservation(
    "large-uncertainty", "U is larger than the policy allows against the tolerance: no error passes"
)
NOISY_READINGS = reservation(
    "noisy-readings", "readings of a plateau scatter more than what is pooled or declared lets expect (1 %, one-sided)"
)
FEW_FREEDOM = 2.0
"""Degrees of freedom up to which Student's t has no finite variance."""
FEW_DEGREES_OF_FREEDOM = reservation(
    "few-degrees-of-freedom", "U rests on two degrees of freedom or fewer: how large it could come out has no bound"
)
OTHER_TEMPERATURE = reservation(
    "other-temperature",
    "calibrated away from the working temperature, and no temperature coefficient is declared",
)


def judged_columns(
    measurement: Measurement, answers: Mapping[int, Answer], slots: Sequence[Slot], points: Points
) -> tuple[list[int], dict[str, Sequence[object]]]:
    """The measured among the slots, and by column their values.

    `answers`: by line, where Monte Carlo decides; `points`: of all slots.
    """
    at = [i for i, slot in enumerate(slots) if slot.part is not None]
    reads = [slots[i] for i in at]
    budgets = measurement.whole()
    lines_of = {part: [read.parts.get(part) for read in reads] for part in Part}
    numbers = [read.parts[part] for read in reads if (part := read.part) is not None]
    lines = [measurement.lines[number] for number in numbers]
    reference_value = np.array([line.reference_value for line in lines], float)
    error = np.array([line.error for line in lines], float)
    limits = Tolerances()
    tolerance = np.array(
        [limits.at(read, line.reference_value) for read, line in zip(reads, lines, strict=True)], float
    )
    judged = _judged(budgets, answers, reads, numbers, error, tolerance)
    points = points.taken(at)
    temperature_c = [measurement.temperature_c[line.cell] for line in lines]
    loops = Loops(reads, points, np.array(temperature_c, float))
    loop = loops.half
    other_way = _other_way(reads, judged, error, loop, tolerance)
    shown = np.array([line.indication for line in lines], float)
    found = _reservations(measurement, reads, points, reference_value, tolerance, judged, lines, shown)
    for i, rule, message, cure, column in _of_readings(measurement, reads, loops, numbers, error):
        place = reads[i].sensor_visit.visit.place(reads[i].plateau.rows[0], column)
        found.setdefault(i, []).append(Fault(rule=rule, place=place, message=message, cure=cure))
    held = [(*held_against(measurement, read), *found.get(i, ())) for i, read in enumerate(reads)]
    every_U = budgets.U.tolist()

    def of_part(part: Part, value: Callable[[int], float]) -> list[float]:
        return [math.nan if number is None else value(number) for number in lines_of[part]]

    return at, {
        "method": [measurement.method[line.cell] for line in lines],
        "temperature_c": temperature_c,
        "n": [line.n for line in lines],
        "s": [line.s for line in lines],
        "repeatability": [line.repeatability.basis for line in lines],
        "reference_value": reference_value.tolist(),
        "output": of_part(Part.SENSOR, lambda number: measurement.lines[number].indication),
        "far_end": of_part(Part.TOTAL, lambda number: measurement.lines[number].indication),
        "error": error.tolist(),
        "part": [read.part for read in reads],
        "error_sensor": of_part(Part.SENSOR, lambda number: measurement.lines[number].error),
        "error_loop": of_part(Part.LOOP, lambda number: measurement.lines[number].error),
        "U_sensor": of_part(Part.SENSOR, every_U.__getitem__),
        "U_loop": of_part(Part.LOOP, every_U.__getitem__),
        "settling_correction": [line.settling_correction for line in lines],
        "u": judged.u.tolist(),
        "nu_eff": judged.nu.tolist(),
        "k": judged.k.tolist(),
        "U": judged.U.tolist(),
        "answer": ["monte carlo" if number in answers else "linear" for number in numbers],
        "tolerance": tolerance.tolist(),
        "verdict": [unless_withheld(one, faults) for one, faults in zip(judged.verdict, held, strict=True)],
        "p_outside": judged.p_outside.tolist(),
        "tur": judged.tur.tolist(),
        "one_way": loops.one_way,
        "loop": loop.tolist(),
        "other_way": [unless_withheld(one, faults) for one, faults in zip(other_way, held, strict=True)],
        "status": ["unsettled" if any(f.rule is UNSETTLED for f in faults) else "done" for faults in held],
        "reservations": held,
        "line": numbers,
    }


class _Judged(NamedTuple):
    """What a verdict rests on, shape (reads,)."""

    u: np.ndarray
    nu: np.ndarray
    k: np.ndarray
    U: np.ndarray
    verdict: np.ndarray
    p_outside: np.ndarray
    tur: np.ndarray


def _judged(
    budgets: Budgets,
    answers: Mapping[int, Answer],
    reads: Sequence[Slot],
    numbers: Sequence[int],
    error: np.ndarray,
    tolerance: np.ndarray,
) -> _Judged:
    """The verdicts on errors (of lines `numbers`) by the policy of each read, with the uncertainty that decides."""
    at = np.array(numbers, np.int64)
    u, nu, k, U = budgets.u[at], budgets.nu[at], budgets.k[at], budgets.U[at]
    verdict, p_outside, tur = np.empty(len(reads), object), np.zeros(len(reads)), np.zeros(len(reads))
    policies = {id(read.policy): read.policy for read in reads}
    of_policy = np.array([id(read.policy) for read in reads], np.int64)
    for key, policy in policies.items():
        at = np.flatnonzero(of_policy == key)
        verdict[at], p_outside[at], tur[at] = judge_all(policy, error[at], u[at], nu[at], U[at], tolerance[at])
    for i, number in enumerate(numbers if answers else ()):
        if (answer := answers.get(number)) is not None:
            limit = float(tolerance[i])
            u[i], k[i], U[i] = answer.u, answer.U / answer.u, answer.U
            p_outside[i], tur[i] = answer.outside(limit), limit / answer.U
            at_best = answer.outside(limit, centred=True)
            verdict[i] = verdict_by_rule(reads[i].policy, error[i], U[i], limit, p_outside[i], at_best)
    return _Judged(u, nu, k, U, verdict, p_outside, tur)


def _other_way(
    reads: Sequence[Slot], judged: _Judged, error: np.ndarray, loop: np.ndarray, tolerance: np.ndarray
) -> np.ndarray:
    """The verdicts on what the other side of the declared loop would have shown, with the same U."""
    found, other = judged.verdict.copy(), error.copy()
    looped = np.flatnonzero(loop > 0.0)
    for i in looped.tolist():
        other[i] += across_the_loop(reads[i].plateau.direction, error[i], loop[i])
    of_policy = {id(reads[i].policy): reads[i].policy for i in looped.tolist()}
    for key, policy in of_policy.items():
        at = np.array([i for i in looped.tolist() if id(reads[i].policy) == key], np.int64)
        found[at], _, _ = judge_all(policy, other[at], judged.u[at], judged.nu[at], judged.U[at], tolerance[at])
    return found


def unless_withheld(verdict: Verdict, reservations: Iterable[Fault]) -> Verdict:
    """The verdict, or none where a reservation withholds it."""
    return Verdict.NONE if any(fault.rule.withholds_verdict for fault in reservations) else verdict


class Tolerances:
    """Of a sensor its tolerance; of a reference that is checked between calibrations its check limit."""

    def __init__(self) -> None:
        self._known: dict[tuple[SettingsOn, Channel, str], tuple[Tolerance | None, MeasuringRange | None]] = {}

    def at(self, slot: Slot, reference_value: float) -> float:
        """The ± limit at a reference value, in the channel's unit; nan where there is none."""
        settings, reference, channel, phase = slot.settings, slot.reference, slot.channel, slot.plateau.phase
        if settings is None:
            limit = reference.check_limit if reference and phase == "check" else None
            return limit.humidity if limit and channel is Channel.HUMIDITY else math.nan
        key = (settings, channel, phase)
        if key not in self._known:
            self._known[key] = (settings.tolerance(channel, phase), settings.range(channel))
        tolerance, span = self._known[key]
        return tolerance_at(tolerance, reference_value, span) if tolerance else math.nan


def far_from_target(humidity: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Whether plateaus missed their targets by more than FAR_RH and a share of them; nan: they did not."""
    return np.abs(humidity - target) > FAR_RH + FAR_SHARE * target


def _reservations(
    measurement: Measurement,
    reads: Sequence[Slot],
    points: Points,
    value: np.ndarray,
    tolerance: np.ndarray,
    judged: _Judged,
    lines: Sequence[Line],
    shown: np.ndarray,
) -> dict[int, list[Fault]]:
    """By position in `reads`, what is held against a sensor's result beyond what its plateau brought along."""
    found: dict[int, list[Fault]] = {}
    hold = partial(_hold, found, reads)
    specified: dict[tuple[int, Channel], tuple[float, float, float]] = {}
    for read in reads:
        if (id(read.settings), read.channel) not in specified:
            specified[id(read.settings), read.channel] = _specified(read.settings, read.channel)
    of_read = [specified[id(read.settings), read.channel] for read in reads]
    lowest, highest, working = np.array(of_read, float).reshape(-1, 3).T
    mine = np.array([read.settings is not None for read in reads], bool)
    humidity = np.array([read.channel is Channel.HUMIDITY for read in reads], bool)
    target = np.array([read.plateau.target for read in reads], float)
    temperature = np.array([measurement.temperature_c[read.cell] for read in reads if read.cell is not None], float)
    wet = Air(
        humidity=np.where(humidity, value, np.nan),
        U=judged.U,
        target=np.where(humidity, target, np.nan),
        shown=np.where(humidity, shown, np.nan),
        tolerance=tolerance,
        over_ice=np.array([shows_ice(read.settings or read.reference) for read in reads], bool),
        temperature_c=temperature,
        pressure_pa=np.array([measurement.pressure_pa[read.cell] for read in reads if read.cell is not None], float),
    )

    for i, rule, message, cure, column in doubtful_air(wet):
        hold(i, rule, message, cure, column)
    for i in np.flatnonzero(mine & ~np.isnan(lowest) & ~((lowest <= value) & (value <= highest))).tolist():
        unit = reads[i].channel.unit
        message = f"{value[i]:.1f} {unit} is outside the sensor's range {lowest[i]:g} to {highest[i]:g} {unit}"
        hold(i, OUTSIDE_SENSOR_RANGE, message, "calibrate within the range, or correct the range on record")
    for i in np.flatnonzero(mine & humidity & far_from_target(value, target)).tolist():
        message = f"{value[i]:.1f} %RH by the reference, where {target[i]:g} %RH was aimed at"
        cure = "correct the target or the reading; rows of different points are no repeats"
        hold(i, FAR_FROM_TARGET, message, cure, "target")
    missed = mine & humidity & ~np.isnan(points.aimed_at) & (points.point != points.aimed_at)
    for i in np.flatnonzero(missed).tolist():
        away = f"{abs(value[i] - points.aimed_at[i]):.2g} %RH from the set point {points.aimed_at[i]:g} %RH"
        message = f"{value[i]:.4g} %RH lies {away}: only nearer than {points.reach[i]:.2g} %RH does it count there"
        hold(i, MISSED_SET_POINT, message, "read the set point again, nearer to it", "target")
    for i in np.flatnonzero(mine & np.isnan(tolerance)).tolist():
        channel, day = reads[i].channel, reads[i].sensor_visit.visit.day
        message = f"no {channel.value} tolerance covers {value[i]:.1f} {channel.unit} on {day}"
        cure = "add a band, or limits beside the bands, to the tolerance of the sensor or its family"
        hold(i, NO_TOLERANCE, message, cure)
    for i in np.flatnonzero(mine & (temperature_away(working, temperature) != 0.0)).tolist():
        message = f"holds at {temperature[i]:.1f} degC only; the sensor works at {working[i]:g} degC"
        cure = "calibrate at the working temperature, or declare the temperature coefficient"
        hold(i, OTHER_TEMPERATURE, message, cure)
    _of_uncertainty(found, measurement, reads, tolerance, judged, lines)
    return found


def _hold(
    found: dict[int, list[Fault]],
    reads: Sequence[Slot],
    i: int,
    rule: Rule,
    message: str,
    cure: str,
    column: str = "sensor",
) -> None:
    """Hold something against the result of a read."""
    place = reads[i].sensor_visit.visit.place(reads[i].plateau.rows[0], column)
    found.setdefault(i, []).append(Fault(rule=rule, place=place, message=message, cure=cure))


def _of_uncertainty(
    found: dict[int, list[Fault]],
    measurement: Measurement,
    reads: Sequence[Slot],
    tolerance: np.ndarray,
    judged: _Judged,
    lines: Sequence[Line],
) -> None:
    """What is held against U, and against the scatter that it rests on."""
    hold, U = partial(_hold, found, reads), judged.U
    ratio = np.array([_largest_ratio(read.policy) for read in reads], float)
    for i in np.flatnonzero(ratio * tolerance < U).tolist():
        allowed = f"simple acceptance allows {ratio[i]:g}: nothing is decided but |error| > T + U"
        message = f"U/T is {U[i] / tolerance[i]:.2f}, {allowed}"
        hold(i, LARGE_UNCERTAINTY, message, "use a better reference, or a rule with a guard band")
    for i in np.flatnonzero(judged.nu <= FEW_FREEDOM).tolist():
        size = f"U = {significant(U[i], 2)} {reads[i].channel.unit}, k = {judged.k[i]:.2f}"
        known = f"rests on ν = {significant(judged.nu[i], 2)}: what makes most of it is known from so little"
        cure = "see its budget: read the point more often, or declare the repeatability of the family"
        hold(i, FEW_DEGREES_OF_FREEDOM, f"{size} {known} that it may come out at any size", cure)
    for i, line in enumerate(lines):
        settled = all(fault.rule is not UNSETTLED for fault in held_against(measurement, reads[i]))
        if settled and line.repeatability.expected is not None:
            hold(
                i,
                NOISY_READINGS,
                _scattered(line),
                "find what moved and read the point again; or declare so much of the family",
            )


def _scattered(line: Line) -> str:
    """By how much readings scatter, and by how much they were expected to."""
    known = line.repeatability
    unit = line.channel.unit
    expected = (
        f"{known.expected:.2g} {unit} {'is declared' if known.by_declaration else 'is what earlier visits showed'}"
    )
    return f"{line.n} readings scatter by {line.s:.2g} {unit} (s), where {expected}: their own s is in U"


def _of_readings(
    measurement: Measurement, reads: Sequence[Slot], loops: Loops, numbers: Sequence[int], error: np.ndarray
) -> Iterator[tuple[int, Rule, str, str, str]]:
    """(position in `reads`, rule, message, cure, column) of what the readings themselves leave open."""
    for i, message in loops.far_wider(measurement.whole(), numbers, error):
        cure = "read both ways again with a longer soak; where it stays, declare what was found from its day on"
        yield i, WIDER_THAN_DECLARED, message, cure, "target"
    for i, (read, number) in enumerate(zip(reads, numbers, strict=True)):
        line, rows = measurement.lines[number], len(read.plateau.rows)
        if line.part is Part.TOTAL and line.n < rows:
            message = f"the far end was read in {line.n} of {rows} rows: the verdict rests on {line.n}"
            cure = "read sensor and far end together in every row"
            yield i, FAR_END_IN_PART, message, cure, read.channel.declaration.far_end


def _specified(settings: SettingsOn | None, channel: Channel) -> tuple[float, float, float]:
    """Lowest and highest value of the sensor's range, and a working temperature that nothing carries results to."""
    if settings is None:
        return math.nan, math.nan, math.nan
    span = settings.range(channel)
    lowest, highest = (span.lowest.value, span.highest.value) if span else (math.nan, math.nan)
    # The coefficient carries the humidity to another temperature; nothing carries the temperature channel there.
    carried = channel is Channel.HUMIDITY and settings.known("temperature_coefficient")
    working = settings.sensor.working_temperature
    return lowest, highest, math.nan if carried or working is None else working


def _largest_ratio(policy: Policy) -> float:
    """The largest U/T that simple acceptance allows; nan where another rule is in force, which weighs U itself."""
    return policy.largest_u_over_t if policy.rule == "simple_acceptance" else math.nan
