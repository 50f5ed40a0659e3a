"""What texts for a terminal share: aligned tables, wrapped sentences, the glyph of each verdict."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from asfound.assessment.results.conformity import Verdict

WIDTH = 100
"""Columns of the terminal that sentences may fill."""

GLYPHS = {
    Verdict.PASS: "✓",
    Verdict.CONDITIONAL_PASS: "≈",
    Verdict.CONDITIONAL_FAIL: "≈",
    Verdict.FAIL: "✗",
    Verdict.UNDECIDED: "?",
    Verdict.NONE: "–",
}


def aligned(rows: Sequence[Sequence[str]], indent: int) -> list[str]:
    """The rows of a table as lines, each column as wide as its longest cell."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    padded = ("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
    return [" " * indent + line.rstrip() for line in padded]


def wrapped(text: str, first: str, others: str) -> list[str]:
    """A sentence as lines; `first` and `others`: what stands before the first and before each that follows."""
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=others)
