"""The demo's YAML records as they stood on an earlier day: entries that were not written yet are cut from the text.

This is surgery on the text of our own demo records, not a reader of YAML: a list entry whose day had not come is
left out with the comment above it, and so is a key that is left without entries. All other bytes stay, so the text of
the last day is the record itself.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

_DAY = r"([0-9]{4}-[0-9]{2}-[0-9]{2})"
_BEGINS = re.compile(rf"\b(date|from|day): {_DAY}")
_ENDS = re.compile(rf"(?:, |\n *)until: {_DAY}")
_BY_VISIT = re.compile(r"\bfrom_visit: ([a-z0-9-]+)")
_CLOSED = re.compile(rf"^closed: {_DAY}", re.M)

LAG_DAYS = {
    ("references", "date"): 2,  # the certificate comes with the instrument
    ("references", "until"): 2,
    ("people.yml", "from"): -7,  # known beforehand
    ("people.yml", "until"): -7,
    ("facility.yml", "from"): -12,
}
"""Days from the day that an entry names to the day on which it was written, where they are not the same."""


@dataclass(frozen=True, kw_only=True)
class Later:
    """A top-level key that a record got later, though it names no day of its own."""

    path: str
    key: str
    day: date


@dataclass(frozen=True, kw_only=True)
class Correction:
    """A laboratory's slip in a certificate's table, which stood in the record until it was put right."""

    path: str
    after: str
    """text that stands before the value: the certificate's number"""
    wrong: str
    right: str
    day: date
    why: str


LATER = (
    Later(path="sensors/DRY-12.yml", key="note", day=date(2025, 10, 13)),
    Later(path="sensors/HRB-21.yml", key="note", day=date(2024, 4, 22)),
    Later(path="sensors/HRB-23.yml", key="deferred_until", day=date(2026, 10, 19)),
    Later(path="sensors/HRB-23.yml", key="deferred_reason", day=date(2026, 10, 19)),
    Later(path="references/GEN-02.yml", key="note", day=date(2024, 7, 4)),
)
CORRECTIONS = (
    Correction(
        path="references/MIR-01.yml",
        after="certificate: AHL-2025-0174\n",
        wrong="{ at: 20 degC, value: 0.04 degC",
        right="{ at: 20 degC, value: -0.04 degC",
        day=date(2026, 11, 12),
        why="certificate AHL-2025-0174 had lost a minus sign at 20 degC; corrected by its laboratory",
    ),
)


class History:
    """One YAML record through the years. `calibrated`: by visit, the day its calibration is written into the record."""

    def __init__(self, path: str, text: str, calibrated: Mapping[str, date]) -> None:
        self.path, self.text, self._calibrated = path, text, calibrated
        self._folder = path.split("/")[0]
        self._corrections = [c for c in CORRECTIONS if c.path == path and c.right in text.partition(c.after)[2]]

    def days(self) -> list[date]:
        """The days on which something was written into it, in order."""
        found = {self._day_of(entry) for entry in _entries(self.text)}
        found |= {self._written("until", date.fromisoformat(m.group(1))) for m in _ENDS.finditer(self.text)}
        found |= {later.day for later in LATER if later.path == self.path}
        found |= {correction.day for correction in self._corrections}
        found |= {date.fromisoformat(m.group(1)) for m in _CLOSED.finditer(self.text)}
        return sorted(day for day in found if day is not None)

    def on(self, day: date) -> str:
        """Its text at the end of a day."""
        text = self.text
        for correction in self._corrections:
            if day < correction.day:
                before, after, rest = text.partition(correction.after)
                text = before + after + rest.replace(correction.right, correction.wrong, 1)
        text = _ENDS.sub(lambda m: self._end(m, day), text)
        text = _without(text, lambda entry: (written := self._day_of(entry)) is not None and written > day)
        for later in LATER:
            if later.path == self.path and day < later.day:
                text = _without_key(text, later.key)
        closed = _CLOSED.search(self.text) if self._folder == "findings" else None
        if closed and day < date.fromisoformat(closed.group(1)):
            for key in ("decision", "closed", "closed_by"):
                text = _without_key(text, key)
        return text

    def _end(self, match: re.Match[str], day: date) -> str:
        return match.group() if self._written("until", date.fromisoformat(match.group(1))) <= day else ""

    def _day_of(self, entry: str) -> date | None:
        visit = _BY_VISIT.search(entry)
        if visit and visit.group(1) in self._calibrated:
            return self._calibrated[visit.group(1)]
        begins = _BEGINS.search(entry)
        return self._written(begins.group(1), date.fromisoformat(begins.group(2))) if begins else None

    def _written(self, key: str, day: date) -> date:
        return day + timedelta(days=LAG_DAYS.get((self._folder, key), 0))


def _entries(text: str) -> Iterator[str]:
    lines = text.splitlines(keepends=True)
    for number, line in enumerate(lines):
        if line.lstrip().startswith("- "):
            yield _own_text(lines, number)


def _own_text(lines: list[str], start: int) -> str:
    """A list entry's own keys: without what is nested deeper."""
    indent = _indent(lines[start])
    own = [line for line in lines[start + 1 : _end_of(lines, start)] if _indent(line) == indent + 2]
    return "".join([lines[start], *own])


def _end_of(lines: list[str], start: int) -> int:
    """The line after everything that is nested below this one."""
    end, indent = start + 1, _indent(lines[start])
    while end < len(lines) and (not lines[end].strip() or _indent(lines[end]) > indent):
        end += 1
    return end


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _without(text: str, is_later: Callable[[str], bool]) -> str:
    """The text without the list entries that are later, and without keys that are left with none."""
    lines = text.splitlines(keepends=True)
    dropped: set[int] = set()
    for number, line in enumerate(lines):
        if line.lstrip().startswith("- ") and is_later(_own_text(lines, number)):
            dropped.update(range(number, _end_of(lines, number)))
    for number, line in enumerate(lines):
        if not line.split("#")[0].rstrip().endswith(":"):
            continue
        below = range(number + 1, _end_of(lines, number))
        entries = [n for n in below if lines[n].strip() and not lines[n].lstrip().startswith("#")]
        if entries and dropped.issuperset(entries):
            dropped.update(range(number, below.stop))
    for number in sorted(dropped, reverse=True):  # a comment goes with what it stands above
        above = number - 1
        while above >= 0 and above not in dropped and lines[above].lstrip().startswith("#"):
            if _indent(lines[above]) != _indent(lines[number]):
                break
            dropped.add(above)
            above -= 1
    return "".join(line for number, line in enumerate(lines) if number not in dropped)


def _without_key(text: str, key: str) -> str:
    return re.sub(rf"^{key}:.*\n(?:[ \t]+.*\n)*", "", text, flags=re.M)
