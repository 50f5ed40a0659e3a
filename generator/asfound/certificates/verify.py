"""A certificate's PDF verified by itself: no repository and no folder of records is needed.

Its attachments are held against each other, its numbers computed again from them, and its pages printed again.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from asfound import __version__
from asfound.certificates.compared_values import Difference
from asfound.certificates.differences import differences, differences_beside
from asfound.certificates.evidence import PEOPLE, blob_id
from asfound.certificates.pdf_file import PdfFile, read_pdf, text_differences
from asfound.certificates.print_all import certificate
from asfound.certificates.recompute import NOT_RECOMPUTED, CannotRecompute, recomputed
from asfound.printing.templates import template_folders
from asfound.records.issued import Head
from asfound.records.models.stated import SCHEMA
from asfound.refusals import Refusal
from asfound.stated.statement import PREVIEW_REVISION, NotAStatement, Statement, read_statement

MOST_SAID = 20
"""Differences that are listed of one check."""


class Verdict(StrEnum):
    """What a check came to."""

    SAME = "same"
    DIFFERS = "differs"
    OPEN = "open"
    """it cannot be told here, which is no sign that something is wrong"""


@dataclass(frozen=True, kw_only=True)
class Check:
    """One check: what was done, what it came to, and the differences one by one."""

    name: str
    verdict: Verdict
    words: str
    details: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Verification:
    """All checks of one certificate."""

    number: str
    head: Head
    """of the statement: who issued it, when, and which bytes it names"""
    checks: tuple[Check, ...]
    sha256: Mapping[str, str]
    """of the file of the certificate and of its visit as the issuer's records hold them, by path"""

    @property
    def agrees(self) -> bool:
        """Whether nothing was found to differ."""
        return all(check.verdict is not Verdict.DIFFERS for check in self.checks)


def verify(content: bytes, templates: Path | None = None) -> Verification:
    """The checks of a PDF's bytes. `templates`: the issuer's own, where they are not the packaged ones.

    Raises Refusal where this is no issued certificate of ours, or is damaged.
    """
    pdf = read_pdf(content)
    name, stated, head = _statement_of(pdf)
    visit_name = head.evidence.visit.rpartition("/")[2]
    if visit_name not in pdf.attachments:
        raise Refusal(
            f"the record of the visit, {visit_name}, is not attached: nothing can be computed without it",
            "ask for the file as it was issued; printing to a new PDF loses attachments",
        )
    visit = pdf.attachments[visit_name][0]
    try:
        statement = read_statement(stated)
    except NotAStatement as why:
        words = f"the statement does not have the shape of ours: {why}"
        checks: tuple[Check, ...] = (Check(name="statement", verdict=Verdict.DIFFERS, words=words),)
    else:
        checks = (
            _attachments(pdf, (visit_name, name), statement, visit),
            _numbers(statement, visit),
            _pages(content, pdf, statement, visit, templates),
        )
    return Verification(
        number=head.number,
        head=head,
        checks=checks,
        sha256={
            f"issued/{head.sensor}/{head.visit}.{head.revision}.json": _sha256(stated),
            head.evidence.visit: _sha256(visit),
        },
    )


def _statement_of(pdf: PdfFile) -> tuple[str, bytes, Head]:
    """Name, bytes and head of the attached statement."""
    cure = "give the PDF of a certificate as it was issued; printing to a new PDF loses attachments"
    found = [
        (name, held, statement)
        for name, contents in pdf.attachments.items()
        for held in contents[:1]
        if (statement := _json(held)) is not None and "schema" in statement
    ]
    if not found:
        raise Refusal("no statement of asfound is attached: this is no certificate of ours", cure)
    name, held, statement = found[0]
    if statement["schema"] != SCHEMA:
        cure = "verify it with the version of asfound that issued it, or a newer one"
        raise Refusal(f"its schema is {statement['schema']!r}, this version knows {SCHEMA!r}", cure)
    if statement.get("revision") == PREVIEW_REVISION:
        cure = "ask for the issued certificate: its number ends in r1, r2, …"
        raise Refusal("this is a preview: nothing was issued, so there is nothing to verify", cure)
    try:
        head = Head.model_validate(statement)
    except ValidationError as problem:
        lacking = ".".join(map(str, problem.errors()[0]["loc"]))
        raise Refusal(f"the attached statement {name} lacks {lacking}, or holds something else", cure) from None
    return name, held, head


