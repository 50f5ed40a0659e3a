"""The times of a visit are those that the clocks of its zone showed, on days whose clocks change and on others."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.records.visits.local_time import TimeRefused, clock_seconds, utc_seconds

OSLO = ZoneInfo("Europe/Oslo")
VISIT = date(2026, 3, 20)


@settings(max_examples=200)
@given(
    st.datetimes(datetime(2026, 3, 20), datetime(2026, 3, 28, 23, 59, 59)).map(lambda t: t.replace(microsecond=0)),
    st.sampled_from([" ", "T"]),
    st.sampled_from(["minutes", "seconds"]),
)
def test_a_time_on_a_day_whose_clocks_are_left_alone(time: datetime, between: str, to_the: str):
    written = time.isoformat(between, to_the)
    seconds = utc_seconds(written, VISIT, OSLO)
    assert seconds == clock_seconds(written, OSLO)
    # Norway kept UTC + 1 h until the last Sunday of March 2026, the 29th (IANA time zone database).
    shown = datetime.fromtimestamp(seconds, UTC).replace(tzinfo=None) + timedelta(hours=1)
    assert shown.isoformat(between, to_the) == written


@settings(max_examples=200)
@given(st.datetimes(datetime(2026, 10, 24), datetime(2026, 10, 26, 23, 59)).map(lambda t: t.replace(microsecond=0)))
def test_a_time_around_the_hour_that_occurs_twice(time: datetime):
    written = time.isoformat(" ", "seconds")
    if time.date() == date(2026, 10, 25) and time.hour == 2:
        with pytest.raises(TimeRefused, match="occurred twice"):
            utc_seconds(written, date(2026, 10, 20), OSLO)
    else:
        assert utc_seconds(written, date(2026, 10, 20), OSLO) == clock_seconds(written, OSLO)


@pytest.mark.parametrize(
    ("time", "rule"),
    [
        ("2026-03-29 02:30", "time-does-not-exist"),
        ("2026-04-20 09:40", "time-off-visit"),
        ("2026-03-20 24:00", "bad-time"),
        ("2026-03-20 09:60", "bad-time"),
        ("2026-03-20 09:40+01:00", "time-offset"),
        ("2026-02-30 09:40", "bad-time"),
        ("9:40", "bad-time"),
        ("", "bad-time"),
    ],
)
def test_a_time_that_no_clock_of_the_visit_showed(time: str, rule: str):
    with pytest.raises(TimeRefused) as refused:
        utc_seconds(time, VISIT, OSLO)
    assert refused.value.rule.name == rule
