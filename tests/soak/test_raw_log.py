"""Raw logs of loggers that agree on nothing, read by their mappings."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.records.models.log_mapping import LogMapping, read_log_mapping
from asfound.soak.raw_log import Log, read_log

COPENHAGEN = ZoneInfo("Europe/Copenhagen")
ISO = """
time: { columns: [Time], zone: UTC }
columns: { RH: "output [%RH]", Air: "chamber_temperature [degF]" }
"""


def mapping(text: str) -> LogMapping:
    read, faults = read_log_mapping("logs/a.yml", text.encode())
    assert faults == []
    assert read is not None
    return read


def log_of(content: str | bytes, text: str = ISO, zone: ZoneInfo = COPENHAGEN) -> Log:
    log, faults = read_log("logs/a.csv", content.encode() if isinstance(content, str) else content, mapping(text), zone)
    assert faults == []
    assert log is not None
    return log


def refused(content: str | bytes, text: str = ISO, zone: ZoneInfo = COPENHAGEN) -> str:
    log, faults = read_log("logs/a.csv", content.encode() if isinstance(content, str) else content, mapping(text), zone)
    assert log is None
    (fault,) = faults
    return fault.text()


def seconds(*clock: int) -> float:
    return datetime(*clock, tzinfo=UTC).timestamp()  # type: ignore[misc]


def test_a_plain_log_is_columns_in_canonical_units():
    log = log_of("Time,RH,Air\n2026-03-14T09:40:00Z,40.12,59.0\n2026-03-14T09:40:10Z,40.1,60.8\n")
    assert log.time_utc.tolist() == [seconds(2026, 3, 14, 9, 40), seconds(2026, 3, 14, 9, 40, 10)]
    assert log.number["output"].tolist() == [40.12, 40.1]
    assert log.number["chamber_temperature"] == pytest.approx([15.0, 16.0])
    assert log.shared["output"].step == 0.01
    assert log.shared["chamber_temperature"].step == pytest.approx(0.1 * 5.0 / 9.0)


WRITTEN = [
    ("Time;RH;Air\r\n2026-03-14 09:40:00;40,1;59,0\r\n", "", ""),
    ("\ufeffTime\tRH\tAir\n2026-03-14 09:40:00\t40.1\t59.0\n", "", ""),
    ("Logger 4711\nserial,12\n\nTime,other,RH,Air\n2026-03-14 09:40:00,x,40.1,59.0\n", "", ""),
    ("Time|RH|Air\n2026-03-14 09:40:00|40.1|59.0\n", "", ""),
    ('"Time","RH","Air"\n"2026-03-14 09:40:00","40,1","59,0"\n', "", 'decimal: ","\n'),
    ("Time RH Air\n2026-03-14T09:40:00   40.1  59.0\n", "", "delimiter: spaces\n"),
    ("Time,RH,Air\n,%,F\n2026-03-14 09:40:00,40.1,59.0\n", "", "rows_under_headings: 1\n"),
    ("Time,RH,Air\n2026-03-14 09:40:00,40.1,59.0\n2026-03-14 09:40:10,4", "", ""),
    ("Time,RH,Air\n14.03.2026 09:40:00,40.1,59.0\n", 'format: "%d.%m.%Y %H:%M:%S", ', ""),
    ("Time,RH,Air\n3/14/26 9:40:00 AM,40.1,59.0\n", 'format: "%m/%d/%y %I:%M:%S %p", ', ""),
    ("Time,RH,Air\n14-Mar-2026 09h40,40.1,59.0\n", 'format: "%d-%b-%Y %Hh%M", ', ""),
    ("Time,RH,Air\n2026-073 09:40:00.0,40.1,59.0\n", 'format: "%Y-%j %H:%M:%S.%f", ', ""),
    ("Time,RH,Air\n2026-03-14 10:40:00 +0100,40.1,59.0\n", 'format: "%Y-%m-%d %H:%M:%S %z", ', ""),
]


@pytest.mark.parametrize(("content", "written", "more"), WRITTEN)
def test_the_same_reading_however_it_was_written(content, written, more):
    text = ISO.replace("zone: UTC", f"{written}zone: UTC") + more
    log = log_of(content, text)
    assert log.time_utc.tolist() == [seconds(2026, 3, 14, 9, 40)]
    assert log.number["output"].tolist() == [40.1]
    assert log.number["chamber_temperature"] == pytest.approx([15.0])


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "cp1252"])
def test_other_encodings(encoding):
    text = 'time: { columns: [Time], zone: UTC }\ncolumns: { "T °C": "chamber_temperature [degC]" }\n'
    more = "encoding: cp1252\n" if encoding == "cp1252" else ""
    log = log_of("Time,T °C\n2026-03-14 09:40:00,15.25\n".encode(encoding), text + more)
    assert log.number["chamber_temperature"].tolist() == [15.25]


def test_date_and_time_of_day_in_two_columns():
    text = 'time: { columns: [Date, Clock], format: "%d.%m.%Y %H:%M" }\ncolumns: { RH: "output [%RH]" }\n'
    log = log_of("Date;Clock;RH\n14.03.2026;09:40;40,1\n14.03.2026;9:41;40,2\n", text)
    assert log.time_utc.tolist() == [seconds(2026, 3, 14, 8, 40), seconds(2026, 3, 14, 8, 41)]


@pytest.mark.parametrize("nothing", ["", " ", "-", "---", "NaN", "nan", "N/A"])
def test_where_there_is_no_reading_there_is_none(nothing):
    log = log_of(f"Time,RH,Air\n2026-03-14 09:40:00,{nothing},59\n2026-03-14 09:41:00,41,59\n")
    assert np.isnan(log.number["output"]).tolist() == [True, False]


def test_a_loggers_own_words_for_no_reading_are_said_in_the_mapping():
    content = "Time,RH,Air\n2026-03-14 09:40:00,OVER,59\n2026-03-14 09:41:00,41,59\n"
    assert "'OVER' is not a number" in refused(content)
    log = log_of(content, ISO + "missing: [over]\n")
    assert np.isnan(log.number["output"]).tolist() == [True, False]


def test_an_offset_that_the_logger_keeps_all_year():
    text = ISO.replace("zone: UTC", 'zone: "+01:00"')
    log = log_of("Time,RH,Air\n2026-07-14 09:40:00,40,59\n", text)
    assert log.time_utc.tolist() == [seconds(2026, 7, 14, 8, 40)]


def test_the_hour_that_clocks_repeat_is_told_by_the_order_of_the_rows():
    begin = datetime(2026, 10, 25, 0, 0, tzinfo=UTC)
    instants = [begin + timedelta(minutes=m) for m in range(0, 180, 5)]
    rows = [f"{i.astimezone(COPENHAGEN):%Y-%m-%d %H:%M:%S},40,59" for i in instants]
    log = log_of("Time,RH,Air\n" + "\n".join(rows) + "\n", ISO.replace(", zone: UTC", ""))
    assert log.time_utc.tolist() == [i.timestamp() for i in instants]


def test_a_time_that_the_clocks_skipped_is_refused_with_the_cure():
    told = refused("Time,RH,Air\n2026-03-29 02:30:00,40,59\n", ISO.replace(", zone: UTC", ""))
    assert told.startswith("records/logs/a.csv:2:1: error[bad-time] 2026-03-29 02:30:00 does not exist")
    assert "zone" in told


def test_rows_of_one_time_are_their_mean():
    content = "Time,RH,Air\n" + "".join(
        f"2026-03-14 09:4{m},{value},59\n" for m, value in ((0, 40), (0, 41), (0, ""), (1, 42))
    )
    log = log_of(content)
    assert log.number["output"].tolist() == [40.5, 42.0]


def test_several_sensors_in_one_chamber():
    text = """
