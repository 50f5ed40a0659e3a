"""Pages of the theme in microseconds: one page of each kind is rendered, the rest are stamped from it.

The theme takes more than a millisecond a page, nearly all of it for what is the same on thousands of pages.
So the first page of a kind is rendered with marks in the place of what is its own; the text between the marks
is the stencil. A test holds that a stamped page is, byte for byte, what the theme would have rendered.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from typing import Any

import jinja2
from mkdocs.structure.pages import Page
from mkdocs.structure.toc import AnchorLink, TableOfContents

# Characters for private use (Unicode, chapter 23.5) stand in no page's shell.
TITLE, BODY, ADDRESS, TOP = (
    "\ue000title\ue001",
    "<h1 \ue000body\ue001>",
    "\ue000address\ue001",
    "\ue000top\ue001",
)
ITEMS = "\ue000items\ue001"
NAMES, TEXTS = ("\ue000name1\ue001", "\ue000name2\ue001"), ("\ue000text1\ue001", "\ue000text2\ue001")
MARKS = re.compile("|".join(map(re.escape, (TITLE, BODY, ADDRESS, TOP, ITEMS))))
ITEM_MARKS = re.compile("|".join(map(re.escape, (NAMES[0], TEXTS[0]))))


class Stencil:
    """The shell of all pages that differ in title, address, table of contents and body only."""

    def __init__(self, render: Callable[[Page], str], page: Page) -> None:
        marked = copy.copy(page)
        marked.title = TITLE
        marked.content = BODY
        marked.canonical_url = ADDRESS if page.canonical_url else None
        marked.toc = TableOfContents([AnchorLink(TITLE, TOP, 1)])
        top = next(iter(page.toc))
        if top.children:
            links = [AnchorLink(text, name, 2) for name, text in zip(NAMES, TEXTS, strict=True)]
            marked.toc.items[0].children = links
        whole, item, self._between = _cut_items(render(marked))
        self._parts = MARKS.split(whole)
        self._marks = MARKS.findall(whole)
        self._item_parts = ITEM_MARKS.split(item)
        self._item_marks = ITEM_MARKS.findall(item)

    def stamp(self, page: Page) -> str:
        """The whole page, as the theme would have rendered it."""
        top = next(iter(page.toc))
        values = {
            TITLE: page.title or "",
            BODY: page.content or "",
            ADDRESS: page.canonical_url or "",
            TOP: top.id,
            ITEMS: self._between.join(self._stamp_item(link) for link in top.children),
        }
        return _fill(self._parts, self._marks, values)

    def _stamp_item(self, link: AnchorLink) -> str:
        return _fill(self._item_parts, self._item_marks, {NAMES[0]: link.id, TEXTS[0]: link.title})


def _cut_items(whole: str) -> tuple[str, str, str]:
    """The page with one mark for all entries of its table of contents, one entry, and what joins two of them."""
    first, second = (whole.find(name) for name in NAMES)
    if first < 0:
        return whole, "", ""
    starts = [whole.rindex("<li", 0, at) for at in (first, second)]
    ends = [whole.index("</li>", at) + len("</li>") for at in (first, second)]
    item, other = (whole[start:end] for start, end in zip(starts, ends, strict=True))
    if item.replace(NAMES[0], NAMES[1]).replace(TEXTS[0], TEXTS[1]) != other:
        raise ValueError("the theme's table of contents is no plain list any more: render without stencils")
    return whole[: starts[0]] + ITEMS + whole[ends[1] :], item, whole[ends[0] : starts[1]]


def _fill(parts: list[str], marks: list[str], values: dict[str, str]) -> str:
    filled = [text for part, mark in zip(parts, marks, strict=False) for text in (part, values[mark])]
    return "".join([*filled, parts[-1]])


def stamping_templates(kind_of: Callable[[Page], object | None]) -> type[jinja2.Template]:
    """Templates for a jinja2 environment that render one page of a kind and stamp the others.

    `kind_of` tells the kind of a page, None where a page is to be rendered by itself.
    """
    stencils: dict[object, Stencil] = {}

    class StampingTemplate(jinja2.Template):
        def render(self, *args: Any, **kwargs: Any) -> str:
            context = dict(*args, **kwargs)
            page = context.get("page")
            kind = kind_of(page) if page is not None else None
            if page is None or kind is None:
                return super().render(context)
            if kind not in stencils:
                draw = super().render
                stencils[kind] = Stencil(lambda marked: draw({**context, "page": marked}), page)
            return stencils[kind].stamp(page)

    return StampingTemplate
