"""Issued certificates: what each stated, frozen when it was issued, in `issued/SENSOR/VISIT.rN.json`.

Thousands of them may lie there. Reading the records reads the head of each (who, what, when, which bytes); the whole is
read when it is asked for.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from asfound.faults import Fault, Place, Rule, error
from asfound.records.models.fields import Day
from asfound.records.models.stated import SCHEMA, Approved, Replaces
from asfound.records.snapshot import Snapshot

ISSUED_NAME = error("issued-name", "a certificate's file is not issued/SENSOR/VISIT.rN.json of its own certificate")
ISSUED_UNREADABLE = error("issued-unreadable", "a certificate's file is no JSON that can be read")
ISSUED_SCHEMA = error("issued-schema", "a certificate's schema is not one that this version knows")
ISSUED_INCOMPLETE = error("issued-incomplete", "a certificate's file lacks what certificates hold")
ISSUED_WITHOUT_REASON = error(
    "issued-without-reason", "a certificate replaces another without naming it or without saying why"
)

NAME = re.compile(
    r"issued/([A-Za-z][A-Za-z0-9]*(?:-[A-Za-z0-9]+)*)/([0-9]{4}-[0-9]{2}-[0-9]{2}-[a-z0-9]+(?:-[a-z0-9]+)*)"
    r"\.r([1-9][0-9]{0,3})\.json"
)
_BULK = b',\n  "records": ['
"""Where the head of a file ends that was written as we write them."""
NEVER_EDIT = "restore the file as it was issued (git knows it): an issued certificate is never edited"


class _Stated(BaseModel):
    """A part of a head; what else stands there is no matter of the records."""

    model_config = ConfigDict(frozen=True, extra="ignore")


class HeadAuthorised(_Stated):
    """Who authorised a certificate."""

    id: str
    name: str
    words: str
    """as the certificate says it"""


class HeadEvidence(_Stated):
    """What a certificate was computed from: the visit's record, and how it is known to be approved."""

    visit: str
    """path of the record"""
    revision: int
    """of the record, which is counted apart from the certificate's"""
    sha256: str
    blob: str
    """the id by which git knows the record's bytes"""
    approved: Approved
    commit: str | None
    """the mainline commit that brought the bytes"""
    code: str


class Head(_Stated):
    """What is read of every certificate."""

    number: str
    sensor: str
    visit: str
    revision: str = Field(pattern=r"^r[1-9][0-9]*$")
    replaces: Replaces | None
    issued: Day
    authorised: HeadAuthorised
    evidence: HeadEvidence


@dataclass(frozen=True, kw_only=True)
class Issued:
    """One issued certificate."""

    path: str
    sensor: str
    """or the reference that was calibrated"""
    visit: str
    revision: int
    head: Head
    files: Snapshot = field(repr=False)

    @property
    def number(self) -> str:
        """As the certificate bears it: `DRY-11/2026-10-14-drying-a.r1`."""
        return self.head.number

    @property
    def day(self) -> date:
        """On which it was issued."""
        return self.head.issued

    @property
    def evidence(self) -> HeadEvidence:
        """What it was computed from."""
        return self.head.evidence

    @property
    def content(self) -> bytes:
        """The file's bytes, read now."""
        return self.files[self.path]


def read_issued(files: Snapshot, path: str) -> tuple[Issued | None, list[Fault]]:
    """One certificate by its head, or its faults."""
    name = NAME.fullmatch(path)
    if name is None:
        cure = "move it away: issued/ holds the files that `asfound issue-certificates` writes, and no others"
        return None, [issued_fault(ISSUED_NAME, path, "the file is not named like a certificate", cure)]
    content = files[path]
    stated = _head(content)
    if stated is None:
        stated, fault = whole(path, content)
        if fault is not None:
            return None, [fault]
    if stated.get("schema") != SCHEMA:
        said = stated.get("schema")
        message = f"the schema is {said!r}, known is {SCHEMA!r}" if said else "no schema is named"
        cure = f"build with the version of asfound that issued it; or {NEVER_EDIT}"
        return None, [issued_fault(ISSUED_SCHEMA, path, message, cure, content, "schema")]
    try:
        head = Head.model_validate(stated)
    except ValidationError as problem:
        keys = [str(part) for part in problem.errors()[0]["loc"]]
        message = f"{'.'.join(keys)} is missing or is not what it must be"
        return None, [issued_fault(ISSUED_INCOMPLETE, path, message, NEVER_EDIT, content, *reversed(keys))]
    own = f"issued/{head.sensor}/{head.visit}.{head.revision}.json"
    if path != own:
        message = f"the file holds {head.sensor}/{head.visit}.{head.revision}"
        return None, [issued_fault(ISSUED_NAME, path, message, f"move it to {own}", content, "number")]
    found = Issued(path=path, sensor=head.sensor, visit=head.visit, revision=int(name[3]), head=head, files=files)
    return found, list(_without_reason(found))


def _head(content: bytes) -> Mapping[str, Any] | None:
    """What stands in front of a certificate's bulk; None where the file is laid out in another way."""
    head, bulk, _ = content.partition(_BULK)
    if not bulk or not content.endswith(b"\n}\n"):
        return None
    try:
        stated = json.loads(head + b"}}")
    except ValueError:
        return None
    return stated if isinstance(stated, dict) else None


def whole(path: str, content: bytes) -> tuple[Mapping[str, Any], Fault | None]:
    """All that a file states, or nothing and why."""
    try:
        stated = json.loads(content)
    except json.JSONDecodeError as problem:
        place = Place(path=path, line=problem.lineno, column=problem.colno)
        message = f"this is no JSON: {problem.msg[0].lower()}{problem.msg[1:]}"
        return {}, Fault(rule=ISSUED_UNREADABLE, place=place, message=message, cure=NEVER_EDIT)
    except (ValueError, RecursionError):  # not UTF-8, or nested without end
        return {}, issued_fault(ISSUED_UNREADABLE, path, "the file is no text in UTF-8", NEVER_EDIT)
    if not isinstance(stated, dict):
        return {}, issued_fault(ISSUED_UNREADABLE, path, "the file holds no keys with values", NEVER_EDIT)
    return stated, None


def _without_reason(found: Issued) -> Iterator[Fault]:
    replaces = found.head.replaces
    before = f"{found.sensor}/{found.visit}.r{found.revision - 1}"
    if found.revision > 1 and (replaces is None or replaces.number != before or not replaces.reason.strip()):
        message = f"{found.number} does not say that it replaces {before}, and why"
        cure = 'issue it with `asfound issue-certificates SENSOR/VISIT --reason "…"`'
        yield issued_fault(ISSUED_WITHOUT_REASON, found.path, message, cure, found.content, "replaces")


def issued_fault(rule: Rule, path: str, message: str, cure: str, content: bytes = b"", *keys: str) -> Fault:
    """A fault at the line that first names the first key that stands in the file; else at its beginning."""
    lines = content.decode(errors="replace").splitlines() if keys else []
    places = ((n, line.index(f'"{key}"') + 1) for key in keys for n, line in enumerate(lines, 1) if f'"{key}"' in line)
    line, column = next(places, (1, 1))
    return Fault(rule=rule, place=Place(path=path, line=line, column=column), message=message, cure=cure)
