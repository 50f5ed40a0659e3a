"""The Method page says what holds: the rules verbatim, and no more of the formulations than was checked."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from asfound.assessment.results.conformity import rule_in_words
from asfound.printing.templates import template_folders
from tests.site import store

PAGES = {page.path: page.body for page in store.content().pages}


def said(path: str) -> str:
    """A page's text, without marks, white space as single blanks."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", "", PAGES[path])).split())


def test_the_rule_stands_verbatim_on_every_page_that_shows_it():
    for policy in store.assessment().records.facility.policies:
        words = rule_in_words(policy)
        assert words in said("method.html")
        for path in PAGES:
            text = said(path)
            assert words in text or words.lower() not in text.lower(), path


def test_no_template_changes_the_letters_of_a_rule():
    folder: Path = template_folders()[-1]
    for path in folder.rglob("*.html"):
        assert not re.search(r"rule[^}]*\|\s*(capitalize|title|lower|upper)", path.read_text(encoding="utf-8")), path


@pytest.mark.parametrize("claim", ["surely", "without a prior"])
def test_no_certainty_is_claimed_of_a_verdict(claim: str):
    assert claim not in said("method.html")


@pytest.mark.parametrize(
    "limit",
    ["down to −50 °C", "down to −60 °C", "above 5 °C up to 1.2 MPa", "up to a fifth more", "with a uniform prior"],
)
def test_what_the_widths_of_formulations_enclose_is_said_with_its_limits(limit: str):
    assert limit in said("method.html")
