"""Settings of sensors and families: that what a calibration needs is there, and in the unit of its channel."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from asfound.faults import Fault, did_you_mean, error
from asfound.records.methods import METHODS
from asfound.records.models import Channel, Sensor, Tolerance
from asfound.records.rules.survey import RuleAcross, Survey
from asfound.records.settings_in_force import SettingsOn

UNKNOWN_FAMILY = error("unknown-family", "an instrument is of a model without a record")
UNKNOWN_PLACE = error("unknown-place", "a sensor stands in a place that facility.yml does not name")
PLACE_PERIODS = error("place-periods", "a sensor has an instrument before it has a place")
WITHOUT_CHANNEL = error("family-without-channel", "neither a sensor nor its family says what it reports")
TOLERANCE_MISSING = error("tolerance-missing", "no tolerance judges a channel")
POINTS_MISSING = error("points-missing", "no points say when a calibration is complete")
INTERVAL_MISSING = error("interval-missing", "no interval says when a calibration is due")
RANGE_MISSING = error("range-missing", "a tolerance is a share of a range that is not given")
CHANNEL_UNIT = error("channel-unit", "a setting is in the unit of the other channel")
RH_OVER_UNDECLARED = error(
    "rh-over-undeclared", "a sensor or transfer probe is used below 0 degC and does not say which humidity it shows"
)

_CHANNEL_KEYS = {key: channel for channel in Channel for key in channel.setting_keys}
_SIGNAL_KEYS = ("low", "high")
_NEEDED = {
    **{
        one.tolerance: (TOLERANCE_MISSING, f"absolute: {one.tolerance_example}")
        for one in (channel.declaration for channel in Channel)
    },
    "points": (POINTS_MISSING, "humidity: [10 %RH, 35 %RH, 60 %RH]"),
    "interval": (INTERVAL_MISSING, "months: 12"),
}


def unknown_families(survey: Survey) -> Iterator[Fault]:
    """Each instrument is of a model in families/."""
    known = survey.names("families")
    for name, sensor in survey.records.sensors.items():
        for number, installed in enumerate(sensor.installed):
            if installed.family not in known:
                message = f"family {installed.family!r} has no record"
                guess = did_you_mean(installed.family, known)
                cure = f"add records/families/{installed.family}.yml, or correct the model{guess}"
                at = ("installed", number, "family")
                yield survey.fault(UNKNOWN_FAMILY, f"sensors/{name}.yml", at, message, cure)


def unknown_places(survey: Survey) -> Iterator[Fault]:
    """Each place is one of facility.yml's."""
    if "facility.yml" in survey.unread:
        return
    known = [place.id for place in survey.records.facility.places]
    for name, sensor in survey.records.sensors.items():
        for number, entry in enumerate(sensor.place):
            if entry.place not in known:
                message = f"place {entry.place!r} is not in facility.yml"
                cure = f"add it under places, or correct the id{did_you_mean(entry.place, known)}"
                at = ("place", number, "place")
                yield survey.fault(UNKNOWN_PLACE, f"sensors/{name}.yml", at, message, cure)


def places_that_begin_late(survey: Survey) -> Iterator[Fault]:
    """An instrument stands somewhere from its first day on."""
    for name, sensor in survey.records.sensors.items():
        first = sensor.installed[0]
        if sensor.place[0].from_ > first.from_:
            message = f"{first.serial} is installed from {first.from_}, the first place begins later"
            cure = "begin the first place with the first instrument, or leave out its from"
            at = ("place", 0, "from")
            yield survey.fault(PLACE_PERIODS, f"sensors/{name}.yml", at, message, cure)


def _instruments(survey: Survey) -> Iterator[tuple[str, Sensor, SettingsOn]]:
    """Name and record of each sensor, with the settings of each of its instruments' first day."""
    for name, sensor in survey.records.sensors.items():
        for installed in sensor.installed:
            settings = survey.settings(sensor, installed.from_)
            if settings is not None:
                yield name, sensor, settings


def families_without_channel(survey: Survey) -> Iterator[Fault]:
    """What a sensor reports is declared, and humidity is in it."""
    for name, sensor, settings in _instruments(survey):
        channels = settings.whole("channels") or ()
        if Channel.HUMIDITY not in channels:
            stated = f"say only {', '.join(channels)}" if channels else "do not say what it reports"
            message = f"{name} and its family {settings.model} {stated}"
            cure = "add `channels: [humidity]` or `channels: [humidity, temperature]` to the family"
            path = f"families/{settings.model}.yml"
            if sensor.channels is not None or path not in survey.records.documents:
                path = f"sensors/{name}.yml"
            yield survey.fault(WITHOUT_CHANNEL, path, ("channels",), message, cure)


def _needed_keys(settings: SettingsOn) -> tuple[str, ...]:
    # Whatever a file says of its channels, humidity is one of them: a sensor without it is told so elsewhere.
    reported = {Channel.HUMIDITY, *settings.channels}
    spared = {channel.declaration.tolerance for channel in Channel if channel not in reported}
    return tuple(key for key in _NEEDED if key not in spared)


def missing_settings(survey: Survey) -> Iterator[Fault]:
    """Tolerance, points and interval stand in the sensor's file or its family's."""
    for name, _, settings in _instruments(survey):
        for key in _needed_keys(settings):
            if not settings.whole(key):
                rule, example = _NEEDED[key]
                message = f"{name} has no {key}, nor has its family {settings.model}"
                cure = f"add `{key}: {{{example}}}` to one of the two"
                yield survey.fault(rule, f"sensors/{name}.yml", (key,), message, cure)