def _json(content: bytes) -> dict[str, Any] | None:
    try:
        held = json.loads(content)
    except (ValueError, RecursionError):
        return None
    return held if isinstance(held, dict) else None


def _attachments(pdf: PdfFile, ours: Sequence[str], statement: Statement, visit: bytes) -> Check:
    """Hashes of the attachments against those that the statement names."""
    found = [*_repeated_keys(pdf.attachments[ours[1]][0]), *_unlike(pdf, ours, statement, visit)]
    if found:
        words = "what is attached is not what the statement names"
        return Check(name="attachments", verdict=Verdict.DIFFERS, words=words, details=tuple(found))
    records = sum(record.path != PEOPLE for record in statement.evidence.records)
    words = f"the visit’s record and the {records} records that it leans on have the SHA-256 that the statement names"
    return Check(name="attachments", verdict=Verdict.SAME, words=words)


def _unlike(pdf: PdfFile, ours: Sequence[str], statement: Statement, visit: bytes) -> Iterator[str]:
    evidence = statement.evidence
    if _sha256(visit) != evidence.sha256:
        yield f"{ours[0]} has the SHA-256 {_sha256(visit)}, the statement names {evidence.sha256}"
    elif blob_id(visit) != evidence.blob:
        yield f"{ours[0]} has the git id {blob_id(visit)}, the statement names {evidence.blob}"
    for record in evidence.records:
        if record.content is None and record.path != PEOPLE:
            yield f"the text of {record.path} is missing"
        elif record.content is not None and _sha256(record.content) != record.sha256:
            yield f"the text of {record.path} has another SHA-256 than is named beside it"
    number = f"{statement.sensor}/{statement.visit}.{statement.revision}"
    if statement.number != number:
        yield f"the number {statement.number} does not belong to {number}"
    for name, contents in pdf.attachments.items():
        if name not in ours:
            yield f"{name} is attached, which no certificate of ours has"
        elif len(contents) > 1:
            yield f"{name} is attached {len(contents)} times"


def _repeated_keys(content: bytes) -> list[str]:
    """Keys that stand twice beside each other: readers of JSON differ in which of the two they take."""
    found: list[str] = []

    def pairs(held: list[tuple[str, Any]]) -> dict[str, Any]:
        counted = Counter(key for key, _ in held)
        found.extend(f"the statement says {key} {count} times" for key, count in counted.items() if count > 1)
        return dict(held)

    json.loads(content, object_pairs_hook=pairs)
    return found


def _numbers(statement: Statement, visit: bytes) -> Check:
    """Everything computed again from the attachments alone."""
    try:
        again = recomputed(statement, visit)
        found: list[Difference] = [
            *differences(statement, again, apart_from=NOT_RECOMPUTED),
            *differences_beside(statement, again, apart_from=NOT_RECOMPUTED),
        ]
        rules = {r.rule for r in statement.reservations} & NOT_RECOMPUTED
        rows = sum(len(group.rows) for group in statement.results)
    except CannotRecompute as why:
        return Check(name="numbers", verdict=Verdict.DIFFERS, words=f"nothing comes out of the attached records: {why}")
    then = statement.evidence.code
    version = "" if then == __version__ else f" (asfound {then} computed them, this is {__version__})"
    if found:
        many = f"{len(found)} numbers or words do" if len(found) > 1 else "one number or word does"
        words = f"{many} not come out of the attached readings{version}"
        return Check(name="numbers", verdict=Verdict.DIFFERS, words=words, details=tuple(d.words for d in found))
    words = f"{rows} result{'s' if rows != 1 else ''} computed again from the attached readings: all come out{version}"
    if rules:
        words += f"; not computed again, since it comes from other visits: {', '.join(sorted(rules))}"
    return Check(name="numbers", verdict=Verdict.SAME, words=words)


