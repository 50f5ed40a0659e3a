"""What nobody in the demo can see: how wrong each reference and each sensor truly is, and since when.

The references' hidden errors lie about their certificates' tables, within what the tables' U allow, and move from
one calibration to the next. The sensors' are written out below; each line of `SENSORS` makes a situation.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from random import Random

import numpy as np

from tests.demo.nameplates import Certificate, certificates, shared_bath

SEED = "Wendlemoor"
DAYS_PER_YEAR = 365.25


def stream(*names: object) -> Random:
    """Random numbers of their own for every subject: a change in one visit leaves all others as they are."""
    return Random("/".join(map(str, (SEED, *names))))


def bounded(random: Random, deviation: float) -> float:
    """A normal draw, never beyond two standard deviations."""
    return deviation * max(-2.0, min(2.0, random.gauss(0.0, 1.0)))


def reference_error(reference: str, quantity: str, reading: float, day: date) -> float:
    """Reading minus truth in SI units, at a reading in SI units (gauge where the instrument reads gauge)."""
    known = certificates(reference, quantity)
    days = [certificate.day for certificate in known]
    latest = max(bisect_right(days, day) - 1, 0)
    before = known[latest]
    start = _at_calibration(reference, quantity, before, before.errors, reading)
    elapsed = max((day - before.day).days, 0)
    if latest + 1 == len(known):
        direction = stream(reference, quantity, "drift").uniform(-0.6, 0.6)
        return start + direction * before.drift_per_year * elapsed / DAYS_PER_YEAR
    after = known[latest + 1]
    end = _at_calibration(reference, quantity, after, after.found, reading)
    return start + (end - start) * elapsed / (after.day - before.day).days


def _at_calibration(
    reference: str, quantity: str, certificate: Certificate, errors: Sequence[float], reading: float
) -> float:
    """The true error on the day of a calibration: the table's, and what the laboratory itself was off."""
    own = bounded(stream(reference, quantity, certificate.day), 0.45)  # of a standard uncertainty, U/2
    bath = shared_bath(reference, quantity, certificate.day)
    shared = bounded(stream(reference, "bath", certificate.day), 0.8 * bath)
    half = float(np.interp(reading, certificate.at, certificate.expanded)) / 2.0
    return float(np.interp(reading, certificate.at, errors)) + own * half + shared


@dataclass(frozen=True, kw_only=True)
class Spell:
    """A stretch of a sensor's life; an adjustment, an element or a mishap begins a new one."""

    since: str
    offset: float = 0.0
    """error in %RH at the pivot on the first day"""
    slope: float = 0.0
    """more error in %RH for every 100 %RH above the pivot"""
    per_year: float = 0.0
    """drift in %RH per year"""
    warm: float = 0.0
    """error of the temperature channel in K"""

    @property
    def first_day(self) -> date:
        return date.fromisoformat(self.since)


@dataclass(frozen=True, kw_only=True)
class SensorTruth:
    """How a sensor responds."""

    pivot: float
    hysteresis: float = 0.3
    """full width in %RH between falling and rising"""
    noise: float = 0.035
    """of one reading, in %RH"""
    minutes: float = 2.5
    """time constant of its approach to a new humidity"""
    loop: float = 0.02
    """what the building system shows above the sensor, in %RH"""
    spells: tuple[Spell, ...]

    def spell(self, day: date, *, as_left: bool) -> Spell:
        """The stretch that holds on a day; what an adjustment of that day began counts as left only."""
        days = [spell.first_day for spell in self.spells]
        return self.spells[(bisect_right(days, day) if as_left else _index_before(days, day)) - 1]

    def error(self, humidity: float, day: date, *, as_left: bool) -> float:
        """Hidden error of humidity in %RH, without hysteresis, noise and display."""
        spell = self.spell(day, as_left=as_left)
        years = (day - spell.first_day).days / DAYS_PER_YEAR
        return spell.offset + spell.slope * (humidity - self.pivot) / 100.0 + spell.per_year * years


def _index_before(days: list[date], day: date) -> int:
    return max(sum(first < day for first in days), 1)


def _steady(since: str, offset: float, slope: float = 0.4, per_year: float = 0.03, warm: float = 0.05) -> Spell:
    return Spell(since=since, offset=offset, slope=slope, per_year=per_year, warm=warm)


