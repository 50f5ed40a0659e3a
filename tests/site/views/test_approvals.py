"""Pages say how far each visit has come: who recorded, merged and approved it, when, and what awaits review."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from asfound.assessment.assess import assess
from asfound.provenance import HistoryOf
from asfound.records.snapshot import from_folder
from asfound.site.lookup.lookup import Lookup, look_up
from asfound.site.publishing.build import content_of
from asfound.site.views.overview import overview
from asfound.site.views.sensors import sensor_view
from asfound.site.views.visits import visit_rows
from tests import builders as b
from tests.git_histories import ANN, BEN, History
from tests.site import store
from tests.site.publishing import test_pages

FOLDERS = store.templates.template_folders()
GOOD, BAD = "2026-03-16-lab", "2026-04-13-lab"


def one_visit(name: str, error: float, sensor: str = "RH-1", phase: str = "as_found") -> b.Files:
    rows = [
        b.plateau(at, [at + error, at + error + 0.02], b.generated(at), sensor=sensor, phase=phase)
        for at in (20, 50, 80)
    ]
    return b.visit(name, *rows)


def two_merged(folder: Path) -> History:
    """One visit that Ben merged, and one out of tolerance that Ann merged herself."""
    history = History(folder / "store", b.records(b.sensor(), b.two_pressure()), by=BEN, on="2026-01-15")
    history.branch("good").commit(one_visit(GOOD, 0.2), by=ANN, on="2026-03-16")
    history.merge("good", by=BEN, on="2026-03-17")
    history.branch("bad").commit(one_visit(BAD, 3.0), by=ANN, on="2026-04-13")
    history.merge("bad", by=ANN, on="2026-04-13")
    return history


@pytest.fixture
def history(tmp_path: Path) -> History:
    """The two visits, for a test that adds to them."""
    return two_merged(tmp_path)


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> History:
    """The two visits, to be read only."""
    return two_merged(tmp_path_factory.mktemp("merged"))


@pytest.fixture(scope="module")
def merged_pages(merged: History) -> dict[str, str]:
    return pages(merged)


def text_of(body: str) -> str:
    """As it reads."""
    return re.sub(r" ([.;,])", r"\1", test_pages.text_of(body))


def looked_up(history: History) -> Lookup:
    asked = HistoryOf(history.records)
    found = assess(from_folder(history.records), date(2026, 5, 1), asked)
    return look_up(found, asked.of(found.records))


def pages(history: History) -> dict[str, str]:
    lookup = looked_up(history)
    content = content_of(lookup.records.files, lookup, FOLDERS, {})
    return {page.path: text_of(page.body) for page in content.pages}


def test_an_approved_visit_says_who_approved_it_when_and_at_which_commit(merged: History, merged_pages: dict[str, str]):
    text = merged_pages[f"visits/{GOOD}.html"]
    merge = merged.git("rev-parse", "main^").strip()
    assert "approved By Ben Sedge on 2026-03-17." in text
    assert f"Ben Sedge on 2026-03-17 merged it, {merge[:12]}" in text
    recorded = merged.git("rev-parse", "main^^2").strip()
    assert f"Ann Tansy on 2026-03-16 {recorded[:12]}" in text


def test_a_visit_that_nobody_approved_says_why(merged_pages: dict[str, str]):
    text = merged_pages[f"visits/{BAD}.html"]
    assert "not reviewed Merged by Ann Tansy, who calibrated there: another must approve." in text


def test_a_visit_of_several_files_tells_of_each(history: History):
    second = b.visit(
        BAD,
        *[b.plateau(at, [at + 0.1, at + 0.12], b.generated(at), reason="typing error") for at in (20, 50, 80)],
        revision=2,
    )
    history.branch("second").commit(second, by=ANN, on="2026-04-20")
    history.merge("second", by=BEN, on="2026-04-21")
    lookup = looked_up(history)
    text = pages(history)[f"visits/{BAD}.html"]
    assert "approved By Ben Sedge on 2026-04-21." in text  # what stands is
    assert "not reviewed: merged by Ann Tansy" in text
    assert [(row.link.text, row.review.word) for row in visit_rows(lookup)] == [(BAD, "approved"), (GOOD, "approved")]
    assert overview(lookup).awaiting == "every visit is approved"


def test_the_list_of_visits_shows_how_far_each_has_come(history: History):
    history.write(one_visit("2026-04-27-lab", 0.2))
    assert [(row.link.text, row.review.word, row.review.kind) for row in visit_rows(looked_up(history))] == [
        ("2026-04-27-lab", "not committed", "unreviewed"),
        (BAD, "not reviewed", "unreviewed"),
        (GOOD, "approved", "ok"),
    ]


def test_a_sensor_s_page_marks_the_visits_that_nobody_approved(merged: History):
    (view,) = (sensor_view(found, found.assessment.standings["RH-1"], lambda *_: ()) for found in [looked_up(merged)])
    marks = {line.visit.text: [chip.word for chip in line.chips] for line in view.visits}
    assert marks == {BAD: ["as found: fail", "not reviewed"], GOOD: ["as found: pass"]}


def test_the_overview_s_first_line_counts_what_awaits_review(history: History, merged_pages: dict[str, str]):
    assert f"1 visit awaits review, the newest {BAD}." in merged_pages["index.html"]
    history.write(one_visit("2026-04-27-lab", 0.2))
    said = "2 visits await review, 1 of them not committed, the newest 2026-04-27-lab."
    assert said in pages(history)["index.html"]


def sections(text: str) -> Iterator[int]:
    for title in ("Reported, not reviewed", "finding: nobody has it yet", "Medium consequence"):
        yield text.index(title)


def test_what_is_out_of_tolerance_and_not_reviewed_leads_the_overview(merged: History, merged_pages: dict[str, str]):
    text = merged_pages["index.html"]
    assert list(sections(text)) == sorted(sections(text))
    (one,) = overview(looked_up(merged)).reported
    assert (one.sensor.text, one.visit.text, one.chip.word) == ("RH-1", BAD, "not reviewed")
    assert one.sentence.startswith("as found, error +3.0")


def test_once_it_is_approved_it_is_reported_no_more(history: History):
    history.commit(by=BEN, on="2026-04-14", trailers=[f"Reviewed-file: records/visits/2026/{BAD}.csv"])
    view = overview(looked_up(history))
    assert (view.reported, view.awaiting) == ((), "every visit is approved")


def test_what_was_decided_about_is_reported_no_more_once_the_sensor_is_good_again(history: History):
    assert overview(looked_up(history)).reported
    closed = b.finding("RH-1", BAD, closed="2026-04-20", closed_by="ben", decision="goods released")
    history.commit(closed | one_visit("2026-04-20-lab", 0.2), by=ANN, on="2026-04-20")
    assert overview(looked_up(history)).reported == ()


def test_the_data_page_names_the_commit_and_how_far_its_records_have_come(
    merged: History, merged_pages: dict[str, str]
):
    text = merged_pages["data/index.html"]
    assert f"Commit {merged.head}" in text
    assert "Default branch main" in text
    assert "Files 7 recorded, 7 of them merged" in text
    assert "Visits, by file 1 approved, 1 not reviewed" in text


def test_only_the_data_page_names_the_commit_that_was_looked_at(history: History):
    history.commit({".gitattributes": b"* -text\n"}, by=BEN, on="2026-04-30")
    naming = [path for path, text in pages(history).items() if history.head[:12] in text]
    assert naming == ["data/index.html"]


def test_without_a_history_pages_say_so():
    assert "no history No git history of these records is at hand." in text_of(
        store.page("visits/2026-11-02-bins.html").body
    )
    assert "History no history nothing tells who recorded" in text_of(store.page("data/index.html").body)
    assert overview(store.lookup()).reported == ()
