"""Two versions of a visit compared: the row and field that was altered, from what to what."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.review.changed_readings import alterations

HEADER = "sensor,time,phase,output [%RH],saturation_pressure [kPa absolute],note"
ROWS = [
    "RH-1,2026-03-16 08:00,as_found,50.1,203.5,",
    "RH-1,2026-03-16 08:01,as_found,50.2,203.6,",
    "RH-1,2026-03-16 08:02,as_found,50.3,203.7,door open",
]


def text(*rows: str, header: str = HEADER) -> bytes:
    return "\n".join([header, *rows, ""]).encode()


def told(before: bytes, after: bytes) -> list[str]:
    return [one.sentence for one in alterations("visits/2026/2026-03-16-lab.csv", before, after)]


def test_an_altered_reading_is_named_by_its_row_and_field():
    after = text(ROWS[0], ROWS[1].replace("50.2", "49.2"), ROWS[2])
    (one,) = alterations("visits/2026/2026-03-16-lab.csv", text(*ROWS), after)
    assert one.sentence == "output [%RH] of RH-1 2026-03-16 08:01: 50.2 → 49.2"
    assert (one.place.line, one.place.column) == (3, 32)


def test_a_reading_that_was_cleared_or_filled_in_says_so():
    assert told(text(*ROWS), text(*ROWS[:2], ROWS[2].replace("50.3", ""))) == [
        "output [%RH] of RH-1 2026-03-16 08:02: 50.3 → blank"
    ]
    assert told(text(*ROWS), text(f"{ROWS[0]}windy", *ROWS[1:])) == ["note of RH-1 2026-03-16 08:00: blank → windy"]


def test_a_row_that_is_gone_or_new_is_no_edit_of_its_neighbours():
    assert told(text(*ROWS), text(ROWS[0], ROWS[2])) == ["row RH-1 2026-03-16 08:01 taken away"]
    more = "RH-1,2026-03-16 08:03,as_found,50.4,203.7,"
    assert told(text(*ROWS), text(*ROWS, more)) == ["row RH-1 2026-03-16 08:03 added"]


def test_a_row_keeps_its_name_where_the_one_above_goes():
    after = text(ROWS[0], ROWS[2].replace("50.3", "50.9"))
    assert sorted(told(text(*ROWS), after)) == [
        "output [%RH] of RH-1 2026-03-16 08:02: 50.3 → 50.9",
        "row RH-1 2026-03-16 08:01 taken away",
    ]


def test_another_unit_in_a_heading_is_one_alteration_of_the_heading():
    after = text(*ROWS, header=HEADER.replace("kPa absolute", "psi absolute"))
    assert told(text(*ROWS), after) == [
        "saturation_pressure [kPa absolute] (heading): "
        "saturation_pressure [kPa absolute] → saturation_pressure [psi absolute]"
    ]


def test_columns_in_another_order_alter_nothing():
    swapped = [",".join([fields[1], fields[0], *fields[2:]]) for fields in (row.split(",") for row in [HEADER, *ROWS])]
    assert told(text(*ROWS), text(*swapped[1:], header=swapped[0])) == []


def test_what_a_spreadsheet_does_to_line_ends_and_separators_alters_no_reading():
    saved = b"\xef\xbb\xbf" + text(*ROWS).replace(b",", b";").replace(b"\n", b"\r\n")
    assert told(text(*ROWS), saved) == []


def test_a_file_that_is_no_csv_is_altered_as_a_whole():
    assert told(text(*ROWS), b"\xff\xfe\x00") == ["the file (heading): as it was → another text"]


CELLS = st.text("abc19.", max_size=3)


@settings(max_examples=60)
@given(st.lists(st.tuples(CELLS, CELLS), min_size=1, max_size=6), st.data())
def test_one_edited_field_is_always_found_and_nothing_else(pairs: list[tuple[str, str]], data: st.DataObject):
    rows = [f"RH-1,2026-03-16 08:{n:02d},as_found,{a},{b},x" for n, (a, b) in enumerate(pairs)]
    at = data.draw(st.integers(0, len(rows) - 1))
    new = data.draw(CELLS.filter(lambda cell: cell.strip() != pairs[at][0]))
    after = [*rows[:at], f"RH-1,2026-03-16 08:{at:02d},as_found,{new},{pairs[at][1]},x", *rows[at + 1 :]]
    (one,) = alterations("v", text(*rows), text(*after))
    assert (one.before, one.after, one.place.line) == (pairs[at][0], new, at + 2)


@settings(max_examples=60)
@given(st.lists(st.sampled_from([*ROWS, "RH-2,2026-03-16 09:00,as_left,20.0,400,"]), max_size=6, unique=True))
def test_versions_that_hold_the_same_rows_differ_in_nothing(rows: list[str]):
    assert alterations("v", text(*rows), text(*rows)) == ()
