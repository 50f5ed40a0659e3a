"""Characters that none of the fonts has: found in what is printed, told as faults of the records that hold them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from asfound.faults import Fault, Place, error
from asfound.records.snapshot import Snapshot

UNPRINTABLE = error("unprintable-character", "a record holds a character that certificates cannot print")


class Unprintable(ValueError):
    """A statement holds characters that none of the fonts has: (dotted field, text, character) of each."""

    def __init__(self, found: Sequence[tuple[str, str, str]]) -> None:
        field, text, character = found[0]
        super().__init__(f"{field}: {_named(character)} in {text!r} cannot be printed")
        self.found = tuple(found)


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


def _named(character: str) -> str:
    return f"{character!r} (U+{ord(character):04X})"


def _place(files: Snapshot, path: str, word: str) -> Place | None:
    """The first line of a record that holds the word outside a comment."""
    for line, text in enumerate(files[path].decode("utf-8-sig").splitlines(), start=1):
        before = text.partition(word)[0]
        if word in text and not (path.endswith(".yml") and "#" in before):
            return Place(path=path, line=line, column=len(before) + 1)
    return None
