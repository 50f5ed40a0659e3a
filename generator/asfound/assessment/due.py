"""When the next calibration is due: counted from the last visit whose points are all done, settled and in date.

A point with a reservation that withholds a certificate is not done: it must be read again.
"""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from asfound.assessment.results.table import Result
from asfound.records.load import Records
from asfound.records.models import Channel, Policy, Sensor
from asfound.records.settings_in_force import SettingsOn


class DueState(StrEnum):
    """Where a sensor stands in its interval."""

    IN_DATE = "in date"
    DUE_SOON = "due soon"
    IN_GRACE = "in grace"
    OVERDUE = "overdue"
    NEVER = "never calibrated"
    DEFERRED = "deferred"
    OUT_OF_SERVICE = "out of service"


@dataclass(frozen=True, kw_only=True)
class Due:
    """The due state of one sensor on one day."""

    state: DueState
    day: date | None
    """the due day; None where there is none"""
    since: date | None
    """day of the visit that it is counted from"""
    reason: str
    last_day: date | None = None
    """the last day before it is overdue: the due day, or the end of the grace that the policy gives"""
    beyond_interval: bool = False
    """whether it is deferred and its interval is over"""


def add_months(day: date, months: int) -> date:
    """The same day of the month, months later; a month's last day where it has no such day."""
    index = day.year * 12 + day.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def due_day(since: date, months: int, policy: Policy) -> date:
    """When an interval that began on a day is over by the policy's rule: on its last day, or with that day's month."""
    day = add_months(since, months)
    if policy.due_on == "month_end":
        day = day.replace(day=calendar.monthrange(day.year, day.month)[1])
    return day


def points_met(results: Sequence[Result], points: Sequence[float]) -> int:
    """How many of the set points of their day these results hold."""
    return sum(any(r.counts_at(point) for r in results) for point in points)


def completes(results: Sequence[Result], points: Sequence[float], *, adjusted: bool = False) -> bool:
    """Whether one visit's results of one sensor hold every point: done (or stated), settled and in date.

    After an adjustment only the as left counts: what was found no longer says how the sensor reads.
    """
    for phase in ("as_left",) if adjusted else ("as_found", "as_left"):
        good = [
            r
            for r in results
            if r.channel is Channel.HUMIDITY
            and r.phase == phase
            and r.status in ("done", "stated")
            and not any(f.rule.withholds_certificate for f in r.reservations)
        ]
        if good and points_met(good, points) == len(points):
            return True
    return False


def due(records: Records, sensor: Sensor, visits: Sequence[tuple[Sequence[Result], bool]], today: date) -> Due:
    """The due state; `visits`: results of the present instrument by visit, and whether it was adjusted, by day."""
    for period in sensor.out_of_service:
        if period.holds(today):
            return Due(state=DueState.OUT_OF_SERVICE, day=None, since=None, reason=period.reason)
    settings = SettingsOn(records, sensor, today)
    interval = settings.dated("interval")
    policy = records.facility.policy_on(today)
    last = None
    for results, adjusted in reversed(visits):
        points = SettingsOn(records, sensor, results[0].day).dated("points")
        if completes(results, points.humidity if points else (), adjusted=adjusted):
            last = results[0].day
            break
    if last is None:
        reason = "no complete calibration of this instrument on record"
        return Due(state=DueState.NEVER, day=None, since=None, reason=reason)
    if interval is None:
        return Due(state=DueState.IN_DATE, day=None, since=last, reason="no interval is set")
    day = due_day(last, interval.months, policy)
    ends = "the end of the month, " if policy.due_on == "month_end" else ""
    reason = f"{ends}{interval.months} months after the complete calibration of {last}"
    if sensor.deferred_until is not None and day < sensor.deferred_until and today <= sensor.deferred_until:
        reason = f"deferred to {sensor.deferred_until}: {sensor.deferred_reason}"
        beyond = today > day
        until = sensor.deferred_until
        return Due(
            state=DueState.DEFERRED, day=until, since=last, reason=reason, last_day=until, beyond_interval=beyond
        )
    last_day = day + timedelta(days=policy.grace_days)
    if today > last_day:
        state = DueState.OVERDUE
    elif today > day:
        state, reason = DueState.IN_GRACE, f"{reason}; {policy.grace_days} days of grace, to {last_day}"
    else:
        state = DueState.DUE_SOON if today + timedelta(days=policy.due_soon_days) >= day else DueState.IN_DATE
    return Due(state=state, day=day, since=last, reason=reason, last_day=last_day)
