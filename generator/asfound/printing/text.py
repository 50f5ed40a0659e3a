"""Text as it is printed: nothing invisible in it, units kept with their numbers; and the papers that there are."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Any

PAPERS = {"A4": "a4", "Letter": "us-letter"}
"""Papers as facility.yml names them, and as typesetting does."""
NO_BREAK = "\N{NO-BREAK SPACE}"
_TURNS_TEXT = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff]")
"""Characters that change the order of what is read without being seen."""
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|%RH|°C|mA|V|kPa|min|m)(?!\w))")


def clean(value: Any) -> Any:
    """Strings without characters that turn or break a line unseen; °C for degC, and units kept with their numbers."""
    if isinstance(value, str):
        visible = _TURNS_TEXT.sub("", value)
        visible = "".join(" " if unicodedata.category(c) == "Cc" else c for c in visible)
        return _BEFORE_UNIT.sub(NO_BREAK, visible.replace("degC", "°C"))
    if isinstance(value, Mapping):
        return {key: clean(inner) for key, inner in value.items()}
    return [clean(inner) for inner in value]
