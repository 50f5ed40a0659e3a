"""The commands as a technician and a CI job use them."""

import argparse
import json
import re
import shutil
import time
from pathlib import Path

import pytest

from asfound.cli import _parser, main
from asfound.commands.common import CLEAN, COULD_NOT_RUN, FAULTS

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "records"
VISIT = "2026-10-20-drying-b"
WITHOUT_RECORDS = {"completion", "new", "verify"}


def commands() -> dict[str, argparse.ArgumentParser]:
    actions = [a for a in _parser()._actions if isinstance(a, argparse._SubParsersAction)]
    return actions[0].choices


@pytest.fixture
def unfinished(tmp_path: Path) -> Path:
    """A visit file outside the records: two plateaus read, one to come, one row slipped."""
    lines = (DEMO / "visits/2026" / f"{VISIT}.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    header, rows = lines[0], [line for line in lines[1:] if line.startswith("DRY-22")]
    file = tmp_path / "2026-11-24-drying-b.csv"
    file.write_text(header + "".join(rows[:6]).replace("2026-10-20", "2026-11-24"), encoding="utf-8")
    return file


def test_every_command_has_help_with_an_example_and_stands_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name, parser in commands().items():
        text = parser.format_help()
        assert f"example: asfound {name}" in re.sub(r"\s+", " ", text)
        assert f"`{name}" in readme
        assert "--records" in text or name in WITHOUT_RECORDS


def test_every_option_has_a_help_text() -> None:
    for parser in commands().values():
        assert all(action.help for action in parser._actions)


def test_clean_records_pass_the_check(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--records", str(DEMO)]) == CLEAN
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "no errors" in printed.err


def test_faulty_records_are_named_with_place_and_cure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    records = tmp_path / "records"
    shutil.copytree(DEMO, records)
    visit = records / "visits/2026" / f"{VISIT}.csv"
    visit.write_text(re.sub(r"GEN-0\d", "GEN-91", visit.read_text(encoding="utf-8")), encoding="utf-8")
    (records / "sensors/DRY-11.yml").write_text("id: DRY-11\n", encoding="utf-8")
    assert main(["check", "--records", str(records)]) == FAULTS
    text = capsys.readouterr().out
    assert re.search(rf"{VISIT}\.csv:\d+:\d+: error\[unknown-reference\]", text)
    assert re.search(r"DRY-11\.yml:1:1: error\[missing-key\]", text)
    assert "cure: " in text
    assert main(["check", "--annotations", "--records", str(records)]) == FAULTS
    assert re.search(
        r"^::error file=.*visits/2026/.*,line=\d+,col=\d+,title=unknown-reference::", capsys.readouterr().out, re.M
    )
    assert main(["check", "--json", "--records", str(records)]) == FAULTS
    said = json.loads(capsys.readouterr().out)
    assert {"unknown-reference", "missing-key"} <= {fault["rule"] for fault in said}
    assert all(fault["line"] >= 1 and fault["cure"] for fault in said)


@pytest.mark.parametrize("command", ["check", "build", "explain"])
def test_a_missing_folder_is_said_in_a_line(command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    extra = ["x.csv"] if command == "explain" else []
    assert main([command, *extra, "--records", str(tmp_path / "none")]) == COULD_NOT_RUN
    assert "there is no such folder" in capsys.readouterr().err


def test_a_day_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["build", "--date", "14.03.2026"])
    assert stop.value.code == COULD_NOT_RUN
    assert "YYYY-MM-DD" in capsys.readouterr().err


def test_an_unfinished_visit_is_explained_at_the_cart(unfinished: Path, capsys: pytest.CaptureFixture[str]) -> None:
    started = time.process_time()
    assert main(["explain", str(unfinished), "--records", str(DEMO)]) == CLEAN
    assert time.process_time() - started < 10.0  # a second on an idle machine; this only catches a repeat of all work
    text = capsys.readouterr().out
    assert "DRY-22 (serial RL-20602)" in text
    assert "  ✗ fail, as found\n  still to do: 40 %RH\n" in text
    assert text.count("✗ fail ") + text.count("✗ fail\n") == 2
    assert "rule: guard band" in text
    assert "advice: " in text


def test_a_slipped_row_is_named_and_the_others_are_still_explained(
    unfinished: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = unfinished.read_text(encoding="utf-8").splitlines(keepends=True)
    lines[-1] = re.sub(r"GEN-0\d", "GEN-91", lines[-1])
    unfinished.write_text("".join(lines), encoding="utf-8")
    assert main(["explain", str(unfinished), "--records", str(DEMO)]) == FAULTS
    text = capsys.readouterr().out
    assert f"{unfinished}:7:" in text and "error[unknown-reference]" in text
    assert text.count("✗ fail\n") == 1
    assert "2 readings, the policy asks for 3" in text


def test_the_budget_of_one_plateau_is_shown_row_by_row(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", "DRY-22", VISIT, "--budget", "2", "--records", str(DEMO)]) == CLEAN
    text = capsys.readouterr().out
    assert "budget of plateau 2, humidity: u = " in text
    assert "budget of plateau 1" not in text
    assert "formulation of the enhancement factor" in text


def test_a_budget_of_a_plateau_that_is_not_there_is_answered_with_those_that_are(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["explain", "DRY-22", VISIT, "--budget", "9", "--records", str(DEMO)]) == COULD_NOT_RUN
    assert "there is no plateau 9\n  cure: give one of 1, 2, 3" in capsys.readouterr().err


def test_errors_of_sensor_and_loop_stand_beside_the_whole(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", "DRY-22", VISIT, "--records", str(DEMO)]) == CLEAN
    text = capsys.readouterr().out
    assert "of the sensor  of the loop" in text and max(map(len, text.splitlines())) < 160


def test_the_budget_adds_up_to_its_standard_uncertainty(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", "DRY-22", VISIT, "--json", "--records", str(DEMO)]) == CLEAN
    results = json.loads(capsys.readouterr().out)["results"]
    assert results
    for result in results:
        total = sum(line["contribution"] ** 2 for line in result["budget"]) ** 0.5
        assert total == pytest.approx(result["u"], rel=1e-8)
        assert result["U"] == pytest.approx(result["k"] * result["u"], rel=1e-8)


@pytest.mark.parametrize(
    ("what", "said"),
    [
        (["nothing.csv"], "cannot be read"),
        (["DRY-22", "2026-10-21-drying-b"], "that month has"),
        (["DRY-99", VISIT], "it holds DRY-21, DRY-22, DRY-23"),
        (["a", "b", "c"], "give one visit file, or a sensor and a visit"),
    ],
)
def test_what_cannot_be_explained_is_said_with_a_cure(
    what: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["explain", *what, "--records", str(DEMO)]) == COULD_NOT_RUN
    assert said in capsys.readouterr().err


def test_a_file_that_is_no_visit_is_refused_by_its_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "notes.csv").write_text("a,b\n", encoding="utf-8")
    assert main(["explain", str(tmp_path / "notes.csv"), "--records", str(DEMO)]) == COULD_NOT_RUN
    assert "not named like a visit" in capsys.readouterr().err
