"""A visit's CSV is read into canonical units, whatever a spreadsheet did to it, or refused with place and cure."""

from __future__ import annotations

import codecs
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asfound.faults import Fault, Place
from asfound.records.visits.columns import COLUMNS, REQUIRED
from asfound.records.visits.visit_files import Visit, read_visit
from tests.examples import examples
from tests.repositories import minimal

PATH = "visits/2026/2026-03-14-drying.csv"
OSLO = ZoneInfo("Europe/Oslo")
HEAD = "sensor,time,phase"
ROW = "RH-101,2026-03-14 09:40,as_found"


def read(text: str | bytes, path: str = PATH, zone: ZoneInfo = OSLO) -> Visit:
    visit, faults = read_visit(path, text if isinstance(text, bytes) else text.encode(), zone)
    assert [fault.text() for fault in faults] == []
    assert visit is not None
    return visit


def faults_of(text: str | bytes, path: str = PATH, zone: ZoneInfo = OSLO) -> list[Fault]:
    return read_visit(path, text if isinstance(text, bytes) else text.encode(), zone)[1]


def table(header: str, *rows: str) -> str:
    return "\n".join((f"{HEAD},{header}", *(f"{ROW},{row}" for row in rows), ""))


def one(header: str, field: str) -> float:
    """The canonical value of one field."""
    return float(read(table(header, field)).number[header.split(" [")[0]][0])


def test_a_visit_is_named_by_its_file():
    visit = read(f"{HEAD}\n{ROW}\n")
    assert (visit.id, visit.revision, visit.day, visit.name) == (
        "2026-03-14-drying",
        1,
        date(2026, 3, 14),
        "2026-03-14-drying",
    )
    later = read(f"{HEAD}\n{ROW}\n", path=PATH.replace(".csv", ".r2.csv"))
    assert (later.id, later.revision, later.name) == ("2026-03-14-drying", 2, "2026-03-14-drying.r2")


@pytest.mark.parametrize(
    "path",
    [
        "visits/2025/2026-03-14-drying.csv",
        "visits/2026-03-14-drying.csv",
        "visits/2026/2026-02-30-drying.csv",
        "visits/2026/2026-03-14.csv",
        "visits/2026/2026-03-14-Drying.csv",
        "visits/2026/2026-03-14-drying.r1.csv",
        "visits/2026/2026-03-14-drying.xlsx",
        "visits/0001/0001-01-01-drying.csv",
        "visits/9999/9999-12-31-drying.csv",
    ],
)
def test_a_file_that_is_not_named_like_a_visit(path: str):
    (fault,) = faults_of(f"{HEAD}\n{ROW}\n", path=path)
    assert (fault.rule.name, fault.place) == ("visit-name", Place(path=path))


# NIST SP 811 (2008), appendix B.8 (digits from memory): psi 6.894 757 E+03 Pa, inHg (conventional) 3.386 389 E+03 Pa,
# t/°C = (t/°F − 32)/1.8.
@pytest.mark.parametrize(
    ("header", "field", "canonical", "tolerance"),
    [
        ("saturation_pressure [psi gauge]", "150", 150 * 6.894_757e3, 0.1),
        ("ambient_pressure [inHg absolute]", "29.92", 29.92 * 3.386_389e3, 0.02),
        ("ambient_pressure [hPa absolute]", "1013.25", 101_325.0, 1e-9),
        ("chamber_temperature [degF]", "73.4", 23.0, 1e-9),
        ("mirror_temperature [degF]", "14", -10.0, 1e-9),
        ("chamber_temperature [K]", "296.15", 23.0, 1e-9),
        ("saturation_pressure [bar absolute]", "11", 1.1e6, 1e-9),
        ("output [mA]", "12.000", 12.0, 0.0),
        ("output [mV]", "5020", 5.02, 1e-12),
        ("output [%RH]", "-0.3", -0.3, 0.0),
        ("soak [h]", "1.5", 90.0, 0.0),
    ],
)
def test_a_reading_is_converted_once(header: str, field: str, canonical: float, tolerance: float):
    assert one(header, field) == pytest.approx(canonical, abs=tolerance, rel=0)


