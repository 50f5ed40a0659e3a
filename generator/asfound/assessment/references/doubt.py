"""References in doubt: what leaned on one that failed a check, or that its next calibration found to be off.

Doubt reaches back to the last good check or calibration, and ends with the next one. Verdicts stay, certificates wait:
a retrace tells what the error of the reference did to each result (ISO/IEC 17025:2017, 7.10; clause from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from asfound.assessment.references.checks import ReferenceCheck, checks_of, size_of
from asfound.assessment.references.recalibrations import Recalibration, recalibrations
from asfound.assessment.results.table import Result, Results
from asfound.faults import Fault, reservation
from asfound.measurement.lines import Measurement
from asfound.measurement.reading_table import Cell
from asfound.records.load import Records
from asfound.records.methods import QUANTITIES
from asfound.records.models import Reference
from asfound.rounding import expanded, value_with
from asfound.units import CANONICAL

REFERENCE_IN_DOUBT = reservation(
    "reference-in-doubt",
    "a check failed, or the next calibration found it off, since the reference was last known to be good",
    certificate=False,
)
ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """Days on which a reference, or one quantity of it, is in doubt, and why."""

    reference: str
    quantity: str | None
    """None: a check of the humidity cannot tell which"""
    first: date
    last: date | None
    """None: nothing has ended it yet"""
    reason: str

    def holds(self, reference: str, quantity: str, day: date) -> bool:
        """Whether a quantity that was read from a reference on a day is in doubt."""
        same = self.reference == reference and self.quantity in (None, quantity)
        return same and self.first <= day and (self.last is None or day <= self.last)

    @property
    def days(self) -> str:
        """The days in words."""
        return f"in doubt from {self.first} on" if self.last is None else f"in doubt from {self.first} to {self.last}"


def doubts(
    records: Records, measurement: Measurement, results: Sequence[Result], day: date | None = None
) -> tuple[Doubt, ...]:
    """All doubts that checks and calibrations up to a day (None: all on record) raise, by reference and first day.

    A check that leaned on another reference in doubt clears nobody, though it may fail one.
    """
    checks = checks_of(results)
    calibrated = recalibrations(records, measurement, day)
    found = _doubts(records, calibrated, checks, day)
    while True:
        leaning = _Leaning(records, measurement, found)
        sound = {name: [c for c in own if c.failed or not leaning.check(c)] for name, own in checks.items()}
        again = _doubts(records, calibrated, sound, day)
        if again == found:
            return found
        checks, found = sound, again


def _doubts(
    records: Records,
    calibrated: Sequence[Recalibration],
    checks: Mapping[str, Sequence[ReferenceCheck]],
    day: date | None,
) -> tuple[Doubt, ...]:
    found = []
    for name, own in checks.items():
        reference = records.references[name]
        found += [_of_check(reference, number, own, day) for number, check in enumerate(own) if check.failed]
    for one in calibrated:
        if one.doubtful(len(records.references[one.reference].quantities)):
            found.append(_of_calibration(one, checks.get(one.reference, ())))
    held = [doubt for doubt in found if doubt.last is None or doubt.first <= doubt.last]
    return tuple(sorted(held, key=lambda doubt: (doubt.reference, doubt.first, doubt.reason)))


def _of_check(reference: Reference, number: int, checks: Sequence[ReferenceCheck], day: date | None) -> Doubt:
    """From the day after the last good check or calibration to the day before the next, the failed check's own inside.

    What was calibrated in part is known to be good only from the day of which every quantity has a calibration.
    """
    check = checks[number]
    calibrations = [
        [c.date for c in q.calibrations if day is None or c.date <= day] for q in reference.calibrated.values()
    ]
    starts = [c.day for c in checks[:number] if c.good]
    starts += [min(max((d for d in days if d <= check.day), default=date.min) for days in calibrations)]
    ends = [c.day for c in checks[number + 1 :] if c.good]
    ends += [max(min((d for d in days if d > check.day), default=date.max) for days in calibrations)]
    since, until = max(starts), min(ends)
    limit = reference.check_limit.humidity if reference.check_limit else check.worst.tolerance
    return Doubt(
        reference=reference.id,
        quantity=None,
        first=min(since + ONE_DAY, check.day),
        last=None if until == date.max else max(until - ONE_DAY, check.day),
        reason=f"the check {check.visit} found {size_of(check.worst)}, its limit is {limit:g} %RH",
    )


def _of_calibration(one: Recalibration, checks: Sequence[ReferenceCheck]) -> Doubt:
    """From the day after the last good check or the calibration in use to the day before the one that found it off."""
    since = max([one.before, *(check.day for check in checks if check.good and check.day < one.day)])
    unit, scale = CANONICAL[QUANTITIES[one.quantity]], 1.0
    if unit == "Pa":
        unit, scale = "kPa", 1e-3
    change, U = one.change * scale, one.U * scale
    quantity = one.quantity.replace("_", " ")
    return Doubt(
        reference=one.reference,
        quantity=one.quantity,
        first=since + ONE_DAY,
        last=one.day - ONE_DAY,
        reason=(
            f"{one.name} of {one.day} found {quantity} changed by {value_with(change, U, sign=True)} {unit} at "
            f"{one.at * scale:g} {unit} since {one.before}, the U of that change is {expanded(U)} {unit}"
        ),
    )


def with_doubts(records: Records, measurement: Measurement, results: Results, found: Sequence[Doubt]) -> Results:
    """The results, each that leaned on a reference in doubt with its reservations; verdicts stay."""
    if not found:
        return results
    leaning = _Leaning(records, measurement, found)
    lines, names = results.column("line"), results.column("sensor")
    more = [leaning.against(line, name) for line, name in zip(lines, names, strict=True)]
    if not any(more):
        return results
    held = results.column("reservations")
    return results.replaced(reservations=[(*old, *new) for old, new in zip(held, more, strict=True)])


class _Leaning:
    """Follows what each plateau leaned on, through references that a visit here calibrated."""

    def __init__(self, records: Records, measurement: Measurement, found: Sequence[Doubt]) -> None:
        self.records, self.measurement, self.found = records, measurement, found
        self.cells: dict[tuple[str, str], list[int]] = {}
        for number, cell in enumerate(measurement.cells):
            key = (cell.sensor_visit.visit.id, cell.sensor_visit.sensor)
            self.cells.setdefault(key, []).append(number)
        self.known: dict[int, dict[Doubt, str]] = {}

    def against(self, line: int | None, name: str) -> tuple[Fault, ...]:
        """The reservations of one result of a sensor or reference; none where it was not measured here."""
        if line is None:
            return ()
        number = self.measurement.lines[line].cell
        cell = self.measurement.cells[number]
        return tuple(_fault(cell, doubt, way) for doubt, way in self.of(number).items() if doubt.reference != name)

    def check(self, check: ReferenceCheck) -> bool:
        """Whether a check leaned on another reference in doubt."""
        cells = (self.measurement.lines[r.line].cell for r in check.results if r.line is not None)
        return any(doubt.reference != check.reference for number in cells for doubt in self.of(number))

    def of(self, number: int, trail: tuple[int, ...] = ()) -> dict[Doubt, str]:
        """The doubts on one plateau, each with the reference here that led to it ("" for its own)."""
        if number in self.known or number in trail:
            return self.known.get(number, {})
        day = self.measurement.cells[number].sensor_visit.visit.day
        held: dict[Doubt, str] = {}
        for reference, quantity, calibrated in sorted(self.measurement.used.get(number, ())):
            for doubt in self.found:
                if doubt.holds(reference, quantity, day):
                    held[doubt] = ""
            for other in self._calibrating(reference, quantity, calibrated):
                for doubt in self.of(other, (*trail, number)):
                    held.setdefault(doubt, reference)
        self.known[number] = held
        return held

    def _calibrating(self, reference: str, quantity: str, calibrated: date) -> Sequence[int]:
        """The plateaus by which a visit here calibrated a reference."""
        known = self.records.references[reference].calibrated[quantity]
        calibration = next(c for c in known.calibrations if c.date == calibrated)
        return self.cells.get((calibration.from_visit, reference), ()) if calibration.from_visit else ()


def _fault(cell: Cell, doubt: Doubt, way: str) -> Fault:
    visit, row = cell.sensor_visit.visit, cell.plateau.rows[0]
    named = (column for column in ("loop_meter", "barometer") if visit.text[column][row] == doubt.reference)
    led = f", by which {way} was calibrated," if way else ""
    quantity = doubt.quantity or "QUANTITY"
    return Fault(
        rule=REFERENCE_IN_DOUBT,
        place=visit.place(row, next(named, "reference")),
        message=f"{doubt.reference}{led} is {doubt.days}: {doubt.reason}",
        cure=(
            f"see what changes: asfound retrace {doubt.reference} --since {doubt.first} --shift {quantity}=ERROR; "
            "repeat what becomes doubtful with a reference that holds"
        ),
    )
