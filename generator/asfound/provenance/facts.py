"""What is known of how a record came to be where it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Literal


class ApprovalState(StrEnum):
    """How far a visit has come."""

    APPROVED = "approved"
    NOT_REVIEWED = "not reviewed"
    NOT_MERGED = "not merged"
    NOT_COMMITTED = "not committed"
    NO_HISTORY = "no history"


@dataclass(frozen=True, kw_only=True)
class Step:
    """A commit that brought something, and when: when it was written, or for a merge when it was merged."""

    commit: str
    author: str
    email: str
    time: str
    """ISO 8601, in the facility's time zone"""
    day: date
    """there"""
    subject: str


@dataclass(frozen=True, kw_only=True)
class FileHistory:
    """How the present content of a file came."""

    path: str
    """below the records' folder"""
    blob: str
    recorded: Step | None
    """the commit that first held this content"""
    merged: Step | None
    """the commit of the default branch's first-parent chain that first brought it to this path"""


@dataclass(frozen=True, kw_only=True)
class Approval:
    """One approval of a visit's bytes."""

    person: str
    """id in people.yml"""
    name: str
    day: date
    how: Literal["merge", "reviewed-by", "signature", "issued"]
    commit: str | None
    """None where a certificate that was issued without git tells it"""


@dataclass(frozen=True, kw_only=True)
class VisitProvenance:
    """What is known of one file of a visit."""

    path: str
    state: ApprovalState
    """approved where all of its sensors are"""
    history: FileHistory | None
    approvals: Mapping[str, Approval]
    """by sensor"""
    why: str
    """why it is not approved, in one sentence; empty where it is"""

    def state_for(self, sensor: str) -> ApprovalState:
        """How far one sensor's part of the visit has come."""
        return ApprovalState.APPROVED if sensor in self.approvals else self.state


@dataclass(frozen=True, kw_only=True)
class Provenance:
    """What is known of all records."""

    head: str | None
    """the commit that was looked at; None: no history"""
    branch: str | None
    """the default branch, by which `merged` is told; None where none is known and the commit's own line counts"""
    visits: Mapping[str, VisitProvenance]
    """by path; every file of every visit"""
    files: Mapping[str, FileHistory]
    """by path; everything that is committed"""
    uncommitted: tuple[str, ...]
    """records that are not committed as they are, by path"""
    approved: frozenset[tuple[str, str]] | None
    """path of the visit and sensor; None where neither git nor a certificate tells"""
