"""An empty facility: a folder whose records are examples to replace, and which checks and builds as it is."""

from __future__ import annotations

import re
from pathlib import Path

from generator import __version__
from generator.site.assets import template_folders

EMPTY = Path(__file__).parent / "empty"
EXAMPLE = "EXAMPLE"
"""Stands in the first line of every record that is to be replaced."""


def empty_facility() -> dict[str, bytes]:
    """Every file of the folder by its path, sorted. In our own tree a leading dot is spelt `dot_`."""
    found = {}
    for path in EMPTY.rglob("*"):
        name = re.sub(r"(^|/)dot_", r"\1.", path.relative_to(EMPTY).as_posix())
        if path.is_file():
            found[name] = path.read_bytes()
    for name, mark, text in (
        ("requirements.txt", "@VERSION@", __version__),
        ("mkdocs.yml", "@NAV@", _lists()),
    ):
        found[name] = found[name].replace(mark.encode(), text.encode())
    return dict(sorted(found.items()))


def _lists() -> str:
    """The navigation's own entries, as the packaged shell has them."""
    shell = (template_folders()[-1] / "site.yml").read_text(encoding="utf-8")
    entries = re.search(r"^nav:\n((?:  - .*\n)+)", shell, re.M)
    assert entries is not None, "the shell has a nav"
    return entries.group(1).rstrip("\n")
