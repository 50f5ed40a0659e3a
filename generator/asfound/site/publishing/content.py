"""What the shell is handed: pages as HTML bodies, and the files that stand beside them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath


@dataclass(frozen=True, kw_only=True)
class SitePage:
    """One page of the site, without the shell around it.

    `title` and the texts of `headings` are plain text, `body` is HTML. A body without an `<h1>` gets the
    title as one. `headings` lists (id, text) of what the table of contents shows; each id stands in the body.
    `scripts` is true where a chart is drawn: only those pages load the plotting script. Of a page `in_search`,
    elements with the attribute `data-search-exclude` are left out of the search index.
    """

    path: str
    title: str
    body: str
    headings: tuple[tuple[str, str], ...] = ()
    in_search: bool = True
    scripts: bool = False


@dataclass(frozen=True, kw_only=True)
class SiteContent:
    """All of a site but its shell: pages, and files by their path inside the site.

    `name` is the facility's; where it is empty mkdocs.yml's `site_name` stands. Raises ValueError where a
    path could not be published everywhere: absolute, outside the site, not `.html` for a page, or taken twice
    (also when only the case of its letters differs).
    """

    pages: tuple[SitePage, ...]
    files: Mapping[str, bytes] = field(default_factory=dict)
    name: str = ""

    def __post_init__(self) -> None:
        paths = [page.path for page in self.pages] + list(self.files)
        wrong = [path for path in paths if not _is_inside(path)]
        wrong += [page.path for page in self.pages if not page.path.endswith(".html")]
        counts = Counter(path.casefold() for path in paths)
        wrong += [path for path in paths if counts[path.casefold()] > 1]
        if wrong:
            raise ValueError(f"these paths cannot be published: {', '.join(map(repr, sorted(set(wrong))))}")


def _is_inside(path: str) -> bool:
    parts = path.split("/")
    return not ("\\" in path or PurePosixPath(path).is_absolute() or {"", ".", ".."} & set(parts))
