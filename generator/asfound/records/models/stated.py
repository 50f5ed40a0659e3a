"""What all parts of a statement have in common: how they are read and written, and how a number stands in them."""

from __future__ import annotations

import math
from typing import Literal

from pydantic import ConfigDict

from asfound.records.models.fields import Record


class Stated(Record):
    """A part of what a certificate states: frozen, every key known, no value taken for another kind of value.

    Keys keep the order in which they are declared. One that was added after certificates had been issued has a
    default, and is written only where it was stated: so a file is written again as it was.
    """

    model_config = ConfigDict(strict=True, validate_by_name=True, validate_by_alias=True, protected_namespaces=())


Infinite = Literal["inf", "-inf"]
Number = float | Infinite | None
"""A number as JSON holds it, with 10 significant digits: "inf" where it is infinite, null where there is none."""


def as_float(number: Number) -> float:
    """A stated number to reckon with; nan where there is none."""
    return math.nan if number is None else float(number)