def test_gauge_is_remembered_and_not_added():
    visit = read(table("saturation_pressure [psi gauge],chamber_pressure [kPa absolute]", "58.6,101.3"))
    assert visit.gauge["saturation_pressure"][0] and not visit.gauge["chamber_pressure"][0]
    assert visit.number["saturation_pressure"][0] == pytest.approx(58.6 * 6.894_757e3, rel=1e-7)


@pytest.mark.parametrize(
    ("header", "field", "step"),
    [
        ("chamber_temperature [degC]", "23.01", 0.01),
        ("chamber_temperature [degC]", "23.10", 0.01),
        ("chamber_temperature [degC]", "23", 1.0),
        ("chamber_temperature [degF]", "73.4", 0.1 / 1.8),
        ("saturation_pressure [kPa absolute]", "505.12", 10.0),
        ("saturation_pressure [Pa absolute]", "5.0512e5", 10.0),
        ("output [mA]", "7.251", 0.001),
    ],
)
def test_the_last_digit_tells_the_resolution(header: str, field: str, step: float):
    visit = read(table(header, field))
    assert visit.step[header.split(" [")[0]][0] == pytest.approx(step, rel=1e-12)


def test_a_column_may_stand_twice_with_two_units_and_a_row_fills_one():
    header = "saturation_pressure [psi gauge],saturation_pressure [kPa absolute]"
    visit = read(table(header, "58.6,", ",505.12", ","))
    number = visit.number["saturation_pressure"]
    assert number[:2] == pytest.approx([58.6 * 6.894_757e3, 505_120.0], rel=1e-7)
    assert np.isnan(number[2])
    assert list(visit.gauge["saturation_pressure"]) == [True, False, False]
    assert visit.quantity["saturation_pressure"] == ("pressure", "pressure", "")
    assert visit.step["saturation_pressure"][:2] == pytest.approx([0.1 * 6.894_757e3, 10.0], rel=1e-7)
    assert visit.place(1, "saturation_pressure").column == len(f"{ROW},,") + 1


def test_the_quantity_of_an_output_is_that_of_its_unit():
    visit = read(table("output [mA],output [%RH]", "7.251,", ",20.3", ","))
    assert visit.quantity["output"] == ("current", "humidity", "")


def test_blank_is_not_a_number_and_no_word():
    visit = read(f"{HEAD}\n{ROW}\n")
    assert all(np.isnan(visit.number[name][0]) for name, column in COLUMNS.items() if column.is_number)
    assert all(
        visit.text[name][0] == "" for name, column in COLUMNS.items() if not column.is_number and name not in REQUIRED
    )


@pytest.mark.parametrize("written", ["as_found", "As found", "AS_FOUND", " as  found "])
def test_a_known_word_may_be_written_as_people_write(written: str):
    assert read(f"{HEAD}\nRH-101,2026-03-14 09:40,{written}\n").text["phase"] == ("as_found",)


def test_a_header_does_not_ask_for_capitals():
    assert read("Sensor,TIME,Phase\n" + ROW + "\n").text["sensor"] == ("RH-101",)


# What spreadsheets do to a file.


def as_saved_by_a_spreadsheet(text: str) -> bytes:
    """Byte-order mark, CRLF, `;` with decimal commas, and empty columns and rows at the ends."""
    rows = [line.replace(",", ";").replace(".", ",") + ";;" for line in text.splitlines()]
    return codecs.BOM_UTF8 + "\r\n".join([*rows, ";" * rows[0].count(";"), ""]).encode()


