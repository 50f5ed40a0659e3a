"""What results are to be made of: the plateaus and channels of sensors' visits that stand."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from asfound.faults import Fault
from asfound.measurement.cell_sources import Part
from asfound.measurement.lines import Measurement
from asfound.records.load import Records
from asfound.records.models import Channel, Policy
from asfound.records.models.references import Reference
from asfound.records.settings_in_force import SettingsOn
from asfound.records.visits.rows import Plateau, SensorVisit


class Slot(NamedTuple):
    """One plateau and channel of a sensor (or of a reference that was calibrated or checked)."""

    sensor_visit: SensorVisit
    settings: SettingsOn | None
    """of the sensor on the day"""
    reference: Reference | None
    """the one that was calibrated or checked, where it was no sensor"""
    policy: Policy
    plateau: Plateau
    channel: Channel
    cell: int | None = None
    """the measured plateau; None where nothing was measured"""
    parts: Mapping[Part, int] = {}
    """number of the line of each part"""
    part: Part | None = None
    """the one that is judged; None where nothing was measured"""

    @property
    def instrument(self) -> tuple[str, str]:
        """Serial and model of what was calibrated or checked; of a reference its kind."""
        if self.settings:
            return self.settings.serial, self.settings.model
        return (self.reference.serial, self.reference.kind) if self.reference else ("", "")


def slots_of(records: Records, measurement: Measurement, sensor_visits: Iterable[SensorVisit]) -> Iterator[Slot]:
    """By sensor visit, plateau and channel, in their order."""
    cells = {cell.key: i for i, cell in enumerate(measurement.cells)}
    lines: dict[tuple[int, Channel], dict[Part, int]] = {}
    for number, line in enumerate(measurement.lines):
        lines.setdefault((line.cell, line.channel), {})[line.part] = number
    for sv in sensor_visits:
        sensor = records.sensors.get(sv.sensor)
        settings = SettingsOn(records, sensor, sv.visit.day) if sensor else None
        reference = None if settings else records.references.get(sv.sensor)
        policy = records.facility.policy_on(sv.visit.day)
        at_sensor = settings is not None and settings.whole("judged_at") == "sensor"
        wanted = (Part.SENSOR, Part.TOTAL) if at_sensor else (Part.TOTAL, Part.SENSOR)
        for plateau in sv.plateaus:
            if plateau.status in ("not done", "stated"):
                yield Slot(sv, settings, reference, policy, plateau, Channel.HUMIDITY)
                continue
            cell = cells[(sv.visit.path, sv.sensor, plateau.number)]
            for channel in settings.channels if settings else tuple(Channel):
                parts = lines.get((cell, channel), {})
                part = next((part for part in wanted if part in parts), None)
                # A loop alone has no reference to be judged by; its fault is shown with what is held against it.
                if part is not None or _was_read(sv, plateau, channel):
                    yield Slot(sv, settings, reference, policy, plateau, channel, cell, parts, part)


def _was_read(sv: SensorVisit, plateau: Plateau, channel: Channel) -> bool:
    rows = list(plateau.rows)
    return any(
        not math.isnan(value) for column in channel.declaration.columns for value in sv.visit.number[column][rows]
    )


def held_against(measurement: Measurement, slot: Slot) -> tuple[Fault, ...]:
    """The reservations of a slot's plateau."""
    return () if slot.cell is None else tuple(measurement.reservations.get(slot.cell, ()))
