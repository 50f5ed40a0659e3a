"""Two versions of a visit's CSV compared field by field, so that an edit is named and not only shown as text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

from asfound.faults import Place
from asfound.records.visits.csv_text import Table, field_place, split

_ALIKE = 0.5
"""Share of equal fields from which two rows are one row that was edited (our choice)."""
_TOGETHER = 200
"""Rows in a block of edits up to which each is compared with each."""


@dataclass(frozen=True, kw_only=True)
class Alteration:
    """One thing that differs between two versions of a visit's file."""

    place: Place
    """in the later version; of a row that is gone, where it stood before"""
    row: str
    """the row as people know it: sensor and time; nothing for the header"""
    column: str
    """heading of the field; nothing where the whole row came or went"""
    before: str
    after: str

    @property
    def sentence(self) -> str:
        """What was altered, from what to what."""
        if self.column:
            of = f" of {self.row}" if self.row else " (heading)"
            return f"{self.column}{of}: {self.before or 'blank'} → {self.after or 'blank'}"
        return f"row {self.row} {'added' if self.after else 'taken away'}"


@dataclass(frozen=True, kw_only=True)
class _Version:
    path: str
    content: bytes
    header: tuple[str, ...]
    lines: tuple[int, ...]
    rows: tuple[tuple[str, ...], ...]

    def name(self, row: int) -> str:
        """Sensor and time of a row, else its line."""
        found = [self.field(row, name) for name in ("sensor", "time")]
        return " ".join(filter(None, found)) or f"line {self.lines[row]}"

    def field(self, row: int, heading: str) -> str:
        at = self.header.index(heading) if heading in self.header else -1
        return self.rows[row][at] if 0 <= at < len(self.rows[row]) else ""

    def place(self, row: int, heading: str = "") -> Place:
        at = self.header.index(heading) if heading in self.header else 0
        return field_place(self.path, self.content, self.lines[row], at)


def alterations(path: str, before: bytes, after: bytes) -> tuple[Alteration, ...]:
    """What differs between two versions of a visit, in the order of the later one; nothing where only bytes do.

    Where one of them is no CSV, the whole is one alteration.
    """
    old, new = _version(path, before), _version(path, after)
    if old is None or new is None:
        whole = Alteration(place=Place(path=path), row="", column="the file", before="as it was", after="another text")
        return (whole,)
    headings = _paired(old.header, new.header)
    found = [
        Alteration(place=_heading_place(new, is_now), row="", column=was or is_now, before=was, after=is_now)
        for was, is_now in headings
        if was != is_now
    ]
    both = [(was, is_now) for was, is_now in headings if was and is_now]
    texts = [tuple(old.field(row, was) for was, _ in both) for row in range(len(old.rows))]
    later = [tuple(new.field(row, is_now) for _, is_now in both) for row in range(len(new.rows))]
    known = [at for at, (_, heading) in enumerate(both) if heading in ("sensor", "time", "phase")]
    for tag, i1, i2, j1, j2 in SequenceMatcher(None, texts, later, autojunk=False).get_opcodes():
        if tag == "equal":
            continue
        pairs = _edited(texts, later, range(i1, i2), range(j1, j2), known)
        for i in (i for i in range(i1, i2) if i not in pairs):
            found.append(Alteration(place=old.place(i), row=old.name(i), column="", before="there", after=""))
        kept = {j: i for i, j in pairs.items()}
        for j in range(j1, j2):
            if j not in kept:
                found.append(Alteration(place=new.place(j), row=new.name(j), column="", before="", after="there"))
                continue
            for (_, heading), was, is_now in zip(both, texts[kept[j]], later[j], strict=True):
                if was != is_now:
                    place = new.place(j, heading)
                    found.append(Alteration(place=place, row=new.name(j), column=heading, before=was, after=is_now))
    return tuple(found)


def _version(path: str, content: bytes) -> _Version | None:
    table, _ = split(path, content)
    if table is None or not table.rows:
        return None
    return _Version(path=path, content=content, header=tuple(map(str.strip, table.rows[0])), **_filled(table))


def _filled(table: Table) -> dict[str, tuple[Any, ...]]:
    """Lines and rows that hold something, without blanks around their fields."""
    rows = [(line, tuple(map(str.strip, row))) for line, row in zip(table.lines[1:], table.rows[1:], strict=True)]
    kept = [(line, row) for line, row in rows if any(row)]
    return {"lines": tuple(line for line, _ in kept), "rows": tuple(row for _, row in kept)}


def _paired(before: Sequence[str], after: Sequence[str]) -> list[tuple[str, str]]:
    """Headings before and after; one whose unit alone was changed goes with its new one, '' where there is none."""

    def name(heading: str) -> str:
        return heading.partition("[")[0].strip()

    gone, come = ([h for h in these if h and h not in those] for these, those in ((before, after), (after, before)))
    renamed: dict[str, str] = {}
    for heading in come:
        same = [h for h in gone if name(h) == name(heading)]
        if len(same) == 1 and sum(name(h) == name(heading) for h in come) == 1:
            renamed[heading] = same[0]
    pairs = [(renamed.get(h, h if h in before else ""), h) for h in after if h]
    return pairs + [(h, "") for h in gone if h not in renamed.values()]


def _heading_place(version: _Version, heading: str) -> Place:
    at = version.header.index(heading) if heading in version.header else 0
    return field_place(version.path, version.content, 1, at)


def _edited(
    before: Sequence[Sequence[str]], after: Sequence[Sequence[str]], old: range, new: range, known: Sequence[int]
) -> dict[int, int]:
    """Of a block of rows that differ, by row before the row after that is the same row, edited.

    `known`: the fields by which a row is known, its sensor and time.
    """
    if len(old) > _TOGETHER or len(new) > _TOGETHER:
        return dict(zip(old, new, strict=False))
    scores = ((_alike(before[i], after[j], known), -abs(i - j), i, j) for i in old for j in new)
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for score, _, i, j in sorted(scores, reverse=True):
        if score >= _ALIKE and i not in pairs and j not in taken:
            pairs[i] = j
            taken.add(j)
    return pairs


def _alike(one: Sequence[str], other: Sequence[str], known: Sequence[int]) -> float:
    """The share of the filled fields that are equal; one more where those by which a row is known are."""
    filled = [(a, b) for a, b in zip(one, other, strict=True) if a or b]
    same = sum(a == b for a, b in filled) / len(filled) if filled else 0.0
    return same + (bool(known) and all(one[at] == other[at] for at in known))
