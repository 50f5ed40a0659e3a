"""From a reference's reading to the quantity: its certificate's table applied, and the sources that come with it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from asfound.faults import error, reservation
from asfound.measurement.calibration_tables import (
    amount_text,
    beyond,
    interpolation,
    outside_use,
    range_text,
    reach_text,
)
from asfound.measurement.further_sources import further_sources
from asfound.measurement.reading_table import ReadingTable
from asfound.measurement.shifts import Shift
from asfound.records.load import Records
from asfound.records.methods import QUANTITIES
from asfound.records.models.certified import ASSUMED_K, Calibrated
from asfound.records.models.references import Calibration, QuantityRecord, Reference
from asfound.uncertainty.sources import (
    Catalogue,
    Scope,
    Series,
    Source,
    freedom_from_k,
    rectangular,
)
from asfound.uncertainty.terms import Measured, Terms
from asfound.units import CANONICAL

DAYS_A_YEAR = 365.25

NOT_YET_CALIBRATED = error("not-yet-calibrated", "a reference was used before its first calibration on record")
OUT_OF_DATE = reservation(
    "reference-out-of-date", "a reference's calibration had run out on the day", certificate=False
)
CALIBRATED_ON_THE_DAY = reservation(
    "calibrated-on-the-day", "a reference was used on the day of a later calibration: which one applies is not certain"
)
OUTSIDE_TABLE = reservation(
    "outside-reference-range",
    "a reading lies outside the range of its reference's certificate",
    verdict=False,
    certificate=False,
)
BEYOND_TABLE = reservation(
    "beyond-reference-table",
    "a reading lies a little beyond the ends of its reference's table, by more than the U there",
)
GAUGE_OR_ABSOLUTE = error(
    "gauge-or-absolute", "a pressure was read gauge under a table of absolute pressures, or the reverse"
)
NO_CURVE = error("from-visit-without-results", "the visit that calibrated a reference gives no result to use")
NO_QUANTITY = error("quantity-not-recorded", "a reference has no record of a quantity that was read from it")

Report = Callable[..., None]


@dataclass(frozen=True, kw_only=True)
class VisitCurve:
    """A correction curve that a visit here gave: reading at each point, correction, and its inherited terms."""

    at: np.ndarray
    correction: np.ndarray
    terms: Terms
    """rows: number of the point"""


@dataclass
class Calibrations:
    """Applies calibrations to columns of readings; adds their sources to the catalogue once."""

    records: Records
    catalogue: Catalogue
    curves: dict[tuple[str, str, date], VisitCurve] = field(default_factory=dict)
    """(reference, quantity, day) → curve of a calibration `from_visit`"""
    used: dict[int, set[tuple[str, str, date]]] = field(default_factory=dict)
    """cell → calibrations that its result leans on"""
    shifts: Sequence[Shift] = ()
    """errors beyond the calibrations' that a retrace supposes; the sources stay as they are"""
    _resolutions: dict[tuple[str, str], list[tuple[Callable[[int], tuple[str, int, float]], np.ndarray]]] = field(
        default_factory=dict, repr=False
    )
    """(reference, quantity) → what names each reading's resolution (visit, time, digit), and its sources' numbers"""

    def applied(
        self,
        table: ReadingTable,
        rows: np.ndarray,
        quantity: str,
        instruments: np.ndarray,
        reading: np.ndarray,
        step: np.ndarray,
        report: Report,
    ) -> Measured:
        """Corrected quantity at `rows` (values and terms by position in `rows`).

        `instruments`: id of the reference by row; `reading`: as its transducer reads, canonical unit.
        """
        value = reading.astype(float).copy()
        parts: list[Terms] = []
        for instrument in dict.fromkeys(instruments):
            reference = self.records.references.get(instrument)
            chosen = np.flatnonzero((instruments == instrument) & ~np.isnan(reading))
            if reference is None or not len(chosen):
                continue
            known = reference.quantities.get(quantity)
            if known is None:
                self._missing_quantity(table, rows[chosen[0]], reference, quantity, report)
                continue
            parts.append(self._resolution(table, rows, chosen, reference, quantity, known, step))
            for calibration, at in self.by_calibration(
                table, rows, chosen, reference, quantity, known.calibrations, report
            ):
                self._gauge_or_absolute(table, rows[at], reference, quantity, calibration, report)
                error_value, terms = self._errors(reference, quantity, calibration, at, reading, table, rows, report)
                for shift in self.shifts:
                    if (shift.reference, shift.quantity) == (reference.id, quantity):
                        error_value = error_value + shift.error(reading[at], table.day[rows[at]])
                value[at] -= error_value
                parts.append(terms)
                day = np.datetime64(calibration.date, "D")
                added, further = further_sources(self.catalogue, table, rows, at, reference, quantity, value[at], day)
                value[at] += added
                parts += further
                self.lean(table, rows[at], (reference.id, quantity, calibration.date))
        return Measured(value, Terms.joined(parts))

    def lean(self, table: ReadingTable, rows: np.ndarray, calibration: tuple[str, str, date]) -> None:
        """Note that the results of these rows lean on a calibration."""
        for cell in np.unique(table.cell[rows]).tolist():
            self.used.setdefault(cell, set()).add(calibration)

    def _missing_quantity(
        self, table: ReadingTable, row: int, reference: Reference, quantity: str, report: Report
    ) -> None:
        place = table.place(row, quantity if quantity in QUANTITIES else "reference")
        message = f"{reference.id} has no record of {quantity}"
        cure = f"add it under quantities in references/{reference.id}.yml, or correct the id"
        report(NO_QUANTITY, int(row), place, message, cure)

    def _resolution(
        self,
        table: ReadingTable,
        rows: np.ndarray,
        chosen: np.ndarray,
        reference: Reference,
        quantity: str,
        known: QuantityRecord,
        step: np.ndarray,
    ) -> Terms:
        """One column a plateau, shared by sensors that were read at the same times, never divided by √n.

        An undeclared resolution is the finest digit that the visit has of it: a spreadsheet drops trailing zeros.
        """
        unit = CANONICAL[QUANTITIES[quantity]]
        label = f"{_words(quantity)}: resolution of {reference.id}"
        _, first, inverse = np.unique(table.cell[rows[chosen]], return_index=True, return_inverse=True)
        visit, time = table.visit[rows[chosen[first]]], table.time[rows[chosen[first]]]
        finest = np.full(len(table.visits), np.inf if known.resolution is None else known.resolution.value)
        if known.resolution is None:
            np.fmin.at(finest, visit, np.fmin.reduceat(step[chosen], first))
        # Plateaus of one visit and time are one reading of the reference: one source.
        moments = visit * (np.ptp(time) + 1) + (time - time.min())
        _, at, which = np.unique(moments, return_index=True, return_inverse=True)
        visit, time, digit = visit[at], time[at], finest[visit[at]]

        def key(i: int) -> tuple[str, int, float]:
            return table.visits[int(visit[i])].name, int(time[i]), float(digit[i])

        def identity(i: int) -> str:
            name, moment, digit = key(i)
            return f"{reference.id}/{name}/{moment}/{quantity}/resolution {digit:g}"

        before = self._resolutions.setdefault((reference.id, quantity), [])
        numbers = np.full(len(at), -1)
        if before:  # read for other rows, in another way
            found = {known_key(i): number for known_key, those in before for i, number in enumerate(those.tolist())}
            numbers = np.array([found.get(key(i), -1) for i in range(len(at))])
        new = np.flatnonzero(numbers < 0)
        series = Series.rectangular(digit[new] / 2.0, lambda i: identity(new[i]), label, unit, scope=Scope.PLATEAU)
        (numbers[new],) = self.catalogue.extend([series], [at[new]])
        before.append((key, numbers))
        return Terms.of(chosen, numbers[which][inverse], 1.0)

    def by_calibration(
        self,
        table: ReadingTable,
        rows: np.ndarray,
        chosen: np.ndarray,
        reference: Reference,
        quantity: str,
        calibrations: Sequence[Calibrated],
        report: Report,
    ) -> Iterator[tuple[Calibrated, np.ndarray]]:
        """Calibrations in force at `chosen` positions of `rows`, each with its positions; those that ran out are said.

        `calibrations`: of the quantity, earliest first.
        """
        days = table.day[rows[chosen]]
        starts = np.array([np.datetime64(c.date, "D") for c in calibrations])
        which = np.searchsorted(starts, days, side="right") - 1
        for number in np.unique(which):
            at = chosen[which == number]
            if number < 0:
                row = int(rows[at[0]])
                message = f"{reference.id} has no calibration of {quantity} on or before {table.day[row]}"
                cure = f"add the earlier calibration to references/{reference.id}.yml"
                report(NOT_YET_CALIBRATED, row, table.place(row, "reference"), message, cure)
                continue
            calibration = calibrations[number]
            late = at[days[which == number] > np.datetime64(calibration.valid_until, "D")]
            for row in _one_a_cell(table, rows[late]):
                message = f"{reference.id}: calibration of {_words(quantity)} ran out on {calibration.valid_until}"
                cure = "send the reference for calibration; repeat the visit with one that is in date"
                report(OUT_OF_DATE, row, table.place(row, "reference"), message, cure)
            same_day = at[days[which == number] == np.datetime64(calibration.date, "D")]
            for row in _one_a_cell(table, rows[same_day]) if number > 0 else ():
                message = f"{reference.id}: the calibration of {_words(quantity)} of this very day applies"
                cure = "if it was used before it was calibrated, tell the visit and the calibration apart by their days"
                report(CALIBRATED_ON_THE_DAY, row, table.place(row, "reference"), message, cure)
            yield calibration, at

    def _gauge_or_absolute(
        self,
        table: ReadingTable,
        rows: np.ndarray,
        reference: Reference,
        quantity: str,
        calibration: Calibration,
        report: Report,
    ) -> None:
        """A table is of one kind of pressure, and nothing is added to what it says of the other."""
        of_table = reference.quantities[quantity].table_gauge(calibration)
        if of_table is None or quantity not in table.gauge:
            return
        other, own = ("absolute", "gauge") if of_table else ("gauge", "absolute")
        for row in _one_a_cell(table, rows[table.gauge[quantity][rows] != of_table]):
            message = f"{quantity} is read {other}, and the table of {reference.id} from {calibration.date} is {own}"
            cure = (
                f"correct the header, or write in references/{reference.id}.yml what that table says, "
                f"e.g. `at: 100 kPa {other}`"
            )
            report(GAUGE_OR_ABSOLUTE, row, table.place(row, quantity), message, cure)

    def _errors(
        self,
        reference: Reference,
        quantity: str,
        calibration: Calibration,
        at: np.ndarray,
        reading: np.ndarray,
        table: ReadingTable,
        rows: np.ndarray,
        report: Report,
    ) -> tuple[np.ndarray, Terms]:
        """The reference's error at each reading, and the terms of the corrected value (by position)."""
        x = reading[at]
        prefix = f"{reference.id}/{calibration.date}/{quantity}"
        unit = CANONICAL[QUANTITIES[quantity]]
        years = (table.day[rows[at]] - np.datetime64(calibration.date, "D")).astype(float) / DAYS_A_YEAR
        curve = None
        if calibration.from_visit:
            curve = self.curves.get((reference.id, quantity, calibration.date))
            if curve is None:
                row = int(rows[at[0]])
                message = f"visit {calibration.from_visit!r} gave no results for {quantity} of {reference.id}"
                cure = "name the visit that calibrated it, or copy a certificate's points"
                report(NO_CURVE, row, table.place(row, "reference"), message, cure)
                return np.zeros(len(at)), Terms.none()
            points, values = curve.at, -curve.correction
            U_ends = 2.0 * self._u_of_ends(curve)
        else:
            sign = 1.0 if calibration.declared == "error" else -1.0
            points = np.array([p.at.value for p in calibration.points])
            values = sign * np.array([p.value.value for p in calibration.points])
            U_ends = np.array([calibration.points[end].U.value for end in (0, -1)])
        left, weight, beyond_table = interpolation(points, x)
        known = reference.quantities[quantity]
        outside = outside_use(known, points, x, beyond_table)
        for row in _one_a_cell(table, rows[at[outside]]):
            message = f"{reference.id}: {_words(quantity)} lies outside its {reach_text(known, points, unit)}"
            cure = "use a reference calibrated over this range, or extend its calibration"
            report(OUTSIDE_TABLE, row, table.place(row, quantity), message, cure)
        past = beyond(points, x)
        told = (past > np.where(x < points[0], *U_ends)) & ~outside
        for i in _first_of_cells(table, rows[at], told):
            row, at_ends = int(rows[at[i]]), range_text(points, unit)
            message = (
                f"{reference.id}: {_words(quantity)} lies {amount_text(past[i], unit)} beyond its table ({at_ends})"
            )
            cure = "the end's error was taken; have the reference calibrated over the range that is used"
            report(BEYOND_TABLE, row, table.place(row, quantity), message, cure)
        right = np.minimum(left + 1, len(points) - 1)
        error_value = values[left] * (1 - weight) + values[right] * weight
        if curve is not None:
            parts = [_inherited(curve, at, left, right, weight)]
        else:
            parts = self._table_terms(calibration, prefix, quantity, unit, points, at, x, left, right, weight)
        if calibration.drift is not None:
            label = f"{_words(quantity)}: drift of {reference.id} since {calibration.date}"
            drift = rectangular(f"{prefix}/drift", label, calibration.drift.value, f"{unit}/year", Scope.CALIBRATION)
            parts.append(Terms.of(at, self.catalogue.add(drift), years))
        for component in reference.common:
            if quantity in component.quantities and component.date == calibration.date:
                source = Source(
                    identity=f"{reference.id}/{calibration.date}/common/{component.name}",
                    label=f"{component.name}: shared by {', '.join(map(_words, component.quantities))}",
                    u=component.u.value,
                    unit=unit,
                    nu=freedom_from_k(component.k or ASSUMED_K),
                    scope=Scope.CALIBRATION,
                )
                parts.append(Terms.of(at, self.catalogue.add(source), 1.0))
        return error_value, Terms.joined(parts)

    def _u_of_ends(self, curve: VisitCurve) -> np.ndarray:
        """Standard uncertainty at the first and last point of a curve."""
        u = curve.terms.weight * self.catalogue.standard_uncertainties()[curve.terms.source]
        variance = np.bincount(curve.terms.row, u**2, len(curve.at))
        return np.sqrt(variance[[0, -1]])

    def _table_terms(
        self,
        calibration: Calibration,
        prefix: str,
        quantity: str,
        unit: str,
        points: np.ndarray,
        at: np.ndarray,
        x: np.ndarray,
        left: np.ndarray,
        right: np.ndarray,
        weight: np.ndarray,
    ) -> list[Terms]:
        """Terms of the certificate's uncertainty, as its points hang together; what is shared in columns of its own."""
        shared = [
            Terms.of(at, self.catalogue.add(_shared(component.name)), component.u.value)
            for component in calibration.shared
        ]
        together = math.hypot(*(component.u.value for component in calibration.shared))
        u = np.array([math.sqrt((p.U.value / calibration.k_of(p)) ** 2 - together**2) for p in calibration.points])
        if not u.any():
            return shared
        nu = [freedom_from_k(calibration.k_of(p)) for p in calibration.points]
        label = f"{_words(quantity)}: calibration {calibration.certificate}"

        def column(name: str, size: float, freedom: float) -> int:
            source = Source(
                identity=f"{prefix}/{name}", label=label, u=size, unit=unit, nu=freedom, scope=Scope.CALIBRATION
            )
            return self.catalogue.add(source)

        if calibration.correlation == "independent" and len(points) > 1:
            numbers = np.array([column(f"calibration/point {i + 1}", u[i], nu[i]) for i in range(len(u))])
            return [*shared, Terms.of(at, numbers[left], 1.0 - weight), Terms.of(at, numbers[right], weight)]
        if calibration.correlation == "zero_span" and len(points) > 1:
            zero = int(np.argmin(u))
            away = np.abs(points - points[zero])
            reach = float(np.max(away))
            beyond = np.sqrt(u**2 - u[zero] ** 2) / np.where(away > 0.0, away, np.inf)
            span = reach * float(np.max(beyond))  # so that no point has less than the certificate says
            parts = [*shared, Terms.of(at, column("calibration/zero", u[zero], nu[zero]), 1.0)]
            if span > 0:
                parts.append(Terms.of(at, column("calibration/span", span, min(nu)), (x - points[zero]) / reach))
            return parts
        largest = float(np.max(u))
        size = (u[left] * (1.0 - weight) + u[right] * weight) / largest
        return [*shared, Terms.of(at, column("calibration", largest, min(nu)), size)]


