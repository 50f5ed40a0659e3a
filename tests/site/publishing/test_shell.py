"""The shell around the pages: what it adds, what it leaves alone, what it refuses."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from asfound.printing.templates import template_folders
from asfound.refusals import Refusal
from asfound.site.publishing import shell
from asfound.site.publishing.content import SiteContent, SitePage
from asfound.site.publishing.publish import build_site
from tests.site import sample
from tests.site.conftest import tree
from tests.site.links import broken_links

Use = Callable[[shell.Builder], None]
ROOT = Path(__file__).parents[3]
FIXED = ROOT / "site_templates" / "fixed"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample's site, to be read only."""
    top = tmp_path_factory.mktemp("sample")
    (top / "records").mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shell, "load_builder", lambda: sample.sample_content)
        return build_site(ROOT / "mkdocs.yml", top / "records", top / "site", sample.DAY).site


@pytest.fixture
def config(tmp_path: Path, brief_manual: Path) -> Path:
    """The mkdocs.yml of a facility that has a brief manual of its own."""
    return configured(tmp_path, brief_manual)


def configured(folder: Path, fixed: Path | str, lines: str = "") -> Path:
    path = folder / "mkdocs.yml"
    shipped = template_folders()[-1]
    path.write_text(f"INHERIT: {shipped}/site.yml\ndocs_dir: {fixed}\n{lines}", encoding="utf-8")
    return path


def with_page(page: SitePage) -> shell.Builder:
    def build(records: Path, day: date, templates: Path) -> SiteContent:
        content = sample.sample_content(records, day, templates)
        return replace(content, pages=(*content.pages, page))

    return build


def html(site: Path, path: str) -> str:
    return (site / path).read_text(encoding="utf-8")


def test_every_page_and_file_is_published_at_its_path(site: Path):
    content = sample.sample_content(site, sample.DAY, Path())
    manual = {path.relative_to(FIXED).with_suffix(".html").as_posix() for path in FIXED.rglob("*.md")}
    published = {path.relative_to(site).as_posix() for path in site.rglob("*.html")}
    assert "manual/index.html" in manual
    assert {page.path for page in content.pages} | manual == published
    assert {name: (site / name).read_bytes() for name in content.files} == dict(content.files)


def test_a_body_is_published_as_it_was_handed_over(site: Path):
    assert sample.visit_page().body in html(site, "visits/a-visit.html")


def test_words_in_neighbouring_cells_are_not_run_together_in_the_search_index(site: Path):
    index = json.loads(html(site, "search/search_index.json"))
    facts = next(entry["text"] for entry in index["docs"] if entry["location"] == "sensors/RH-101.html#facts")
    assert facts.split()[:4] == ["Place", "Drying", "room", "1,"]


def test_no_address_is_absolute_and_none_leads_nowhere(site: Path):
    assert broken_links(site) == []


def test_styles_and_scripts_load_nothing_from_elsewhere(site: Path):
    loading = re.compile(r"url\(\s*[\"']?(?:https?:)?//|@import|\bimport\s*\(|fetch\(|XMLHttpRequest")
    ours = [path for kind in ("styles", "scripts") for path in (site / "assets" / kind).iterdir()]
    assert {path.name for path in ours} >= {"asfound.css", "charts.js", "tables.js", "print.js"}
    for path in ours:
        if path.name != "plotly.min.js":  # what it loads is watched in the browser tests
            assert not loading.search(path.read_text(encoding="utf-8")), path.name


def test_only_pages_with_a_chart_load_the_plotting_script(site: Path):
    drawing = [path.name for path in site.rglob("*.html") if "plotly.min.js" in path.read_text(encoding="utf-8")]
    assert sorted(drawing) == ["RH-101.html", "a-visit.html", "drift.html"]


def test_a_site_without_charts_carries_no_plotting_script(builder: Use, config: Path, records: Path, tmp_path: Path):
    def build(records: Path, day: date, templates: Path) -> SiteContent:
        content = sample.sample_content(records, day, templates)
        return replace(content, pages=tuple(replace(page, scripts=False) for page in content.pages))

    builder(build)
    site = build_site(config, records, tmp_path / "site", sample.DAY).site
    assert not list(site.rglob("plotly*"))


def test_the_navigation_holds_the_lists_and_no_record(site: Path):
    for path in ("index.html", "visits/a-visit.html"):
        primary = re.search(r'<nav class="md-nav md-nav--primary.*?</ul>\s*</nav>', html(site, path), re.DOTALL)
        assert primary is not None
        linked = re.findall(r'href="([^"#]+)"', primary.group())
        assert {Path(link).name for link in linked} <= {"index.html", "schedule.html", "drift.html", "method.html"}