def _pages(content: bytes, pdf: PdfFile, statement: Statement, visit: bytes, templates: Path | None) -> Check:
    """The certificate printed again from its attachments, against the file."""
    name = "pages"
    if _sha256(visit) != statement.evidence.sha256:
        words = "not printed again: the attached record is not the one that the statement names"
        return Check(name=name, verdict=Verdict.OPEN, words=words)
    try:
        printed = certificate(statement, visit, template_folders(templates))
    except Refusal as problem:
        return Check(name=name, verdict=Verdict.OPEN, words=f"not printed again: {problem}")
    except ValueError as problem:  # a character without glyph, a record that is no text, an address too long to draw
        return Check(name=name, verdict=Verdict.DIFFERS, words=f"the statement cannot be printed: {problem}")
    if printed == content:
        words = "printed again from the attachments: the same, byte for byte"
        return Check(name=name, verdict=Verdict.SAME, words=words)
    again = read_pdf(printed)
    own = "the issuer prints with templates of their own, which --templates DIR would name"
    if said := text_differences(pdf, again):
        words = f"the pages say something else than the statement; or {own}"
        return Check(name=name, verdict=Verdict.DIFFERS, words=words, details=tuple(said))
    if pdf.drawn == again.drawn:
        words = "printed again: every page is drawn the same; the file itself was saved anew by another program"
        return Check(name=name, verdict=Verdict.SAME, words=words)
    then, now = (statement.evidence.code, pdf.creator), (__version__, again.creator)
    if then == now:
        words = f"the words are the same, what is drawn is not: something was put over a page; or {own}"
        return Check(name=name, verdict=Verdict.DIFFERS, words=words)
    words = (
        f"the words are the same; what is drawn cannot be compared, for asfound {then[0]} with {then[1] or '?'} "
        f"printed it and this is {now[0]} with {now[1]}"
    )
    return Check(name=name, verdict=Verdict.OPEN, words=words)


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def as_text(file: str, verification: Verification) -> str:
    """What was done and what came out, line by line."""
    head = verification.head
    lines = [f"{file}: certificate {verification.number}"]
    for check in verification.checks:
        lines.append(f"  {check.name:<12}{check.verdict.value:<9}{check.words}")
        lines += [f"    - {said}" for said in check.details[:MOST_SAID]]
        if len(check.details) > MOST_SAID:
            lines.append(f"    - and {len(check.details) - MOST_SAID} more")
    approved = head.evidence.approved
    lines += [
        "  It cannot be told from the file alone whether its issuer issued it: who has this program can print a",
        f"  certificate that agrees with itself. It says that {approved.name} approved it on {approved.day} and",
        f"  that it was issued on {head.issued}; it does not know whether a later revision replaced it.",
        "  Compare with records.sha256 on the Data page of the issuer’s site:",
    ]
    lines += [f"    {digest}  {path}" for path, digest in verification.sha256.items()]
    verdict = "AGREES with itself" if verification.agrees else "DIFFERS"
    return "\n".join([*lines, f"{file}: {verdict}"])


def as_data(file: str, verification: Verification) -> dict[str, Any]:
    """The same for programs."""
    return {
        "file": file,
        "number": verification.number,
        "verdict": (Verdict.SAME if verification.agrees else Verdict.DIFFERS).value,
        "checks": [
            {"name": c.name, "verdict": c.verdict.value, "words": c.words, "details": list(c.details)}
            for c in verification.checks
        ],
        "sha256": dict(verification.sha256),
    }
