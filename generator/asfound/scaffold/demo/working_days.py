"""Days on which the demo facility works: no weekends, no holidays."""

from __future__ import annotations

from datetime import date, timedelta

_SATURDAY = 5


def working_day(day: date) -> date:
    """The day itself, or the Monday after."""
    while day.weekday() >= _SATURDAY:
        day += timedelta(days=1)
    return day


def working_days_later(day: date, count: int) -> date:
    """That many working days after a day."""
    for _ in range(count):
        day = working_day(day + timedelta(days=1))
    return day
