"""Faults of the records as values: a rule, a place, what is wrong, the cure.

Every rule is made once, beside the code that finds it; `assessment/all_rules.py` lists those modules. An *error*
blocks the build; a *reservation* is published with the result that it concerns.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum


class Severity(StrEnum):
    """What a rule does: an error blocks the build, a reservation is published with its result."""

    ERROR = "error"
    RESERVATION = "reservation"


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule.

    A result with this reservation gets no verdict where it `withholds_verdict`, and no certificate where it
    `withholds_certificate`.
    """

    name: str
    summary: str
    severity: Severity = Severity.ERROR
    withholds_verdict: bool = False
    withholds_certificate: bool = False
    of_changes: bool = False
    """whether only a review can break it: it is about what became of records, not about how they are"""


def error(name: str, summary: str) -> Rule:
    """A rule that blocks the build."""
    return Rule(name=name, summary=summary)


def change_error(name: str, summary: str) -> Rule:
    """A rule about what became of records between two commits; breaking it fails the review."""
    return Rule(name=name, summary=summary, of_changes=True)


def reservation(name: str, summary: str, *, verdict: bool = True, certificate: bool = True) -> Rule:
    """A rule whose finding is published with the result (`verdict=False`: without a verdict)."""
    return Rule(
        name=name,
        summary=summary,
        severity=Severity.RESERVATION,
        withholds_verdict=not verdict,
        withholds_certificate=not certificate,
    )


@dataclass(frozen=True, kw_only=True, order=True)
class Place:
    """Where in the records: path below the records folder, line and column counted from 1."""

    path: str
    line: int = 1
    column: int = 1


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One finding of a rule."""

    rule: Rule
    place: Place
    message: str
    cure: str

    def text(self, prefix: str = "records/") -> str:
        """`file:line:column: severity[rule] message`, then the cure; `prefix`: the folder as it was named."""
        at = f"{prefix}{self.place.path}:{self.place.line}:{self.place.column}"
        return f"{at}: {self.rule.severity}[{self.rule.name}] {self.message}\n  cure: {self.cure}"

    def annotation(self, prefix: str = "records/") -> str:
        """The same as a workflow command that code-review forges show on the line itself."""
        level = "error" if self.rule.severity is Severity.ERROR else "warning"
        body = _escape_annotation(f"{self.message}\ncure: {self.cure}")
        file = _escape_annotation(prefix + self.place.path).replace(":", "%3A").replace(",", "%2C")
        where = f"file={file},line={self.place.line},col={self.place.column}"
        return f"::{level} {where},title={self.rule.name}::{body}"


def _escape_annotation(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


class RecordsRefused(Exception):
    """The records hold errors: nothing is computed or published from them."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(in_order(faults))
        super().__init__("\n".join(fault.text() for fault in self.faults))


class FilesRefused(Exception):
    """Files that are no records, or not yet, hold errors; their places are paths as they were given."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(in_order(faults))
        super().__init__("\n".join(fault.text("") for fault in self.faults))


def in_order(faults: Iterable[Fault]) -> list[Fault]:
    """Faults by place and rule, each once."""
    return sorted(dict.fromkeys(faults), key=lambda f: (f.place, f.rule.name, f.message))


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """` (did you mean 'X'?)` where one known word is close, whatever its case; else nothing."""
    by_folded = {known_word.casefold(): known_word for known_word in known}
    close = get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.6)
    return f" (did you mean {by_folded[close[0]]!r}?)" if close else ""
