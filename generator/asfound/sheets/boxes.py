"""What is written down at a reading: a box for each column, with its unit and what can stand in it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from asfound.planning.instrument_readings import Instrument
from asfound.planning.usual import Usual, usual_unit
from asfound.records.methods import METHODS, QUANTITIES
from asfound.records.models import Channel
from asfound.records.rules.readings import plausible_range
from asfound.records.settings_in_force import SettingsOn
from asfound.records.visits.columns import CONDENSATES
from asfound.refusals import Refusal
from asfound.units import CANONICAL, UNITS, Unit, header_unit

_SIGNAL_UNITS = {"current": "mA", "voltage": "V"}
_LOOP_MA = (3.8, 20.5)
"""Outside it a loop says that it is broken (NAMUR NE 43, from memory): there is no result."""


@dataclass(frozen=True, kw_only=True)
class Box:
    """One column to be filled in at a reading."""

    column: str
    unit: Unit | None
    """None: a word"""
    choices: tuple[str, ...] = ()
    lowest: float = -math.inf
    """in the unit; what lies outside is doubted"""
    highest: float = math.inf

    @property
    def header(self) -> str:
        """The column as the CSV names it."""
        return f"{self.column} [{self.unit.symbol}]" if self.unit else self.column

    @property
    def label(self) -> str:
        """`Saturation pressure`."""
        words = self.column.replace("_", " ")
        return words[0].upper() + words[1:]

    @property
    def shown_unit(self) -> str:
        """`°C`, `kPa absolute`; blank for a word."""
        return self.unit.symbol.replace("degC", "°C").replace("degF", "°F") if self.unit else ""


def box(column: str, unit: Unit) -> Box:
    """A box for a number, with the range in which its column is believed."""
    lowest, highest = plausible_range(column, unit) or (-math.inf, math.inf)
    if column in Channel.HUMIDITY.declaration.columns and unit.quantity == "humidity":
        lowest, highest = 0.0, 100.0
    if unit.quantity == "current":
        lowest, highest = _LOOP_MA
    return Box(column=column, unit=unit, lowest=lowest, highest=highest)


def reference_boxes(instrument: Instrument, medium: str, barometer: Instrument | None) -> tuple[Box, ...]:
    """What is read from the reference, and the room's pressure where it counts."""
    boxes = []
    for column in _columns(instrument, medium):
        if column == "condensate":
            boxes.append(Box(column=column, unit=None, choices=CONDENSATES))
        else:
            boxes.append(box(column, instrument.unit(column)))
    if needs_ambient(instrument, medium):
        known = barometer is not None and "ambient_pressure" in barometer.reference.quantities
        unit = ambient_unit(barometer) if known and barometer else header_unit("hPa absolute", ("pressure",))
        boxes.append(box("ambient_pressure", unit))
    return tuple(boxes)


def ambient_unit(barometer: Instrument) -> Unit:
    """A barometer's: the room's pressure is always absolute."""
    known = barometer.reference.quantities["ambient_pressure"].unit
    found = header_unit(known, ("pressure",)) if known else None
    found = found or usual_unit(barometer.records, barometer.reference.id, "ambient_pressure", barometer.day)
    return found or header_unit("hPa absolute", ("pressure",))


def needs_ambient(instrument: Instrument, medium: str) -> bool:
    """Whether the room's pressure counts: behind a gauge, for a mirror without a pressure of its own, in air."""
    reference = instrument.reference
    instead = METHODS[reference.kind].alternatives
    if medium == "in air" or any(instead[name] == "ambient_pressure" for name in {*instead} - {*reference.quantities}):
        return True
    return any(instrument.unit(name).gauge for name in _columns(instrument, medium) if "pressure" in name)


def _columns(instrument: Instrument, medium: str) -> list[str]:
    """What is read from it: of what not every such reference measures, that which this one does."""
    reference = instrument.reference
    method = METHODS[reference.kind]
    spared = {*method.optional, *method.alternatives, *method.in_air_only} & {*QUANTITIES}
    optional = spared - {*reference.quantities}
    if medium != "in air":
        optional |= {*method.in_air_only}
    if "mirror_pressure" in reference.quantities and not _known_unit(instrument, "mirror_pressure"):
        optional.add("mirror_pressure")  # never read so far: the chamber's is taken
    return [column for column in method.read if column not in optional]


def _known_unit(instrument: Instrument, quantity: str) -> bool:
    try:
        instrument.unit(quantity)
    except Refusal:
        return False
    return True


def room_boxes(instrument: Instrument) -> tuple[Box, ...]:
    """The room once a point, in the reference's unit of temperature."""
    last = usual_unit(instrument.records, instrument.reference.id, "room_temperature", instrument.day)
    return box("room_temperature", last or UNITS["degC"]), box("room_humidity", UNITS["%RH"])


def sensor_boxes(settings: SettingsOn, before: Usual | None) -> tuple[Box, ...]:
    """What is read of a sensor: at the sensor and, where the building system shows it, at the far end."""
    return tuple(_boxes(settings, before))


def _boxes(settings: SettingsOn, before: Usual | None) -> Iterable[Box]:
    last = before.indications if before else {}
    signal = settings.whole("signal")
    for channel in settings.channels:
        output, far_end = channel.declaration.columns
        own = last.get(output) or UNITS[CANONICAL[channel.value]]
        if signal in _SIGNAL_UNITS:
            own = UNITS[_SIGNAL_UNITS[signal]]
        elif signal == "direct" and own.quantity != channel.value:
            own = UNITS[CANONICAL[channel.value]]
        yield box(output, own)
        wired = signal in _SIGNAL_UNITS or settings.declared(channel).far_end_resolution is not None
        if far_end in last or (not last and wired):
            yield box(far_end, last.get(far_end) or UNITS[CANONICAL[channel.value]])
