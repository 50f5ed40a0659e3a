"""Signals, scalings and channels."""

from __future__ import annotations

from tests.records.rules.written import (
    FIRST,
    HEADER,
    SENSOR,
    edited,
    told,
    visit,
)
from tests.repositories import minimal

# Signals.


def test_a_scaling_is_in_the_unit_of_the_signal():
    volts = edited("families/HX-2.yml", "low: 4 mA, high: 20 mA", "low: 0 V, high: 10 V")
    assert told(volts) == ["2 signal-mismatch"]
    silent = str(volts["families/HX-2.yml"]).replace("signal: current\n", "")
    assert told({"families/HX-2.yml": silent}) == ["2 signal-mismatch"]


def test_a_channel_that_is_not_there_has_no_signal_either():
    header = f"{HEADER},output_temperature [mA]"
    assert told(visit(f"{FIRST},12.1", header=header)) == ["2 channel-not-there"]


def test_a_sensor_may_say_its_channels_itself():
    family = edited("families/HX-2.yml", "channels: [humidity]\n", "")
    assert told(family | {SENSOR: minimal()[SENSOR].decode() + "channels: [humidity]\n"}) == []
    assert told(family | {SENSOR: minimal()[SENSOR].decode() + "channels: [temperature]\n"}) == [
        "1 tolerance-missing",
        "6 family-without-channel",
    ]
