"""Templates of pages and documents: the user's own folder, then the one that came with us."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).parents[1]


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
    """The files of one sub-folder (`styles`, `scripts`, `fixed`) by their path in it, the first folder's winning."""
    found: dict[str, Path] = {}
    for folder in reversed(folders):
        root = folder / kind
        for path in sorted(root.rglob("*")):
            name = path.relative_to(root).as_posix()
            if path.is_file() and not any(part.startswith(".") for part in name.split("/")):
                found[name] = path
    return dict(sorted(found.items()))
