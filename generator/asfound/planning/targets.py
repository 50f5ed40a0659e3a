"""What to set for each point before a visit: the pressure to dial, the mirror's reading to expect, the salt to take.

Everything is said as the reference's own displays will show it: a certificate's table is applied the other way round,
so that a row with these readings computes to the point. What cannot be reached, what lies outside the reference's
calibrated range and where water would condense is said with it.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator
from datetime import date

import numpy as np

from asfound.humidity import (
    dew_point_c,
    frost_point_c,
    salt_range_c,
    salt_rh,
    saturation_pressure_for_rh,
    settled_saturation_rh,
    two_pressure_rh,
    water_to_ice_ratio,
)
from asfound.humidity.domains import PRESSURE_RANGE_PA
from asfound.measurement.by_bands import value_at
from asfound.measurement.points import SetPoints
from asfound.measurement.reference_inputs import STANDARD_PRESSURE_PA
from asfound.planning.chosen import reference_of, sensor_of
from asfound.planning.instrument_readings import Instrument
from asfound.planning.target_model import Conditions, Remark, SensorTargets, Setting, Target
from asfound.planning.usual import Usual, usual
from asfound.records.load import Records
from asfound.records.methods import METHODS
from asfound.records.models import Reference, Sensor, in_force
from asfound.records.settings_in_force import SettingsOn, shows_ice
from asfound.refusals import Refusal
from asfound.rounding import fixed

ROOM_C = 23.0
"""Taken where neither the question nor the sensor's record says how warm the chamber is."""
COOLING_K_PER_PA = 0.27e-5
"""Air cools by this where it expands without giving heat (Joule-Thomson coefficient near 0 °C and up to 1 MPa)."""
JUST_APART_C = 0.05
"""Two temperatures nearer to each other than this are told apart by no instrument here."""
LAST_DIGIT = 1e-9
"""%RH by which arithmetic may miss saturation itself."""


def targets(
    records: Records, sensor: str, day: date, conditions: Conditions, reference: str | None = None
) -> SensorTargets:
    """What to set for each point of a sensor on a day.

    `reference`: an id; None: the one that the sensor was last read against, or the only one there is. Raises Refusal
    where an id is unknown, no reference can be chosen, the sensor has no points, or a condition is impossible.
    """
    found = sensor_of(records, sensor)
    settings = SettingsOn(records, found, day)
    points = settings.dated("points")
    if points is None:
        raise Refusal(f"{sensor} has no points on {day}", "add `points:` to the sensor or its family")
    before = usual(records, sensor, day)
    standard = reference_of(records, found, day, reference)
    try:
        return _Aim(records, found, settings, standard, day, conditions, before).at(in_order(found, points.humidity))
    except ValueError as problem:  # a state for which there is no humidity
        raise Refusal(f"{sensor}: {problem}", "check the temperatures and pressures given") from None


def in_order(sensor: Sensor, points: tuple[float, ...]) -> tuple[float, ...]:
    """As found starts nearest to the working humidity, before anything else has moved the sensor; then as listed."""
    if sensor.working_humidity is None:
        return points
    first = min(points, key=lambda point: abs(point - (sensor.working_humidity or 0.0)))
    return (first, *(point for point in points if point != first))


