"""Signal loops: the sensor's channels, its signal and scaling, and the meter that read it."""

from __future__ import annotations

from collections.abc import Iterator

from asfound.faults import Fault, error
from asfound.records.models import Channel
from asfound.records.rules.survey import RuleAcross, Survey, row_numbers
from asfound.units import CANONICAL

NO_LOOP_METER = error("no-loop-meter", "mA or V were read and no loop meter is named")
NO_SCALING = error("no-scaling", "mA or V were read and no scaling is in force that makes a value of them")
SIGNAL_MISMATCH = error("signal-mismatch", "a reading's unit is not that of the sensor's signal")
CHANNEL_NOT_THERE = error("channel-not-there", "a row has a reading of a channel that the sensor does not have")

_OUTPUTS = {channel.declaration.output: channel for channel in Channel}
_SIGNALS = ("current", "voltage")


def missing_loop_meters(survey: Survey) -> Iterator[Fault]:
    """The meter that read a signal has errors of its own."""
    rows, meters = survey.rows, survey.rows.words("loop_meter")
    for column in _OUTPUTS:
        quantities = rows.quantity(column)
        for row in row_numbers(rows.own & quantities.among(_SIGNALS) & ~meters.filled):
            message = f"{column} was read in {CANONICAL[quantities[row]]}, and no loop meter is named"
            cure = "fill in the id of the meter under loop_meter"
            yield rows.fault(NO_LOOP_METER, row, "loop_meter", message, cure)


def signals_that_do_not_fit(survey: Survey) -> Iterator[Fault]:
    """A reading comes in the unit of the sensor's signal, and a scaling makes a value of it."""
    rows = survey.rows
    for column, channel in _OUTPUTS.items():
        quantities = rows.quantity(column)
        for quantity in (channel.value, *_SIGNALS):
            read = rows.own & quantities.among((quantity,))
            for part, row, sensor, settings in survey.visited(read):
                if channel not in settings.channels:
                    continue
                unit, signal, scaling = CANONICAL[quantity], settings.whole("signal"), settings.scaling(channel)
                if signal is not None and quantity != (channel.value if signal == "direct" else signal):
                    message = f"{column} is read in {unit}, and the signal of {sensor.id} is {signal}"
                elif quantity in _SIGNALS and scaling is None:
                    key = channel.declaration.scaling
                    message = f"no {key} of {sensor.id} was in force on {part.visit.day}"
                    cure = f"add `{key}:` to the sensor or its family: low, high, reads_low, reads_high"
                    yield rows.fault(NO_SCALING, row, column, message, cure)
                    continue
                elif quantity in _SIGNALS and scaling.low.quantity != quantity:
                    message = f"{column} is read in {unit}, the scaling is in {CANONICAL[scaling.low.quantity]}"
                else:
                    continue
                cure = f"correct the unit in the header, or `signal:` of {sensor.id} or its family"
                yield rows.fault(SIGNAL_MISMATCH, row, column, message, cure)


def signals_of_references(survey: Survey) -> Iterator[Fault]:
    """A reference under test shows its value itself."""
    rows = survey.rows
    under_test = rows.own & rows.words("sensor").among(survey.records.references.keys())
    for column in _OUTPUTS:
        quantities = rows.quantity(column)
        for row in row_numbers(under_test & quantities.among(_SIGNALS)):
            message = f"{column} of a reference is read in {CANONICAL[quantities[row]]}"
            cure = f"read what the reference shows, in {' and '.join(channel.unit for channel in Channel)}"
            yield rows.fault(SIGNAL_MISMATCH, row, column, message, cure)


def channels_not_there(survey: Survey) -> Iterator[Fault]:
    """A temperature is read from a sensor that reports one; that it reports humidity is asked of its settings."""
    rows = survey.rows
    besides = [c for c in Channel if c is not Channel.HUMIDITY]
    for column, channel in ((column, c) for c in besides for column in c.declaration.columns):
        for _, row, sensor, settings in survey.visited(rows.read(column)):
            if channel not in settings.channels:
                message = f"{column} is read, and {sensor.id} has no {channel} channel"
                cure = f"add {channel} to `channels:` of the sensor or its family, or clear the reading"
                yield rows.fault(CHANNEL_NOT_THERE, row, column, message, cure)


RULES: tuple[RuleAcross, ...] = (
    missing_loop_meters,
    signals_that_do_not_fit,
    signals_of_references,
    channels_not_there,
)
