"""The pages of a whole store in a browser: charts drawn, nothing asked of others, read on a phone, without scripts."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from asfound.site.publishing import shell
from asfound.site.publishing.publish import build_site
from tests.browser.conftest import PHONE, ROOT
from tests.site import store

if TYPE_CHECKING:
    from playwright.sync_api import Page

KINDS = (
    "index.html",
    "sensors/index.html",
    "sensors/OUT-1.html",
    "sensors/FINE-1.html",
    "visits/index.html",
    "visits/2026-11-02-bins.html",
    "visits/2026-11-23-void.html",
    "references/index.html",
    "references/PROBE-01.html",
    "schedule.html",
    "drift.html",
    "findings/index.html",
    "findings/SET-1-2026-11-09-set.html",
    "method.html",
    "data/index.html",
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    top = tmp_path_factory.mktemp("store")
    (top / "records").mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shell, "load_builder", lambda: lambda records, day, templates: store.content())
        build_site(ROOT / "mkdocs.yml", top / "records", top / "site", store.TODAY)
    return top / "site"


@pytest.mark.parametrize("page", [{"viewport": PHONE, "has_touch": True, "is_mobile": True}], indirect=True)
def test_no_page_scrolls_sideways_on_a_phone_and_none_fails_or_asks_elsewhere(page: Page, folder: Path):
    """The fixture fails on any error in a script and on any request that leaves this machine."""
    for path in KINDS:
        page.goto((folder / path).as_uri())
        page.wait_for_load_state("load")
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], path


def test_the_history_is_drawn_with_its_marks_and_drift(page: Page, folder: Path):
    page.goto((folder / "sensors/CREEP-1.html").as_uri())
    page.wait_for_selector(".chart.js-plotly-plot .main-svg")
    names = page.evaluate("document.querySelector('.chart').data.map(t => t.name ?? '')")
    assert {"20 %RH", "50 %RH", "80 %RH", "tolerance"} <= set(names)
    assert any(re.match(r"drift \+1\.6\d* ± 0\.\d+ %RH per year, 20 %RH", name) for name in names)
    key = page.locator(".chart + .chart-key").first.inner_text()
    assert "thick lines: the error that the drift expects; band: where a measurement at " in key
    assert page.locator(".chart .annotation-text", has_text="due").count() == 1
    page.goto((folder / "sensors/SET-1.html").as_uri())
    page.wait_for_selector(".chart.js-plotly-plot .main-svg")
    assert "2026-11-09 zero adjusted" in page.locator(".chart + .chart-key").first.inner_text()
    crossed = page.evaluate("document.querySelector('.chart').data.find(t => t.name == 'fail').y")
    assert len(crossed) == 3 and max(crossed) < -2, "three points failed as found"


def test_lines_of_a_history_end_at_an_adjustment(page: Page, folder: Path):
    page.goto((folder / "sensors/SET-1.html").as_uri())
    page.wait_for_selector(".chart.js-plotly-plot .main-svg")
    line = page.evaluate(
        "document.querySelector('.chart').data.find(t => t.legendgroup == '50 %RH' && t.mode == 'lines').y"
    )
    assert [value is None for value in line] == [False, False, True, False], "found, found | left"


def test_a_finding_draws_its_days_against_the_limits_and_not_over_days_without_a_value(page: Page, folder: Path):
    page.goto((folder / "findings/SET-1-2026-11-09-set.html").as_uri())
    page.wait_for_selector(".chart.js-plotly-plot .main-svg")
    traces = page.evaluate(
        "document.querySelector('.chart').data.map(t => [t.mode, t.marker?.symbol ?? '', t.x.length])"
    )
    means = [length for mode, symbol, length in traces if mode == "lines"][5:]
    assert len(means) == 5 and sum(means) == 34, "five runs of days, four days missing"
    assert any(symbol == "x-thin-open" and length > 0 for _, symbol, length in traces)
    key = page.locator(".chart + .chart-key").inner_text()
    assert "× outside the limits" in key and "2: 2026-11-09 found out of tolerance" in key


def test_drift_of_all_stands_side_by_side_with_its_states(page: Page, folder: Path):
    page.goto((folder / "drift.html").as_uri())
    page.wait_for_selector(".chart.js-plotly-plot .main-svg")
    drawn = page.evaluate("document.querySelector('.chart').data.map(t => [t.name, t.marker.symbol, t.x.length])")
    assert ["drifting", "diamond", 1] in drawn
    assert page.locator(".chart .ytick", has_text="CREEP-1").count() == 1
    page.get_by_label("Show").fill("drifting")
    assert page.locator("#drifts tbody tr:visible").count() == 1


def test_what_is_steady_is_folded_until_it_is_asked_for(page: Page, folder: Path):
    page.goto((folder / "drift.html").as_uri())
    rows = page.locator("#other-drifts tbody tr:visible")
    assert rows.count() == 0
    page.get_by_label("Show").fill("drifting")
    assert rows.count() == 0, "nothing in the fold was asked for"
    page.get_by_label("Show").fill("FINE-1")
    assert "FINE-1" in rows.first.inner_text() and page.locator("#drifts tbody tr:visible").count() == 0


@pytest.mark.parametrize("path", ["findings/index.html", "drift.html"])
def test_at_a_desk_no_column_of_a_list_runs_off_the_side(page: Page, folder: Path, path: str):
    page.goto((folder / path).as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    boxes = page.evaluate("[...document.querySelectorAll('.table-box')].map(b => [b.scrollWidth, b.clientWidth])")
    assert boxes and all(0 < needed <= seen for needed, seen in boxes)


@pytest.mark.parametrize("page", [{"viewport": PHONE, "has_touch": True, "is_mobile": True}], indirect=True)
def test_a_phone_sees_finding_and_state_without_scrolling(page: Page, folder: Path):
    page.goto((folder / "findings/index.html").as_uri())
    right = "cells => Math.max(...cells.map(cell => cell.getBoundingClientRect().right))"
    assert page.locator("#cases tbody td:nth-child(2)").evaluate_all(right) <= PHONE["width"]


def test_a_budget_unfolds_and_the_keyboard_reaches_its_table(page: Page, folder: Path):
    page.goto((folder / "visits/2026-11-02-bins.html").as_uri())
    budget = page.locator("#budget-OUT-1-humidity-1")
    assert not budget.locator("table").is_visible()
    budget.locator("summary").focus()
    page.keyboard.press("Enter")
    budget.locator("table").wait_for(state="visible")
    assert budget.locator("tr.sum").inner_text().startswith("Combined")


def test_sensors_are_found_by_state(page: Page, folder: Path):
    page.goto((folder / "sensors/index.html").as_uri())
    page.get_by_label("Show").fill("drifting")
    shown = page.locator("#sensors tbody tr:visible th a").all_inner_texts()
    assert shown == ["CREEP-1"]


@pytest.mark.parametrize("page", [{"java_script_enabled": False}], indirect=True)
def test_without_scripts_every_number_and_state_stands(page: Page, folder: Path):
    page.goto((folder / "sensors/OUT-1.html").as_uri())
    assert page.locator(".chart").inner_text() == "The chart is drawn by a script; the table holds the same numbers."
    assert page.locator("table.results tbody tr").count() == 8, "two visits of three points, each under its head"
    assert page.locator(".lead").inner_text().startswith("Out of tolerance")


@pytest.mark.parametrize("page", [{"color_scheme": "dark"}], indirect=True)
def test_paper_holds_the_budgets_and_leaves_out_rows_too_wide_for_it(page: Page, folder: Path):
    page.goto((folder / "visits/2026-11-02-bins.html").as_uri())
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("#budget-OUT-1-humidity-1 table").is_visible()
    assert not page.locator("table.raw").first.is_visible()
    assert page.locator("#rows-r1 code").first.is_visible()
