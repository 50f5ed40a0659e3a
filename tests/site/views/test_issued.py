"""What the Data page and a visit's page say of issued certificates. The records are invented."""

from __future__ import annotations

import functools
import html
import re

import pytest

from asfound.printing import templates
from asfound.site.lookup.lookup import look_up
from asfound.site.publishing.build import content_of
from asfound.site.publishing.content import SiteContent
from asfound.site.views.issued import issued_view
from tests import builders as b
from tests.certificates.certified import VISIT, plain
from tests.certificates.frozen_certificates import with_issued

TIGHTER = b'"absolute": "0.3 %RH"'


@functools.cache
def content(tolerance: bytes = b'"absolute": "2 %RH"', issued: bool = True) -> SiteContent:
    files = with_issued(plain()) if issued else plain()
    files = dict(files)
    files["families/rush.yml"] = files["families/rush.yml"].replace(b'"absolute": "2 %RH"', tolerance)
    return content_of(files, look_up(b.assessed(files)), templates.template_folders(), {})


def text(site: SiteContent, path: str) -> str:
    """A page's words, tags taken out."""
    page = next(page for page in site.pages if page.path == path)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.body)).split())


def test_where_none_is_issued_the_page_says_that_all_are_previews():
    assert "No certificate is issued: all that is published are previews." in text(
        content(issued=False), "data/index.html"
    )


def test_where_all_agree_the_page_says_so_once():
    said = text(content(), "data/index.html")
    assert "1 certificate is issued. What is computed from the records today agrees with it." in said
    assert "no longer agree" not in said + text(content(), f"visits/{VISIT}.html")


def test_a_certificate_that_no_longer_agrees_is_listed_with_every_number_its_cause_and_the_cure():
    said = text(content(TIGHTER), "data/index.html").replace("\N{NO-BREAK SPACE}", " ")
    assert "1 of 1 no longer agrees with what is computed." in said
    assert "record: families/rush.yml changed since it was issued" in said
    assert "as found, 50 %RH: verdict “pass” stated, “conditional fail” computed" in said
    assert re.search(r"tolerance 2\.00\s%RH stated, 0\.30 computed; Δ = −1\.7", said)
    assert f'asfound issue-certificates RH-1/{VISIT} --reason "…"' in said


def test_the_visits_page_says_it_in_one_line():
    said = text(content(TIGHTER), f"visits/{VISIT}.html")
    assert f"RH-1/{VISIT}.r1 no longer agrees with what is computed today:" in said
    assert "cause: record" in said


def test_a_list_without_end_is_cut(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("asfound.site.views.issued.MOST_LISTED", 1)
    files = dict(with_issued(plain()))
    files["families/rush.yml"] = files["families/rush.yml"].replace(b'"absolute": "2 %RH"', TIGHTER)
    (one,) = issued_view(look_up(b.assessed(files)), {}).disagreements
    assert len(one.differences) == 1 and one.more > 3