def test_a_record_names_the_list_it_belongs_to(site: Path):
    trail = re.search(r'<nav class="trail".*?</nav>', html(site, "sensors/RH-101.html"), re.DOTALL)
    assert trail is not None and 'href="index.html">Sensors</a>' in trail.group()
    assert 'class="trail"' not in html(site, "sensors/index.html")


def test_the_table_of_contents_shows_the_headings(site: Path):
    page = html(site, "sensors/RH-101.html")
    shown = re.findall(r'<a href="#([\w-]+)" class="md-nav__link">', page)
    assert shown == [name for name, _ in sample.sensor_page().headings]


def test_a_title_is_text_and_never_markup(builder: Use, config: Path, records: Path, tmp_path: Path):
    title = "</title><script>alert(1)</script> & Söhne"
    heading = ("h", "a < b & <i>c</i>")
    page = SitePage(path="findings/x.html", title=title, body='<h2 id="h">x</h2>', headings=(heading,))
    builder(with_page(page))
    text = html(build_site(config, records, tmp_path / "site", sample.DAY).site, "findings/x.html")
    assert "<script>alert" not in text and "<i>c" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; Söhne" in text
    assert "a &lt; b &amp; &lt;i&gt;c&lt;/i&gt;" in text


def test_a_body_with_a_heading_of_its_own_gets_no_second_one(builder: Use, config: Path, records: Path, tmp_path: Path):
    page = SitePage(path="findings/x.html", title="x", body='<h1 id="own">Its own</h1>')
    builder(with_page(page))
    text = html(build_site(config, records, tmp_path / "site", sample.DAY).site, "findings/x.html")
    assert text.count("<h1") == 1
    assert '<a href="#own" class="md-skip">' in text, "the keyboard skips to the page's heading"


def test_search_knows_the_pages_that_ask_for_it_and_no_others(site: Path):
    index = json.loads(html(site, "search/search_index.json"))
    pages = {entry["location"].split("#")[0] for entry in index["docs"]}
    assert "sensors/RH-101.html" in pages and "visits/a-visit.html" not in pages


def test_search_splits_words_at_white_space_only(site: Path):
    separator = json.loads(html(site, "search/search_index.json"))["config"]["separator"]
    assert re.split(separator, "RH-101 drying.room") == ["RH-101", "drying.room"]


def test_a_stamped_page_is_what_the_theme_would_have_rendered(
    builder: Use, records: Path, tmp_path: Path, brief_manual: Path, monkeypatch: pytest.MonkeyPatch
):
    first = sample.sensor_page()
    kinds = [
        replace(
            first,
            path=f"{folder}/{name}.html",
            title=f"{name} & <{folder}>",
            headings=headings,
            scripts=scripts,
        )
        for folder in ("sensors", "visits", "visits/2026")
        for name, headings, scripts in (
            ("one", first.headings, True),
            ("two", first.headings[:1], True),
            ("three", (("facts", "What's & where"),), False),
            ("four", (), False),
            ("five", (), False),
            ("six", first.headings, False),
        )
    ]

    def build(records: Path, day: date, templates: Path) -> SiteContent:
        content = sample.sample_content(records, day, templates)
        return replace(content, pages=(*content.pages, *kinds))

    builder(build)
    for site_url in ("", "site_url: https://asfound.example/sub/path/\n"):
        config = configured(tmp_path, brief_manual, site_url)
        stamped = tree(build_site(config, records, tmp_path / "stamped", sample.DAY).site)
        with monkeypatch.context() as each:
            each.setattr(shell, "_kind", lambda page: None)
            rendered = tree(build_site(config, records, tmp_path / "rendered", sample.DAY).site)
        assert stamped == rendered
        assert ("sitemap.xml" in stamped) is bool(site_url)


def test_the_name_of_the_facility_stands_on_every_page(site: Path):
    assert all("Seed bank &amp; herbarium" in path.read_text(encoding="utf-8") for path in site.rglob("*.html"))