def test_a_spreadsheet_s_file_says_the_same():
    plain = table("target [%RH],output [mA],chamber_temperature [degC]", "20,7.251,23.02", "50,12.108,-3.5")
    saved = read(as_saved_by_a_spreadsheet(plain))
    visit = read(plain)
    for name in ("target", "output", "chamber_temperature"):
        np.testing.assert_array_equal(saved.number[name], visit.number[name])
        np.testing.assert_array_equal(saved.step[name], visit.step[name])
    assert saved.text == visit.text
    assert (saved.time_utc == visit.time_utc).all()
    assert saved.sha256 != visit.sha256


def test_tabs_between_fields():
    assert read(f"{HEAD},note\n{ROW},x\n".replace(",", "\t")).text["note"] == ("x",)


def test_quoted_fields_hold_separators_and_lines():
    visit = read(f'{HEAD},note,output [mA]\n{ROW},"door, ""locked""\nagain",7.2\n{ROW},y,7.3\n')
    assert visit.text["note"] == ('door, "locked"\nagain', "y")
    assert visit.lines == (2, 4)
    assert visit.place(0, "output") == Place(path=PATH, line=3, column=8)


def test_a_place_counts_characters_as_editors_do():
    visit = read(codecs.BOM_UTF8 + f"note,{HEAD},output [mA]\nvåt dør,{ROW},7.2\n".encode())
    assert visit.place(0, "output") == Place(path=PATH, line=2, column=len(f"våt dør,{ROW},") + 1)
    assert visit.place(0, "sensor").column == len("våt dør,") + 1
    assert visit.place(0, "chamber_pressure").column == 1


def test_lines_end_only_where_a_csv_ends_them():
    visit = read(f"note,{HEAD}\na\u2028b\x0bc,{ROW}\nx,{ROW}\n")
    assert visit.place(1, "sensor") == Place(path=PATH, line=3, column=3)


def found(text: str | bytes) -> list[tuple[int, str]]:
    return [(fault.place.line, fault.rule.name) for fault in faults_of(text)]


@pytest.mark.parametrize(
    ("header", "field", "rule"),
    [
        ("output [mA]", "#REF!", "spreadsheet-error"),
        ("output [mA]", "#N/A", "spreadsheet-error"),
        ("serial", "#NAME?", "spreadsheet-error"),
        ("output [mA]", "######", "spreadsheet-error"),
        ("condition", "#VALUE!", "spreadsheet-error"),
        ("output [mA]", '"7,251"', "decimal-comma"),
        ("output [mA]", "7,251", "row-length"),
        ("output [mA]", "7.251 mA", "bad-number"),
        ("output [mA]", "1_000", "bad-number"),
        ("output [mA]", "1 013", "bad-number"),
        ("output [mA]", "nan", "bad-number"),
        ("output [mA]", "inf", "bad-number"),
        ("output [mA]", "1e999", "bad-number"),
        ("output [mA]", "0e999", "bad-number"),
        ("output [mA]", "0x1F", "bad-number"),
        ("output [mA]", "-", "bad-number"),
        ("output [mA]", "1e", "bad-number"),
        ("output [mA]", "٣", "bad-number"),
        ("medium", "in water", "bad-word"),
    ],
)
def test_a_field_that_cannot_be_read_is_refused(header: str, field: str, rule: str):
    assert [name for _, name in found(table(header, field))] == [rule]


def test_a_serial_number_may_begin_with_a_hash():
    assert read(table("serial,note", "#7001,#1 door")).text["serial"] == ("#7001",)


def test_values_under_no_name_are_not_dropped_in_silence():
    assert found(f"{HEAD},,output [mA]\n{ROW},3.1,7.2\n{ROW},,7.3\n") == [(2, "row-length")]


def test_all_faults_of_a_file_are_told_at_once():
    text = table("output [mA],chamber_temperature [degC]", "x,23", "7.2,y") + "RH-101,,as_left\n"
    assert found(text) == [(2, "bad-number"), (3, "bad-number"), (4, "blank-field")]
    assert found("sensor,tim,output\nx,y,z\n") == [
        (1, "unknown-column"),
        (1, "missing-unit"),
        (1, "missing-column"),
        (1, "missing-column"),
    ]


