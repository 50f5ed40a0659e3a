"""The reference at work: it makes air of a humidity, and shows what it knows of it.

`go_to` sets it for a point; `observe` gives the true air where the sensors hang, at its thermometer, and what
stands on the displays at that minute.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from datetime import date
from random import Random

from tests.demo.displays import DISPLAYS, Cells, written
from tests.demo.hidden import SENSORS, bounded, stream
from tests.demo.world import Air, air_of, salt_humidity, saturated, saturator_pressure

CHAMBER_OVER_ROOM_PA = 250.0
"""The flow through the chamber keeps it a little above the room."""
SALT_NEAR = {11: "LiCl", 33: "MgCl2", 75: "NaCl"}


class Bench(ABC):
    """What every reference has: a day, a place, the weather."""

    def __init__(self, reference: str, day: date, temperature_c: float, over: str, random: Random) -> None:
        self.reference, self.day, self.over, self.random = reference, day, over, random
        self.temperature_c = temperature_c
        self.ambient_pa = 99300.0 + bounded(stream("weather", day), 850.0)

    @abstractmethod
    def go_to(self, target: float) -> None:
        """Set the bench for a humidity: near it, as a technician dials it."""

    @abstractmethod
    def observe(self) -> tuple[Air, Cells]:
        """The true air, and what the displays show of it."""

    def _near(self, target: float) -> float:
        return target * (1.0 + bounded(self.random, 0.004))

    def _show(self, quantity: str, truth: float, noise: float) -> Cells:
        seen = truth + bounded(self.random, noise)
        return DISPLAYS[self.reference][quantity].cells(self.reference, seen, self.day)

    def _barometer(self, barometer: str) -> Cells:
        shown = DISPLAYS[barometer]["ambient_pressure"].cells(barometer, self.ambient_pa, self.day)
        return shown | {"barometer": barometer}

    def _steady_air(self, air: Air, share: float) -> Air:
        """The air of a point, a little restless: by a share of its water and a few thousandths of a degree."""
        return Air(
            water=air.water * (1.0 + bounded(self.random, share)),
            temperature_c=air.temperature_c + bounded(self.random, 0.004),
            pressure_pa=self.ambient_pa,
        )


class HumidityGenerator(Bench):
    """Two-pressure: saturated at a high pressure, expanded into the chamber."""

    def __init__(self, reference: str, day: date, temperature_c: float, over: str, random: Random) -> None:
        super().__init__(reference, day, temperature_c, over, random)
        own = stream(reference, "own")  # fixed for its life, inside what its record declares
        self.efficiency = own.uniform(0.9988, 0.9998)
        self.saturator_offset = own.uniform(-0.012, 0.012)
        self.saturator_pa = self.ambient_pa

    def go_to(self, target: float) -> None:
        chamber_pa = self.ambient_pa + CHAMBER_OVER_ROOM_PA
        aim = self._near(target)
        self.saturator_pa = saturator_pressure(aim, self.temperature_c, self.temperature_c, chamber_pa, self.efficiency)

    def observe(self) -> tuple[Air, Cells]:
        saturator_pa = self.saturator_pa * (1.0 + bounded(self.random, 4e-5))
        saturator_c = self.temperature_c + bounded(self.random, 0.003)
        chamber_c = self.temperature_c + bounded(self.random, 0.003)
        chamber_pa = self.ambient_pa + CHAMBER_OVER_ROOM_PA + bounded(self.random, 4.0)
        water = saturated(saturator_c + self.saturator_offset, saturator_pa, self.efficiency)
        is_gauge = DISPLAYS[self.reference]["saturation_pressure"].is_gauge
        below = self.ambient_pa if is_gauge else 0.0
        cells = self._show("saturation_pressure", saturator_pa - below, 3.0)
        cells |= self._show("saturation_temperature", saturator_c, 0.002)
        cells |= self._show("chamber_pressure", chamber_pa - below, 3.0)
        cells |= self._show("chamber_temperature", chamber_c, 0.002)
        cells |= self._barometer("BAR-02") if is_gauge else {}
        return Air(water=water, temperature_c=chamber_c, pressure_pa=chamber_pa), cells


class ChilledMirror(Bench):
    """Humid air flows through a small chamber; the mirror finds its dew or frost point."""

    def go_to(self, target: float) -> None:
        self.air = air_of(self._near(target), self.temperature_c, self.ambient_pa, self.over)

    def observe(self) -> tuple[Air, Cells]:
        air = self._steady_air(self.air, 0.0002)
        mirror_c = air.condensation_point_c()
        cells = self._show("mirror_temperature", mirror_c, 0.005)
        cells["condensate"] = "frost" if mirror_c < 0.0 else "dew"
        cells |= self._show("chamber_temperature", air.temperature_c, 0.003)
        return air, cells | self._barometer("BAR-01")


class SaltCells(Bench):
    """Closed cells over saturated solutions."""

    def go_to(self, target: float) -> None:
        self.salt = SALT_NEAR[int(target)]

    def observe(self) -> tuple[Air, Cells]:
        impurity = bounded(stream(self.reference, self.salt, self.day.year), 0.07)
        temperature_c = self.temperature_c + bounded(self.random, 0.01)
        humidity = salt_humidity(self.salt, temperature_c) + impurity
        cells = {"medium": "salt cell", "salt": self.salt}
        cells |= self._show("chamber_temperature", temperature_c, 0.003)
        return air_of(humidity, temperature_c, self.ambient_pa), cells


class ProbeInChamber(Bench):
    """The transfer probe beside the sensor in a small chamber."""

    def go_to(self, target: float) -> None:
        self.air = air_of(self._near(target), self.temperature_c, self.ambient_pa)

    def observe(self) -> tuple[Air, Cells]:
        air = self._steady_air(self.air, 0.0003)
        return air, self._probe_shows(air)

    def _probe_shows(self, air: Air) -> Cells:
        truth, humidity = SENSORS["PROBE-01"], air.humidity()
        error = truth.error(humidity, self.day, as_left=False)
        shown = humidity + error + self.random.gauss(0.0, truth.noise)
        cells = {"reference_humidity [%RH]": written(shown, 2)}
        return cells | self._show("reference_temperature", air.temperature_c, 0.003)


class ProbeInAir(ProbeInChamber):
    """The transfer probe hangs beside the sensor on its wall, where the air is a little warmer than at the probe."""

    def observe(self) -> tuple[Air, Cells]:
        air = self._steady_air(self.air, 0.0008)
        at_sensor = air.warmed(0.25 + bounded(self.random, 0.01))
        cells = {"medium": "in air"} | self._probe_shows(air)
        cells |= self._show("air_temperature", at_sensor.temperature_c, 0.003)
        return at_sensor, cells | self._barometer("BAR-01")


BENCHES: dict[str, type[Bench]] = {
    "two_pressure": HumidityGenerator,
    "mirror": ChilledMirror,
    "salt": SaltCells,
    "probe": ProbeInChamber,
    "in_air": ProbeInAir,
}