SENSORS: dict[str, SensorTruth] = {
    # Drying rooms: tolerance ±1.5 %RH about 15 %RH.
    "DRY-11": SensorTruth(pivot=15, spells=(_steady("2022-01-10", 0.15, 0.6),)),
    "DRY-12": SensorTruth(pivot=15, spells=(_steady("2022-01-10", -0.75, 0.2, per_year=0.34),)),  # drifts
    "DRY-13": SensorTruth(
        pivot=15,
        hysteresis=0.35,
        spells=(
            _steady("2021-11-02", 0.25, 0.8, per_year=0.08, warm=-0.08),
            _steady("2024-07-15", 2.30, 1.2, warm=-0.08),  # solvent from the next room
            _steady("2024-10-09", 0.12, 0.5, warm=-0.08),  # zero adjusted
        ),
    ),
    "DRY-21": SensorTruth(
        pivot=15,
        spells=(
            _steady("2021-03-22", -0.30, -0.4, per_year=-0.10),
            _steady("2023-08-01", -2.45, -2.0),  # its element was wetted
            _steady("2023-10-17", 0.10, 0.3),  # new element
        ),
    ),
    "DRY-22": SensorTruth(
        pivot=15,
        spells=(
            _steady("2022-05-30", 0.40, 0.5, per_year=-0.02),
            _steady("2026-07-15", 2.35, 1.0),  # out of tolerance, waits for a new element
        ),
    ),
    "DRY-23": SensorTruth(
        pivot=15,
        hysteresis=0.35,
        spells=(
            _steady("2021-11-02", 0.20, 0.3, per_year=0.05, warm=0.12),
            _steady("2026-06-01", 1.38, 0.1, warm=0.12),  # within U of the limit
        ),
    ),
    # Cold vaults: tolerance ±3 %RH.
    "VLT-11": SensorTruth(pivot=60, hysteresis=0.4, spells=(_steady("2022-08-15", -0.6, -0.8, -0.10, warm=-0.06),)),
    "VLT-12": SensorTruth(pivot=60, hysteresis=0.4, spells=(_steady("2022-08-15", 0.7, 0.6, 0.08, warm=0.09),)),
    "VLT-21": SensorTruth(pivot=40, hysteresis=0.4, spells=(_steady("2021-10-04", 0.5, 0.9, 0.10, warm=0.04),)),
    "VLT-22": SensorTruth(pivot=40, hysteresis=0.4, spells=(_steady("2021-10-04", -0.7, 0.5, -0.05, warm=0.11),)),
    # Herbarium: about 45 %RH.
    "HRB-11": SensorTruth(
        pivot=45,
        hysteresis=0.5,
        spells=(
            _steady("2022-05-02", 0.9, 0.8, per_year=0.45),
            _steady("2025-01-10", 3.4, 0.8),  # a pass before 2025, a fail since
            _steady("2025-05-13", 0.10, 0.3, per_year=0.15),  # zero adjusted
        ),
    ),
    "HRB-12": SensorTruth(pivot=45, hysteresis=0.5, spells=(_steady("2022-05-02", 0.3, 0.5, 0.08),)),
    "HRB-13": SensorTruth(
        pivot=45,
        hysteresis=0.5,
        spells=(_steady("2021-09-20", -1.1, -1.0, -0.1), _steady("2024-06-19", 0.4, 0.6, 0.1)),  # swapped
    ),
    "HRB-21": SensorTruth(pivot=45, hysteresis=0.5, spells=(_steady("2022-05-03", -0.3, 0.4, -0.06),)),
    "HRB-22": SensorTruth(pivot=45, hysteresis=0.5, spells=(_steady("2021-09-20", 0.6, 0.8, 0.1),)),
    "HRB-23": SensorTruth(pivot=45, hysteresis=0.35, spells=(_steady("2022-03-14", 0.2, 0.6, 0.05, warm=-0.10),)),
    # Germination hall: about 80 %RH.
    "GER-11": SensorTruth(
        pivot=80,
        hysteresis=0.7,
        spells=(
            _steady("2021-12-06", -0.5, -0.5, per_year=-0.22),
            _steady("2025-03-18", 0.05, -0.3, per_year=-0.20),  # adjusted while in tolerance
        ),
    ),
    "GER-12": SensorTruth(
        pivot=80,
        hysteresis=0.35,
        spells=(
            _steady("2022-03-14", 0.3, 0.5, warm=0.14),
            _steady("2025-11-03", 0.4, 0.5, warm=0.31),
            _steady("2026-05-04", 0.4, 0.5, warm=0.92),  # its thermometer fails, its humidity does not
        ),
    ),
    "GER-21": SensorTruth(
        pivot=80,
        hysteresis=0.35,
        spells=(
            _steady("2022-03-14", -0.4, -0.8, per_year=-0.08, warm=0.10),
            _steady("2026-08-10", -4.3, -9.0, warm=0.10),  # found at the newest visit, no finding yet
        ),
    ),
    "GER-22": SensorTruth(pivot=80, hysteresis=0.6, spells=(_steady("2021-12-06", 0.6, 0.4, 0.06),)),
    # Laboratory, receiving bay, packing room.
    "LAB-11": SensorTruth(pivot=45, hysteresis=0.5, minutes=6.0, spells=(_steady("2022-02-21", 0.7, 1.0, 0.1),)),
    "LAB-12": SensorTruth(pivot=45, spells=(_steady("2022-06-13", -0.2, 0.5, 0.05, warm=-0.03),)),
    "REC-11": SensorTruth(pivot=45, loop=-1.7, spells=(_steady("2022-05-30", 0.35, 0.4, 0.05),)),
    "REC-12": SensorTruth(pivot=45, hysteresis=0.5, spells=(_steady("2022-06-20", -0.5, 0.6, -0.05),)),
    "PAK-11": SensorTruth(pivot=30, spells=(_steady("2022-05-30", 0.3, 0.5, 0.06),)),
    # The transfer probe: a reference that is itself calibrated and checked here. Its certificates agree with this.
    "PROBE-01": SensorTruth(
        pivot=50,
        hysteresis=0.3,
        noise=0.025,
        spells=(
            _steady("2022-09-20", 0.22, 0.6, per_year=0.12, warm=0.04),
            _steady("2026-05-20", 2.9, 1.0, warm=0.04),  # dropped; its check in June says so
            _steady("2026-09-22", 0.05, 0.2, per_year=0.10, warm=0.04),  # its table renewed
        ),
    ),
}
