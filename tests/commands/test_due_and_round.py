"""`asfound due` and `asfound round`: text, for programs, a calendar file, and what was typed wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from asfound.cli import main
from asfound.commands.common import CLEAN, COULD_NOT_RUN
from tests import builders as b
from tests.assessment.checks import old_references, points


@pytest.fixture
def records(tmp_path: Path) -> Path:
    """Two sensors due in 2026, one that is stored."""
    stored = b.sensor("RH-3", out_of_service=[{"from": "2025-07-01", "reason": "stored"}])
    visits = [
        b.visit("2025-02-16-lab", *points(0.1)),
        b.visit("2025-03-16-lab", *points(0.1, sensor="RH-2")),
    ]
    for path, content in b.records(b.sensor(), b.sensor("RH-2"), stored, old_references(), *visits).items():
        file = tmp_path / "records" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    return tmp_path / "records"


def ask(records: Path, *words: str) -> int:
    return main([*words, "--records", str(records), "--date", "2026-02-01"])


def test_due_lists_by_day_up_to_the_last_day_asked_for(records, capsys):
    assert ask(records, "due", "--until", "2026-03-15") == CLEAN
    shown = capsys.readouterr().out
    assert "1 sensor" in shown and "RH-1" in shown and "2026-02-16" in shown
    assert "RH-2" not in shown
    assert "out of service" in shown and "stored" in shown


def test_without_a_day_it_looks_as_far_ahead_as_rounds_are_planned(records, capsys):
    assert ask(records, "due", "--json") == CLEAN
    said = json.loads(capsys.readouterr().out)
    assert said["until"] == "2026-04-02"
    assert [(s["sensor"], s["due"]) for s in said["sensors"]] == [("RH-1", "2026-02-16"), ("RH-2", "2026-03-16")]


def test_an_unknown_place_is_named_with_what_may_be_meant(records, capsys):
    assert ask(records, "due", "--place", "lap") == COULD_NOT_RUN
    problem = capsys.readouterr().err
    assert "lap: no such place" in problem and "'lab'" in problem


def test_a_round_says_day_reference_hours_and_sensors(records, capsys):
    assert ask(records, "round") == CLEAN
    shown = capsys.readouterr().out
    assert "round 1: 2026-02-16 (Monday), with GEN-01" in shown
    assert "RH-1" in shown and "RH-2" in shown
    assert "live loops" in shown


def test_a_round_for_programs_and_for_a_calendar(records, tmp_path, capsys):
    assert ask(records, "round", "--json", "--calendar", str(tmp_path / "rounds.ics")) == CLEAN
    (trip,) = json.loads(capsys.readouterr().out)["rounds"]
    assert trip["reference"] == "GEN-01"
    assert [s for stop in trip["stops"] for group in stop["groups"] for s in group["sensors"]] == ["RH-1", "RH-2"]
    assert (tmp_path / "rounds.ics").read_bytes().startswith(b"BEGIN:VCALENDAR")


def test_a_calendar_file_that_cannot_be_written_is_said(records, tmp_path, capsys):
    assert ask(records, "round", "--calendar", str(tmp_path / "nowhere" / "rounds.ics")) == COULD_NOT_RUN
    assert "cure" in capsys.readouterr().err


def test_where_nothing_is_due_there_is_no_round(records, capsys):
    assert ask(records, "round", "--until", "2026-02-02") == CLEAN
    assert "no round" in capsys.readouterr().out
