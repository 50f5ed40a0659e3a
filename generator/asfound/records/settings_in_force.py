"""A sensor's settings in force on a day: its own key, else its family's; each replaced whole."""

from __future__ import annotations

from datetime import date
from typing import Any

from asfound.records.load import Records
from asfound.records.models import (
    Channel,
    ChannelDefaults,
    Family,
    Installed,
    PlacePeriod,
    Reference,
    Sensor,
    in_force,
)


def instrument_on(sensor: Sensor, day: date) -> Installed | None:
    """The instrument at the position on `day`."""
    current = None
    for installed in sensor.installed:
        if installed.from_ <= day:
            current = installed
    if current is not None and current.until is not None and current.until < day:
        return None
    return current


def shows_ice(shown_by: SettingsOn | Reference | None) -> bool:
    """Whether a sensor or a transfer probe shows humidity over ice where it is below 0 °C; above there is one only."""
    declared = shown_by.whole("rh_over") if isinstance(shown_by, SettingsOn) else getattr(shown_by, "rh_over", None)
    return bool(declared == "ice")


class SettingsOn:
    """What holds for one sensor on one day."""

    def __init__(self, records: Records, sensor: Sensor, day: date) -> None:
        self.sensor = sensor
        self.day = day
        self.instrument = instrument_on(sensor, day)
        # Before the first instrument the first one's family speaks: due dates and pages need one.
        chosen = self.instrument or sensor.installed[0]
        self.family: Family | None = records.families.get(chosen.family)

    def whole(self, key: str) -> Any:
        """The key as it stands in the sensor's file, or else in its family's."""
        own = getattr(self.sensor, key)
        return own if own is not None else getattr(self.family, key, None)

    def dated(self, key: str) -> Any:
        """The entry of a dated key that is in force."""
        return in_force(self.whole(key), self.day)

    def known(self, key: str) -> float | None:
        """The value of a property as it is known on the day."""
        entry = self.dated(key)
        return entry.value if entry is not None else None

    def since(self, key: str) -> date | None:
        """First day of the entry of a dated key that is in force; None where none is."""
        entry = self.dated(key)
        return entry.from_ if entry is not None else None

    def named_after(self, key: str) -> str:
        """What a dated key's entry in force is named after: who gives it, key and first day."""
        own = getattr(self.sensor, key) is not None
        since = self.since(key)
        return f"{self.sensor.id if own else self.model}/{key}{'' if since in (None, date.min) else f'/{since}'}"

    @property
    def serial(self) -> str:
        """Serial of the instrument at the position."""
        return (self.instrument or self.sensor.installed[0]).serial

    @property
    def model(self) -> str:
        """Its family's id."""
        return (self.instrument or self.sensor.installed[0]).family

    @property
    def place(self) -> PlacePeriod:
        """Where the position is; before its first entry, that one."""
        return in_force(self.sensor.place, self.day) or self.sensor.place[0]

    @property
    def channels(self) -> tuple[Channel, ...]:
        """What the sensor reports."""
        return self.whole("channels") or (Channel.HUMIDITY,)

    def declared(self, channel: Channel) -> ChannelDefaults:
        """Declared resolutions and short-term behaviour of a channel."""
        return self.dated(channel.value) or ChannelDefaults()

    def scaling(self, channel: Channel) -> Any:
        """The loop's scaling for a channel."""
        return self.dated(channel.declaration.scaling)

    def tolerance(self, channel: Channel, phase: str) -> Any:
        """The tolerance that judges a phase: as left has its own limit where one is given."""
        keys = channel.declaration
        own_limit = self.dated(keys.as_left_tolerance) if phase == "as_left" else None
        return own_limit or self.dated(keys.tolerance)

    def range(self, channel: Channel) -> Any:
        """The range that the sensor is specified for."""
        return self.dated(channel.declaration.range)