def _shared(name: str) -> Source:
    """One column for all calibrations that name it, each weighted by its own u."""
    return Source(identity=f"shared/{name}", label=f"{name}: shared by calibrations", u=1.0, unit="1")


def _inherited(curve: VisitCurve, at: np.ndarray, left: np.ndarray, right: np.ndarray, weight: np.ndarray) -> Terms:
    """The curve's own terms, weighted as the points are: a result calibrated here brings its sources along."""
    parts = []
    for point in range(len(curve.at)):
        share = np.where(left == point, 1.0 - weight, 0.0) + np.where(right == point, weight, 0.0)
        used = np.flatnonzero(share != 0.0)
        mine = curve.terms.row == point
        sources, weights = curve.terms.source[mine], curve.terms.weight[mine]
        parts.append(
            Terms(
                np.repeat(at[used], len(sources)),
                np.tile(sources, len(used)),
                np.repeat(share[used], len(sources)) * np.tile(weights, len(used)),
            )
        )
    return Terms.joined(parts)


def _one_a_cell(table: ReadingTable, rows: np.ndarray) -> list[int]:
    """The first of `rows` in each cell: a plateau is complained about once."""
    return [int(rows[i]) for i in _first_of_cells(table, rows, np.ones(len(rows), bool))]


def _first_of_cells(table: ReadingTable, rows: np.ndarray, chosen: np.ndarray) -> list[int]:
    """Positions in `rows` of the first in each cell that is `chosen`."""
    at = np.flatnonzero(chosen)
    _, first = np.unique(table.cell[rows[at]], return_index=True)
    return [int(i) for i in at[first]]


def _words(quantity: str) -> str:
    return quantity.replace("_", " ")
