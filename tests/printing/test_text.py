"""Text as it is printed: nothing invisible in it."""

from __future__ import annotations

from asfound.printing.text import clean


def test_control_characters_become_blanks():
    assert clean("a\x00b\x07c\td") == "a b c d"
