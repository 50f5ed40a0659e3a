"""Where one sensor stands on a day: what each visit said, its state, what it is due for, how it drifts, its cases."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from asfound.assessment.due import Due, due, points_met
from asfound.assessment.findings.cases import Case
from asfound.assessment.history.change_charts import ChangeChart, change_chart
from asfound.assessment.history.drift import Ahead, Drift, drift
from asfound.assessment.history.instruments import ChannelHistory, Instruments
from asfound.assessment.history.interval import Proposal, proposal
from asfound.assessment.results.conformity import Verdict, tolerance_at
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.measurement.lines import Measurement
from asfound.records.load import Records
from asfound.records.models import Channel, Sensor
from asfound.records.settings_in_force import SettingsOn, instrument_on


class State(StrEnum):
    """Conformity of a sensor: the worst of the newest judged value of each set point of its present instrument."""

    OUT = "out of tolerance"
    CLOSE = "too close to call"
    IN = "in tolerance"
    NONE = "no verdict"
    NEVER = "never calibrated"


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where one sensor stands on the day of the assessment."""

    sensor: Sensor
    settings: SettingsOn
    state: State
    state_since: date | None
    """newest day of the visits with the worst verdict; without a verdict the day of the adjustment that left none"""
    deciding: tuple[Result, ...]
    """the newest judged results of each channel and set point, from one visit or several, in order of days"""
    due: Due
    drifts: tuple[Drift, ...]
    charts: tuple[ChangeChart, ...]
    """one for each channel"""
    proposal: Proposal | None
    """of another interval; None where the policy asks for none"""
    visits: tuple[SensorVisitSummary, ...]
    """all that stand, in order of days, of every instrument that served"""
    cases: tuple[Case, ...]

    @property
    def drifting(self) -> bool:
        """Whether a channel drifts."""
        return any(d.state == "drifting" for d in self.drifts)


def standing_of(
    records: Records,
    measurement: Measurement,
    sensor: Sensor,
    visits: Sequence[SensorVisitSummary],
    cases: Sequence[Case],
    instruments: Instruments,
    day: date,
) -> Standing:
    """Where a sensor stands on a day; `visits` and `cases` are its own, in order of days."""
    settings = SettingsOn(records, sensor, day)
    instrument = instrument_on(sensor, day)
    present = [v for v in visits if instrument and v.results and v.results[0].serial == instrument.serial]
    state, since, deciding = state_of(present)
    when_due = due(records, sensor, [(v.results, v.adjusted) for v in present], day)
    key = (instrument.family, instrument.serial) if instrument else None
    histories = {channel: instruments.history(key, channel) for channel in settings.channels}
    drifts = tuple(_drift(settings, channel, history, instruments, when_due) for channel, history in histories.items())
    return Standing(
        sensor=sensor,
        settings=settings,
        state=state,
        state_since=since,
        deciding=deciding,
        due=when_due,
        drifts=drifts,
        charts=tuple(
            change_chart(h.visits, h.lasting, channel, instruments.scales_for(settings.model, channel, h.epochs[-1]))
            for channel, h in histories.items()
        ),
        proposal=proposal(records, settings, present, when_due, drifts),
        visits=tuple(visits),
        cases=tuple(cases),
    )


def _drift(
    settings: SettingsOn,
    channel: Channel,
    history: ChannelHistory,
    instruments: Instruments,
    when_due: Due,
) -> Drift:
    """Drift of one channel of the instrument that serves, judged by the settings in force."""
    interval, tolerance, span = (
        settings.dated("interval"),
        settings.tolerance(channel, "as_found"),
        settings.range(channel),
    )
    return drift(
        history.visits,
        history.epochs[-1],
        history.lasting,
        channel,
        instruments.scales_for(settings.model, channel, history.epochs[-1]),
        Ahead(
            today=settings.day,
            due=when_due.day,
            months=interval.months if interval else None,
            tolerance_at=lambda value: tolerance_at(tolerance, value, span) if tolerance else math.nan,
        ),
    )


def state_of(visits: Sequence[SensorVisitSummary]) -> tuple[State, date | None, tuple[Result, ...]]:
    """State, its day and the results that decide, after these visits to one instrument, in order of days.

    The newest judged value of each channel and set point stands until an adjustment; the worst of them decides.
    """
    standing: tuple[Result, ...] = ()
    unjudged_since = None
    visits = _with_a_say(visits)
    for visit in visits:
        found, left = (
            tuple(r for r in visit.results if r.phase == p and r.has_verdict) for p in ("as_found", "as_left")
        )
        if visit.last_change is None:
            standing = _newer(_newer(standing, found, visit.points), left, visit.points)
            continue
        left = tuple(r for r in left if r.time_utc >= visit.last_change)
        # The adjustment concerns the channels that were read again after it; none read again: any may have changed.
        redone = {r.channel for r in left} or set(Channel)
        before = _newer(standing, found, visit.points)
        standing = (*(r for r in before if r.channel not in redone), *left)
        unjudged_since = visit.sensor_visit.visit.day
    if not standing:
        return (State.NONE if visits else State.NEVER), unjudged_since, ()
    state = _worst(standing)
    return state, max(r.day for r in standing if _worst([r]) is state), standing


def _with_a_say(visits: Sequence[SensorVisitSummary]) -> Sequence[SensorVisitSummary]:
    """From the newest visit without adjustment on that read every channel anew: none before it has a say any more."""
    channels = {r.channel for visit in visits for r in visit.results}
    for number in range(len(visits) - 1, -1, -1):
        visit = visits[number]
        if visit.last_change is None:
            phases = ([r for r in visit.results if r.phase == p and r.has_verdict] for p in ("as_found", "as_left"))
            if channels <= set().union(*(_whole(judged, visit.points) for judged in phases)):
                return visits[number:]
    return visits


def _whole(judged: Sequence[Result], points: Sequence[float]) -> set[Channel]:
    """The channels that were judged at all points in force."""
    return {
        channel
        for channel in {r.channel for r in judged}
        if points and points_met([r for r in judged if r.channel is channel], points) == len(points)
    }


def _newer(standing: Sequence[Result], judged: Sequence[Result], points: Sequence[float]) -> tuple[Result, ...]:
    """What stands once more was judged: a channel with all points in force anew, else set point by set point."""
    whole = _whole(judged, points)
    kept = [
        old
        for old in standing
        if old.channel not in whole and not any(new.channel is old.channel and new.at_point_of(old) for new in judged)
    ]
    return (*kept, *judged)


def decided_by_the_unread_side(results: Sequence[Result]) -> Result | None:
    """The worst result of which the side of the loop that was not read would not pass, where all that was read does."""
    if any(r.verdict is not Verdict.PASS for r in results):
        return None
    return max((r for r in results if r.other_way is not Verdict.PASS), key=lambda r: r.badness, default=None)


def _worst(results: Sequence[Result]) -> State:
    verdicts = {r.verdict for r in results}
    if Verdict.FAIL in verdicts:
        return State.OUT
    # What was read one way says nothing of the other side of the loop: there the declared width decides.
    verdicts |= {r.other_way for r in results}
    return State.IN if verdicts == {Verdict.PASS} else State.CLOSE
