"""The certificate as a PDF: a pure function of its statement and the bytes of its visit.

PDF/A-3a and PDF/UA-1 are declared, not validated: no validator of both is at hand. The visit's record and the
statement are attached. Fonts come with typst and from a declared package, never from the system.
"""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import tempfile
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Any

import segno
import typst
from font_source_sans_pro import font_directory  # type: ignore[import-untyped]

from asfound.assessment.assess import Assessment
from asfound.certificates.page import attachment_names, clean, page
from asfound.certificates.statement import PREVIEW_REVISION, Statement, statement_bytes, statements
from asfound.faults import Fault, Place, RecordsRefused, error
from asfound.printing.templates import template_files
from asfound.records.snapshot import Snapshot
from asfound.refusals import Refusal

UNPRINTABLE = error("unprintable-character", "a record holds a character that certificates cannot print")

CHARACTER_TEMPLATE = "one character.typ"
FACES = ("Regular", "It", "Semibold", "Bold")
THREADS = 2
QUIET_S = 2.0
"""Progress is told from here on."""

Progress = Callable[[int, int], None]
"""Called with how many certificates are done, of how many."""


class Unprintable(ValueError):
    """A statement holds characters that none of the fonts has: (dotted field, text, character) of each."""

    def __init__(self, found: Sequence[tuple[str, str, str]]) -> None:
        field, text, character = found[0]
        super().__init__(f"{field}: {_named(character)} in {text!r} cannot be printed")
        self.found = tuple(found)


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
    previews = (s for s in statements(assessment) if (s["sensor"], s["visit"], s["evidence"]["sha256"]) not in stands)
    every = [*(one.statement for one in issued), *previews]
    files: dict[str, bytes] = {}
    faults: list[Fault] = []
    started = told = time.monotonic()
    with printing(templates) as printer, ThreadPoolExecutor(THREADS) as threads:

        def printed(statement: Statement) -> bytes | Unprintable:
            try:
                return printer.pdf(statement, visits[statement["evidence"]["visit"]])
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
    return f"certificates/{statement['sensor']}/{statement['visit']}.{statement['revision']}.pdf"


def _told_by(statement: Statement) -> list[str]:
    """The records that the words of a statement come from; of an issued one its own file, whatever they say today."""
    if statement["revision"] != PREVIEW_REVISION:
        return [f"issued/{statement['sensor']}/{statement['visit']}.{statement['revision']}.json"]
    evidence = statement["evidence"]
    return [*(record["path"] for record in evidence["records"]), evidence["visit"]]


def certificate(statement: Statement, visit: bytes, templates: tuple[Path, ...]) -> bytes:
    """The PDF of one statement. Raises ValueError where `visit` is not the record that it was made from."""
    with printing(templates) as printer:
        return printer.pdf(statement, visit)


@contextmanager
def printing(templates: tuple[Path, ...]) -> Iterator[Printer]:
    """A printer with its templates and fonts in one folder of their own, so that no other file can find its way in."""
    with tempfile.TemporaryDirectory(prefix="asfound-") as name:
        folder = Path(name)
        for relative, path in template_files(templates, "certificate").items():
            (folder / relative).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, folder / relative)
        fonts = folder / "fonts"
        fonts.mkdir()
        for face in FACES:
            # One format of each face: which of two is taken would depend on the order of a folder.
            shutil.copy(Path(font_directory) / f"SourceSansPro-{face}.otf", fonts)
        yield Printer(folder)


class Printer:
    """Sets certificates; may be used from several threads."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[folder / "fonts"])
        self.printable: dict[str, bool] = {}
        (folder / CHARACTER_TEMPLATE).write_text(
            '#set document(title: "x", date: datetime(year: 2000, month: 1, day: 1))\n#sys.inputs.shown\n'
        )

    def pdf(self, statement: Statement, visit: bytes) -> bytes:
        """The PDF of a statement; ValueError and Unprintable as `certificate`, Refusal for a bad template."""
        evidence = statement["evidence"]
        if hashlib.sha256(visit).hexdigest() != evidence["sha256"]:
            raise ValueError(f"these are not the bytes of {evidence['visit']} that {statement['number']} was made from")
        inputs = {
            "page": json.dumps(page(statement)),
            "attachments": json.dumps(attachments(statement, visit)),
            "code": _qr_code(statement["page"]["address"]),
        }
        return self.typeset("certificate.typ", inputs, statement)

    def typeset(self, template: str, inputs: dict[str, str], said: Any) -> bytes:
        """A document of a template in the folder `certificate`; `said`: whatever holds the texts that it prints.

        Raises Unprintable where a text holds a character that no font has, and Refusal for a bad template.
        """
        try:
            return self._compiled(template, inputs)
        except typst.TypstError as problem:
            missing = [
                (field, text, character)
                for field, text in _texts(said)
                for character in dict.fromkeys(text)
                if not character.isascii() and not self._can_print(character)
            ]
            if missing:
                raise Unprintable(missing) from None
            raise Refusal(
                f"the template {template} does not compile:\n{problem.diagnostic.strip()}",
                f"correct certificate/{template} in your templates, or delete it to use the packaged one",
            ) from problem

    def _compiled(self, template: str, inputs: dict[str, str]) -> bytes:
        return typst.compile(
            self.folder / template,
            root=self.folder,
            font_paths=self.fonts,
            ignore_system_fonts=True,
            sys_inputs=inputs,
            pdf_standards=["a-3a", "ua-1"],
        )

    def _can_print(self, character: str) -> bool:
        """Whether the fonts have a character: the typesetter itself is asked."""
        if character not in self.printable:
            try:
                self._compiled(CHARACTER_TEMPLATE, {"shown": f"x{clean(character)}"})
                self.printable[character] = True
            except typst.TypstError:
                self.printable[character] = False
        return self.printable[character]


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


def _texts(value: Any, field: str = "") -> Iterator[tuple[str, str]]:
    """Every (dotted field, text) of a statement."""
    if isinstance(value, str):
        yield field, value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _texts(inner, f"{field}.{key}" if field else key)
    elif isinstance(value, list):
        for position, inner in enumerate(value):
            yield from _texts(inner, f"{field}[{position}]")


def _named(character: str) -> str:
    return f"{character!r} (U+{ord(character):04X})"


def unprintable_faults(files: Snapshot, paths: Sequence[str], problem: Unprintable) -> Iterator[Fault]:
    """A fault for each word, at its place in the records that may hold it; the last of them where none does."""
    words: dict[str, str] = {}
    for _, text, character in problem.found:
        for word in text.split():
            if character in word:
                words.setdefault(word, character)
    for word, character in words.items():
        places = (place for path in paths if (place := _place(files, path, word)))
        yield Fault(
            rule=UNPRINTABLE,
            place=next(places, Place(path=paths[-1])),
            message=f"{_named(character)} in {word!r} cannot be printed on a certificate or a form",
            cure="write it in Latin, Greek or Cyrillic letters: the fonts of certificates surely have those",
        )


def _place(files: Snapshot, path: str, word: str) -> Place | None:
    """The first line of a record that holds the word outside a comment."""
    for line, text in enumerate(files[path].decode("utf-8-sig").splitlines(), start=1):
        before = text.partition(word)[0]
        if word in text and not (path.endswith(".yml") and "#" in before):
            return Place(path=path, line=line, column=len(before) + 1)
    return None
