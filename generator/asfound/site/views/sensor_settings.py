"""A sensor's settings in force on a day, in words: what it is judged by, where it works, what is declared of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from asfound.certificates.wording import scaling
from asfound.certificates.wording import tolerance as tolerance_in_words
from asfound.records.models import Channel, ChannelDefaults, TimeConstant, Tolerance
from asfound.records.models.fields import Amount
from asfound.records.models.spreads import ByBands
from asfound.records.settings_in_force import SettingsOn
from asfound.wording import words
from asfound.wording.words import Fact

_SIGNALS = {"direct": "its own display or data", "current": "current loop", "voltage": "voltage"}
_JUDGED = {"far_end": "at the far end of the loop", "sensor": "at the sensor"}
_OVER = {"water": "liquid water", "ice": "ice"}


def settings_facts(settings: SettingsOn) -> tuple[Fact, ...]:
    """All settings in force, those that judge first."""
    return tuple([*_judging(settings), *_working(settings), *_signal(settings), *_declared(settings)])


def _origin(settings: SettingsOn, key: str) -> str:
    return "this sensor" if getattr(settings.sensor, key) is not None else f"family {settings.model}"


def _dated(settings: SettingsOn, key: str, name: str, say: Callable[[Any], str]) -> Iterator[Fact]:
    """The entry in force with its first day and what was before, where the key is set."""
    entry = settings.dated(key)
    if entry is None:
        return
    before = [e for e in settings.whole(key) if e.from_ < entry.from_]
    note = [_origin(settings, key)]
    if words.since(entry.from_):
        note.append(words.since(entry.from_))
    if before:
        note.append(f"before: {say(before[-1])}")
    yield Fact(name=name, value=say(entry), note=", ".join(note))


def _tolerances() -> Iterator[tuple[Channel, str, str]]:
    """Channel, key and name of each tolerance, limits of adjustment last."""
    for channel in Channel:
        yield channel, channel.declaration.tolerance, f"{channel.capitalize()} tolerance"
        yield channel, channel.declaration.as_left_tolerance, f"{channel.capitalize()} tolerance as left"
    for channel in Channel:
        if (key := channel.declaration.adjustment_limit) is not None:
            yield channel, key, "Adjustment advised above"


def _judging(settings: SettingsOn) -> Iterator[Fact]:
    for channel, key, name in _tolerances():
        symbol, span = words.unit(channel.unit), settings.range(channel)

        def say(entry: Tolerance, symbol: str = symbol, span: Any = span) -> str:
            return tolerance_in_words(entry, symbol, span)

        if channel in settings.channels:
            yield from _dated(settings, key, name, say)
    judged = settings.whole("judged_at")
    if judged:
        yield Fact(name="Judged", value=_JUDGED[judged], note=_origin(settings, "judged_at"))
    yield from _dated(
        settings, "points", "Points", lambda e: words.listed(words.amount(h, "humidity") for h in e.humidity)
    )
    yield from _dated(settings, "interval", "Interval", lambda e: words.counted(e.months, "month"))


def _working(settings: SettingsOn) -> Iterator[Fact]:
    sensor = settings.sensor
    working = []
    for channel in Channel:
        if (at := sensor.working(channel)) is not None:
            working.append(words.amount(at, channel.value))
    if working:
        yield Fact(name="Works at", value=" and ".join(working))
    limits = sensor.process_limits
    if limits is not None:
        low, high = (words.amount(limit, "humidity") for limit in (limits.lowest, limits.highest))
        yield Fact(name="The goods may see", value=f"{low} to {high}")
    yield Fact(name="Consequence of an error", value=sensor.criticality)
    yield Fact(name="Its reading", value="drives the plant" if sensor.controls else "is watched, drives nothing")


def _signal(settings: SettingsOn) -> Iterator[Fact]:
    signal = settings.whole("signal")
    if signal:
        yield Fact(name="Signal", value=_SIGNALS[signal], note=_origin(settings, "signal"))
    over = settings.whole("rh_over")
    if over:
        yield Fact(name="Shows relative humidity over", value=_OVER[over], note=_origin(settings, "rh_over"))
    for channel in Channel:
        if channel not in settings.channels:
            continue
        symbol = words.unit(channel.unit)

        def say_scaling(entry: Any, symbol: str = symbol) -> str:
            return scaling(entry, symbol)

        def say_range(entry: Any, symbol: str = symbol) -> str:
            return f"{entry.lowest.value:g} to {entry.highest.value:g} {symbol}"

        yield from _dated(settings, channel.declaration.scaling, f"Scaling of the {channel} loop", say_scaling)
        yield from _dated(settings, channel.declaration.range, f"{channel.capitalize()} range", say_range)


_DECLARED = {
    "resolution": "resolution",
    "far_end_resolution": "resolution at the far end",
    "far_end_dead_band": "dead band at the far end, half-width",
    "repeatability": "repeatability, until the family's visits give a better one",
    "hysteresis": "hysteresis, full width",
}


def _declared(settings: SettingsOn) -> Iterator[Fact]:
    for channel in settings.channels:
        if _said(settings.declared(channel)):
            yield from _dated(settings, channel.value, f"Declared of the {channel} channel", _said)
    for key, name, quantity, per in (
        ("self_heating", "Probe against chamber air, half-width", "temperature", ""),
        ("temperature_coefficient", "Temperature coefficient", "humidity", "/°C"),
    ):

        def say(entry: Any, quantity: str = quantity, per: str = per) -> str:
            return words.amount(entry.value, quantity, per)

        if settings.known(key):
            yield from _dated(settings, key, name, say)
    yield from _dated(settings, "time_constant", "Time constant", _constant)


def _constant(constant: TimeConstant) -> str:
    nominal, spread, longest = (
        words.amount(minutes, "duration") if minutes is not None else ""
        for minutes in (constant.nominal, constant.spread, constant.longest)
    )
    return f"at most {longest}" if longest else f"{nominal} ± {spread}"


def _said(declared: ChannelDefaults) -> str:
    return "; ".join(
        f"{name} {_by_bands(value) if isinstance(value, ByBands) else _amount(value)}"
        for key, name in _DECLARED.items()
        if (value := getattr(declared, key)) is not None
    )


def _by_bands(amount: ByBands[Any]) -> str:
    """`0.05 %RH, ν = 9, 0.2 %RH from 70 %RH to 100 %RH`."""
    freedom = getattr(amount, "nu", None)
    bands = (f"{_amount(band.value)} from {_amount(band.lowest)} to {_amount(band.highest)}" for band in amount.bands)
    return ", ".join([_amount(amount.value), *([f"ν = {freedom:g}"] if freedom else []), *bands])


def _amount(amount: Amount) -> str:
    return words.amount(amount.value, amount.quantity)
