"""The times of a column read together are those read one by one, on every day that a clock knows."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from generator.records.local_time import plain_utc_seconds, utc_seconds

OSLO = ZoneInfo("Europe/Oslo")
VISIT = date(2026, 3, 20)


@settings(max_examples=200)
@given(
    st.lists(
        st.datetimes(datetime(2026, 3, 20), datetime(2026, 3, 28, 23, 59, 59)).map(lambda t: t.replace(microsecond=0)),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from([" ", "T"]),
    st.sampled_from(["minutes", "seconds"]),
)
def test_together_as_one_by_one(times: list[datetime], between: str, to_the: str):
    written = [time.isoformat(between, to_the) for time in times]
    together = plain_utc_seconds(written, VISIT, OSLO)
    assert together == [utc_seconds(text, VISIT, OSLO) for text in written]
    # Norway kept UTC + 1 h until the last Sunday of March 2026, the 29th (IANA time zone database).
    shown = [datetime.fromtimestamp(seconds, UTC).replace(tzinfo=None) + timedelta(hours=1) for seconds in together]
    assert [time.isoformat(between, to_the) for time in shown] == written


@pytest.mark.parametrize(
    "time",
    [
        "2026-03-29 01:00",  # the clocks change on this day
        "2026-04-20 09:40",  # no day of the visit
        "2026-03-20 24:00",
        "2026-03-20 09:60",
        "2026-03-20 09:40+01:00",
        "2026-02-30 09:40",
        "9:40",
        "",
    ],
)
def test_a_time_that_takes_a_second_look_is_left_to_it(time: str):
    assert plain_utc_seconds(["2026-03-20 09:40", time], VISIT, OSLO) is None