class _Aim:
    """One sensor, one reference, one set of conditions."""

    def __init__(
        self,
        records: Records,
        sensor: Sensor,
        settings: SettingsOn,
        reference: Reference,
        day: date,
        given: Conditions,
        before: Usual | None,
    ) -> None:
        self.sensor, self.reference, self.day, self.given = sensor, reference, day, given
        self.instrument = Instrument(records, reference, day)
        self.saturates = "saturation_temperature" in METHODS[reference.kind].columns
        barometers = [name for name, other in records.references.items() if other.kind == "barometer"]
        usual_one = before.barometer if before and before.reference == reference.id else ""
        barometer = usual_one or (barometers[0] if len(barometers) == 1 else "")
        self.reach = SetPoints(settings.dated("points").humidity).reach
        self.taken: list[str] = []
        self.remarks = [Remark(kind=kind, text=text) for kind, text in self.instrument.standing()]
        self.ambient_pa = self._ambient(Instrument(records, records.references[barometer], day) if barometer else None)
        self.chamber_c = self._chamber_temperature()
        self.over_ice = shows_ice(settings) and self.chamber_c < 0.0
        self.chamber_pa = self._chamber_pressure()
        self.saturation_c = self._saturation_temperature()
        self.room_c = self.chamber_c if given.room_c is None else given.room_c
        self.line_c = self.room_c if given.line_c is None else given.line_c

    # ---- Conditions -------------------------------------------------------------------------------------------

    def _ambient(self, barometer: Instrument | None) -> float:
        if self.given.ambient_pa is None:
            if any("pressure" in column for column in METHODS[self.reference.kind].columns):
                self.taken.append("room at 1013.25 hPa, the standard atmosphere: give --ambient")
            return STANDARD_PRESSURE_PA
        reading = self.given.ambient_pa
        self.taken.append(f"room at {fixed(reading / 100, 2)} hPa")
        return barometer.true("ambient_pressure", reading) if barometer else reading

    def _chamber_temperature(self) -> float:
        quantity = METHODS[self.reference.kind].probe_temperature
        if self.given.chamber_c is not None:
            self.taken.append(f"chamber at {fixed(self.given.chamber_c, 2)} °C")
            return self.instrument.true(quantity, self.given.chamber_c)
        working = self.sensor.working_temperature
        taken, why = (ROOM_C, "nothing is known of it") if working is None else (working, "where the sensor works")
        self.taken.append(f"chamber at {fixed(taken, 2)} °C, {why}: give --chamber-temperature")
        return taken

    def _chamber_pressure(self) -> float:
        if self.given.chamber_pa is None:
            return self.ambient_pa
        gauge = self.instrument.unit("chamber_pressure").gauge
        true_pa = self.instrument.true("chamber_pressure", self.given.chamber_pa)
        return true_pa + (self.ambient_pa if gauge else 0.0)

    def _saturation_temperature(self) -> float:
        if self.given.saturation_c is None:
            return self.chamber_c
        if self.saturates:
            self.taken.append(f"saturator at {fixed(self.given.saturation_c, 2)} °C")
            return self.instrument.true("saturation_temperature", self.given.saturation_c)
        return self.given.saturation_c

    # ---- Points -----------------------------------------------------------------------------------------------

    def at(self, points: tuple[float, ...]) -> SensorTargets:
        """All points."""
        kind = self.reference.kind
        self._suitable_state()
        reach = self._reach() if self.saturates else None
        method = self._method()
        found = tuple(self._beyond_saturation(point) or method(point) for point in points)
        if any(len(target.settings) > 1 for target in found):
            text = "below 0 °C frost or supercooled dew may stand on the mirror: look, and write down which"
            self.remarks.append(Remark(kind="dew or frost", text=text))
        return SensorTargets(
            sensor=self.sensor.id,
            name=self.sensor.name,
            reference=self.reference.id,
            kind=kind,
            points=found,
            taken=tuple(self.taken),
            reach=reach,
            over_ice=self.over_ice,
            chamber_c=self.chamber_c,
            remarks=tuple(self.remarks),
        )

    def _method(self) -> Callable[[float], Target]:
        """What tells a target of one point. KeyError where a method that gives targets has none here."""
        kind = self.reference.kind
        if not METHODS[kind].gives_targets:
            text = f"a {METHODS[kind].name} gives no targets: what it will show at a point is not told beforehand"
            self.remarks.append(Remark(kind="no targets", text=text))
            return self._untold
        return {
            "two_pressure": self._two_pressure,
            "chilled_mirror": self._chilled_mirror,
            "saturated_salt": self._saturated_salt,
            "transfer_probe": self._transfer_probe,
        }[kind]

    def _beyond_saturation(self, point: float) -> Target | None:
        """A point that settled air cannot keep at the chamber's temperature is not told; None for any other."""
        if self._over_water(point) <= self._settled_rh + LAST_DIGIT:
            return None
        text = f"beyond saturation over ice at {fixed(self.chamber_c, 1)} °C, where frost forms: at most "
        text += f"{fixed(self._settled_rh, 1)} %RH over water"
        return Target(point=point, reached=False, remarks=(Remark(kind="beyond saturation", text=text),))

    @property
    def _settled_rh(self) -> float:
        """What settled air keeps in the chamber, %RH over water."""
        return float(settled_saturation_rh(self.chamber_c, self.chamber_pa))

    def _untold(self, point: float) -> Target:
        humidity = self._over_water(point)
        return self._reached(point, humidity, (), [*self._condensing(humidity)])

    def _suitable_state(self) -> None:
        """Temperatures that the method or the reference's calibration does not hold for."""
        quantities = {"chamber_temperature": self.chamber_c}
        if self.saturates:
            quantities["saturation_temperature"] = self.saturation_c
            if self.saturation_c < 0:
                text = "below 0 °C a saturator holds ice or supercooled water, and which is not known"
                text += ": saturate above 0 °C (--saturator-temperature), or take a chilled mirror"
                self.remarks.append(Remark(kind="saturator frozen", text=text))
            elif self.given.saturation_c is None:
                self.taken.append("saturator as warm as the chamber")
            self.remarks += self._in_line()
        for quantity, true in quantities.items():
            self.remarks += self._outside(quantity, true)

    def _outside(self, quantity: str, true: float) -> Iterator[Remark]:
        beyond = self.instrument.outside(quantity, true)
        if beyond:
            yield Remark(kind="outside calibration", text=beyond)

    def _over_water(self, point: float) -> float:
        """A point of the sensor as %RH over water."""
        return point / self._to_ice if self.over_ice else point

    @property
    def _to_ice(self) -> float:
        return float(water_to_ice_ratio(self.chamber_c, self.chamber_pa))

    def _efficiency(self, point: float) -> float:
        """The saturator's, in the middle of what its record allows, as the measurement takes it."""
        lowest = value_at(
            [in_force(self.reference.lowest_efficiency, self.day)],
            np.zeros(1, np.int64),
            np.array([point]),
            np.array([self.chamber_c]),
        )
        return 1.0 - (1.0 - (float(np.nan_to_num(lowest[0])) or 1.0)) / 2.0

    def _rh_at(self, saturation_pa: float) -> float:
        state = saturation_pa, self.saturation_c, self.chamber_pa, self.chamber_c
        return float(two_pressure_rh(*state, self._efficiency(float(two_pressure_rh(*state)))))

    def _reach(self) -> tuple[float, float] | None:
        """Lowest and highest humidity that this saturator and supply give; None where the saturator is frozen."""
        if self.saturation_c < 0:
            return None
        most = PRESSURE_RANGE_PA[1]
        if self.reference.supply is not None:
            most = min(most, self.ambient_pa + self.reference.supply)
        least = self.chamber_pa + float(self.reference.least_overpressure or 0.0)
        driest, wettest = self._rh_at(most), self._settled_rh
        with contextlib.suppress(ValueError):  # beyond saturation: the saturator is much warmer than the chamber
            wettest = min(self._rh_at(least), wettest)
        return driest, wettest

    def _two_pressure(self, point: float) -> Target:
        reach, humidity = self._reach(), self._over_water(point)
        if reach is None:
            return Target(point=point, reached=False)
        lowest, highest = reach
        if humidity < lowest:
            limit = "its supply" if self.reference.supply is not None else "the equations' range (25 bar)"
            text = (
                f"drier than {limit} reaches: {fixed(lowest, 1)} %RH at these temperatures; a colder saturator is drier"
            )
            return Target(point=point, reached=False, remarks=(Remark(kind="not reached", text=text),))
        if humidity > highest:
            text = (
                f"at most {fixed(highest, 1)} %RH at these temperatures: the saturation pressure must stay above the "
            )
            text += "chamber's for the air to flow; a saturator warmer than the chamber gives more"
            return Target(point=point, reached=False, remarks=(Remark(kind="not reached", text=text),))
        state = self.saturation_c, self.chamber_pa, self.chamber_c
        saturation_pa = float(saturation_pressure_for_rh(humidity, *state, self._efficiency(point)))
        transducer_pa = saturation_pa - float(self.reference.known("pressure_drop", self.day) or 0.0) / 2.0
        if self.instrument.unit("saturation_pressure").gauge:
            transducer_pa -= self.ambient_pa
        remarks = [
            *self._outside("saturation_pressure", transducer_pa),
            *self._condensing(humidity),
            *self._at_valve(saturation_pa),
        ]
        setting = self._setting("saturation_pressure", transducer_pa)
        return self._reached(point, humidity, (setting,), remarks)

    def _chilled_mirror(self, point: float) -> Target:
        humidity = self._over_water(point)
        if humidity <= 0:
            return Target(point=point, reached=False, remarks=(_no_dry_air(),))
        dew, frost = self._dew_and_frost(humidity)
        expected = [(frost, "frost"), (dew, "dew")]
        shown = [(value, word) for value, word in expected if not math.isnan(value)]
        settings = tuple(self._setting("mirror_temperature", value, note) for value, note in shown)
        remarks = [*self._outside("mirror_temperature", shown[0][0]), *self._condensing(humidity)]
        return self._reached(point, humidity, settings, remarks)

    def _saturated_salt(self, point: float) -> Target:
        humidity = self._over_water(point)
        usable = [salt for salt in self.reference.salts if _holds(salt, self.chamber_c)]
        given = {salt: float(salt_rh(salt, self.chamber_c)) for salt in usable}
        for cell in self.reference.cells:
            if (certificate := cell.newest_calibration(self.day)) is not None:
                given[cell.name] = certificate.value + certificate.change * (self.chamber_c - certificate.at.value)
        if not given:
            text = f"no humidity of {', '.join(self.reference.solutions)} is published or certified for "
            text += f"{fixed(self.chamber_c, 1)} °C"
            return Target(point=point, reached=False, remarks=(Remark(kind="not reached", text=text),))
        salt = min(given, key=lambda name: abs(given[name] - humidity))
        remarks = list(self._condensing(given[salt]))
        near = abs(given[salt] - humidity) < self.reach
        if not near:
            text = f"the nearest cell, {salt}, gives {fixed(given[salt], 1)} %RH: too far to count as this point"
            remarks.append(Remark(kind="not reached", text=text))
        return Target(
            point=point,
            reached=near,
            salt=salt,
            humidity=given[salt],
            condensation_c=self._condensation(given[salt]),
            remarks=tuple(remarks),
        )

    def _transfer_probe(self, point: float) -> Target:
        humidity = self._over_water(point)
        shown = humidity
        if self.chamber_c < 0.0:
            if self.reference.rh_over is None:
                text = f"{self.reference.id} does not say rh_over, so what it will show below 0 °C is not known"
                return Target(point=point, reached=False, remarks=(Remark(kind="rh_over undeclared", text=text),))
            shown = humidity * self._to_ice if shows_ice(self.reference) else humidity
        setting = self._setting("reference_humidity", shown)
        remarks = [*self._outside("reference_humidity", shown), *self._condensing(humidity)]
        return self._reached(point, humidity, (setting,), remarks)

    def _reached(self, point: float, humidity: float, settings: tuple[Setting, ...], remarks: list[Remark]) -> Target:
        return Target(
            point=point,
            reached=True,
            settings=settings,
            humidity=humidity,
            condensation_c=self._condensation(humidity),
            remarks=tuple(remarks),
        )

    def _setting(self, quantity: str, true: float, note: str = "") -> Setting:
        value, unit, places = self.instrument.shown(quantity, true)
        return Setting(quantity=quantity, value=value, unit=unit, places=places, note=note)

    # ---- Water where none should be ---------------------------------------------------------------------------

    def _dew_and_frost(self, humidity: float) -> tuple[float, float]:
        """Dew and frost point of the chamber's air; nan where there is none."""
        dew = frost = math.nan
        if humidity > 0:
            with contextlib.suppress(ValueError):  # too dry for a dew point
                dew = float(dew_point_c(humidity, self.chamber_c, pressure_pa=self.chamber_pa))
            if not dew > 0:
                frost = float(frost_point_c(humidity, self.chamber_c, pressure_pa=self.chamber_pa))
        return dew, frost

    def _condensation(self, humidity: float) -> float:
        dew, frost = self._dew_and_frost(humidity)
        return dew if math.isnan(frost) else frost

    def _condensing(self, humidity: float) -> Iterator[Remark]:
        """Where the chamber's air meets something colder than its dew or frost point."""
        point_c = self._condensation(humidity)
        if math.isnan(point_c):
            return
        said = f"the chamber's air has its {'dew' if point_c >= 0 else 'frost'} point at {fixed(point_c, 1)} °C"
        if self.room_c < point_c - JUST_APART_C:
            text = f"{said}, the room is at {fixed(self.room_c, 1)} °C: water condenses on the chamber's wall; "
            yield Remark(kind="condensation", text=text + "warm the chamber's wall and its hoses")
        working = self.sensor.working_temperature
        if working is not None and working < point_c - JUST_APART_C and working < self.chamber_c - JUST_APART_C:
            text = (
                f"{said}, the probe comes from {fixed(working, 1)} °C: let it warm up in dry air first, or it gets wet"
            )
            yield Remark(kind="condensation", text=text)

    def _in_line(self) -> Iterator[Remark]:
        """Saturated air under pressure: any place colder than the saturator gets wet, whatever the pressure."""
        if self.line_c < self.saturation_c - JUST_APART_C:
            text = (
                f"between saturator and valve the dew point is the saturator's temperature, "
                f"{fixed(self.saturation_c, 1)} °C, and the line is at {fixed(self.line_c, 1)} °C: water condenses in "
                "it; warm the line"
            )
            yield Remark(kind="condensation", text=text)

    def _at_valve(self, saturation_pa: float) -> Iterator[Remark]:
        valve_c = self.saturation_c - COOLING_K_PER_PA * (saturation_pa - self.chamber_pa)
        if valve_c < 0:
            text = f"the expansion cools an unheated valve to about {fixed(valve_c, 0)} °C: ice can block it; heat it"
            yield Remark(kind="ice", text=text)


def _no_dry_air() -> Remark:
    return Remark(kind="not reached", text="air without water has no dew or frost point")


def _holds(salt: str, temperature_c: float) -> bool:
    lowest, highest = salt_range_c(salt)
    return lowest <= temperature_c <= highest
