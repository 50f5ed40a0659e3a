"""A snapshot of the records: {path below the records folder: bytes}, from wherever they are held."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

Snapshot = Mapping[str, bytes]

EVIDENCE = ("attachments/", "logs/", "trends/")
"""Folders of files that are no records by themselves."""
TRENDS = "trends/"
ISSUED = "issued/"
_LISTED_ONLY = ("attachments/", "logs/")
"""Evidence that may be large and that no number is computed from: its bytes are left where they are."""


class FolderSnapshot(Mapping[str, bytes]):
    """The files of a folder: records held; issued certificates, and exports of the building system, read each time
    they are asked for.
    """

    def __init__(self, held: Mapping[str, bytes], left: Mapping[str, Path]) -> None:
        self._held, self._left = held, left
        self._paths = sorted([*held, *left])

    def __getitem__(self, path: str) -> bytes:
        return self._left[path].read_bytes() if path in self._left else self._held[path]

    def __iter__(self) -> Iterator[str]:
        return iter(self._paths)

    def __len__(self) -> int:
        return len(self._paths)


def from_folder(records: Path) -> Snapshot:
    """All records below a folder, sorted by path; hidden files and editors' backups are no records."""
    held: dict[str, bytes] = {}
    left: dict[str, Path] = {}
    for path in records.rglob("*"):
        relative = path.relative_to(records).as_posix()
        hidden = any(part.startswith(".") for part in relative.split("/"))
        if hidden or relative.endswith("~") or not path.is_file():
            continue
        if relative.startswith((TRENDS, ISSUED)):
            left[relative] = path
        else:
            held[relative] = b"" if relative.startswith(_LISTED_ONLY) else path.read_bytes()
    return FolderSnapshot(held, left)
