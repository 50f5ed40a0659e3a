"""What the page of findings says: who has each, its window, what its sensor drives."""

from __future__ import annotations

from asfound.site.views.findings import case_rows, case_view
from tests.site import store


def test_findings_that_nobody_has_stand_first():
    assert [(row.sensor.text, row.chip.word, row.owner) for row in case_rows(store.lookup())] == [
        ("OUT-1", "nobody has it yet", ""),
        ("SET-1", "open", "Ben Sedge"),
    ]


def test_a_finding_says_its_window_direction_and_what_the_sensor_drives():
    """OUT-1 showed high, so the air was drier than shown; it drives the plant, so the room was moved."""
    case = store.lookup().cases[("OUT-1", "2026-11-02-bins")]
    view = case_view(store.lookup(), case)
    assert "the air was drier than shown, by about 3.0 %RH" in view.meaning
    assert "The sensor drives the plant" in view.meaning
    facts = {fact.name: fact.value for fact in view.known}
    assert (facts["Last known good"], facts["Found"]) == ("2026-03-02", "2026-11-02")
    assert not view.on_file and view.path == "findings/OUT-1/2026-11-02-bins.yml"


def test_who_was_told_stands_with_the_day():
    view = case_view(store.lookup(), store.lookup().cases[("SET-1", "2026-11-09-set")])
    assert [(fact.name, fact.value) for fact in view.told] == [("2026-11-09", "quality")]
    assert {fact.name: fact.value for fact in view.filed}["Deviation number"] == "DEV-7"
