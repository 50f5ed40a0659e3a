"""The Data page: what may be taken away, every reservation with its place, every rule, versions and licences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from asfound import __version__
from asfound.assessment.all_rules import ALL_RULES
from asfound.faults import Fault, Rule, Severity, in_order
from asfound.printing.unprintable import UNPRINTABLE
from asfound.site.lookup.lookup import Lookup
from asfound.site.views.approvals import history_facts
from asfound.site.views.issued import IssuedView, issued_view
from asfound.tables.columns import TABLES, Table
from asfound.wording import words
from asfound.wording.words import Fact, Link


@dataclass(frozen=True, kw_only=True)
class FaultRow:
    """One reservation."""

    place: str
    rule: str
    message: str
    cure: str


@dataclass(frozen=True, kw_only=True)
class RuleRow:
    """One rule of the register."""

    name: str
    severity: str
    summary: str
    effect: str


@dataclass(frozen=True, kw_only=True)
class Download:
    """A file to take away."""

    link: Link
    text: str


@dataclass(frozen=True, kw_only=True)
class DataView:
    """Everything on the Data page."""

    downloads: tuple[Download, ...]
    tables: tuple[Table, ...]
    contributions: tuple[Link, ...]
    schemas: tuple[Link, ...]
    issued: IssuedView
    reservations: tuple[FaultRow, ...]
    rules: tuple[RuleRow, ...]
    licences: tuple[tuple[str, str, str], ...]
    version: str
    records_hash: str
    day: str
    history: tuple[Fact, ...]
    """the commit that was looked at, and how far its records have come"""
    results: int
    visits: int


def data(
    lookup: Lookup,
    *,
    files: Mapping[str, bytes],
    records_hash: str,
    licences: tuple[tuple[str, str, str], ...],
) -> DataView:
    """The Data page; `files`: all downloads by their path in the site."""
    return DataView(
        downloads=tuple(
            Download(link=Link(text=path.removeprefix("data/"), path=path), text=_ABOUT[path])
            for path in _ABOUT
            if path in files
        ),
        tables=TABLES,
        contributions=_under(files, "data/contributions/"),
        schemas=_under(files, "data/schemas/"),
        issued=issued_view(lookup, files),
        reservations=tuple(map(_fault_row, all_reservations(lookup))),
        rules=tuple(
            RuleRow(name=rule.name, severity=str(rule.severity), summary=rule.summary, effect=_effect(rule))
            for rule in sorted([*ALL_RULES.values(), UNPRINTABLE], key=lambda rule: rule.name)
        ),
        licences=licences,
        version=__version__,
        records_hash=records_hash,
        day=str(lookup.day),
        history=history_facts(lookup),
        results=len(lookup.assessment.results),
        visits=len(lookup.visits),
    )


_ABOUT = {
    "data/results.csv": "every result, one row each",
    "data/results.json": "the same as JSON, with the version of the program, the day and the commit above the rows",
    "data/results.parquet": "the same as Parquet, with types",
    "data/contributions.parquet": "every source behind every number of every result: of far end, sensor and loop",
    "data/scales.csv": "how far families vary against what is declared, by how long effects last",
    "data/drift.csv": "drift of every channel, one row a point: rates, what is expected, when it leaves the tolerance",
    "data/records.sha256": "SHA-256 of every record, to be checked with sha256sum -c in the records folder",
}


def _under(files: Mapping[str, bytes], folder: str) -> tuple[Link, ...]:
    return tuple(Link(text=path.removeprefix(folder), path=path) for path in sorted(files) if path.startswith(folder))


def all_reservations(lookup: Lookup) -> list[Fault]:
    """Reservations of records and results, each once, by place."""
    found = [*lookup.assessment.reservations]
    found += [fault for result in lookup.assessment.results for fault in result.reservations]
    return in_order(found)


def _fault_row(fault: Fault) -> FaultRow:
    return FaultRow(
        place=f"records/{fault.place.path}:{fault.place.line}:{fault.place.column}",
        rule=fault.rule.name,
        message=words.shown(fault.message),
        cure=words.shown(fault.cure),
    )


def _effect(rule: Rule) -> str:
    if rule.severity is Severity.ERROR:
        return "nothing is built"
    withheld = [
        word
        for word, withholds in (("verdict", rule.withholds_verdict), ("certificate", rule.withholds_certificate))
        if withholds
    ]
    return f"no {' and no '.join(withheld)}" if withheld else "published with the result"
