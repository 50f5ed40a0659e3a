"""The site as a person meets it: at a desk, on a phone, from files, by keyboard, in the dark and on paper."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.browser.conftest import DESK, PHONE, KeptPages, Site, opened_by

if TYPE_CHECKING:
    from playwright.sync_api import Page

SENSOR, VISIT = "sensors/RH-101.html", "visits/a-visit.html"
POINTS = ".chart .scatterlayer .points path"


def drawn_points(page: Page) -> int:
    page.wait_for_selector(".chart.js-plotly-plot .main-svg")
    return page.locator(POINTS).count()


def colours(page: Page) -> set[str]:
    """Colours of the glyphs as drawn."""
    found: list[str] = page.eval_on_selector_all(POINTS, "all => all.map(one => getComputedStyle(one).stroke)")
    return set(found)


@pytest.fixture(scope="module")
def drawn(kept_pages: KeptPages, site: Site) -> Iterator[Page]:
    """A sensor's page with its chart drawn, to be looked at only."""
    with opened_by(kept_pages, site.served("index.html"), site.served(SENSOR)) as page:
        drawn_points(page)
        yield page


@pytest.mark.parametrize(
    ("how", "path", "results"), [("as_file", SENSOR, 16), ("as_file", VISIT, 6), ("served", VISIT, 6)]
)
def test_charts_are_drawn_below_a_sub_path_and_from_files(page: Page, site: Site, how: str, path: str, results: int):
    page.goto(getattr(site, how)(path))
    assert drawn_points(page) >= results
    assert page.locator(".errorbar").count() == results, "each result has its bar"


def test_a_result_out_of_tolerance_has_a_cross_and_one_with_a_reservation_is_hollow(drawn: Page):
    symbols = drawn.evaluate("document.querySelector('.chart').data.map(t => t.marker?.symbol).flat()")
    assert symbols.count("x-thin-open") == 1
    assert symbols.count("square-open") == 1
    assert {"circle", "square", "diamond", "circle-open-dot"} <= set(symbols)
    hover = drawn.evaluate("document.querySelector('.chart').data.map(t => t.hovertext ?? []).flat()")
    assert any("reservation: unsettled plateau" in text for text in hover)


def test_lines_leave_out_what_has_a_reservation(drawn: Page):
    data = "document.querySelector('.chart').data.filter(t => t.legendgroup == '33 %RH')"
    marks = drawn.evaluate(f"{data}.find(t => t.mode == 'markers').y")
    line = drawn.evaluate(f"{data}.find(t => t.mode == 'lines').y")
    assert marks == [0.2, -0.7, -1.1, -1.4, 0.0, -0.6] and line == [0.2, -0.7, -1.4, 0.0, -0.6]


def test_series_differ_in_more_than_colour(drawn: Page):
    legend = drawn.evaluate(
        "document.querySelector('.chart').data.filter(t => t.mode == 'lines+markers')"
        ".map(t => [t.marker.symbol, t.line.dash])"
    )
    assert len(legend) == 3
    assert len({symbol for symbol, _ in legend}) == len({dash for _, dash in legend}) == 3


def test_marks_are_explained_under_the_chart(drawn: Page):
    key = drawn.locator(".chart + .chart-key").inner_text()
    assert "1: 2023-03-06 element changed" in key and "2: 2025-03-11 span adjusted" in key
    assert "with a reservation" in key


def test_a_chart_has_a_name_for_those_who_cannot_see_it(drawn: Page):
    name = drawn.locator(".chart").get_attribute("aria-label")
    assert name is not None and "errors of RH-101 since 2023" in name


def test_a_control_chart_crosses_what_lies_beyond_its_limits_and_says_so_in_words(page: Page, site: Site):
    page.goto(site.served("drift.html"))
    drawn_points(page)
    crossed = page.evaluate(
        "document.querySelector('.chart').data.filter(t => t.name?.startsWith('signal'))"
        ".map(t => [t.name, t.x, t.yaxis])"
    )
    assert crossed == [["signal value", ["2026-03-10"], "y"], ["signal mean", ["2026-03-10"], "y2"]]
    key = page.locator(".chart + .chart-key").inner_text()
    assert "× signal: beyond its limits" in key and "1: 2025-03-11 span adjusted" in key


def test_the_tools_of_a_chart_stand_above_its_results(drawn: Page):
    top = drawn.evaluate("document.querySelector('.chart .nsewdrag').getBoundingClientRect().top")
    drawn.locator(".chart").hover()
    tools = drawn.locator(".chart .modebar").first.bounding_box()
    assert tools is not None and tools["y"] + tools["height"] <= top


@pytest.mark.parametrize("page", [{"viewport": {"width": 500, "height": 900}}], indirect=True)
def test_a_narrow_chart_has_no_tools_over_its_newest_results(page: Page, site: Site):
    page.goto(site.served(SENSOR))
    drawn_points(page)
    assert page.locator(".chart .modebar-btn").count() == 0


def test_drawing_again_changes_nothing(page: Page, site: Site):
    page.goto(site.served(SENSOR))
    before = drawn_points(page)
    page.evaluate("dispatchEvent(new Event('afterprint')); dispatchEvent(new Event('afterprint'))")
    assert drawn_points(page) == before
    assert page.locator(".chart-key").count() == 1


