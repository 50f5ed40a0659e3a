"""The program with one slip of the pen in it: checks that hold for the program must fail for a slip.

So the tests are tested too. A slip names the function in which it is made, wherever in the package that stands; how its
lines are broken plays no part. Its code is exchanged in the function that is there, so that whoever has imported it
runs the slip, and afterwards put back.
"""

from __future__ import annotations

import ast
import functools
import importlib
import io
import sys
import tokenize
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import asfound

PACKAGE = Path(asfound.__file__).parent
UNSEEN = (tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.COMMENT, tokenize.ENDMARKER)
REFUSED = (
    ArithmeticError, AssertionError, AttributeError, LookupError, TypeError, ValueError, Warning,
)  # fmt: skip


@dataclass(frozen=True)
class Slip:
    """A text within one function, or within the value of one constant, that is replaced by another.

    `where` is as much of the dotted name as makes it the only one: "coverage_factor", "Change.e_n",
    "budgets.effective_freedom", "COVERAGE". `was` must stand there once or more; it is compared symbol by symbol.
    """

    where: str
    was: str
    becomes: str


@contextmanager
def with_slip(slip: Slip) -> Iterator[None]:
    """The program with the slip made, until the end of the block."""
    place = place_of(slip.where)
    module = importlib.import_module(place.module)
    text = _replaced(place, slip)
    if isinstance(place.node, ast.FunctionDef):
        function = _function(module, place.name)
        code = _code_of(compile(text, str(place.file), "exec"), place.name)
        assert code is not None, f"{slip.where} is no longer there once the slip is made"
        kept, function.__code__ = function.__code__, code
        try:
            yield
        finally:
            function.__code__ = kept
    else:
        names = _names(place.node)
        before, after = vars(module), dict(vars(module))
        statement = next(node for node in ast.parse(text).body if place.name in _names(node))
        exec(compile(ast.Module([statement], []), str(place.file), "exec"), after)
        kept = {name: before[name] for name in names}
        for name in names:
            _exchange(name, kept[name], after[name])
        try:
            yield
        finally:
            for name in names:
                _exchange(name, after[name], kept[name])


def is_found(slip: Slip, check: Callable[[Any], Iterable[Any]], program: Any) -> bool:
    """Whether the check fails for the slip; one that cannot even be computed fails."""
    with with_slip(slip):
        try:
            return not all(one.holds for one in check(program))
        except REFUSED:
            return True


@dataclass(frozen=True)
class Place:
    """A function, method or constant of the package, and where its text stands."""

    file: Path
    module: str
    name: str
    node: ast.FunctionDef | ast.Assign | ast.AnnAssign


def place_of(where: str) -> Place:
    """The one place of this name. Raises AssertionError where there is none, or more than one."""
    found = [place for full_name, place in _places() if full_name.endswith(f".{where}")]
    assert len(found) == 1, f"a slip in {where}, which the package has {len(found)} times: {[p.module for p in found]}"
    return found[0]


@functools.cache
def _places() -> tuple[tuple[str, Place], ...]:
    """Every function, method and constant by its full name."""
    found = []
    for file in sorted(PACKAGE.rglob("*.py")):
        parts = file.relative_to(PACKAGE.parent).with_suffix("").parts
        module = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        for name, node in _named(ast.parse(file.read_text(encoding="utf-8"))):
            found.append((f"{module}.{name}", Place(file, module, name, node)))
    return tuple(found)


def _named(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef | ast.Assign | ast.AnnAssign]]:
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            yield node.name, node
        elif isinstance(node, ast.ClassDef):
            yield from ((f"{node.name}.{x.name}", x) for x in node.body if isinstance(x, ast.FunctionDef))
        elif isinstance(node, (ast.Assign, ast.AnnAssign)) and node.value is not None:
            yield from ((name, node) for name in _names(node))


def _names(node: ast.stmt) -> list[str]:
    """The names that a statement assigns to."""
    targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
    return [name.id for target in targets for name in ast.walk(target) if isinstance(name, ast.Name)]


def _replaced(place: Place, slip: Slip) -> str:
    """The text of the whole module with the slip made in its one place."""
    lines = place.file.read_text(encoding="utf-8").splitlines(keepends=True)
    first, last = place.node.lineno - 1, place.node.end_lineno
    text = "".join(lines[first:last])
    for start, end in reversed(list(_stands(_symbols(text), [symbol for symbol, _, _ in _symbols(slip.was)]))):
        text = text[:start] + slip.becomes + text[end:]
    assert text != "".join(lines[first:last]), f"{slip.where} no longer says: {slip.was}"
    return "".join([*lines[:first], text, *lines[last:]])


def _stands(symbols: list[tuple[str, int, int]], wanted: list[str]) -> Iterator[tuple[int, int]]:
    """Where these symbols follow each other: from which character to which."""
    for i in range(len(symbols) - len(wanted) + 1):
        if [symbol for symbol, _, _ in symbols[i : i + len(wanted)]] == wanted:
            yield symbols[i][1], symbols[i + len(wanted) - 1][2]


def _symbols(text: str) -> list[tuple[str, int, int]]:
    """Each symbol with the characters that it takes: no line ends, indents, comments, nor a last comma in brackets."""
    starts = [0]
    for line in text.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    found: list[tuple[str, int, int]] = []
    try:
        for token in tokenize.generate_tokens(io.StringIO(text).readline):
            if token.type in UNSEEN or not token.string:
                continue
            if token.string in ")]}" and found and found[-1][0] == ",":
                found.pop()
            (row, column), (end_row, end_column) = token.start, token.end
            found.append((token.string, starts[row - 1] + column, starts[end_row - 1] + end_column))
    except (tokenize.TokenError, IndentationError):
        pass  # a part of a statement ends where it ends
    return found


def _function(module: Any, name: str) -> FunctionType:
    """The function itself, beneath what decorates it."""
    found = module
    for part in name.split("."):
        found = vars(found)[part]
    for attribute in ("fget", "func", "__func__", "__wrapped__"):
        found = getattr(found, attribute, found)
    assert isinstance(found, FunctionType)
    return found


def _code_of(code: CodeType, name: str) -> CodeType | None:
    for part in name.split("."):
        code = next((c for c in code.co_consts if isinstance(c, CodeType) and c.co_name == part), None)
        if code is None:
            return None
    return code


def _exchange(name: str, before: object, after: object) -> None:
    """Set a constant anew in its module, and wherever it was imported."""
    for module in [m for n, m in sys.modules.items() if n.startswith("asfound")]:
        if vars(module).get(name) is before:
            setattr(module, name, after)
