"""A CSV is split as Python's csv module splits it, whether or not something in it is quoted."""

from __future__ import annotations

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from asfound.records.visits.csv_text import delimiter_of, rows_by_line, split
from tests.examples import examples

PIECES = st.sampled_from(["RH-1", "20.5", " ", ",", ";", "\t", "\n", "\r\n", "\r", "\x0b", "\u2028"])


@examples(75)
@given(st.lists(PIECES, min_size=1, max_size=20).map("".join))
def test_lines_without_quotes_are_rows(text: str):
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter_of(text), strict=True)
    rows, lines, line = [], [], 1
    for row in reader:
        rows.append(row)
        lines.append(line)
        line = reader.line_num + 1
    table, faults = split("visits/2026/2026-03-14-a.csv", text.encode())
    assert table is not None and not faults
    assert (list(table.rows), list(table.lines)) == (rows, lines)


def test_a_quoted_field_may_hold_the_separator_and_a_line_end():
    content = b'sensor,note\nRH-1,"door, locked\nsince noon"\nRH-2,\n'
    assert rows_by_line(content) == {
        1: ("sensor", "note"),
        2: ("RH-1", "door, locked\nsince noon"),
        4: ("RH-2", ""),
    }


def test_of_a_file_that_is_no_csv_there_are_no_rows():
    assert rows_by_line(b'sensor,note\nRH-1,"open\n') == {}