def test_charts_follow_the_switch_between_light_and_dark(page: Page, site: Site):
    page.goto(site.served(VISIT))
    drawn_points(page)
    light = colours(page)
    for _ in range(2):  # as the system, light, dark
        page.locator("form[data-md-component=palette] label:not([hidden])").click()
    assert page.locator("body").get_attribute("data-md-color-scheme") == "slate"
    page.wait_for_function(
        "before => getComputedStyle(document.querySelector('.points path')).stroke != before",
        arg=sorted(light)[0],
    )
    assert colours(page).isdisjoint(light)


@pytest.mark.parametrize("page", [{"color_scheme": "dark"}], indirect=True)
def test_paper_is_black_on_white_even_in_the_dark(page: Page, site: Site):
    page.goto(site.served(SENSOR))
    drawn_points(page)
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    ink = "getComputedStyle(document.querySelector('article')).color"
    assert page.evaluate(ink) == "rgb(0, 0, 0)"
    assert page.evaluate("document.querySelector('.chart').layout.font.color") == "#000000"
    assert page.locator("details[open]").count() == 1, "folded parts are printed"
    for hidden in (".md-header", ".md-tabs", ".md-sidebar--secondary", ".filter-line"):
        assert not page.locator(hidden).first.is_visible()
    assert page.locator(".chart .main-svg").first.is_visible()
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("details[open]").count() == 0
    assert page.evaluate("document.querySelector('.chart').layout.font.color") != "#000000"


@pytest.mark.parametrize("page", [{"viewport": PHONE, "has_touch": True, "is_mobile": True}], indirect=True)
@pytest.mark.parametrize("path", ["index.html", SENSOR, VISIT])
def test_a_phone_scrolls_tables_and_never_the_page_sideways(page: Page, site: Site, path: str):
    page.goto(site.served(path))
    page.wait_for_load_state("networkidle")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    if path == SENSOR:
        box = page.locator(".table-box")
        assert box.evaluate("box => box.scrollWidth > box.clientWidth")
        assert box.get_attribute("tabindex") == "0" and box.get_attribute("role") == "region"


def rows(page: Page) -> list[str]:
    return page.locator("#results tbody tr:visible").all_inner_texts()


def test_a_table_is_filtered_by_words(page: Page, site: Site):
    page.goto(site.served(SENSOR))
    assert len(rows(page)) == 12
    page.get_by_label("Show").fill("OUT as left")
    assert rows(page) and all("out of tolerance" in row and "as left" in row for row in rows(page))
    assert page.locator(".filter-line output").inner_text() == f"{len(rows(page))} of 12"
    page.get_by_label("Show").fill("")
    assert len(rows(page)) == 12


def test_a_table_is_sorted_by_keyboard(page: Page, site: Site):
    page.goto(site.served(SENSOR))
    page.get_by_role("button", name="Error / %RH").focus()
    page.keyboard.press("Enter")
    head = page.locator("#results th", has_text="Error / %RH")
    assert head.get_attribute("aria-sort") == "ascending"
    errors = [float(row.split("\t")[5].replace("−", "-")) for row in rows(page)]
    assert errors == sorted(errors) and errors[0] < 0 < errors[-1]
    page.keyboard.press("Space")
    assert head.get_attribute("aria-sort") == "descending"
    assert [float(row.split("\t")[5].replace("−", "-")) for row in rows(page)] == sorted(errors, reverse=True)
    page.get_by_role("button", name="Visit").click()
    assert page.locator("#results [aria-sort]").count() == 1


FIRST_FOUND = """([found, inOrder]) => {
  const links = [...document.querySelectorAll(".md-search-result__item a")].map(one => one.pathname);
  const shown = [...new Set(links)]; // a page and its parts are one find
  const first = shown.slice(0, found.length).map(one => one.split("/").pop());
  const rest = shown.slice(found.length); // examples of the manual
  return (inOrder ? first : first.sort()).join() === found.join() && rest.every(one => one.includes("/manual/"));
}"""


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("RH-101", ["RH-101.html", "RH-1012.html"]),
        ("rh-1012", ["RH-1012.html"]),
        ("RH-10", ["RH-101.html", "RH-1012.html"]),
        ("drying", ["RH-101.html"]),
        ("another rh-1012", ["RH-1012.html"]),
    ],
)
def test_search_finds_a_sensor_by_its_whole_id_first(page: Page, site: Site, typed: str, found: list[str]):
    page.goto(site.served("method.html"))
    page.locator(".md-search__input").click()
    page.keyboard.type(typed)
    # What was found for the letters before stands there for a moment. "RH-10" begins both: either may come first.
    page.wait_for_function(FIRST_FOUND, arg=[found, typed != "RH-10"])


def test_the_keyboard_skips_to_the_page(page: Page, site: Site):
    page.goto(site.served(SENSOR))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.matches('.md-skip')")
    page.keyboard.press("Enter")
    page.wait_for_url("**/*#page-title")


@pytest.mark.parametrize("page", [{"java_script_enabled": False}], indirect=True)
def test_without_scripts_the_numbers_still_stand(page: Page, site: Site):
    page.goto(site.served(SENSOR))
    assert page.locator("#results tbody tr").count() == 12
    assert page.locator(".chart").inner_text() == "See the table."


@pytest.mark.parametrize("page", [{"viewport": DESK}, {"viewport": PHONE}], indirect=True)
def test_every_list_is_reached_from_every_page(page: Page, site: Site):
    page.goto(site.served(VISIT))
    if not page.locator(".md-tabs").is_visible():
        page.locator("label.md-header__button[for=__drawer]").click()
    page.get_by_role("link", name="Schedule").locator("visible=true").first.click()
    page.wait_for_url(site.served("schedule.html"))
