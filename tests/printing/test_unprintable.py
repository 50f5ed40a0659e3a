"""Characters that cannot be printed are told where the records hold them."""

from __future__ import annotations

from asfound.printing.unprintable import _place


def test_a_comment_is_not_taken_for_the_place():
    lines = "# 種子\nname: 種子\n".encode()
    place = _place({"sensors/RH-1.yml": lines}, "sensors/RH-1.yml", "種子")
    assert place is not None and (place.line, place.column) == (2, 7)
