"""What a reference's displays will show: its certificate's table applied from the quantity to the reading."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date

import numpy as np

from asfound.measurement.calibration_tables import beyond, interpolation, outside_use, reach_text
from asfound.planning.usual import usual_unit
from asfound.records.load import Records
from asfound.records.methods import QUANTITIES
from asfound.records.models.references import Calibration, QuantityRecord, Reference
from asfound.refusals import Refusal
from asfound.rounding import fixed
from asfound.units import CANONICAL, UNITS, Unit, header_unit

_PLACES = {"Pa": 0, "hPa": 1, "mbar": 1, "kPa": 2, "MPa": 4, "bar": 3, "psi": 2, "inHg": 2, "mmHg": 1}
"""Decimal places shown where the record does not give the display's resolution."""
_STEPS = 50
"""More than enough: an instrument's errors change far more slowly than its readings."""


class Instrument:
    """One reference on one day; true values and readings in canonical units, pressures as its transducer reads."""

    def __init__(self, records: Records, reference: Reference, day: date) -> None:
        self.records, self.reference, self.day = records, reference, day

    def standing(self) -> Iterator[tuple[str, str]]:
        """Kind and sentence of whatever speaks against its use on the day."""
        for away in self.reference.away:
            if away.holds(self.day):
                until = f" until {away.until}" if away.until else ""
                yield "reference away", f"{self.reference.id} is not to be had{until}: {away.reason}"
        told: set[date] = set()
        for quantity, known in self.reference.quantities.items():
            words = quantity.replace("_", " ")
            calibration = self._in_force(known)
            if calibration is None:
                yield "reference not calibrated", f"{self.reference.id}: no calibration of {words} by {self.day}"
            elif calibration.valid_until < self.day and calibration.valid_until not in told:
                told.add(calibration.valid_until)
                text = f"{self.reference.id}: calibration of {words} ran out on {calibration.valid_until}"
                yield "reference out of date", text

    def unit(self, quantity: str) -> Unit:
        """The unit of its display. Raises Refusal for a pressure of which nothing says gauge or absolute."""
        known = self.reference.quantities.get(quantity)
        if known is not None and known.unit is not None:
            return header_unit(known.unit, (QUANTITIES[quantity],))
        found = usual_unit(self.records, self.reference.id, quantity, self.day)
        if found is not None:
            return found
        if QUANTITIES[quantity] == "pressure":
            raise Refusal(
                f"nothing says whether {quantity} of {self.reference.id} is read as gauge or absolute, and in what",
                f"add e.g. `unit: kPa absolute` to {quantity} in references/{self.reference.id}.yml",
            )
        return UNITS[CANONICAL[QUANTITIES[quantity]]]

    def true(self, quantity: str, reading: float) -> float:
        """A reading corrected by the table in force."""
        return reading - self._error(quantity, reading)

    def reading(self, quantity: str, true: float) -> float:
        """The reading whose correction gives this value: the inverse of `true`."""
        reading = true
        for _ in range(_STEPS):
            before, reading = reading, true + self._error(quantity, reading)
            if abs(reading - before) <= 1e-12 * max(1.0, abs(reading)):
                break
        return reading

    def shown(self, quantity: str, true: float) -> tuple[float, Unit, int]:
        """The reading for a true value in the display's unit, the unit, and the decimal places of the display."""
        unit = self.unit(quantity)
        return unit.from_canonical(self.reading(quantity, true)), unit, self.places(quantity, unit)

    def places(self, quantity: str, unit: Unit) -> int:
        """Decimal places of its display."""
        known = self.reference.quantities.get(quantity)
        if known is None or known.resolution is None or known.resolution.value <= 0:
            return _PLACES.get(unit.symbol.split()[0], 2)
        step = known.resolution.value / unit.scale
        return max(0, -math.floor(math.log10(step) + 1e-9))

    def outside(self, quantity: str, true: float) -> str:
        """Why a value lies outside what its record vouches for; nothing where it lies inside."""
        known = self.reference.quantities.get(quantity)
        table = self._table(quantity)
        if known is None or table is None:
            return ""
        reading = np.array([self.reading(quantity, true)])
        _, _, far = interpolation(table[0], reading)
        past, first = beyond(table[0], reading)[0], reading[0] < table[0][0]
        if not outside_use(known, table[0], reading, far)[0] and not past > table[2][0 if first else 1]:
            return ""
        value, unit, places = self.shown(quantity, true)
        reach = reach_text(known, table[0], CANONICAL[QUANTITIES[quantity]]).replace("degC", "°C")
        words = quantity.replace("_", " ")
        return f"{words} at {fixed(value, places)} {unit.symbol} lies outside its {reach}".replace("degC", "°C")

    def _in_force(self, known: QuantityRecord) -> Calibration | None:
        past = [calibration for calibration in known.calibrations if calibration.date <= self.day]
        return past[-1] if past else None

    def _table(self, quantity: str) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
        """Readings and errors of the table in force, U at its two ends; None where there is none."""
        known = self.reference.quantities.get(quantity)
        calibration = self._in_force(known) if known else None
        if calibration is None or not calibration.points:
            return None
        sign = 1.0 if calibration.declared == "error" else -1.0
        at = np.array([point.at.value for point in calibration.points])
        ends = np.array([calibration.points[end].U.value for end in (0, -1)])
        return at, sign * np.array([point.value.value for point in calibration.points]), ends

    def _error(self, quantity: str, reading: float) -> float:
        """The error at a reading, straight between the table's points and held at its ends."""
        table = self._table(quantity)
        return 0.0 if table is None else float(np.interp(reading, *table[:2]))
