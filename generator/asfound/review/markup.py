"""Pieces of Markdown as forges render it: what records say is text there, never markup, nor a call on somebody."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from asfound.wording.words import shown

MOST = 25
"""Entries of a list or table that are shown; a forge cuts long comments off."""
_SPECIAL = re.compile(r"([\\`*_{}\[\]()#+!|~$-])")
_ENTITIES = {"&": "&amp;", "<": "&lt;", ">": "&gt;", "@": "&#64;"}
_WORDS = re.compile(r"[\w .,:;/°%±−→ν∞'\"?=]*")


def text(said: str) -> str:
    """A sentence of records or about them, on one line."""
    line = shown(" ".join(said.split()))
    if _WORDS.fullmatch(line) and "_" not in line:
        return line
    line = "".join(_ENTITIES.get(character, character) for character in line)
    # A hyphen or sign inside a word is no markup; escaping it would only be noise in the source.
    return _SPECIAL.sub(lambda found: found[0] if found[0] in "-+()!" else f"\\{found[0]}", line)


def code(said: str) -> str:
    """A path or id, in the type of code."""
    line = " ".join(said.split()).replace("`", "'").replace("|", "\\|")
    return f"`{line}`" if line else ""


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A table; its cells are Markdown already."""
    return [_row(header), _row(["---"] * len(header)), *map(_row, rows), ""]


def _row(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def folded(summary: str, body: Sequence[str], *, opened: bool = False) -> list[str]:
    """Details under a line that is always seen; `summary` is plain text or HTML already."""
    return [f"<details{' open' if opened else ''}><summary>{summary}</summary>", "", *body, "</details>", ""]


def some(items: Sequence[str], most: int, what: str) -> list[str]:
    """The first lines of a list, and how many more there are."""
    rest = len(items) - most
    return [*items[:most], *([f"- and {rest} more {what}"] if rest > 0 else [])]


def more(items: Sequence[object], what: str) -> list[str]:
    """How many are not shown."""
    return [f"and {len(items) - MOST} more {what}"] if len(items) > MOST else []
