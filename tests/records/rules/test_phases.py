"""Order within a visit."""

from __future__ import annotations

from tests.records.rules.written import (
    COLUMNS,
    FIRST,
    HEADER,
    SECOND,
    row,
    told,
    visit,
)

# Order within a visit.

ADJUSTED = f"{HEADER},adjustment"


def adjusted(time: str, word: str) -> str:
    blank = dict.fromkeys(COLUMNS, "") | {
        "sensor": "RH-101",
        "time": f"2026-03-14 {time}",
        "phase": "adjusted",
        "technician": "ada",
    }
    return ",".join(blank[name] for name in COLUMNS) + f",{word}"


def test_as_found_adjusted_as_left():
    left = row(SECOND, phase="as_left", time="2026-03-14 11:30")
    assert told(visit(f"{FIRST},", adjusted("10:30", "span"), f"{left},", header=ADJUSTED)) == []
    assert told(visit(f"{FIRST},", adjusted("10:30", "none"), header=ADJUSTED)) == []
    assert told(visit(f"{FIRST},", adjusted("10:30", "span"), header=ADJUSTED)) == ["3 adjusted-without-as-left"]
    again = row(time="2026-03-14 12:00", phase="as_found")
    assert told(visit(f"{FIRST},", adjusted("10:30", "span"), f"{left},", f"{again},", header=ADJUSTED)) == [
        "5 phases-out-of-order"
    ]
