"""Every address that a published page names: none leaves the site, none leads nowhere."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

LINKS = {("a", "href"), ("area", "href")}
"""What a person follows may lead to another place; what a browser loads by itself may not."""
LOADED = {"src", "href", "srcset", "data", "poster", "action", "xlink:href"}


class _Addresses(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str]] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id" and value:
                self.ids.append(value)
            if name in LOADED and value:
                self.found.append((tag, name, value))


def addresses(html: str) -> tuple[list[tuple[str, str, str]], list[str]]:
    """(tag, attribute, address) of all that a page names, and its ids in order."""
    parser = _Addresses()
    parser.feed(html)
    return parser.found, parser.ids


def broken_links(site: Path) -> list[str]:
    """Each address of a page that is absolute, leads to no file or names no id there; each id that stands twice."""
    pages = {path: addresses(path.read_text(encoding="utf-8")) for path in sorted(site.rglob("*.html"))}
    return [line for path in pages for line in _broken_in(path, site, pages)]


def _broken_in(
    page: Path, site: Path, pages: dict[Path, tuple[list[tuple[str, str, str]], list[str]]]
) -> Iterator[str]:
    found, ids = pages[page]
    name = page.relative_to(site).as_posix()
    yield from (f"{name}: id {one!r} stands twice" for one in sorted({i for i in ids if ids.count(i) > 1}))
    for tag, attribute, address in found:
        parts = urlsplit(address)
        if parts.scheme or parts.netloc:
            if (tag, attribute) not in LINKS and parts.scheme != "data":
                yield f"{name}: <{tag} {attribute}> loads {address}"
            continue
        if address.startswith("/"):
            yield f"{name}: {address} counts from the server's root"
            continue
        target = (page.parent / unquote(parts.path)).resolve() if parts.path else page
        if not target.is_file():
            yield f"{name}: {address} leads nowhere"
        elif parts.fragment and target in pages and unquote(parts.fragment) not in pages[target][1]:
            yield f"{name}: {address} names no id of its page"
