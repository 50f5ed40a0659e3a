"""Small repositories of records in folders: a good one, and one bad record for each rule laid over it.

`tests/bad_records/RULE/records/` holds the files that differ from `tests/minimal_records/`, `without.txt` the
paths that are taken away, `expected.txt` the exact diagnostics. After a change of wording, the expected texts are
written anew by `python -m tests.repositories`; the difference is read before it is committed.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterable
from pathlib import Path
from types import ModuleType

from asfound.assessment.assess import check
from asfound.faults import Fault, Rule, in_order
from asfound.records.snapshot import Snapshot, from_folder

MINIMAL = Path(__file__).parent / "minimal_records"
BAD = Path(__file__).parent / "bad_records"

Check = Callable[[Snapshot], Iterable[Fault]]
"""Faults of a snapshot in any order."""


def minimal() -> dict[str, bytes]:
    """The good repository."""
    return dict(from_folder(MINIMAL))


def laid_over(files: dict[str, str | bytes]) -> dict[str, bytes]:
    """The good repository with some files replaced or added."""
    return minimal() | {path: text.encode() if isinstance(text, str) else text for path, text in files.items()}


def bad_record_folders() -> list[Path]:
    """One folder for each rule."""
    return sorted(path for path in BAD.iterdir() if path.is_dir())


def bad_records(folder: Path) -> dict[str, bytes]:
    """The good repository with the bad record of one folder."""
    files = minimal()
    if (folder / "records").is_dir():
        files |= from_folder(folder / "records")
    taken_away = folder / "without.txt"
    for path in taken_away.read_text().split() if taken_away.exists() else ():
        del files[path]
    return files


def diagnostics(files: Snapshot, full_check: Check = check) -> str:
    """What a check says, as a user reads it."""
    return "".join(f"{fault.text()}\n" for fault in in_order(full_check(files)))


def expected(folder: Path) -> str:
    """The diagnostics that a folder's records must give, word for word."""
    return (folder / "expected.txt").read_text(encoding="utf-8")


def rules_of(package: ModuleType) -> dict[str, Rule]:
    """Every rule that the modules of a package register, by name."""
    modules = [package]
    if hasattr(package, "__path__"):
        names = [m.name for m in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")]
        modules += [importlib.import_module(name) for name in names]
    found = [value for module in modules for value in vars(module).values() if isinstance(value, Rule)]
    return {rule.name: rule for rule in found}


def write_expected(full_check: Check = check) -> None:
    """Write every folder's diagnostics as they are now."""
    for folder in bad_record_folders():
        text = diagnostics(bad_records(folder), full_check)
        (folder / "expected.txt").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_expected()