@pytest.mark.parametrize(
    ("header", "cure"),
    [
        ("output (mA)", "write output [mA]"),
        ("Saturation pressure [psi gauge]", "write saturation_pressure [psi gauge]"),
        ("chamber_temprature [degC]", "use a column of the manual's list (did you mean 'chamber_temperature'?)"),
        ("zebra", "use a column of the manual's list"),
    ],
)
def test_an_unknown_column_comes_with_its_cure(header: str, cure: str):
    (fault,) = faults_of(f"{HEAD},{header}\n{ROW},1\n")
    assert (fault.rule.name, fault.cure) == ("unknown-column", cure)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (f"{HEAD}\n{ROW}\n".encode("utf-16"), "the file is not UTF-8 text"),
        (f"{HEAD},note\n{ROW},v\xe5t\n".encode("latin-1"), "the file is not UTF-8 text"),
        (f"{HEAD}\n{ROW}\0\n".encode(), "the file holds NUL characters"),
        (f'{HEAD},note\n{ROW},"open\n'.encode(), "not a CSV: unexpected end of data"),
        (f'{HEAD},note\n{ROW},"a"b\n'.encode(), "not a CSV: ',' expected after '\"'"),
    ],
)
def test_a_file_that_is_no_csv(content: bytes, message: str):
    (fault,) = faults_of(content)
    assert (fault.rule.name, fault.message) == ("unreadable-csv", message)


@pytest.mark.parametrize("content", ["", "\n\n", f"{HEAD}\n", f"{HEAD}\n,,\n", ",,,\n"])
def test_a_visit_has_rows(content: str):
    assert [name for _, name in found(content)] == ["empty-visit"]


# Local times.


def utc(*when: int) -> int:
    return int(datetime(*when, tzinfo=UTC).timestamp())


def at(time: str, day: str = "2026-03-14", zone: ZoneInfo = OSLO) -> int:
    return int(read(f"{HEAD}\nRH-101,{time},as_found\n", f"visits/2026/{day}-x.csv", zone).time_utc[0])


def test_local_time_becomes_utc():
    assert at("2026-03-14 09:40") == utc(2026, 3, 14, 8, 40)
    assert at("2026-03-14T09:40:30") == utc(2026, 3, 14, 8, 40, 30)
    assert at("2026-07-01 09:40", day="2026-07-01") == utc(2026, 7, 1, 7, 40)
    assert at("2026-03-14 09:40", zone=ZoneInfo("America/Denver")) == utc(2026, 3, 14, 15, 40)
    assert at("2026-03-14 09:40", zone=ZoneInfo("Asia/Kathmandu")) == utc(2026, 3, 14, 3, 55)


def test_the_hour_that_occurs_twice_needs_its_offset():
    # Clocks in Europe/Oslo go back at 03:00 on the last Sunday of October (directive 2000/84/EC, from memory).
    day = "2026-10-25"
    assert at(f"{day} 02:30+02:00", day) == utc(2026, 10, 25, 0, 30)
    assert at(f"{day} 02:30+01:00", day) == utc(2026, 10, 25, 1, 30)
    assert at(f"{day} 01:59", day) == utc(2026, 10, 24, 23, 59)
    assert at(f"{day} 03:00", day) == utc(2026, 10, 25, 2, 0)


@pytest.mark.parametrize(
    ("time", "rule", "cure"),
    [
        ("2026-10-25 02:30", "time-ambiguous", "write 2026-10-25 02:30+02:00 or 2026-10-25 02:30+01:00"),
        ("2026-10-25 02:30+03:00", "time-offset", "write 2026-10-25 02:30+02:00 or 2026-10-25 02:30+01:00"),
        ("2026-10-25 04:30+01:00", "time-offset", "write 2026-10-25 04:30"),
        ("2026-10-26 09:00Z", "time-offset", "write 2026-10-26 09:00, or 2026-10-26 10:00 if the offset is right"),
    ],
)
def test_an_offset_stands_only_in_that_hour(time: str, rule: str, cure: str):
    (fault,) = faults_of(f"{HEAD}\nRH-101,{time},as_found\n", "visits/2026/2026-10-25-x.csv")
    assert (fault.rule.name, fault.cure) == (rule, cure)