def settings_not_in_force(survey: Survey) -> Iterator[Fault]:
    """A visit is judged by the settings of its day."""
    begins: dict[tuple[int, str], list[tuple[str, date]]] = {}
    for part, row, sensor, settings in survey.visited(survey.rows.reading):
        files = (id(sensor), settings.model)
        if files not in begins:
            keys = _needed_keys(settings)
            begins[files] = [(key, entries[0].from_) for key in keys if (entries := settings.whole(key))]
        for key, first in begins[files]:
            if part.visit.day < first:
                message = f"no {key} of {sensor.id} was in force on {part.visit.day}"
                cure = "add an entry from that day or earlier to the sensor or its family"
                yield survey.rows.fault(_NEEDED[key][0], row, "sensor", message, cure)


def missing_ranges(survey: Survey) -> Iterator[Fault]:
    """A share of the range needs a range."""
    for name, _, settings in _instruments(survey):
        for key, channel in _CHANNEL_KEYS.items():
            entries = settings.whole(key)
            if not isinstance(entries, tuple) or not isinstance(entries[0], Tolerance):
                continue
            ranged = channel.declaration.range
            of_range = any(part.of_range is not None for entry in entries for part in (entry, *entry.bands))
            if of_range and not settings.whole(ranged):
                message = f"{key} of {name} is a share of its range, and there is no {ranged}"
                cure = f"add `{ranged}:` with lowest and highest to the sensor or its family"
                yield survey.fault(RANGE_MISSING, f"sensors/{name}.yml", (key,), message, cure)


def units_of_channels(survey: Survey) -> Iterator[Fault]:
    """A humidity setting is in %RH, a temperature setting in degC or another unit of temperature."""
    files: dict[str, Any] = {f"families/{n}.yml": m for n, m in survey.records.families.items()}
    files |= {f"sensors/{n}.yml": m for n, m in survey.records.sensors.items()}
    for path, record in files.items():
        for key, channel in _CHANNEL_KEYS.items():
            for at, amount in _amounts(getattr(record, key), (key,)):
                if at[-1] not in _SIGNAL_KEYS and amount.quantity != channel.value:
                    message = f"{at[-1]} under {key} is an amount of {amount.quantity}"
                    cure = f"write it in {channel.unit}, or move it to the other channel's key"
                    yield survey.fault(CHANNEL_UNIT, path, at, message, cure)


def _amounts(value: Any, at: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Every amount inside a setting, with the keys to it."""
    if isinstance(value, tuple):
        for number, item in enumerate(value):
            yield from _amounts(item, (*at, number))
    elif hasattr(value, "quantity"):
        yield at, value
    elif hasattr(value, "model_fields_set"):
        for name in type(value).model_fields:
            yield from _amounts(getattr(value, name), (*at, name))


def undeclared_rh_over(survey: Survey) -> Iterator[Fault]:
    """Below 0 °C, relative humidity over water and over ice are two things."""
    cure = "add `rh_over: water` or `rh_over: ice` to the sensor or its family, as its maker states"
    for name, sensor, settings in _instruments(survey):
        cold = sensor.working_temperature is not None and sensor.working_temperature < 0.0
        if cold and settings.whole("rh_over") is None:
            message = f"{name} works at {sensor.working_temperature:g} degC and does not say rh_over"
            at = ("working_temperature",)
            yield survey.fault(RH_OVER_UNDECLARED, f"sensors/{name}.yml", at, message, cure)
    rows = survey.rows
    for column in ("chamber_temperature", "reference_temperature", "air_temperature"):
        for _, row, sensor, settings in survey.visited(rows.own & (rows.shared(column) < 0.0)):
            works_cold = sensor.working_temperature is not None and sensor.working_temperature < 0.0
            if settings.whole("rh_over") is None and not works_cold:
                message = f"{sensor.id} was read below 0 degC and does not say rh_over"
                yield rows.fault(RH_OVER_UNDECLARED, row, column, message, cure)


def probes_without_rh_over(survey: Survey) -> Iterator[Fault]:
    """What a transfer probe shows below 0 °C is as ambiguous as what a sensor shows: 16 % of reading at −18 °C."""
    rows = survey.rows
    for name, reference in survey.records.references.items():
        if reference.kind not in METHODS or not METHODS[reference.kind].reads_humidity or reference.rh_over:
            continue
        read = rows.own & rows.words("reference").among((name,)) & (rows.shared("reference_temperature") < 0.0)
        tested = rows.own & rows.words("sensor").among((name,))
        for column in ("chamber_temperature", "reference_temperature"):
            cold = tested & (rows.shared(column) < 0.0)
            for _, row in rows.firsts(cold | read if column == "reference_temperature" else cold):
                message = f"{name} was read below 0 degC and does not say rh_over"
                cure = f"add `rh_over: water` or `rh_over: ice` to references/{name}.yml, as its certificate states"
                yield rows.fault(RH_OVER_UNDECLARED, row, column, message, cure)


RULES: tuple[RuleAcross, ...] = (
    unknown_families,
    unknown_places,
    places_that_begin_late,
    families_without_channel,
    missing_settings,
    settings_not_in_force,
    missing_ranges,
    units_of_channels,
    undeclared_rh_over,
    probes_without_rh_over,
)
