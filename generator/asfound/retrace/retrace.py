"""A reference was wrong: everything that leaned on it, measured again from raw readings with its further error.

What a shifted reference calibrated here is wrong too, and what that calibrated. Sources and scatter stay as they are:
a shift moves values, it is no new source of uncertainty.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from typing import TypeVar

import numpy as np

from asfound.assessment.assess import Assessment
from asfound.assessment.findings.cases import Case, find_cases
from asfound.assessment.pipeline import judged, measured
from asfound.assessment.references.doubt import REFERENCE_IN_DOUBT
from asfound.assessment.results.conformity import Verdict
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result, Results
from asfound.assessment.standing import State, state_of
from asfound.faults import Fault
from asfound.measurement.lines import Line, Measurement
from asfound.measurement.monte_carlo import NEAR_SATURATION, Answer, monte_carlo
from asfound.measurement.shifts import Shift
from asfound.records.models import Channel
from asfound.records.settings_in_force import instrument_on
from asfound.records.visits.rows import SensorVisit

SAME = 1e-9
"""An error that changed by less than this share of its U did not move: sums round."""
CERTIFICATE_SHARE = 0.1
"""A certificate is to be issued anew where an error moved by more than this share of its U (our choice)."""
SAME_SHAPE = 0.01
"""A Monte Carlo distribution is carried along, scaled, where u changed by no more than this share; else drawn anew."""
_SPLIT = {"error_sensor": "U_sensor", "error_loop": "U_loop"}
_U_OF = {"error": "U", **_SPLIT}
_GRAVITY = (State.NEVER, State.NONE, State.IN, State.CLOSE, State.OUT)


@dataclass(frozen=True, kw_only=True)
class Moved:
    """One result before and after."""

    before: Result
    after: Result

    @property
    def part(self) -> str:
        """What moves: `error`, which is judged; `error_sensor` or `error_loop` where only its split does."""
        if self._share("error", "U") > SAME or math.isnan(self.change_of("error")):
            return "error"
        return max(_SPLIT, key=lambda name: self._share(name, _SPLIT[name]))

    @property
    def change(self) -> float:
        """Change of `part`, in the channel's unit; nan where no value can be computed any more."""
        return self.change_of(self.part)

    @property
    def share(self) -> float:
        """Size of the change as a share of the U of `part` before; nan likewise."""
        return abs(self.change) / float(getattr(self.before, _U_OF[self.part]))

    def change_of(self, name: str) -> float:
        """Change of one of the errors."""
        return float(getattr(self.after, name) - getattr(self.before, name))

    def _share(self, name: str, U: str) -> float:
        """0 where there is no such error."""
        share = abs(self.change_of(name)) / float(getattr(self.before, U))
        return 0.0 if math.isnan(share) else share

    @property
    def verdict_changed(self) -> bool:
        """Whether the verdict is another."""
        return self.before.verdict is not self.after.verdict

    @property
    def lost(self) -> bool:
        """Whether it has no value any more (its readings contradict physics), or no verdict (outside a range)."""
        unjudged = self.verdict_changed and self.after.verdict is Verdict.NONE
        return unjudged or (math.isnan(self.after.error) and not math.isnan(self.before.error))

    @property
    def reissue(self) -> bool:
        """Whether its certificate, if it may have one, no longer says what is known."""
        # Doubt in its reference is what a retrace settles: it may have been issued before the doubt arose.
        others = [f.rule for f in self.before.reservations if f.rule is not REFERENCE_IN_DOUBT]
        if self.before.line is None or any(rule.withholds_certificate for rule in others):
            return False
        return self.verdict_changed or not self.share <= CERTIFICATE_SHARE


@dataclass(frozen=True, kw_only=True)
class StateChange:
    """A sensor whose conformity is another."""

    sensor: str
    before: State
    after: State

    @property
    def worse(self) -> bool:
        """Whether it is out of tolerance or too close to call, and was not as bad before: a sensor to recall."""
        return self.after in (State.CLOSE, State.OUT) and _GRAVITY.index(self.after) > _GRAVITY.index(self.before)