def test_a_template_of_the_user_stands_in_for_ours(builder: Use, config: Path, records: Path, tmp_path: Path):
    shipped = template_folders()[0]
    own = tmp_path / "site_templates"
    (own / "styles").mkdir(parents=True)
    (own / "styles" / "asfound.css").write_text("/* ours */", encoding="utf-8")
    (own / "shell").mkdir()
    (own / "shell" / "main.html").write_text(
        '{% extends "base.html" %}{% block footer %}in house{% endblock %}', encoding="utf-8"
    )
    site = build_site(config, records, tmp_path / "site", sample.DAY).site
    assert html(site, "assets/styles/asfound.css") == "/* ours */"
    assert html(site, "assets/scripts/tables.js") == (shipped / "scripts" / "tables.js").read_text(encoding="utf-8")
    assert "in house" in html(site, "index.html")
    main = own / "shell" / "main.html"
    main.write_text(main.read_text(encoding="utf-8").replace("in house", "at home"), encoding="utf-8")
    assert "at home" in html(build_site(config, records, tmp_path / "site", sample.DAY).site, "index.html")


def test_records_without_a_mkdocs_yml_get_the_packaged_shell(builder: Use, records: Path, tmp_path: Path):
    packaged = tree(build_site(None, records, tmp_path / "one", sample.DAY).site)
    assert packaged == tree(build_site(ROOT / "mkdocs.yml", records, tmp_path / "other", sample.DAY).site)


def with_day(folder: Path, fixed: Path, written: str) -> Path:
    return configured(folder, fixed, f"plugins:\n  asfound:\n    records: records\n    day: {written}\n")


@pytest.mark.parametrize("written", ["2026-03-20", "'2026-03-20'"])
def test_a_site_may_stay_on_a_day_and_then_says_so_on_every_page(
    written: str, builder: Use, records: Path, tmp_path: Path, brief_manual: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.delenv("ASFOUND_DATE", raising=False)
    config, days = with_day(tmp_path, brief_manual, written), []

    def build(records: Path, day: date, templates: Path) -> SiteContent:
        days.append(day)
        return sample.sample_content(records, day, templates)

    builder(build)
    site = build_site(config, records, tmp_path / "site").site
    said = "Built for <time>2026-03-20</time>, the day that its mkdocs.yml names."
    assert all(said in path.read_text(encoding="utf-8") for path in site.rglob("*.html"))
    monkeypatch.setenv("ASFOUND_DATE", "2026-03-21")
    assert "mkdocs.yml" not in html(build_site(config, records, tmp_path / "site").site, "index.html")
    build_site(config, records, tmp_path / "site", date(2026, 3, 22))
    assert days == [date(2026, 3, 20), date(2026, 3, 21), date(2026, 3, 22)], "file, then environment, then option"


@pytest.mark.parametrize("written", ["soon", "2026-02-30", "2026-03-20 10:00:00", "12"])
def test_a_day_in_the_file_that_is_none_is_refused(written: str, records: Path, tmp_path: Path, brief_manual: Path):
    with pytest.raises(Refusal, match=r"configuration|cure: correct the day"):
        build_site(with_day(tmp_path, brief_manual, written), records, tmp_path / "site")


def test_the_manual_is_read_and_found_in_every_site(builder: Use, records: Path, tmp_path: Path, site: Path):
    builder(sample.sample_content)
    (tmp_path / "pages").mkdir()
    (tmp_path / "pages/about.md").write_text("# About\n", encoding="utf-8")
    config = tmp_path / "mkdocs.yml"
    shell_file = template_folders()[-1] / "site.yml"
    config.write_text(f"INHERIT: {shell_file}\ndocs_dir: pages\n", encoding="utf-8")
    own = build_site(config, records, tmp_path / "site", sample.DAY).site
    for one in (site, own):
        assert broken_links(one) == []
        assert 'href="manual/index.html"' in html(one, "index.html")
        assert "Manual</a>" in re.findall(r'<nav class="trail".*?</nav>', html(one, "manual/visit.html"), re.S)[0]
        found = {entry["location"] for entry in json.loads(html(one, "search/search_index.json"))["docs"]}
        assert {"manual/visit.html#columns", "manual/humidity.html#two_pressure_rh", "manual/rules.html"} <= found


@pytest.mark.parametrize(
    "path",
    [
        "/etc/passwd.html",
        "../up.html",
        "a/../b.html",
        "a//b.html",
        "./a.html",
        "a\\b.html",
        "a.txt",
        "",
        "INDEX.html",
    ],
)
def test_a_path_that_cannot_be_published_everywhere_is_refused(path: str):
    pages = tuple(SitePage(path=one, title="", body="") for one in ("index.html", path))
    with pytest.raises(ValueError, match="cannot be published"):
        SiteContent(pages=pages)
    if path != "a.txt":
        with pytest.raises(ValueError, match="cannot be published"):
            SiteContent(pages=pages[:1], files={path: b""})
