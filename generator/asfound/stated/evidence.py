"""What a certificate states of its inputs: the visit's record and its approval, records by hash and text, pools."""

from __future__ import annotations

import base64
from typing import Annotated, Literal

from pydantic import Field, field_validator

from asfound.records.channels import Channel
from asfound.records.models.stated import Approved, Infinite, Number, Stated

LARGEST_SCATTER = 1000.0
"""No channel's readings scatter more, whatever its unit; what would only overflow is refused where it is read."""


class FrozenRecord(Stated):
    """A record that the results lean on: its hash, and its text as it was."""

    path: str
    """inside the folder of records, e.g. `sensors/RH-101.yml`"""
    sha256: str
    """of its bytes, in hexadecimal"""
    text: str | None = None
    """its bytes as UTF-8; left out where `base64` stands, or the hash alone"""
    base64: str | None = None
    """its bytes after RFC 4648, where they are no UTF-8"""

    @field_validator("base64")
    @classmethod
    def _decodes(cls, value: str | None) -> str | None:
        if value is not None:
            base64.b64decode(value, validate=True)
        return value

    @property
    def content(self) -> bytes | None:
        """Its bytes; None where its hash alone is frozen."""
        if self.base64 is not None:
            return base64.b64decode(self.base64, validate=True)
        return None if self.text is None else self.text.encode()


class Pool(Stated):
    """How far single readings scatter, as it was known for one channel and part of one plateau."""

    visit: str
    """path of the visit's record"""
    sensor: str
    """id of the sensor or reference that was read"""
    plateau: int
    """its number in the visit, from 1"""
    channel: Channel
    """what was measured"""
    part: Literal["total", "sensor", "loop"]
    """what was read: the far end, the sensor itself, or the loop between them"""
    s: Annotated[float, Field(ge=0.0, le=LARGEST_SCATTER)] | Infinite | None
    """standard deviation of single readings, in the channel's unit"""
    nu: Number
    """its degrees of freedom"""
    basis: str
    """pooled, declared, own, log; "own, beyond …" where the readings scatter more than the one that is named"""
    group: str
    """the pool that gave it; empty where none did"""
    expected: Number = None
    """the standard deviation beyond which the readings scatter; left out where they do not"""


class Evidence(Stated):
    """What a certificate was computed from, and how its visit's record is known to be approved.

    `records` and `pools` stand last: readers of thousands of certificates stop before them.
    """

    visit: str
    """path of the visit's record"""
    revision: int = Field(ge=1)
    """of the record, which is counted apart from the certificate's"""
    sha256: str
    """of the record's bytes, in hexadecimal"""
    blob: str
    """the id by which git knows the record's bytes"""
    approved: Approved | None
    """null in a preview"""
    commit: str | None
    """the mainline commit that brought the bytes; null in a preview, or where git did not tell it"""
    code: str
    """version of asfound that computed the results"""
    records: tuple[FrozenRecord, ...]
    """every record that the results lean on, beside the visit's"""
    pools: tuple[Pool, ...]
    """how far single readings scatter, of every measured line of the visit's part and of the visits behind it"""