@dataclass(frozen=True, kw_only=True)
class Retrace:
    """What a reference's further errors change. Results that do not move are left out."""

    shifts: tuple[Shift, ...]
    moved: tuple[Moved, ...]
    """in order of day, visit, sensor, channel and plateau"""
    states: tuple[StateChange, ...]
    opened: tuple[Case, ...]
    """findings that there would be besides"""
    dropped: tuple[Case, ...]
    """findings that there would not be"""
    faults: tuple[Fault, ...]
    """why results can no longer be computed"""

    @property
    def verdicts(self) -> tuple[Moved, ...]:
        """Those of which the verdict is another."""
        return tuple(m for m in self.moved if m.verdict_changed)

    @property
    def lost(self) -> tuple[Moved, ...]:
        """Those left without value or verdict: nothing is known of them, neither better nor worse."""
        return tuple(m for m in self.moved if m.lost)

    @property
    def visits(self) -> tuple[str, ...]:
        """Ids of the visits of which results move, in order of days."""
        return tuple(dict.fromkeys(m.before.visit for m in self.moved))

    @property
    def largest(self) -> Moved | None:
        """The one that moves by the largest share of its U."""
        return max((m for m in self.moved if m.share >= 0.0), key=lambda m: m.share, default=None)

    @property
    def certificates(self) -> tuple[tuple[str, str], ...]:
        """(sensor, visit) of certificates to issue anew: another verdict, or an error moved by more than 0.1 U."""
        return tuple(dict.fromkeys((m.before.sensor, m.before.visit) for m in self.moved if m.reissue))

    @property
    def recalls(self) -> tuple[StateChange, ...]:
        """Sensors to recall: out of tolerance or too close to call by it, and not as bad before."""
        return tuple(change for change in self.states if change.worse)


def retrace(assessment: Assessment, shifts: Sequence[Shift]) -> Retrace:
    """What is otherwise where references had these further errors."""
    return Retracer(assessment).retrace(shifts)


class Retracer:
    """An assessment, with what every retrace looks up in it."""

    def __init__(self, assessment: Assessment) -> None:
        self.assessment, self.records = assessment, assessment.records
        measurement = assessment.measurement
        self.numbers = {measurement.key(line): number for number, line in enumerate(measurement.lines)}
        self.known = {key: measurement.lines[number].repeatability for key, number in self.numbers.items()}
        self.results = {result.key: result for result in assessment.results}
        self.visits: dict[str, list[SensorVisit]] = {}
        """path → its sensors' parts"""
        self.standing: dict[str, list[SensorVisitSummary]] = {}
        """sensor → its visits that stand"""
        for summary in assessment.summaries:
            sv = summary.sensor_visit
            self.visits.setdefault(sv.visit.path, []).append(sv)
            if not sv.withdrawn:
                self.standing.setdefault(sv.sensor, []).append(summary)
        self.users: dict[tuple[str, str, date], list[int]] = {}
        """calibration → cells that lean on it by their own readings"""
        self.own: dict[tuple[str, str], list[int]] = {}
        """(reference, visit) → cells in which a visit here read the reference itself"""
        for number, cell in enumerate(measurement.cells):
            for calibration in sorted(measurement.used.get(number, ())):
                self.users.setdefault(calibration, []).append(number)
            if cell.sensor_visit.sensor in self.records.references:
                self.own.setdefault((cell.sensor_visit.sensor, cell.sensor_visit.visit.id), []).append(number)
        self.by_visit = [
            (calibration, (reference.id, entry.from_visit))
            for reference in self.records.references.values()
            for quantity, known in reference.quantities.items()
            for entry in known.calibrations
            if entry.from_visit and (calibration := (reference.id, quantity, entry.date)) in self.users
        ]

    def retrace(self, shifts: Sequence[Shift]) -> Retrace:
        """What is otherwise where references had these further errors."""
        touched = self._paths(self._leaning(shifts))
        again = self._parts(self._with_calibrating(touched))
        found = measured(self.records, again, self.assessment.reservations, shifts=tuple(shifts), known=self.known)
        measurement = found.measurement
        results = judged(found, self._answers(measurement), self._parts(touched)).results
        pairs = (Moved(before=self.results[r.key], after=r) for r in _refused(measurement, results))
        moved = tuple(pair for pair in pairs if _differs(pair))
        after = self._after(moved)
        # A result without value or verdict acquits nobody: what falls away with it is not known to fall away.
        lost = {(m.before.sensor, m.before.visit) for m in moved if m.lost}
        unsure = {sensor for sensor, _ in lost}
        opened, dropped = self._cases(after)
        return Retrace(
            shifts=tuple(shifts),
            moved=moved,
            states=tuple(change for change in self._states(after) if change.worse or change.sensor not in unsure),
            opened=opened,
            dropped=tuple(case for case in dropped if (case.sensor, case.visit) not in lost),
            faults=tuple(measurement.faults),
        )

    def _parts(self, paths: set[str]) -> list[SensorVisit]:
        """The parts of these visits, in the order of the assessment."""
        return [sv for path, parts in self.visits.items() if path in paths for sv in parts]

    def _leaning(self, shifts: Sequence[Shift]) -> set[int]:
        """Cells that lean on what was shifted, on its days, by themselves or by what it calibrated here."""
        cells = self.assessment.measurement.cells
        found = {
            number
            for shift in shifts
            for (reference, quantity, _), users in self.users.items()
            if (reference, quantity) == (shift.reference, shift.quantity)
            for number in users
            if shift.holds(cells[number].sensor_visit.visit.day)
        }

        def more() -> set[int]:
            moved = [calibration for calibration, own in self.by_visit if not found.isdisjoint(self.own.get(own, ()))]
            return {number for calibration in moved for number in self.users[calibration]}

        return _closed(found, more)

    def _with_calibrating(self, paths: set[str]) -> set[str]:
        """These visits, and those that calibrated what was read at them."""
        cells = self.assessment.measurement.cells
        found = set(paths)

        def more() -> set[str]:
            needed = [
                own
                for calibration, own in self.by_visit
                if any(cells[number].sensor_visit.visit.path in found for number in self.users[calibration])
            ]
            return self._paths(number for own in needed for number in self.own.get(own, ()))

        return _closed(found, more)

    def _paths(self, cells: Iterable[int]) -> set[str]:
        return {self.assessment.measurement.cells[number].sensor_visit.visit.path for number in cells}

    def _answers(self, measurement: Measurement) -> dict[int, Answer]:
        """Monte Carlo answers of the lines that had one before."""
        chosen = []
        for number, line in enumerate(measurement.lines):
            before = self.numbers.get(measurement.key(line), -1)
            if before in self.assessment.answers:
                chosen.append((number, self.assessment.measurement.lines[before], self.assessment.answers[before]))
        # Each answer has its own seed, so threads change nothing but the time.
        with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
            answers = pool.map(lambda found: _answer(measurement, *found), chosen)
            return {number: answer for (number, _, _), answer in zip(chosen, answers, strict=True)}

    def _after(self, moved: Sequence[Moved]) -> dict[str, list[SensorVisitSummary]]:
        """By sensor of which results move, its visits that stand, with the results after."""
        after = {m.after.key: m.after for m in moved}
        return {
            name: [
                replace(visit, results=Results.of(after.get(r.key, r) for r in visit.results))
                for visit in self.standing[name]
            ]
            for name in sorted({m.before.sensor for m in moved})
        }

    def _states(self, after: Mapping[str, Sequence[SensorVisitSummary]]) -> Iterator[StateChange]:
        for name, visits in after.items():
            standing = self.assessment.standings.get(name)
            instrument = instrument_on(standing.sensor, self.assessment.day) if standing else None
            if standing is None or instrument is None:
                continue
            state, _, _ = state_of([v for v in visits if v.results and v.results[0].serial == instrument.serial])
            if state is not standing.state:
                yield StateChange(sensor=name, before=standing.state, after=state)

    def _cases(self, after: Mapping[str, Sequence[SensorVisitSummary]]) -> tuple[tuple[Case, ...], tuple[Case, ...]]:
        """Findings that appear, and those that vanish."""
        found = find_cases(after, self.records.findings)
        before = [case for case in self.assessment.cases if case.sensor in after]
        there, here = {(c.sensor, c.visit) for c in before}, {(c.sensor, c.visit) for c in found}
        opened = tuple(c for c in found if (c.sensor, c.visit) not in there)
        return opened, tuple(c for c in before if (c.sensor, c.visit) not in here)


