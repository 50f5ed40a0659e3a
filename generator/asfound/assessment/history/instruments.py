"""Every instrument's history, wherever it served, and what the instruments of a family say together.

An instrument is a serial of a model: swaps end the history at a position, not the instrument's own.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from asfound.assessment.history.epochs import Epoch, VisitHistory, epochs_of, lasting_of
from asfound.assessment.history.lasting import Lasting
from asfound.assessment.history.scales import Scales, declared_shift, method_of, nothing_seen, scales_of
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.records.load import Records
from asfound.records.models import Channel
from asfound.records.settings_in_force import SettingsOn, instrument_on
from asfound.uncertainty.budgets import Budgets

Instrument = tuple[str, str]
"""Model and serial."""


@dataclass(frozen=True, kw_only=True)
class ChannelHistory:
    """One channel of one instrument."""

    visits: tuple[VisitHistory, ...]
    """in order of days"""
    epochs: tuple[Epoch | None, ...]
    """one for each element, the present one last; None where nothing was read of it"""
    lasting: Lasting | None
    """what stands behind its results; None where there are none"""


@dataclass(frozen=True, kw_only=True)
class Instruments:
    """All of them on the day of the assessment."""

    histories: Mapping[tuple[Instrument, Channel], ChannelHistory]
    scales: Mapping[tuple[str, Channel, str], Scales]
    """by model, channel and method"""
    declared: Mapping[tuple[str, Channel], float]
    """by model and channel: what the family, else the policy of the day declares that whole visits shift by"""

    def history(self, instrument: Instrument | None, channel: Channel) -> ChannelHistory:
        """The history of one channel, which may hold nothing."""
        nothing = ChannelHistory(visits=(), epochs=(None,), lasting=None)
        return self.histories.get((instrument, channel), nothing) if instrument else nothing

    def scales_for(self, model: str, channel: Channel, epoch: Epoch | None) -> Scales:
        """The scales that an epoch is read with: of its family, by the method of most of its results."""
        found = self.scales.get((model, channel, method_of(epoch))) if epoch is not None else None
        return nothing_seen(self.declared[model, channel], epoch) if found is None else found


def instruments_of(
    records: Records,
    by_sensor: Mapping[str, Sequence[SensorVisitSummary]],
    budgets: Budgets,
    day: date,
    approved: Collection[tuple[str, str]] | None = None,
) -> Instruments:
    """Histories and scales from what stands of every sensor's visits, by the policy of a day.

    `approved`: whose results alone may enter a pool, by path of the visit and sensor (None: all).
    """
    served: dict[Instrument, list[SensorVisitSummary]] = {}
    channels: dict[Instrument, set[Channel]] = {}
    for name, sensor in sorted(records.sensors.items()):
        for summary in by_sensor.get(name, ()):
            day = summary.sensor_visit.visit.day
            instrument = instrument_on(sensor, day)
            if instrument is not None:
                key = (instrument.family, instrument.serial)
                served.setdefault(key, []).append(summary)
                channels.setdefault(key, set()).update(SettingsOn(records, sensor, day).channels)
    histories = {}
    families: dict[tuple[str, Channel, str], list[Epoch]] = {}
    policy = records.facility.policy_on(day)
    declared = {
        (name, channel): declared_shift(policy, family, channel)
        for name, family in records.families.items()
        for channel in Channel
    }
    for key, summaries in served.items():
        summaries.sort(key=lambda s: (s.sensor_visit.visit.day, s.sensor_visit.visit.id))
        for channel in sorted(channels[key]):
            visits = history_of(summaries, channel)
            lasting = lasting_of(visits, budgets)
            epochs = epochs_of(visits, lasting)
            histories[key, channel] = ChannelHistory(visits=visits, epochs=epochs, lasting=lasting)
            pooled = visits if approved is None else history_of(summaries, channel, approved)
            if pooled != visits:
                epochs = epochs_of(pooled, lasting)
            for epoch in epochs:
                if epoch is not None:
                    families.setdefault((key[0], channel, method_of(epoch)), []).append(epoch)
    scales = {of: scales_of(epochs, of[1], declared[of[:2]]) for of, epochs in families.items()}
    return Instruments(histories=histories, scales=scales, declared=declared)


def history_of(
    visits: Sequence[SensorVisitSummary], channel: Channel, approved: Collection[tuple[str, str]] | None = None
) -> tuple[VisitHistory, ...]:
    """One channel's history over these visits to one instrument, in order of days: results that keep a verdict.

    `approved`: whose results alone are taken. What others changed stays: it opens a segment whoever approves it.
    """
    history = []
    for visit in visits:
        usable = [r for r in visit.results if r.channel is channel and _counts(r)]
        # The adjustment concerns the channels that were read again after it; none read again: any may have changed.
        redone = {r.channel for r in visit.results if r.phase == "as_left" and _counts(r)}
        if approved is not None and (visit.sensor_visit.visit.path, visit.sensor_visit.sensor) not in approved:
            usable = []
        element = any(event.kind == "element" for event in visit.sensor_visit.events)
        adjusted = element or (visit.adjusted and (channel in redone or not redone))
        if usable or adjusted:
            history.append(
                VisitHistory(
                    day=visit.sensor_visit.visit.day,
                    as_found=tuple(r for r in usable if r.phase == "as_found"),
                    as_left=tuple(r for r in usable if r.phase == "as_left" and _after_change(r, visit)),
                    adjusted=adjusted,
                    element=element,
                    position=visit.sensor_visit.sensor,
                )
            )
    return tuple(history)


def _counts(result: Result) -> bool:
    withheld = any(fault.rule.withholds_verdict for fault in result.reservations)
    return result.status in ("done", "stated") and not withheld


def _after_change(result: Result, visit: SensorVisitSummary) -> bool:
    return visit.last_change is None or result.time_utc >= visit.last_change
