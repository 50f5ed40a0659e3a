"""Whatever stands in a record, on either side of a change, a review ends with an answer."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import builders as b
from tests.git_histories import ANN, BEN
from tests.review.stores import FIRST, NEW, on_a_branch, path_of, reviewed, store, visit

PATHS = ("facility.yml", "people.yml", "families/rush.yml", "sensors/RH-1.yml", "references/GEN-01.yml", path_of(FIRST))
DAMAGE = {
    "deleted": lambda content: None,
    "no text": lambda content: b"\xff\xfe\x00",
    "cut short": lambda content: content[: len(content) // 2],
}


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_record_fails_the_review_and_a_mended_one_passes_it(tmp_path: Path, path: str, damage: str):
    history = store(tmp_path)
    whole = (history.records / path).read_bytes()
    history.branch("damaged").commit({path: DAMAGE[damage](whole)}, by=ANN, on="2026-03-16")
    assert reviewed(history).fails
    history.branch("mended", "damaged").commit({path: whole, **visit(NEW)}, by=ANN, on="2026-03-17")
    found = reviewed(history, "damaged", "mended")
    assert found.errors == () and found.meaning is not None
    assert NEW in {r.visit for r in found.meaning.new}


def test_a_change_that_cures_an_error_of_the_main_branch_brings_its_results(tmp_path: Path):
    history = store(tmp_path, {p: c.replace(b"GEN-01", b"GEN-09") for p, c in visit(NEW).items()})
    found = on_a_branch(history, b.two_pressure("GEN-09"))
    assert not found.fails and found.meaning is not None
    assert {(pair.before, pair.either.visit) for pair in found.meaning.moved} == {(None, NEW)}


def test_a_visit_dated_after_the_day_of_the_review_is_told_and_not_assessed(tmp_path: Path):
    from asfound.review.markdown import as_markdown

    history = store(tmp_path)
    history.branch("work").commit(visit("2026-12-24-lab"), by=BEN, on="2026-03-16")
    found = reviewed(history)
    assert found.meaning is not None and found.meaning.new == ()
    assert "dated after 2026-11-25, so not assessed yet: 2026-12-24-lab" in as_markdown(found, "records/")