_Member = TypeVar("_Member")


def _closed(found: set[_Member], more: Callable[[], set[_Member]]) -> set[_Member]:
    """`found`, grown by `more` until there is no more."""
    while not (new := more()) <= found:
        found |= new
    return found


def _refused(measurement: Measurement, results: Iterable[Result]) -> Iterator[Result]:
    """The results, those without their numbers of which a reading contradicts physics."""
    broken = {(fault.place.path, fault.place.line) for fault in measurement.faults}
    for result in results:
        if broken and result.line is not None:
            cell = measurement.cells[measurement.lines[result.line].cell]
            visit = cell.sensor_visit.visit
            if any((visit.path, visit.lines[row]) in broken for row in cell.plateau.rows):
                result = result.altered(error=math.nan, verdict=Verdict.NONE, status="not done")
        yield result


def _differs(moved: Moved) -> bool:
    if moved.before.line is None and moved.after.line is None:
        return False
    return moved.verdict_changed or moved.before.status != moved.after.status or not moved.share <= SAME


def _answer(measurement: Measurement, number: int, before: Line, answer: Answer) -> Answer:
    """The distribution after: as it was where nothing moved, carried along where its shape stays, else drawn anew."""
    line, u = measurement.lines[number], float(measurement.whole().u[number])
    ratio = u / answer.u
    moved = line.error - before.error
    if abs(moved) <= SAME * u:
        return answer
    highest = np.fmax(line.reference_value, before.reference_value) + 3.0 * u
    wet = line.channel is Channel.HUMIDITY and highest > NEAR_SATURATION
    if wet or abs(ratio - 1.0) > SAME_SHAPE:
        return monte_carlo(measurement, number)
    return replace(
        answer,
        estimate=line.error,
        u=u,
        U=answer.U * ratio,
        low=line.error + (answer.low - answer.estimate) * ratio,
        high=line.error + (answer.high - answer.estimate) * ratio,
        quantiles=answer.quantiles * ratio,
    )
