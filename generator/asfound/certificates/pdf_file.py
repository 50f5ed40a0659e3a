"""A PDF as a reader of certificates needs it: what is attached, what its pages say, what is drawn on them."""

from __future__ import annotations

import hashlib
import io
import logging
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from difflib import SequenceMatcher
from functools import cached_property
from typing import Any

from pypdf import PdfReader
from pypdf.errors import DependencyError
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, StreamObject

from asfound.refusals import Refusal

ENCRYPTED = "it is encrypted, which no certificate of ours is"
AROUND = 3
"""Words that are quoted before and after one that differs."""
_NOT_DRAWN = frozenset({"/Parent", "/StructParent", "/StructParents", "/P", "/Length", "/Filter", "/DecodeParms"})
"""Keys that move when a file is saved anew and nothing that is seen does."""
ASK_AGAIN = "ask the issuer for the file again, or download it once more"
logging.getLogger("pypdf").setLevel(logging.CRITICAL)  # what is wrong with a file is told once, by us


class PdfFile:
    """What a PDF holds. Pages are read when something is asked of them: that takes far longer than all else."""

    attachments: Mapping[str, Sequence[bytes]]
    """contents by name, for one name may stand twice"""
    creator: str

    def __init__(self, reader: PdfReader) -> None:
        self._pages = reader.pages
        self.attachments = {name: tuple(held) for name, held in reader.attachments.items()}
        self.creator = str(reader.metadata.creator or "") if reader.metadata else ""

    @cached_property
    def drawn(self) -> Sequence[str]:
        """Of each page a hash of all that is drawn on it, fonts and notes included. Raises Refusal for damaged ones."""
        with _refusing():
            return tuple(_drawn(page) for page in self._pages)

    def words(self, number: int) -> Sequence[str]:
        """Of a page, from 0. Raises Refusal where it cannot be read."""
        with _refusing():
            return self._pages[number].extract_text().split()


def read_pdf(content: bytes) -> PdfFile:
    """A PDF that is open to read. Raises Refusal for anything else."""
    with _refusing():
        reader = PdfReader(io.BytesIO(content))
        if reader.is_encrypted:
            raise Refusal(ENCRYPTED, ASK_AGAIN)
        return PdfFile(reader)


@contextmanager
def _refusing() -> Iterator[None]:
    """Whatever a damaged file makes a reader of files do: it cannot be read."""
    try:
        yield
    except Refusal:
        raise
    except DependencyError:  # only ciphers need what is not there
        raise Refusal(ENCRYPTED, ASK_AGAIN) from None
    except Exception as problem:
        raise Refusal(f"it is no PDF, or a damaged one ({type(problem).__name__}: {problem})", ASK_AGAIN) from None


def text_differences(found: PdfFile, expected: PdfFile) -> list[str]:
    """Page by page, the words that stand where others are expected; what is drawn the same says the same."""
    said = []
    if len(found.drawn) != len(expected.drawn):
        said.append(f"{len(found.drawn)} pages, where the statement fills {len(expected.drawn)}")
    for number, (here_drawn, there_drawn) in enumerate(zip(found.drawn, expected.drawn, strict=False), start=1):
        if here_drawn == there_drawn:
            continue
        words, wanted = found.words(number - 1), expected.words(number - 1)
        for kind, a, b, c, d in SequenceMatcher(None, wanted, words, autojunk=False).get_opcodes():
            if kind == "equal":
                continue
            before, after = " ".join(wanted[max(a - AROUND, 0) : a]), " ".join(wanted[b : b + AROUND])
            here, there = " ".join(words[c:d]), " ".join(wanted[a:b])
            what = f"{here!r} stands, not {there!r}" if here and there else f"{here or there!r} was added"
            if there and not here:
                what = f"{there!r} is missing"
            said.append(f"page {number}: {what} (… {before} _ {after} …)")
    return said


def _drawn(page: Any) -> str:
    """A hash of everything that a page draws; the same however the file was saved."""
    return _hash(page, {}).hex()


def _hash(value: Any, known: dict[int, bytes]) -> bytes:
    """A hash of a value with all that it leads to; a circle ends where it closes."""
    if isinstance(value, IndirectObject):
        value = value.get_object()
    if id(value) in known:
        return known[id(value)]
    if not isinstance(value, DictionaryObject | ArrayObject):
        return hashlib.sha256(f"{type(value).__name__}:{value!r}".encode(errors="replace")).digest()
    known[id(value)] = b"above"
    digest = hashlib.sha256(type(value).__name__.encode())
    if isinstance(value, DictionaryObject):
        for key in sorted(set(value) - _NOT_DRAWN):
            digest.update(key.encode() + b" " + _hash(value.raw_get(key), known))
    else:
        for index in range(len(value)):
            digest.update(_hash(list.__getitem__(value, index), known))
    if isinstance(value, StreamObject):
        digest.update(value.get_data())
    known[id(value)] = digest.digest()
    return known[id(value)]
