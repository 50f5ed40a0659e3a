"""The comment that a reviewer reads on a phone: the verdict first, glyph and word together, details folded."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import markdown

from asfound.review.data import as_json
from asfound.review.markdown import as_markdown
from asfound.review.markup import MOST, text
from asfound.review.report import Review
from tests import builders as b
from tests.review.stores import FIRST, NEW, SECOND, edited, on_a_branch, path_of, store, visit


def said(found: Review) -> str:
    return as_markdown(found, "records/")


def rendered(found: Review) -> str:
    return markdown.markdown(said(found), extensions=["tables", "md_in_html"])


def test_the_first_line_says_whether_anything_speaks_against_a_merge(tmp_path: Path):
    good = on_a_branch(store(tmp_path / "good"), visit(NEW))
    bad = on_a_branch(store(tmp_path / "bad"), edited(visit(FIRST), b"50.22", b"50.12"))
    assert said(good).splitlines()[0] == "## ✓ nothing speaks against a merge"
    assert said(bad).splitlines()[0] == "## ✗ 1 reason not to merge"


def test_a_broken_rule_stands_before_all_results_with_its_place_and_cure(tmp_path: Path):
    comment = said(on_a_branch(store(tmp_path), {**visit(NEW), **edited(visit(FIRST), b"50.22", b"50.12")}))
    assert comment.index("merged-visit-edited") < comment.index("### New results")
    assert f"`records/{path_of(FIRST)}:6:40`" in comment
    assert "*Cure:* restore" in comment


def test_a_verdict_is_a_word_with_its_glyph_beside_error_uncertainty_tolerance_and_rule(tmp_path: Path):
    comment = said(on_a_branch(store(tmp_path), visit(NEW, 3.0)))
    rows = [line for line in comment.splitlines() if line.startswith("| 50 %RH")]
    assert re.fullmatch(r"\| 50 %RH rising, as found \| \+3\.\d\d ± 0\.\d\d %RH \| ±2\.00 \| ✗ fail \|", rows[0])
    assert "*Rule:* guard band w = U" in comment


def test_passes_are_folded_and_what_is_graver_is_open(tmp_path: Path):
    assert "<details><summary><b>RH-1</b>" in said(on_a_branch(store(tmp_path / "a"), visit(NEW)))
    assert "<details open><summary><b>RH-1</b>" in said(on_a_branch(store(tmp_path / "b"), visit(NEW, 3.0)))


def test_states_due_dates_and_findings_say_before_and_after(tmp_path: Path):
    comment = said(on_a_branch(store(tmp_path), visit(NEW, 3.0)))
    assert "| RH-1 | ✓ in tolerance | ✗ out of tolerance |" in comment
    assert "| RH-1 | 2027-02-20, in date | 2027-03-16, in date |" in comment
    assert f"✗ opened: **RH-1** at {NEW}: error +3" in comment and "nobody has it yet" in comment


def test_awaiting_approval_is_told_and_is_no_reason_not_to_merge(tmp_path: Path):
    comment = said(on_a_branch(store(tmp_path), visit(NEW)))
    assert comment.startswith("## ✓") and "not reviewed yet" in comment


def test_changed_settings_and_what_they_move_stand_with_their_cause(tmp_path: Path):
    comment = said(on_a_branch(store(tmp_path), b.sensor(tolerance={"absolute": "1 %RH"})))
    assert "tolerance: absolute: 1 %RH (new)" in comment
    assert "6 results of 2 visits; no verdict changes." in comment
    assert "because of record (sensors/RH-1.yml): 6 results" in comment
    assert "tolerance ±2.00 → ±1.00 %RH" in comment


def test_readings_altered_in_the_branch_say_who_what_and_where(tmp_path: Path):
    comment = said(on_a_branch(store(tmp_path), visit(NEW), edited(visit(NEW), b"50.22", b"50.12")))
    assert "by Ann Tansy on 2026-03-17" in comment
    assert "RH-1 2026-03-16 08:14: 50.22 → 50.12" in comment


def test_errors_say_that_nothing_is_computed(tmp_path: Path):
    comment = said(on_a_branch(store(tmp_path), edited(visit(NEW), b"GEN-01", b"GEN-O1")))
    assert "**Nothing is computed while the records hold errors.**" in comment
    assert "unknown-reference" in comment and "New results" not in comment


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.links: list[str | None] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append(tag)
        self.links += [value for name, value in attrs if name in ("href", "src")]


def test_what_records_say_is_text_and_neither_markup_nor_a_call_on_somebody(tmp_path: Path):
    nasty = "<script>alert(1)</script> [x](http://elsewhere.example) @everyone **bold** | cell `code`"
    history = store(tmp_path)
    noted = visit(NEW, note="fine")
    found = on_a_branch(history, {**b.sensor(note=nasty), **noted}, edited(noted, b"fine", nasty.encode()))
    comment = said(found)
    page = _Tags()
    page.feed(rendered(found))
    assert "script" not in page.found and page.links == []
    assert "@" not in comment
    assert {"table", "details", "h2"} <= set(page.found), "and our own markup is rendered"


def test_a_sentence_without_signs_is_left_as_it_is():
    assert text("tolerance, absolute: 2 %RH → 3 %RH") == "tolerance, absolute: 2 %RH → 3 %RH"
    assert text("a\nb  c") == "a b c"


def test_a_change_of_very_much_still_makes_a_short_comment(tmp_path: Path):
    sensors = [f"RH-{number}" for number in range(1, 2 * MOST)]
    history = store(tmp_path, *map(b.sensor, sensors))
    found = on_a_branch(
        history, *[{}], {p: c for name in sensors for p, c in visit(f"2026-03-16-{name.lower()}", sensor=name).items()}
    )
    comment = said(found)
    assert len(comment) < 30_000
    assert f"and {len(sensors) - MOST} more sensors, none graver" in comment


def test_a_comment_that_a_forge_would_not_take_is_cut_where_a_line_ends_and_says_so(tmp_path: Path):
    fields = {f"visits/2026/2026-03-16-lab-{n}.csv": c for n in range(30) for c in visit(NEW, note="a" * 150).values()}
    edits = {path: content.replace(b"a" * 150, b"b" * 150) for path, content in fields.items()}
    comment = said(on_a_branch(store(tmp_path), fields, edits))
    assert len(comment) < 65_536
    assert comment.rstrip().splitlines()[-1].startswith("**Cut here")
    assert comment.count("<details") == comment.count("</details>")


def test_the_same_change_makes_the_same_comment(tmp_path: Path):
    comments = {said(on_a_branch(store(tmp_path / name), visit(NEW, 3.0))) for name in ("one", "two")}
    assert len(comments) == 1


def test_a_program_reads_the_same_as_json(tmp_path: Path):
    found = on_a_branch(store(tmp_path), {**visit(NEW, 3.0), **edited(visit(FIRST), b"50.22", b"50.12")})
    told = json.loads(as_json(found, "records/"))
    assert told["fails"] is True
    assert [(fault["rule"], fault["line"]) for fault in told["broken_rules"]] == [("merged-visit-edited", 6)]
    assert [result["verdict"] for result in told["new_results"]] == ["fail", "fail", "fail"]
    assert told["sensors"][0]["after"] == {"state": "out of tolerance", "due": "2027-03-16", "due_state": "in date"}
    assert told["findings_opened"] == [{"sensor": "RH-1", "visit": NEW}]
    assert [pair["after"]["visit"] for pair in told["revised_results"]] == [FIRST]


def test_json_of_records_with_errors_says_nothing_of_results(tmp_path: Path):
    found = on_a_branch(store(tmp_path), edited(visit(NEW), b"GEN-01", b"GEN-O1"))
    told = json.loads(as_json(found, "records/"))
    assert told["errors"] and "new_results" not in told


def test_a_changed_number_carries_its_causes_in_json(tmp_path: Path):
    table = b.two_pressure("GEN-01", {"saturation_pressure": b.flat(0, 1500, "kPa", 0.4, value=0.5)})
    told = json.loads(as_json(on_a_branch(store(tmp_path), table), "records/"))
    assert {one["after"]["visit"] for one in told["changed_results"]} == {FIRST, SECOND}
    assert {tuple(one["causes"]) for one in told["changed_results"]} == {("reference (references/GEN-01.yml)",)}
