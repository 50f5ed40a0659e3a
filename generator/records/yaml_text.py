"""YAML as text with places: every scalar stays the text that was written, and knows its line and column.

A model decides what a text means, so an id `010`, a model called `no` and a date survive as written.
Anchors, aliases, tags and duplicate keys are refused: a record says what it says, once.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import ruamel.yaml
from ruamel.yaml import YAML, MappingNode, Node, ScalarNode, SequenceNode

from generator.faults import Fault, Place, error

UNREADABLE_YAML = error("unreadable-yaml", "a YAML file cannot be parsed or is not UTF-8")
DUPLICATE_KEY = error("duplicate-key", "a key stands twice in one mapping")
YAML_ALIAS = error("yaml-alias", "a YAML anchor, alias, tag or merge key is used")

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
        return self._nearest(self.value_marks, loc)

    def key_place(self, *loc: str | int) -> Place:
        """The place of the key at `loc` itself."""
        return self._nearest(self.key_marks, loc)

    def _nearest(self, marks: dict[Loc, tuple[int, int]], loc: Loc) -> Place:
        while loc:
            for table in (marks, self.key_marks, self.value_marks):
                if loc in table:
                    line, column = table[loc]
                    return Place(path=self.path, line=line, column=column)
            loc = loc[:-1]
        return Place(path=self.path)


def parse(path: str, content: bytes) -> tuple[Document | None, list[Fault]]:
    """Read one YAML file; faults as values."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        return None, [
            Fault(
                rule=UNREADABLE_YAML,
                place=Place(path=path, line=line),
                message="the file is not UTF-8 text",
                cure="save it as UTF-8",
            )
        ]
    tagged = _refused_tokens(path, text)
    try:
        root = _compose(text)
    except ruamel.yaml.error.MarkedYAMLError as problem:
        mark = problem.problem_mark or problem.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        what = problem.problem or problem.context or "cannot be parsed"
        return None, [
            Fault(
                rule=UNREADABLE_YAML,
                place=Place(path=path, line=line, column=column),
                message=f"not valid YAML: {what}",
                cure="check indentation, colons and quotes on this line and the one above",
            )
        ]
    except (ruamel.yaml.error.YAMLError, ValueError) as problem:
        return None, [
            Fault(
                rule=UNREADABLE_YAML,
                place=Place(path=path),
                message=f"not valid YAML: {str(problem).splitlines()[0]}",
                cure="save it as plain UTF-8 text without control characters",
            )
        ]
    if tagged:
        return None, tagged
    reader = _Reader(path)
    data = reader.read(root, ()) if root is not None else None
    if reader.faults:
        return None, reader.faults
    document = Document(path=path, data=data, key_marks=reader.key_marks, value_marks=reader.value_marks)
    return document, []


def _compose(text: str) -> Node | None:
    yaml = YAML(typ="safe", pure=False)
    yaml.version = (1, 2)  # type: ignore[assignment]
    parser = yaml.get_constructor_parser(text)[1]
    try:
        return parser.get_single_node()  # type: ignore[no-any-return]
    finally:
        parser.dispose()


_ANCHOR_OR_TAG = re.compile(r"(?:^|[:\-]\s+)([&*!][^\s,\]}]+)")


def _refused_tokens(path: str, text: str) -> list[Fault]:
    """Anchors, aliases and tags: the C composer resolves them silently, so they are looked for in the text."""
    faults: list[Fault] = []
    for number, line in enumerate(text.splitlines(), start=1):
        bare = re.sub(r"\"[^\"]*\"|'[^']*'", lambda m: "x" * len(m[0]), line).split(" #")[0]
        if bare.lstrip().startswith("#"):
            continue
        for match in _ANCHOR_OR_TAG.finditer(bare):
            faults.append(
                Fault(
                    rule=YAML_ALIAS,
                    place=Place(path=path, line=number, column=match.start(1) + 1),
                    message=f"{match[1]!r} is a YAML anchor, alias or tag",
                    cure="write the value out, or put it in quotes if it is text",
                )
            )
    return faults


class _Reader:
    def __init__(self, path: str) -> None:
        self.path = path
        self.faults: list[Fault] = []
        self.key_marks: dict[Loc, tuple[int, int]] = {}
        self.value_marks: dict[Loc, tuple[int, int]] = {}

    def read(self, node: Node, loc: Loc) -> Any:
        mark = node.start_mark
        self.value_marks[loc] = (mark.line + 1, mark.column + 1)
        if isinstance(node, MappingNode):
            return self._mapping(node, loc)
        if isinstance(node, SequenceNode):
            return [self.read(item, (*loc, i)) for i, item in enumerate(node.value)]
        assert isinstance(node, ScalarNode)
        # A plain (unquoted) null is nothing; a quoted one is text.
        return None if not node.style and node.value in ("", "~", "null") else node.value

    def _mapping(self, node: MappingNode, loc: Loc) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            mark = key_node.start_mark
            at = (mark.line + 1, mark.column + 1)
            key = str(key_node.value) if isinstance(key_node, ScalarNode) else "?"
            if key in result or key == "<<":
                twice = key != "<<"
                self.faults.append(
                    Fault(
                        rule=DUPLICATE_KEY if twice else YAML_ALIAS,
                        place=Place(path=self.path, line=at[0], column=at[1]),
                        message=f"key {key!r} stands twice here" if twice else "'<<' merges another mapping",
                        cure="keep one of the two" if twice else "write the keys out",
                    )
                )
                continue
            self.key_marks[(*loc, key)] = at
            result[key] = self.read(value_node, (*loc, key))
        return result
