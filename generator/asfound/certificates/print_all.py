"""Certificates as PDFs: each a pure function of its statement and the bytes of its visit, which are attached."""

from __future__ import annotations

import hashlib
import io
import json
import time
from collections.abc import Callable, Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path, PurePosixPath

import segno

from asfound.assessment.assess import Assessment
from asfound.certificates.page import attachment_names, page
from asfound.certificates.statement import statements
from asfound.faults import Fault, RecordsRefused
from asfound.printing.typst import Printer, printing
from asfound.printing.unprintable import Unprintable, unprintable_faults
from asfound.stated.issued import statement_of
from asfound.stated.statement import PREVIEW_REVISION, Statement, document, statement_bytes

THREADS = 2
QUIET_S = 2.0
"""Progress is told from here on."""

Progress = Callable[[int, int], None]
"""Called with how many certificates are done, of how many."""


def certificates(
    assessment: Assessment,
    templates: tuple[Path, ...],
    progress: Progress | None = None,
    again: Collection[tuple[str, str]] = (),
) -> Mapping[str, bytes]:
    """Every certificate of an assessment with its statement beside it, by path inside the site.

    Those that were issued are printed from what was frozen then, whatever the records say today; a preview where none
    is issued of this record of a visit, and for `again`: (sensor, visit) whose certificate would state otherwise today.

    `templates`: folders in which `certificate/` is looked up, first come first served. Raises RecordsRefused where a
    record holds a character that cannot be printed, and Refusal where a template does not compile.
    """
    visits = {visit.path: visit.content for visit in assessment.records.visits}
    issued = [one for one in assessment.records.issued if one.day <= assessment.day]
    stands = {(one.sensor, one.visit, one.evidence.sha256) for one in issued} - {
        (one.sensor, one.visit, one.evidence.sha256) for one in issued if (one.sensor, one.visit) in again
    }
    previews = (s for s in statements(assessment) if (s.sensor, s.visit, s.evidence.sha256) not in stands)
    every = [*(statement_of(one) for one in issued), *previews]
    files: dict[str, bytes] = {}
    faults: list[Fault] = []
    started = told = time.monotonic()
    with printing(templates) as printer, ThreadPoolExecutor(THREADS) as threads:

        def printed(statement: Statement) -> bytes | Unprintable:
            try:
                return typeset_certificate(printer, statement, visits[statement.evidence.visit])
            except Unprintable as problem:
                return problem

        for done, (statement, pdf) in enumerate(zip(every, threads.map(printed, every), strict=True), start=1):
            if isinstance(pdf, Unprintable):
                faults += unprintable_faults(assessment.records.files, _told_by(statement), pdf)
                continue
            path = certificate_path(statement)
            files[path] = pdf
            files[str(PurePosixPath(path).with_suffix(".json"))] = statement_bytes(statement)
            now = time.monotonic()
            if progress is not None and now - started > QUIET_S and (now - told > 1.0 or done == len(every)):
                progress(done, len(every))
                told = now
    if faults:
        raise RecordsRefused(faults)
    return files


def certificate_path(statement: Statement) -> str:
    """Where the PDF of a statement is published, inside the site."""
    return f"certificates/{statement.sensor}/{PurePosixPath(statement.file_name).with_suffix('.pdf')}"


def _told_by(statement: Statement) -> list[str]:
    """The records that the words of a statement come from; of an issued one its own file, whatever they say today."""
    if statement.revision != PREVIEW_REVISION:
        return [statement.issued_path]
    evidence = statement.evidence
    return [*(record.path for record in evidence.records), evidence.visit]


def certificate(statement: Statement, visit: bytes, templates: tuple[Path, ...]) -> bytes:
    """The PDF of one statement.

    Raises ValueError where `visit` is not the record that it was made from, Unprintable where a text holds a character
    that no font has, and Refusal where a template does not compile.
    """
    with printing(templates) as printer:
        return typeset_certificate(printer, statement, visit)


def typeset_certificate(printer: Printer, statement: Statement, visit: bytes) -> bytes:
    """The PDF of a statement, set by a printer; raises what `certificate` raises."""
    evidence = statement.evidence
    if hashlib.sha256(visit).hexdigest() != evidence.sha256:
        raise ValueError(f"these are not the bytes of {evidence.visit} that {statement.number} was made from")
    inputs = {
        "page": json.dumps(page(statement)),
        "attachments": json.dumps(attachments(statement, visit)),
        "code": _qr_code(statement.page.address),
    }
    return printer.typeset("certificate.typ", inputs, document(statement))


def attachments(statement: Statement, visit: bytes) -> list[dict[str, str]]:
    """The files inside the PDF: the record that the results were computed from, and what was stated of them."""
    record, stated = attachment_names(statement)
    return [
        {
            "name": record,
            "content": visit.decode(),
            "mime": "text/csv",
            "relationship": "source",
            "description": "Record of the visit: the raw readings",
        },
        {
            "name": stated,
            "content": statement_bytes(statement).decode(),
            "mime": "application/json",
            "relationship": "data",
            "description": "What this certificate states, in full precision",
        },
    ]


def _qr_code(address: str | None) -> str:
    if address is None:
        return ""
    drawn = io.BytesIO()
    segno.make(address, error="m", micro=False).save(drawn, kind="svg", border=4, xmldecl=False)
    return drawn.getvalue().decode()
