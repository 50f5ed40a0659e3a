"""What was changed in the YAML records, in words: `tolerance from 2026-12-01: absolute 2 %RH → 3 %RH`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from asfound.faults import Place
from asfound.records.models.yaml_text import Document, Loc

_NAMES = ("id", "serial", "date", "from", "at", "day")
"""Keys that tell the items of a list apart, the first that all of them have."""
_LONGEST = 160
"""Characters of a written value that are shown."""


@dataclass(frozen=True, kw_only=True)
class SettingChange:
    """One value of a YAML record that is another now."""

    place: Place
    """at the later side; of a value that is gone, the nearest thing around it"""
    key: str
    """the keys that lead to it, in words"""
    before: str
    """as it was written; nothing where there was none"""
    after: str
    loc: Loc = ()

    @property
    def sentence(self) -> str:
        """Key, before and after."""
        if not self.before:
            return f"{self.key}: {self.after} (new)"
        return f"{self.key}: {self.before} → {self.after or 'taken away'}"


def setting_changes(before: Document, after: Document) -> tuple[SettingChange, ...]:
    """Everything that differs between two versions of one record; comments and layout are no settings."""
    return tuple(_changes(before.data, after.data, (), (), after))


def _changes(was: Any, now: Any, words: Sequence[str], loc: Loc, document: Document) -> Iterator[SettingChange]:
    if was == now:
        return
    if _is_table(was) or _is_table(now):  # a dated setting may be one entry, or a list of them
        pair = [_entries(value) for value in (was, now)]
        if all(_is_table(items) for items in pair):
            yield from _of_items(pair[0], pair[1], words, loc, document)
            return
    if isinstance(was, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*now, *was]):
            yield from _changes(was.get(key), now.get(key), (*words, key), (*loc, key), document)
        return
    yield SettingChange(
        place=document.place(*loc),
        key=", ".join(words).replace("_", " ") or "the record",
        before=_written(was),
        after=_written(now),
        loc=loc,
    )


def _entries(value: Any) -> list[Any]:
    """The entries of a dated setting, however it is written."""
    if isinstance(value, list):
        return value
    return [{"value": value}] if isinstance(value, str) else [value]


def _is_table(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)


def _of_items(
    was: list[dict[str, Any]], now: list[dict[str, Any]], words: Sequence[str], loc: Loc, document: Document
) -> Iterator[SettingChange]:
    """Items of a list, each with the one of its name; a new dated entry with the one that held until then."""
    name = next((key for key in _NAMES if all(key in item for item in (*was, *now))), None)
    # Of a dated setting the entry before holds until the new one begins; periods stand each for itself.
    keys = {key for item in (*was, *now) for key in item}
    dated = name in (None, "from") and "from" in keys and not keys & {"until", "reason"}
    name = "from" if dated else name
    before = {_name_of(item, name, i): item for i, item in enumerate(was)}
    after = {_name_of(item, name, i): (i, item) for i, item in enumerate(now)}
    for label, (number, item) in after.items():
        known = before.get(label)
        if known is None and dated:
            earlier = [key for key in before if key < label]
            known = {**before[max(earlier)], "from": label} if earlier else None
        at = (*words[:-1], f"{words[-1] if words else ''} {_label(name, label)}".strip())
        yield from _changes(known, item, at, (*loc, number), document)
    for label, item in before.items():
        if label not in after:
            at = (*words[:-1], f"{words[-1] if words else ''} {_label(name, label)}".strip())
            yield from _changes(item, None, at, loc, document)


def _name_of(item: dict[str, Any], name: str | None, number: int) -> str:
    return str(item.get(name, "")) if name else str(number + 1)


def _label(name: str | None, label: str) -> str:
    if name == "from":
        return f"from {label}" if label else ""
    return f"at {label}" if name == "at" else label


def _written(value: Any) -> str:
    """A value as it would be written on one line."""
    if value is None:
        return ""
    if isinstance(value, dict):
        text = ", ".join(f"{key}: {_inner(item)}" for key, item in value.items())
    elif isinstance(value, list):
        text = ", ".join(_inner(item) for item in value)
    else:
        text = " ".join(str(value).split())
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"


def _inner(value: Any) -> str:
    text = _written(value)
    return f"{{{text}}}" if isinstance(value, dict) else f"[{text}]" if isinstance(value, list) else text or "blank"
