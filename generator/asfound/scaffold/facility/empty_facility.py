"""An empty facility: a folder whose records are examples to replace, and which checks and builds as it is."""

from __future__ import annotations

import re
from pathlib import Path

from asfound import __version__
from asfound.printing.templates import template_folders

EMPTY = Path(__file__).parent / "empty"
EXAMPLE = "EXAMPLE"
"""Stands in the first line of every record that is to be replaced."""


def empty_facility() -> dict[str, bytes]:
    """Every file of the folder by its path, sorted."""
    found = kept_in(EMPTY)
    for name, mark, text in (
        ("requirements.txt", "@VERSION@", __version__),
        ("mkdocs.yml", "@NAV@", _lists()),
    ):
        found[name] = found[name].replace(mark.encode(), text.encode())
    return dict(sorted(found.items()))


def kept_in(folder: Path) -> dict[str, bytes]:
    """The files of a folder of this package by the path that they get; a leading dot is spelt `dot_` here."""
    paths = [path for path in folder.rglob("*") if path.is_file()]
    return {re.sub(r"(^|/)dot_", r"\1.", path.relative_to(folder).as_posix()): path.read_bytes() for path in paths}


def _lists() -> str:
    """The navigation's own entries, as the packaged shell has them."""
    shell = (template_folders()[-1] / "site.yml").read_text(encoding="utf-8")
    entries = re.search(r"^nav:\n((?:  - .*\n)+)", shell, re.M)
    assert entries is not None, "the shell has a nav"
    return entries.group(1).rstrip("\n")
