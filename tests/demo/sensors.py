"""The sensor under test: what it, its loop meter and the building system show of the air at its place."""

from __future__ import annotations

import math
from datetime import date
from random import Random

from tests.demo.displays import Cells, written
from tests.demo.hidden import SENSORS, bounded, reference_error, stream
from tests.demo.nameplates import Nameplate
from tests.demo.world import Air

LEAST_TURN_OF_WHOLE_DISPLAY = 0.6
"""A display of whole %RH turns only when the value is this far from what it shows, so that it does not flicker."""


class SensorUnderTest:
    """One sensor through one visit."""

    def __init__(self, plate: Nameplate, day: date, loop_meter: str, minutes: float | None, random: Random) -> None:
        self.plate, self.day, self.loop_meter, self.random = plate, day, loop_meter, random
        self.truth = SENSORS[plate.id]
        self.time_constant = minutes or self.truth.minutes
        spot = stream(plate.id, day)
        self.warmer = spot.uniform(-0.02, 0.02)  # its place in the chamber against the thermometer's
        self.that_day = bounded(spot, 0.06)
        self.begin(as_left=False)

    def begin(self, *, as_left: bool) -> None:
        """As found begins from the room; as left after the adjustment."""
        self.as_left = as_left
        self.target: float | None = None
        self.coming_from = self.truth.pivot
        self.humidity = self.truth.pivot
        self.lean = 0.0
        self.shown: int | None = None
        self.left = 0.0
        """what the humidity error of the last reading still had of the approach"""

    def go_to(self, target: float) -> None:
        """A new point: it leans to the side it comes from."""
        if self.target is not None:
            self.lean = math.copysign(self.truth.hysteresis / 2.0, self.target - target)
        self.target = target
        self.coming_from = self.humidity

    def read(self, air: Air, minutes_at_point: float) -> tuple[Cells, dict[str, float]]:
        """What is written down, and the true errors by channel, without noise and display."""
        here = air.warmed(self.warmer)
        self.humidity = here.humidity(self.plate.over)
        self.left = (self.coming_from - self.humidity) * math.exp(-minutes_at_point / self.time_constant)
        error = self.truth.error(self.humidity, self.day, as_left=self.as_left)
        error += self.lean + self.that_day + self.left
        indicated = self.humidity + error + self.random.gauss(0.0, self.truth.noise)
        cells, errors = self._humidity_cells(indicated), {"humidity": error}
        if self.plate.wired:
            cells["far_end [%RH]"] = written(indicated + self.truth.loop, 1)
        if self.plate.has_temperature:
            errors["temperature"] = self._warm()
            cells |= self._temperature_cells(here.temperature_c + errors["temperature"])
        return cells, errors

    def _warm(self) -> float:
        if self.plate.family == "":  # the transfer probe's thermometer has certificates of its own
            return reference_error(self.plate.id, "reference_temperature", 20.0, self.day)
        return self.truth.spell(self.day, as_left=self.as_left).warm

    def _humidity_cells(self, indicated: float) -> Cells:
        if "humidity" in self.plate.scaling:
            return self._signal_cells("output", "humidity", indicated)
        if not self.plate.shows_whole:
            return {"output [%RH]": written(indicated, 2)}
        if self.shown is None or abs(indicated - self.shown) > LEAST_TURN_OF_WHOLE_DISPLAY:
            self.shown = round(indicated)
        return {"output [%RH]": str(self.shown)}

    def _temperature_cells(self, indicated: float) -> Cells:
        seen = indicated + bounded(self.random, 0.006)
        if "temperature" in self.plate.scaling:
            cells = self._signal_cells("output_temperature", "temperature", seen)
        else:
            cells = {"output_temperature [degC]": written(seen, 2)}
        return cells | ({"far_end_temperature [degC]": written(seen, 1)} if self.plate.wired else {})

    def _signal_cells(self, column: str, channel: str, indicated: float) -> Cells:
        low, high, reads_low, reads_high = self.plate.scaling[channel]
        signal = low + (high - low) * (indicated - reads_low) / (reads_high - reads_low)
        quantity, unit = ("current", "mA") if self.plate.signal == "current" else ("voltage", "V")
        shown = signal + reference_error(self.loop_meter, quantity, signal, self.day)
        return {f"{column} [{unit}]": written(shown, 3), "loop_meter": self.loop_meter}
