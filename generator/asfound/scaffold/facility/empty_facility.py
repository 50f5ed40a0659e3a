"""An empty facility: a folder whose records are examples to replace, and which checks and builds as it is."""

from __future__ import annotations

import re
from pathlib import Path

from asfound.printing.templates import template_folders
from asfound.scaffold.facility.own_wheel import own_wheel

EMPTY = Path(__file__).parent / "empty"
EXAMPLE = "EXAMPLE"
"""Stands in the first line of every record that is to be replaced."""
LOCK = Path(__file__).parent / "lock.txt"
"""Everything that asfound needs to run, by version and hash, for every platform; made by `.locks/renew`."""


def empty_facility() -> dict[str, bytes]:
    """Every file of the folder by its path, sorted; raises Refusal where asfound is not installed whole."""
    wheel = own_wheel()
    found = kept_in(EMPTY) | {f"packages/{wheel.name}": wheel.content}
    for name, mark, text in (
        ("requirements.txt", "@WHEEL@", f"packages/{wheel.name}"),
        ("requirements.txt", "@SHA256@", wheel.sha256),
        ("requirements.txt", "@LOCK@", LOCK.read_text(encoding="utf-8").rstrip("\n")),
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
