"""A visit's rows as the bytes of a CSV file."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from tests.demo.displays import Cells

COLUMNS = (
    "sensor", "time", "phase", "target", "serial", "condition", "output", "far_end", "output_temperature",
    "far_end_temperature", "loop_meter", "adjustment", "from", "to", "reference", "technician", "soak", "log",
    "log_from", "log_until", "medium",
    "saturation_pressure", "saturation_temperature", "chamber_pressure", "mirror_temperature", "condensate",
    "salt", "reference_humidity", "reference_temperature", "air_temperature", "chamber_temperature",
    "stated_reference", "stated_error", "stated_U", "stated_k", "ambient_pressure", "barometer",
    "room_temperature", "room_humidity", "reason", "note",
)  # fmt: skip
"""The order in which the demo's sheets have their columns."""


def as_csv(rows: Sequence[Cells], *, by_spreadsheet: bool = False) -> bytes:
    """The file: only columns that hold something. `by_spreadsheet`: as one saves it where the comma is decimal."""
    header = sorted({name for row in rows for name, text in row.items() if text}, key=_place)
    table = [header] + [[row.get(name, "") for name in header] for row in rows]
    if not by_spreadsheet:
        return _text(table, ",", "\n").encode("utf-8")
    numbers = [" [" in name for name in header]
    table[1:] = [
        [text.replace(".", ",") if number else text for text, number in zip(line, numbers)] for line in table[1:]
    ]
    table = [[*line, "", ""] for line in table]
    return _text(table, ";", "\r\n").encode("utf-8-sig")


def _place(header: str) -> tuple[int, str]:
    return COLUMNS.index(header.partition(" ")[0]), header


def _text(table: Sequence[Sequence[str]], delimiter: str, end: str) -> str:
    stream = io.StringIO(newline="")
    csv.writer(stream, delimiter=delimiter, lineterminator=end).writerows(table)
    return stream.getvalue()