time: { columns: [Time], zone: UTC }
columns: { Air: "chamber_temperature [degC]" }
sensors:
  DRY-11: { CH1: "output [mA]" }
  DRY-12: { CH2: "output [mA]", CH3: "far_end [%RH]" }
"""
    log = log_of("Time,CH1,CH2,CH3,Air\n2026-03-14 09:40:00,6.1,6.2,14.0,15\n", text)
    assert {name: read.values.tolist() for name, read in log.of("DRY-12").items()} == {
        "output": [6.2],
        "far_end": [14.0],
        "chamber_temperature": [15.0],
    }
    assert log.of("DRY-11")["output"].values.tolist() == [6.1]
    assert set(log.number) == {"chamber_temperature"}


@pytest.mark.parametrize(
    ("content", "where", "what"),
    [
        ("Time,RH\n2026-03-14 09:40,4\n", "1:1: error[missing-column]", "no line holds the heading 'Air'"),
        ("", "1:1: error[missing-column]", "no line holds the headings 'Time', 'RH', 'Air'"),
        ("Time,RH,Air,RH\n2026-03-14 09:40,4,5,6\n", "1:1: error[repeated-column]", "'RH' stands twice"),
        ("Time,RH,Air\n\n", "1:1: error[log-unreadable]", "no rows stand below"),
        ("Time,RH,Air\n14/03/2026,4,5\n", "2:1: error[bad-time]", "'14/03/2026' is not a time"),
        ("Time,RH,Air\n2026-02-30 09:40,4,5\n", "2:1: error[bad-time]", "'2026-02-30 09:40' is not a time"),
        ("Time,RH,Air\n2026-03-14 24:40,4,5\n", "2:1: error[bad-time]", "is not a time"),
        ("Time,RH,Air\n2026-03-14 09:40,4x,5\n", "2:1: error[bad-number]", "RH: '4x' is not a number"),
        (
            "Time,RH,Air\n2026-03-14 09:40,4,5\n2026-03-14 09:39,4,5\n",
            "3:1: error[log-time-order]",
            "the time falls back by 60 s",
        ),
        (b"Time,RH,Air\n2026-03-14 09:40,\xff,5\n", "2:1: error[log-unreadable]", "not utf-8-sig text"),
        ("Time,RH,Air\n2026-03-14 09:40,\0,5\n", "2:1: error[log-unreadable]", "NUL characters"),
    ],
)
def test_what_cannot_be_read_is_told_with_place_and_cure(content, where, what):
    told = refused(content)
    assert told.startswith(f"records/logs/a.csv:{where}")
    assert what in told
    assert "\n  cure: " in told


def test_a_mistake_in_many_rows_is_told_once():
    rows = "".join(f"2026-03-14 09:{m:02},wet,5\n" for m in range(50))
    assert "'wet' is not a number (and in 49 more rows)" in refused("Time,RH,Air\n" + rows)


@settings(max_examples=25, deadline=None)
@given(
    instants=st.lists(st.integers(0, 2**32 - 1), min_size=1, max_size=20, unique=True).map(sorted),
    written=st.sampled_from(
        ["%Y-%m-%d %H:%M:%S", "%d.%m.%y %H.%M.%S", "%m/%d/%Y %I:%M:%S %p", "%a %d %B %Y %H:%M:%S", "%Y%m%d%H%M%S"]
    ),
)
def test_times_are_read_as_the_standard_library_reads_them(instants, written):
    clocks = [datetime.fromtimestamp(i, UTC) for i in instants]
    if "%y" in written and (clocks[0].year < 1970 or clocks[-1].year > 2068):
        return
    text = f'time: {{ columns: [Time], format: "{written}", zone: UTC }}\ncolumns: {{ RH: "output [%RH]" }}\n'
    log = log_of("Time;RH\n" + "".join(f"{clock.strftime(written)};40\n" for clock in clocks), text)
    assert log.time_utc.tolist() == [float(i) for i in instants]


@settings(max_examples=60, deadline=None)
@given(
    lines=st.lists(
        st.lists(
            st.sampled_from(["Time", "RH", "Air", "2026-03-14 09:40", "1", "4,5", "x", "", '"', "\t", "é"]), max_size=5
        ),
        max_size=6,
    ),
    between=st.sampled_from([",", ";", "\t", "|", " "]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
)
def test_whatever_stands_in_a_file_gives_a_log_or_faults_with_a_cure(lines, between, end):
    content = end.join(between.join(line) for line in [["Time", "RH", "Air"], *lines]).encode()
    log, faults = read_log("logs/a.csv", content, mapping(ISO), COPENHAGEN)
    assert (log is None) == bool(faults)
    assert all(fault.cure and fault.place.line >= 1 for fault in faults)


@settings(max_examples=40, deadline=None)
@given(content=st.binary(max_size=60))
def test_bytes_that_are_no_log_are_told_as_faults(content):
    log, faults = read_log("logs/a.csv", content, mapping(ISO), COPENHAGEN)
    assert log is None
    assert faults


def test_a_day_of_seconds_is_read_whole():
    begin = datetime(2026, 3, 14)
    rows = [f"{begin + timedelta(seconds=s)},{s % 97 / 10},59.0" for s in range(86_400)]
    content = ("Time,RH,Air\n" + "\n".join(rows)).encode()
    log, _ = read_log("logs/a.csv", content, mapping(ISO), COPENHAGEN)
    assert log is not None
    assert len(log.time_utc) == 86_400
    assert np.all(np.diff(log.time_utc) == 1.0)
