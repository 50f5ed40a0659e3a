"""A snapshot of the records: {path below the records folder: bytes}, from wherever they are held."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

Snapshot = Mapping[str, bytes]

EVIDENCE = ("attachments/", "logs/", "trends/")
"""Folders of files that are no records by themselves."""
TRENDS = "trends/"
LOGS = "logs/"
ISSUED = "issued/"
_LISTED_ONLY = "attachments/"
"""Evidence that may be large and that no number is computed from: its bytes are left where they are."""


class LazySnapshot(Mapping[str, bytes]):
    """Files that are held, and files that are left where they are and read each time they are asked for."""

    def __init__(self, held: Mapping[str, bytes], left: Mapping[str, Callable[[], bytes]]) -> None:
        self._held, self._left = held, left
        self._paths = sorted({*held, *left})

    def __getitem__(self, path: str) -> bytes:
        return self._left[path]() if path in self._left else self._held[path]

    def __iter__(self) -> Iterator[str]:
        return iter(self._paths)

    def __len__(self) -> int:
        return len(self._paths)


def laid_over(files: Snapshot, left: Mapping[str, Callable[[], bytes]]) -> Snapshot:
    """A snapshot with further files, or others in their place; nothing of it is read before it is asked for."""
    return LazySnapshot(files, left)


def is_record(path: str) -> bool:
    """Whether a path below the records' folder counts: hidden files and editors' backups do not."""
    return not (path.startswith(".") or "/." in path or path.endswith("~"))


def held_empty(path: str) -> bool:
    """Whether a file's bytes are left where they are."""
    return path.startswith(_LISTED_ONLY)


def from_folder(records: Path) -> Snapshot:
    """All records below a folder, sorted by path; issued certificates, logs and exports are left where they are."""
    held: dict[str, bytes] = {}
    left: dict[str, Callable[[], bytes]] = {}
    for path in records.rglob("*"):
        relative = path.relative_to(records).as_posix()
        if not is_record(relative) or not path.is_file():
            continue
        if relative.startswith((TRENDS, LOGS, ISSUED)):
            left[relative] = path.read_bytes
        else:
            held[relative] = b"" if held_empty(relative) else path.read_bytes()
    return LazySnapshot(held, left)
