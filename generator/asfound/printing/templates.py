"""Where the parts of the site that are not computed come from: our own templates, and declared packages."""

from __future__ import annotations

import re
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path

PACKAGE = Path(__file__).parents[1]
DISTRIBUTION = "asfound"


def template_folders(own: Path | None = None) -> tuple[Path, ...]:
    """The folders in which a template is looked up, in order: the user's own, then the one that came with us.

    The second is the source tree's `site_templates`, or the packaged copy where no source tree is at hand. A
    file of the user's own folder stands in for ours of the same name, so the folder needs to hold only what
    differs. Raises FileNotFoundError where the installation lacks its templates.
    """
    shipped = next(
        (folder for folder in (PACKAGE.parents[1] / "site_templates", PACKAGE / "_site_templates") if folder.is_dir()),
        None,
    )
    if shipped is None:
        raise FileNotFoundError("the folder site_templates is missing: install asfound again")
    if own is None or own.resolve() == shipped.resolve():
        return (shipped,)
    return (own, shipped)


def template_files(folders: tuple[Path, ...], kind: str) -> dict[str, Path]:
    """The files of one sub-folder (`styles`, `scripts`, `fixed`) by their path in it, the first folder's
    winning.
    """
    found: dict[str, Path] = {}
    for folder in reversed(folders):
        root = folder / kind
        for path in sorted(root.rglob("*")):
            name = path.relative_to(root).as_posix()
            if path.is_file() and not any(part.startswith(".") for part in name.split("/")):
                found[name] = path
    return dict(sorted(found.items()))


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
