"""YAML as text with places: every scalar stays the text that was written, and knows its line and column.

A model decides what a text means, so an id `010`, a model called `no` and a date survive as written.
Anchors, aliases, tags and duplicate keys are refused: a record says what it says, once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from ruamel.yaml import YAML, events
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from asfound.faults import Fault, Place, Rule, error

UNREADABLE_YAML = error("unreadable-yaml", "a YAML file cannot be parsed or is not UTF-8")
DUPLICATE_KEY = error("duplicate-key", "a key stands twice in one mapping")
YAML_ALIAS = error("yaml-alias", "a YAML anchor, alias, tag or merge key is used")

DEEPEST = 20
"""No record nests deeper."""

Loc = tuple[str | int, ...]


@dataclass(frozen=True, kw_only=True)
class Document:
    """One YAML file: its data as nested dict, list, str and None, and the place of every key and item."""

    path: str
    data: Any
    key_marks: dict[Loc, tuple[int, int]]
    value_marks: dict[Loc, tuple[int, int]]

    def place(self, *loc: str | int) -> Place:
        """The place of the value at `loc`; where it is missing, of the nearest thing around it."""
        return self._nearest(self.value_marks, self.written(loc))

    def key_place(self, *loc: str | int) -> Place:
        """The place of the key at `loc` itself."""
        return self._nearest(self.key_marks, self.written(loc))

    def written(self, loc: Loc) -> Loc:
        """`loc` of a model as it is written: a single dated entry, or its value, stands where the model has a list."""
        written: list[str | int] = []
        data = self.data
        for part in loc:
            if isinstance(data, str):
                break
            if isinstance(part, int) and isinstance(data, dict):
                continue
            written.append(part)
            try:
                data = data[part]
            except (KeyError, IndexError, TypeError):
                data = None
        return tuple(written)

    def _nearest(self, marks: dict[Loc, tuple[int, int]], loc: Loc) -> Place:
        while loc:
            for table in (marks, self.key_marks, self.value_marks):
                if loc in table:
                    line, column = table[loc]
                    return Place(path=self.path, line=line, column=column)
            loc = loc[:-1]
        return Place(path=self.path)


@lru_cache(maxsize=4096)  # a review, an issue and a site that is served read the same files several times
def parse(path: str, content: bytes) -> tuple[Document | None, tuple[Fault, ...]]:
    """Read one YAML file; faults as values."""

    def unreadable(line: int, column: int, message: str, cure: str) -> tuple[None, tuple[Fault, ...]]:
        place = Place(path=path, line=line, column=column)
        return None, (Fault(rule=UNREADABLE_YAML, place=place, message=message, cure=cure),)

    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        return unreadable(line, 1, "the file is not UTF-8 text", "save it as UTF-8")
    reader = _Reader(path)
    try:
        data = reader.document(_events(text))
    except MarkedYAMLError as problem:
        mark = problem.problem_mark or problem.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        what = problem.problem or problem.context or "cannot be parsed"
        cure = "check indentation, colons and quotes on this line and the one above"
        return unreadable(line, column, f"not valid YAML: {what}", cure)
    except (YAMLError, ValueError) as problem:
        message = f"not valid YAML: {str(problem).splitlines()[0]}"
        return unreadable(1, 1, message, "save it as plain UTF-8 text without control characters")
    except _NotARecord as problem:
        return unreadable(problem.line, problem.column, problem.message, problem.cure)
    if reader.faults:
        return None, tuple(reader.faults)
    return Document(path=path, data=data, key_marks=reader.key_marks, value_marks=reader.value_marks), ()


def _events(text: str) -> Iterator[events.Event]:
    """The parser's events, from its C library where that is installed; plug-ins would be searched for in each read."""
    parsed: Iterator[events.Event] = YAML(typ="safe", pure=False, plug_ins=[]).parse(text)
    return parsed


class _NotARecord(Exception):
    """Valid YAML that no record can be."""

    def __init__(self, event: events.Event, message: str, cure: str) -> None:
        super().__init__(message)
        self.line, self.column = event.start_mark.line + 1, event.start_mark.column + 1
        self.message, self.cure = message, cure


class _Reader:
    """Builds the data from the events: these still know anchors, aliases and tags, which nodes do not."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.faults: list[Fault] = []
        self.key_marks: dict[Loc, tuple[int, int]] = {}
        self.value_marks: dict[Loc, tuple[int, int]] = {}

    def document(self, stream: Iterator[events.Event]) -> Any:
        """The data of the one document in the stream; nothing where it is empty."""
        data, seen = None, False
        for event in stream:
            if isinstance(event, events.DocumentStartEvent):
                if seen:
                    cure = "keep one record a file, without `---` between"
                    raise _NotARecord(event, "a second document begins here", cure)
                seen = True
                data = self._value(next(stream), stream, ())
        return data

    def _value(self, event: events.Event, stream: Iterator[events.Event], loc: Loc) -> Any:
        self.value_marks[loc] = (event.start_mark.line + 1, event.start_mark.column + 1)
        if len(loc) > DEEPEST:
            raise _NotARecord(event, "this is nested too deeply", "check the brackets and the indentation")
        self._refuse_anchors(event)
        if isinstance(event, events.MappingStartEvent):
            return self._mapping(stream, loc)
        if isinstance(event, events.SequenceStartEvent):
            return self._sequence(stream, loc)
        if not isinstance(event, events.ScalarEvent):
            return None  # an alias, refused above
        # A plain (unquoted) null is nothing; a quoted one is text.
        return None if not event.style and event.value in ("", "~", "null") else event.value

    def _sequence(self, stream: Iterator[events.Event], loc: Loc) -> list[Any]:
        items: list[Any] = []
        for event in stream:
            if isinstance(event, events.SequenceEndEvent):
                break
            items.append(self._value(event, stream, (*loc, len(items))))
        return items

    def _mapping(self, stream: Iterator[events.Event], loc: Loc) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for event in stream:
            if isinstance(event, events.MappingEndEvent):
                break
            if isinstance(event, events.AliasEvent):
                self._refuse_anchors(event)
                self._value(next(stream), stream, (*loc, "?"))
                continue
            if not isinstance(event, events.ScalarEvent):
                raise _NotARecord(event, "a key is a list or a mapping", "write a word before the colon")
            self._refuse_anchors(event)
            key = event.value
            if key == "<<":
                self._fault(YAML_ALIAS, event, "'<<' merges another mapping", "write the keys out")
            elif key in result:
                self._fault(DUPLICATE_KEY, event, f"key {key!r} stands twice here", "keep one of the two")
            else:
                self.key_marks[(*loc, key)] = (event.start_mark.line + 1, event.start_mark.column + 1)
            result[key] = self._value(next(stream), stream, (*loc, key))
        return result

    def _refuse_anchors(self, event: events.Event) -> None:
        alias = isinstance(event, events.AliasEvent)
        anchor, tag = getattr(event, "anchor", None), getattr(event, "tag", None)
        for word in (anchor and f"{'*' if alias else '&'}{anchor}", tag):
            if word:
                cure = "write the value out, or put it in quotes if it is text"
                self._fault(YAML_ALIAS, event, f"{word!r} is an anchor, alias or tag of YAML", cure)

    def _fault(self, rule: Rule, event: events.Event, message: str, cure: str) -> None:
        mark = event.start_mark
        place = Place(path=self.path, line=mark.line + 1, column=mark.column + 1)
        self.faults.append(Fault(rule=rule, place=place, message=message, cure=cure))
