"""Exports of the building system: read in whatever form they were saved, refused with a place, never misread."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asfound.faults import Fault
from asfound.records.snapshot import from_folder
from asfound.records.trends.exports import Trend, check_trends, misplaced_trends, read_trend
from tests.examples import examples

OSLO = ZoneInfo("Europe/Oslo")
PATH = "trends/RH-1.csv"
HEAD = "time,humidity [%RH]\n"


def read(text: str | bytes, path: str = PATH) -> tuple[Trend | None, list[Fault]]:
    return read_trend({path: text.encode() if isinstance(text, str) else text}, "RH-1", OSLO)


def good(text: str | bytes, path: str = PATH) -> Trend:
    trend, faults = read(text, path)
    assert [fault.text() for fault in faults] == []
    assert trend is not None
    return trend


def refused(text: str | bytes, path: str = PATH) -> list[tuple[int, int, str]]:
    trend, faults = read(text, path)
    assert trend is None and all(fault.cure for fault in faults)
    return [(fault.place.line, fault.place.column, fault.rule.name) for fault in faults]


def seconds(*written: str) -> list[int]:
    return [int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) for text in written]


def test_local_times_are_the_facilitys():
    trend = good(HEAD + "2026-01-05 10:00,15.2\n2026-07-05 10:00,15.4\n")
    assert trend.time_utc.tolist() == seconds("2026-01-05 09:00", "2026-07-05 08:00")
    assert trend.readings["humidity"].tolist() == [15.2, 15.4]


def test_what_a_spreadsheet_saves_is_the_same_trend():
    plain = good("time,humidity [%RH],temperature [degC]\n2026-01-05 10:00,15.2,14.9\n2026-01-05T11:00:00,,15\n")
    saved = good(
        "\ufefftime;humidity [%RH];temperature [degC];\r\n2026-01-05 10:00;15,2;14,9;\r\n\r\n2026-01-05 11:00;;15;\r\n"
    )
    assert saved.time_utc.tolist() == plain.time_utc.tolist()
    for name in ("humidity", "temperature"):
        np.testing.assert_array_equal(saved.readings[name], plain.readings[name])


def test_units_stand_in_brackets_and_are_converted():
    trend = good("time [UTC],humidity [%RH],temperature [degF]\n2026-01-05 10:00Z,15.2,59\n")
    assert trend.time_utc.tolist() == seconds("2026-01-05 10:00")
    assert trend.readings["temperature"].tolist() == [15.0]


def test_the_repeated_hour_takes_its_offset_and_the_skipped_one_is_refused():
    rows = "2026-10-25 01:30,15\n2026-10-25 02:30+02:00,15.1\n2026-10-25 02:30+01:00,15.2\n2026-10-25 03:30,15.3\n"
    assert np.diff(good(HEAD + rows).time_utc).tolist() == [3600] * 3
    some = HEAD + "2026-10-25 02:30+02:00,15\n2026-10-25 02:30,15\n"
    assert refused(some) == [(3, 1, "time-ambiguous")], "where one row has its offset, all need theirs"
    assert refused(HEAD + "2026-03-29 02:30,15\n") == [(2, 1, "time-does-not-exist")]
    utc = "time [UTC],humidity [%RH]\n2026-10-25 00:30,15\n2026-10-25 01:30,15.2\n"
    assert np.diff(good(utc).time_utc).tolist() == [3600]


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("", [(1, 1, "trend-unreadable")]),
        (HEAD, [(1, 1, "trend-unreadable")]),
        ("time,humidity\n2026-01-05 10:00,15\n", [(1, 6, "missing-unit")]),
        ("time,humidity [°C]\n2026-01-05 10:00,15\n", [(1, 6, "bad-unit")]),
        ("time [CET],humidity [%RH]\n2026-01-05 10:00,15\n", [(1, 1, "bad-unit")]),
        ("time,humidty [%RH]\n2026-01-05 10:00,15\n", [(1, 6, "unknown-column")]),
        ("time,humidity [%RH],humidity [%RH]\n2026-01-05 10:00,15,15\n", [(1, 21, "repeated-column")]),
        ("humidity [%RH]\n15\n", [(1, 1, "missing-column")]),
        (HEAD + "2026-01-05 10:00,15,2\n2026-01-05 11:00,15,3\n", [(2, 21, "row-length")]),
        (HEAD + "2026-01-05 10:00,15\n2026-01-05 11:00,bad\n2026-01-05 12:00,bad\n", [(3, 18, "bad-number")]),
        (HEAD + '2026-01-05 10:00,"15,2"\n', [(2, 18, "bad-number")]),
        (HEAD + "2026-01-05 10:00,nan\n", [(2, 18, "bad-number")]),
        (HEAD + "2026-01-05 10:00,15\n05/01/2026 11:00,15\n", [(3, 1, "bad-time")]),
        (HEAD + "2026-02-30 10:00,15\n", [(2, 1, "bad-time")]),
        (HEAD + "2026-01-05,15\n", [(2, 1, "bad-time")]),
        (HEAD + "2026-01-05 10:00,0.15\n2026-01-05 11:00,0.16\n", [(2, 1, "trend-implausible")]),
        (HEAD + "2026-01-05 10:00,15\n2026-01-05 10:00,16\n", [(3, 1, "trend-contradictory")]),
    ],
)
def test_a_bad_export_is_refused_with_its_place(text: str, places: list[tuple[int, int, str]]):
    assert refused(text) == places


def test_a_mistake_in_every_row_is_told_once():
    _, faults = read(HEAD + "".join(f"2026-01-05 {hour:02d}:00,off\n" for hour in range(24)))
    assert [fault.message for fault in faults] == ["humidity: 'off' is not a number (and in 23 more rows)"]


def test_text_that_is_not_utf_8_is_refused():
    assert refused(HEAD.encode() + b"2026-01-05 10:00,15\xff\n") == [(2, 1, "unreadable-csv")]


def test_exports_that_overlap_are_joined():
    files = {
        "trends/RH-1/2026-02.csv": (HEAD + "2026-02-01 00:00,15\n2026-02-01 01:00,16\n").encode(),
        "trends/RH-1/2026-01.csv": (HEAD + "2026-02-01 00:00,15\n2026-01-31 23:00,14\n").encode(),
        "trends/RH-2.csv": b"never read",
    }
    trend, faults = read_trend(files, "RH-1", OSLO)
    assert trend is not None and not faults
    assert trend.readings["humidity"].tolist() == [14, 15, 16]
    assert [path for path, _ in trend.files] == ["trends/RH-1/2026-01.csv", "trends/RH-1/2026-02.csv"]
    assert read_trend(files, "RH-3", OSLO) == (None, [])


def test_a_value_stands_until_the_next_but_not_through_a_gap():
    rows = ["00:00", "01:00", "02:00", "03:00", "09:00", "10:00"]
    trend = good(HEAD + "".join(f"2026-01-05 {at},15\n" for at in rows))
    assert trend.step_s == 3600
    assert (trend.held_s() / 3600).tolist() == [1, 1, 1, 1, 1, 1]
    assert trend.held_s().sum() / 3600 == 6
    assert trend.within(0, 1).held_s().tolist() == []


def test_a_broken_loop_is_left_out_and_told():
    trend = good(HEAD + "2026-01-05 10:00,15\n2026-01-05 11:00,-25\n2026-01-05 12:00,100.4\n")
    assert trend.left_out == 1
    assert np.isnan(trend.readings["humidity"][1]) and trend.readings["humidity"][2] == 100.4


def test_a_value_that_does_not_move_for_more_than_a_day_is_told():
    rows = [(day, hour, 15.0 if day == 6 or (day == 7 and hour < 3) else 15 + hour / 10) for day in (5, 6, 7, 8)
            for hour in range(1, 24)]  # fmt: skip
    trend = good(HEAD + "".join(f"2026-01-{d:02d} {h:02d}:00,{v:.1f}\n" for d, h, v in rows))
    assert [(until - since) / 3600 for since, until, _ in trend.stuck()] == [25]


def test_a_part_holds_its_first_time_and_not_its_last():
    trend = good(HEAD + "".join(f"2026-01-05 {hour:02d}:00,{hour}\n" for hour in range(2, 24)))
    first, last = seconds("2026-01-05 09:00", "2026-01-05 12:00")
    assert trend.within(first, last).readings["humidity"].tolist() == [10, 11, 12]


def parquet(**columns: object) -> bytes:
    from pyarrow import parquet as writer

    stream = io.BytesIO()
    writer.write_table(pyarrow.table(columns), stream)
    return stream.getvalue()


def test_parquet_is_the_same_trend_as_csv():
    times = [datetime(2026, 10, 25, hour) for hour in (0, 1, 3)]
    local = parquet(**{"time": pyarrow.array(times, pyarrow.timestamp("us")), "humidity [%RH]": [15.0, None, 15.2]})
    utc = parquet(
        **{"time": pyarrow.array(times, pyarrow.timestamp("ns", "UTC")), "humidity [%RH]": [15.0, None, 15.2]}
    )
    path = "trends/RH-1/all.parquet"
    written = HEAD + "2026-10-25 00:00,15\n2026-10-25 01:00,\n2026-10-25 03:00,15.2\n"
    for content, text in ((local, written), (utc, written.replace("time", "time [UTC]"))):
        trend, same = good(content, path), good(text)
        assert trend.time_utc.tolist() == same.time_utc.tolist()
        np.testing.assert_array_equal(trend.readings["humidity"], same.readings["humidity"])


def test_a_bad_parquet_file_is_refused():
    times = [datetime(2026, 10, 25, 4)]
    path = "trends/RH-1.parquet"
    assert refused(b"PAR1 nothing PAR1", path) == [(1, 1, "trend-unreadable")]
    assert refused(parquet(**{"time": times, "humidity": [15.0]}), path) == [(1, 1, "missing-unit")]
    assert refused(parquet(**{"time": times, "humidity [%RH]": ["15"]}), path) == [(1, 1, "bad-number")]
    assert refused(parquet(**{"time": ["now"], "humidity [%RH]": [15.0]}), path) == [(1, 1, "bad-time")]
    skipped = [datetime(2026, 3, 29, 2)]
    assert refused(parquet(**{"time": skipped, "humidity [%RH]": [15.0]}), path) == [(1, 1, "time-does-not-exist")]


def test_a_trend_belongs_to_a_sensor():
    paths = ["trends/RH-1.csv", "trends/RH-1/a.csv", "trends/RH-2.csv", "trends/notes.txt", "visits/x.csv"]
    assert [f.place.path for f in misplaced_trends(paths, ["RH-1"])] == ["trends/RH-2.csv", "trends/notes.txt"]


def test_every_trend_is_checked():
    files = {"trends/RH-1.csv": b"time\n", "trends/RH-2.csv": (HEAD + "2026-01-05 10:00,15\n").encode()}
    assert [fault.place.path for fault in check_trends(files, ["RH-1", "RH-2"], OSLO)] == ["trends/RH-1.csv"]


def test_trends_of_a_folder_are_read_only_when_asked_for(tmp_path):
    (tmp_path / "trends").mkdir()
    (tmp_path / "trends/RH-1.csv").write_text(HEAD)
    (tmp_path / "facility.yml").write_text("name: x\n")
    files = from_folder(tmp_path)
    (tmp_path / "trends/RH-1.csv").write_text("later")
    assert list(files) == ["facility.yml", "trends/RH-1.csv"] and len(files) == 2
    assert files["trends/RH-1.csv"] == b"later"


@examples(15)
@given(at=st.floats(0, 1), word=st.sampled_from(["", "x", '"', "1e9", "\x00", "2026-10-25 02:30", ",", ";", "-", "\r"]))
def test_a_damaged_export_is_refused_or_read(at: float, word: str):
    text = HEAD + "2026-10-24 23:00,15.1\n2026-10-25 00:00,15.2\n2026-10-25 01:00,15.4\n"
    place = int(at * len(text))
    trend, faults = read(text[:place] + word + text[place + len(word) :])
    assert (trend is None) == bool(faults)
    for fault in faults:
        assert fault.place.line >= 1 and fault.place.column >= 1 and fault.message and fault.cure


@pytest.mark.parametrize("year", ["0000", "0001", "9999"])
def test_a_time_at_an_end_of_the_calendar_is_refused(year: str):
    time = f"{year}-12-31 23:30" if year == "9999" else f"{year}-01-01 00:10"
    assert refused(f"time,humidity [%RH]\n2026-01-10 00:00,15\n{time},15\n") == [(3, 1, "bad-time")]


def test_the_cure_of_an_offset_that_the_zone_did_not_have_is_the_local_time_of_that_instant():
    (fault,) = read("time,humidity [%RH]\n2026-06-30T02:00Z,15\n")[1]
    assert fault.rule.name == "time-offset"
    assert "2026-06-30 04:00 if the offset is right" in fault.cure  # Oslo keeps UTC + 2 h in summer
    (fault,) = read("time,humidity [%RH]\n2026-06-30 02:00+99:99,15\n")[1]
    assert fault.cure.startswith("write 2026-06-30 02:00;")


def test_a_value_of_an_export_coarser_than_hourly_stands_for_an_hour():
    """Two values ten months apart say nothing of the months between them."""
    sparse = good("time [UTC],humidity [%RH]\n2026-02-20 00:00,49\n2026-12-20 00:00,56\n")
    assert sparse.held_s().tolist() == [3600.0, 3600.0]
    daily = good("time [UTC],humidity [%RH]\n" + "".join(f"2026-02-{day:02} 06:00,49\n" for day in range(1, 21)))
    assert daily.held_s().sum() == 20 * 3600.0
