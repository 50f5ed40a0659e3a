"""What records know of a certificate's statement: how its parts are read and written, and what stands in its head."""

from __future__ import annotations

import math
from typing import Literal

from pydantic import ConfigDict

from asfound.records.models.fields import Day, Record

SCHEMA: Literal["asfound certificate 1"] = "asfound certificate 1"


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


class Approved(Stated):
    """The approval of the visit's bytes that a certificate rests on."""

    person: str
    """id of the person who approved"""
    name: str
    """of that person on the day of issue"""
    day: Day
    """of the approval"""
    how: str
    """merge, reviewed-by, signature; issued where an earlier certificate tells it"""
    commit: str | None
    """the commit that approves; null where git did not tell it"""


class Replaces(Stated):
    """The certificate that another replaces."""

    number: str
    """as that certificate bears it"""
    reason: str
    """why it was issued again"""
