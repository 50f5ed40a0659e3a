"""From views to pages: Jinja2 templates (site_templates/pages) filled in, as bodies for the shell to wrap."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape, unescape
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from asfound.printing.compiled import CompiledTemplates
from asfound.site.publishing.content import SitePage
from asfound.wording import cautions

_COMPILED = CompiledTemplates()
_HEADING = re.compile(r'<h2[^>]*\bid="([^"]+)"[^>]*>(.*?)</h2>', re.DOTALL)
_TICKED = re.compile(r"`([^`]+)`")
_TAG = re.compile(r"<[^>]+>")
_DAY = re.compile(r"(?<![\w-])([0-9]{4}-[0-9]{2}-[0-9]{2})(?![\w-])")
_NUMBER_AND_UNIT = re.compile(r"(?<=[0-9]) (?=(?:±|%|°|k?Pa\b|mA\b|V\b|min\b|months?\b|visits?\b|sensors?\b))|(?<=±) ")


class Pages:
    """Renders pages from the templates of the given folders, the first that has one winning.

    A name that a template uses and a view lacks is an error, never a blank.
    """

    def __init__(self, folders: Iterable[Path]) -> None:
        self._environment = Environment(
            loader=FileSystemLoader([folder / "pages" for folder in folders]),
            bytecode_cache=_COMPILED,
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
        )
        self._environment.filters["quoted_json"] = _quoted_json
        self._environment.filters["whole"] = _whole
        self._environment.filters["code"] = _code
        self._environment.globals["cautions"] = cautions

    def page(
        self, path: str, title: str, template: str, view: Any, *, in_search: bool = True, charts: bool = False
    ) -> SitePage:
        """One page; its h2 headings make the table of contents."""
        root = "../" * path.count("/")
        body = self._environment.get_template(template).render(view=view, root=root)
        headings = tuple((unescape(name), _plain(text)) for name, text in _HEADING.findall(body))
        return SitePage(path=path, title=title, body=body, headings=headings, in_search=in_search, scripts=charts)


def _plain(html: str) -> str:
    return " ".join(unescape(_TAG.sub("", html)).split())


def _whole(text: str) -> Markup:
    """A sentence whose days, and numbers with their units, are not torn apart at the end of a line."""
    held = _NUMBER_AND_UNIT.sub("\u00a0", escape(text))
    return Markup(_DAY.sub(r"<time>\1</time>", held))


def _code(text: str) -> Markup:
    """Text in which `backticks` mark what is typed or read as it stands."""
    return Markup(_TICKED.sub(r"<code>\1</code>", escape(text)))


def _quoted_json(text: str) -> Markup:
    """JSON for an attribute in single quotes: shorter than with every double quote escaped."""
    return Markup(escape(text, quote=False).replace("'", "&#39;"))
