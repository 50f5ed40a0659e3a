"""Exports in local time through the hour that clocks repeat: read to the right instants, or left out and told.

When clocks are changed is the IANA time zone database's: Europe/Copenhagen goes back from 03:00 to 02:00 on 2025-10-26,
America/Denver from 02:00 to 01:00 on 2025-11-02, Australia/Lord_Howe by half an hour, 02:00 to 01:30 on 2026-04-05.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.records.trends.exports import Trend, read_trend
from asfound.records.visits.local_time import TimeRefused, clock_seconds, utc_candidates

COPENHAGEN, DENVER, LORD_HOWE = map(ZoneInfo, ("Europe/Copenhagen", "America/Denver", "Australia/Lord_Howe"))
BACK = {
    COPENHAGEN: datetime(2025, 10, 26, 1, tzinfo=UTC),
    DENVER: datetime(2025, 11, 2, 8, tzinfo=UTC),
    LORD_HOWE: datetime(2026, 4, 4, 15, tzinfo=UTC),
}
"""When the clocks went back."""


def csv(times: Sequence[str]) -> bytes:
    """Values 40.00, 40.01, …"""
    rows = [f"{at},{40 + number / 100:.2f}\n" for number, at in enumerate(times)]
    return ("time,humidity [%RH]\n" + "".join(rows)).encode()


def parquet(times: Sequence[str]) -> bytes:
    from pyarrow import parquet as writer

    local = pyarrow.array([datetime.fromisoformat(at) for at in times], pyarrow.timestamp("us"))
    stream = io.BytesIO()
    values = [40 + number / 100 for number in range(len(times))]
    writer.write_table(pyarrow.table({"time": local, "humidity [%RH]": values}), stream)
    return stream.getvalue()


def read(zone: ZoneInfo, **contents: bytes) -> Trend:
    files = {f"trends/RH-1/{name.replace('_', '.')}": content for name, content in contents.items()}
    trend, faults = read_trend(files, "RH-1", zone)
    assert [fault.text() for fault in faults] == [] and trend is not None
    return trend


def of_night(*clocks: str, day: str = "2025-10-26") -> list[str]:
    return [f"{day} {clock}" for clock in clocks]


def utc(trend: Trend) -> list[str]:
    """The instants that have a value."""
    known = trend.time_utc[np.isfinite(trend.readings["humidity"])]
    return [datetime.fromtimestamp(second, UTC).strftime("%H:%M") for second in known.tolist()]


def local(instants: Sequence[datetime], zone: ZoneInfo) -> list[str]:
    """As a building system writes them."""
    return [instant.astimezone(zone).strftime("%Y-%m-%d %H:%M") for instant in instants]


@pytest.mark.parametrize("form", [csv, parquet])
def test_the_step_back_parts_summer_time_from_winter_time(form):
    half_hourly = of_night("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")
    told = ["23:30", "00:00", "00:30", "01:00", "01:30", "02:00"]
    extension = form.__name__
    assert utc(read(COPENHAGEN, **{f"a_{extension}": form(half_hourly)})) == told
    newest_first = read(COPENHAGEN, **{f"a_{extension}": form(half_hourly[::-1])})
    assert utc(newest_first) == told and newest_first.readings["humidity"][0] == 40.05
    hourly = read(COPENHAGEN, **{f"a_{extension}": form(of_night("01:00", "02:00", "02:00", "03:00"))})
    assert utc(hourly) == ["23:00", "00:00", "01:00", "02:00"] and hourly.unplaced == ()


def test_spaces_around_times_change_nothing():
    times = of_night("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")
    assert utc(read(COPENHAGEN, a_csv=csv([f" {at} " for at in times]))) == utc(read(COPENHAGEN, a_csv=csv(times)))


def test_in_denver_the_hour_from_one_is_repeated():
    times = of_night("00:30", "01:00", "01:30", "01:00", "01:30", "02:00", day="2025-11-02")
    assert utc(read(DENVER, a_csv=csv(times))) == ["06:30", "07:00", "07:30", "08:00", "08:30", "09:00"]


def test_on_lord_howe_half_an_hour_is_repeated():
    half_hourly = of_night("01:00", "01:30", "01:30", "02:00", day="2026-04-05")
    assert utc(read(LORD_HOWE, a_csv=csv(half_hourly))) == ["14:00", "14:30", "15:00", "15:30"]
    hourly = of_night("00:00", "01:00", "01:30", "02:30", day="2026-04-05")  # 13:00, 14:00, 15:00, 16:00 UTC
    assert utc(read(LORD_HOWE, a_csv=csv(hourly))) == ["13:00", "14:00", "16:00"]


@pytest.mark.parametrize("form", [csv, parquet])
@pytest.mark.parametrize("zone", [COPENHAGEN, DENVER])
@pytest.mark.parametrize("step", [10, 30, 60])
@pytest.mark.parametrize("passes", ["first", "second", "half of each"])
def test_an_hour_that_stands_there_once_is_a_gap_of_two(form, zone: ZoneInfo, step: int, passes: str):
    """Two days of which nothing can be said for the two hours around the change of clocks."""
    start = BACK[zone] - timedelta(days=1)
    instants = [start + timedelta(minutes=step * n) for n in range(2 * 1440 // step)]
    minutes = [(instant - BACK[zone]) / timedelta(minutes=1) for instant in instants]
    lost = {"first": (0, 60), "second": (-60, 0), "half of each": (-30, 30)}[passes]
    written = local([i for i, m in zip(instants, minutes, strict=True) if not lost[0] <= m < lost[1]], zone)
    trend = read(zone, **{f"a_{form.__name__}": form(written)})
    known = np.isfinite(trend.readings["humidity"])
    expected = [int(i.timestamp()) for i, m in zip(instants, minutes, strict=True) if not -60 <= m < 60]
    assert trend.time_utc[known].tolist() == expected
    assert trend.held_s()[known].sum() == (48 - 2) * 3600, "the value before stands until the hour begins"
    ((first, last),) = trend.unplaced
    assert BACK[zone].timestamp() - 3600 <= first < BACK[zone].timestamp() <= last


@pytest.mark.parametrize(
    "clocks",
    [
        ("01:30", "02:00", "02:30", "02:00", "02:30", "02:00", "02:30", "03:00"),  # three passes
        ("01:30", "02:00", "02:00", "02:30", "02:30", "03:00"),  # sorted by what the clock showed
        ("01:50", "02:00", "02:20", "02:10", "02:30", "02:40", "02:50", "03:00"),  # two rows exchanged
        ("01:50", "02:00", "02:10", "02:10", "02:20", "02:30", "02:40", "02:50", "03:00"),  # a row twice
        ("01:30", "02:00", "02:30", "03:00", "03:30", "02:00", "02:30", "04:00"),  # the second pass elsewhere
        ("03:30", "02:00", "02:30", "02:00", "02:30", "03:00", "04:00"),  # it does not rise into the hour
        ("01:30", "02:00", "02:30", "02:00", "02:30", "01:40", "04:00"),  # nor out of it
        ("02:00", "02:30", "02:00", "02:30"),  # nothing around it says which way the rows run
    ],
)
def test_an_order_that_contradicts_itself_tells_nothing(clocks: tuple[str, ...]):
    trend = read(COPENHAGEN, a_csv=csv(of_night(*clocks)))
    assert not {"00", "01"} & {at[:2] for at in utc(trend)}, "02:00 was 00:00 UTC, and again 01:00 UTC"
    assert len(utc(trend)) == sum(not clock.startswith("02") for clock in clocks) and len(trend.unplaced) == 1


def test_another_export_that_tells_the_passes_fills_the_gap():
    once = csv(of_night("01:30", "02:30", "03:30"))
    more = b"time [UTC],humidity [%RH]\n2025-10-26 00:30,41\n2025-10-26 01:30,42\n"
    trend = read(COPENHAGEN, a_csv=once, b_csv=more)
    assert utc(trend) == ["23:30", "00:30", "01:30", "02:30"] and trend.unplaced == ()
    assert len(read(COPENHAGEN, a_csv=once, b_csv=once).unplaced) == 1


def test_a_part_tells_of_its_own_hours_only():
    trend = read(COPENHAGEN, a_csv=csv(of_night("01:30", "02:30", "03:30")))
    day = int(datetime(2025, 10, 26, tzinfo=UTC).timestamp())
    assert len(trend.within(day - 7200, day + 7200).unplaced) == 1
    assert trend.within(day + 7200, day + 9000).unplaced == ()


@settings(max_examples=60, deadline=None)
@given(
    zone=st.sampled_from([COPENHAGEN, DENVER, LORD_HOWE]),
    step=st.sampled_from([10, 15, 30, 60]),
    phase=st.integers(0, 59),
    before=st.integers(2, 300),
    after=st.integers(2, 300),
    backwards=st.booleans(),
)
def test_what_was_written_in_local_time_reads_back_to_the_same_instants(
    zone: ZoneInfo, step: int, phase: int, before: int, after: int, backwards: bool
):
    """Rows up to 300 steps before and after the clocks went back, without gaps, never within the hour alone."""
    first = BACK[zone] - timedelta(hours=1, minutes=step * before + phase)
    count = before + after + (120 + phase) // step + 1
    instants = [first + timedelta(minutes=step * n) for n in range(count)]
    written = local(instants, zone)
    trend = read(zone, a_csv=csv(written[::-1] if backwards else written))
    known = np.isfinite(trend.readings["humidity"])
    told, expected = trend.time_utc[known].tolist(), [int(instant.timestamp()) for instant in instants]
    if zone is LORD_HOWE and step == 60:  # half an hour holds one row of an hourly export, or two: one is not placed
        assert set(told) <= set(expected) and len(expected) - len(told) == len(trend.unplaced) <= 1
    else:
        assert told == expected and trend.unplaced == ()
    order = -1 if backwards else 1
    values = {int(i.timestamp()): 40 + n / 100 for n, i in zip(range(count)[::order], instants, strict=True)}
    assert trend.readings["humidity"][known].tolist() == pytest.approx([values[at] for at in told])


@settings(max_examples=100, deadline=None)
@given(
    zone=st.sampled_from([*BACK, *map(ZoneInfo, ("Asia/Beirut", "America/St_Johns", "America/Havana", "UTC"))]),
    near=st.sampled_from(
        [datetime(2010, 11, 7), datetime(2010, 3, 14), *(at.replace(tzinfo=None) for at in BACK.values())]
    ),
    minutes=st.integers(-2000, 2000),
)
def test_a_time_s_two_candidates_are_the_instants_at_which_clocks_showed_it(zone, near: datetime, minutes: int):
    shown = near + timedelta(minutes=minutes)
    first, second = utc_candidates(np.array([shown], "datetime64[s]"), zone)
    stood = [
        at
        for at in sorted({int(first[0]), int(second[0])})
        if datetime.fromtimestamp(at, zone).replace(tzinfo=None) == shown
    ]
    try:
        assert [clock_seconds(shown.isoformat(" "), zone)] == stood and first == second
    except TimeRefused as problem:
        twice = problem.rule.name == "time-ambiguous"
        assert (second > first)[0] == twice and len(stood) == (2 if twice else 0)


def test_four_years_of_minutes_hold_four_hours_twice_and_four_never():
    times = np.arange("2021-01-01", "2025-01-01", dtype="datetime64[m]").astype("datetime64[s]")
    first, second = utc_candidates(times, COPENHAGEN)
    assert (second > first).sum() == (second < first).sum() == 4 * 60
    assert set((second - first).tolist()) == {-3600, 0, 3600}
