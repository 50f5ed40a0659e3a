"""Rows of many visits as one table: each column one array."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from asfound.records.visits.field_values import Words
from asfound.records.visits.visit_files import Visit


def whole_visits(visits: Sequence[Visit]) -> tuple[np.ndarray, np.ndarray]:
    """Of every row of some visits, the number of its visit and its number in it."""
    counts = np.array([len(visit.lines) for visit in visits], np.int64)
    visit = np.repeat(np.arange(len(visits)), counts)
    return visit, np.arange(len(visit)) - (np.cumsum(counts) - counts)[visit]


class Joined:
    """Columns over rows of some visits; a column that no visit has is blank."""

    def __init__(self, visits: Sequence[Visit], visit: np.ndarray, row: np.ndarray) -> None:
        """`visit`, `row`: by row of this table, the number of its visit and its number in it."""
        self.visits, self.visit, self.row = visits, visit, row
        self._blocks = tuple({id(held.block): held.block for held in visits}.values())
        ends = np.cumsum([0, *(block.n for block in self._blocks)]).tolist()
        offset = dict(zip(map(id, self._blocks), ends, strict=False))
        starts = np.array([offset[id(held.block)] + held.start for held in visits], np.int64)
        self._at = starts[visit] + row

    def numbers(self, kind: str, name: str) -> np.ndarray:
        """A column of `number`, `step` or `gauge`."""
        return np.concatenate([np.zeros(0, bool), *(block.numbers(kind, name) for block in self._blocks)])[self._at]

    def words(self, kind: str, name: str) -> Words:
        """A column of `text` or `quantity`."""
        codes = {"": 0}
        code = [np.zeros(0, np.int32)]
        for block in self._blocks:
            held = block.words(kind, name)
            code.append(np.array([codes.setdefault(word, len(codes)) for word in held.values], np.int32)[held.code])
        return Words(values=tuple(codes), code=np.concatenate(code)[self._at])

    def time_utc(self) -> np.ndarray:
        """Seconds since 1970 UTC; 0 where the time could not be read."""
        ends = np.cumsum([0, *(len(visit.lines) for visit in self.visits)])
        times = [np.zeros(0, np.int64), *(visit.time_utc for visit in self.visits)]
        return np.concatenate(times)[ends[self.visit] + self.row]