def test_the_hour_that_is_skipped_does_not_exist():
    # Clocks in Europe/Oslo go forward at 02:00 on the last Sunday of March (directive 2000/84/EC, from memory).
    day = "2026-03-29"
    assert at(f"{day} 01:59", day) == utc(2026, 3, 29, 0, 59)
    assert at(f"{day} 03:00", day) == utc(2026, 3, 29, 1, 0)
    (fault,) = faults_of(f"{HEAD}\nRH-101,{day} 02:30,as_found\n", f"visits/2026/{day}-x.csv")
    assert fault.rule.name == "time-does-not-exist"


@given(
    minutes=st.integers(0, 14 * 1440 - 1),
    zone=st.sampled_from(["Europe/Oslo", "America/Denver", "Australia/Lord_Howe", "Asia/Beirut", "UTC"]),
    month=st.sampled_from([1, 3, 4, 10]),
)
def test_a_time_is_the_instant_that_the_zone_s_clock_showed(minutes: int, zone: str, month: int):
    info = ZoneInfo(zone)
    start = datetime(2026, month, 20, tzinfo=info).astimezone(UTC).timestamp()
    shown = datetime.fromtimestamp(start + 60 * minutes, info)
    text = shown.replace(tzinfo=None).isoformat(" ", "minutes")
    path = f"visits/2026/2026-{month:02d}-20-x.csv"
    visit, faults = read_visit(path, f"{HEAD}\nRH-101,{text},as_found\n".encode(), info)
    if not faults:
        assert visit is not None and visit.time_utc[0] == start + 60 * minutes
    else:
        assert {fault.rule.name for fault in faults} <= {"time-ambiguous", "time-off-visit"}


@pytest.mark.parametrize(
    "time",
    [
        "14.03.2026 09:40",
        "2026-03-14",
        "2026-3-14 9:40",
        "2026-03-14 24:00",
        "9:40",
        "2026-02-30 09:40",
        "2026-13-01 09:40",
        "2026-03-14 09:61",
    ],
)
def test_a_time_has_one_form(time: str):
    assert [name for _, name in found(f"{HEAD}\nRH-101,{time},as_found\n")] == ["bad-time"]


@pytest.mark.parametrize("time", ["2026-03-13 09:40", "2026-03-29 09:40", "2027-03-14 09:40"])
def test_a_time_belongs_to_the_days_of_its_visit(time: str):
    assert [name for _, name in found(f"{HEAD}\nRH-101,{time},as_found\n")] == ["time-off-visit"]


# Damage of any kind.

GOOD = minimal()[PATH]


def damaged(content: bytes) -> st.SearchStrategy[bytes]:
    """The content with a few bytes replaced, inserted or cut."""
    edit = st.tuples(
        st.integers(0, len(content)),
        st.integers(0, 12),
        st.one_of(
            st.binary(max_size=6),
            st.sampled_from([b",", b";", b'"', b"\n", b"\r", b"1e400", b"9" * 400, b"\xef\xbb\xbf", b"[psi]"]),
        ),
    )

    def apply(edits: list[tuple[int, int, bytes]]) -> bytes:
        text = content
        for start, length, piece in edits:
            text = text[:start] + piece + text[start + length :]
        return text

    return st.lists(edit, min_size=1, max_size=4).map(apply)


@examples(75)
@given(damaged(GOOD))
def test_no_damage_raises(content: bytes):
    visit, faults = read_visit(PATH, content, OSLO)
    assert visit is not None or faults
    for fault in faults:
        assert fault.place.line >= 1 and fault.place.column >= 1
        assert fault.cure
