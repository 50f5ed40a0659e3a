"""What a site takes from declared packages: the plotting script, and who made what under which licence."""

from __future__ import annotations

import re
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path

from asfound import DISTRIBUTION


def plotly_script() -> Path:
    """The plotting script that the installed plotly package carries."""
    spec = find_spec("plotly")
    for folder in (spec.submodule_search_locations or ()) if spec else ():
        path = Path(folder) / "package_data" / "plotly.min.js"
        if path.is_file():
            return path
    raise FileNotFoundError("the installed plotly package carries no plotly.min.js: install plotly again")


def third_party() -> tuple[tuple[str, str, str], ...]:
    """(name, version, licence) of every package that asfound declares and that is installed, by name.

    The list is read from our own metadata and the licences from theirs: neither can go stale.
    """
    rows = []
    for requirement in metadata.requires(DISTRIBUTION) or ():
        if "extra ==" in requirement:
            continue
        name = re.match(r"[\w.-]+", requirement)
        assert name is not None, requirement
        try:
            about = metadata.metadata(name.group())
        except metadata.PackageNotFoundError:
            continue  # needed on another platform only
        rows.append((about["Name"], about["Version"], _licence(about)))
    return tuple(sorted(rows, key=lambda row: row[0].casefold()))


def _licence(about: metadata.PackageMetadata) -> str:
    """The licence as the package states it: an SPDX expression, a short text or a classifier."""
    stated = [*(about.get_all("License-Expression") or ()), *(about.get_all("License") or ())]
    for text in stated:
        if "\n" not in text and len(text) < 60:
            return str(text)
    classifiers = about.get_all("Classifier") or []
    named = [line.rpartition(" :: ")[2] for line in classifiers if line.startswith("License ::")]
    return ", ".join(named) or "not stated in its metadata"
