"""A snapshot of the records: {path below the records folder: bytes}, from wherever they are held."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

Snapshot = Mapping[str, bytes]

# Evidence and exports may be large; they are read where they are used.
_LISTED_ONLY = ("attachments/", "logs/", "trends/")


def from_folder(records: Path) -> Snapshot:
    """All records below a folder, sorted by path; hidden files and editors' backups are no records."""
    found: dict[str, bytes] = {}
    for path in sorted(records.rglob("*")):
        relative = path.relative_to(records).as_posix()
        hidden = any(part.startswith(".") for part in relative.split("/"))
        if hidden or relative.endswith("~") or not path.is_file():
            continue
        found[relative] = b"" if relative.startswith(_LISTED_ONLY) else path.read_bytes()
    return found
