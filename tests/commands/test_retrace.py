"""`asfound retrace`: a reference was wrong; what changes, in text and for programs, and what was typed wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from asfound.cli import main
from asfound.commands.common import CLEAN, COULD_NOT_RUN, FAULTS
from tests import builders as b

DAY = "2026-12-31"


@pytest.fixture
def records(tmp_path: Path) -> Path:
    """Two sensors that passed: one of them, at 51.7 %RH where the air had 50 %RH, narrowly."""
    visits = [
        b.visit(
            f"2026-0{month}-16-lab",
            b.plateau(50, [51.7, 51.7], b.generated(50)),
            b.plateau(50, [50.0, 50.0], b.generated(50), sensor="RH-2"),
        )
        for month in (3, 9)
    ]
    files = b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), *visits)
    for path, content in files.items():
        file = tmp_path / "records" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    return tmp_path / "records"


def ask(records: Path, *words: str, reference: str = "GEN-01", since: str = "2026-06-01") -> int:
    return main(["retrace", reference, "--since", since, "--date", DAY, "--records", str(records), *words])


def said(capsys: pytest.CaptureFixture[str], records: Path, *words: str) -> str:
    assert ask(records, *words) == CLEAN
    return capsys.readouterr().out


def test_it_says_what_moves_what_changes_and_what_to_do(records, capsys):
    text = said(capsys, records, "--shift", "saturation_temperature=+0.5", "degC")
    first, second = text.splitlines()[:2]
    assert first == "GEN-01: saturation temperature held to have read too high by 0.5 degC, from 2026-06-01 on"
    assert second.startswith("2 results of 1 visit move, by up to ")
    assert second.endswith(" U (there 1.5 %RH); 1 verdict changes; 1 sensor to recall")
    blocks = {block.splitlines()[0]: block for block in text.split("\n\n")}
    assert "pass → fail" in blocks["verdicts that change"]
    recall = next(block for head, block in blocks.items() if head.startswith("sensors to recall"))
    assert "RH-1: in tolerance → out of tolerance" in recall
    assert "safe state" in recall
    assert "RH-1 2026-09-16-lab" in blocks["findings to open"]
    certificates = next(block for head, block in blocks.items() if head.startswith("certificates to issue anew"))
    assert certificates.splitlines()[1:] == ["  RH-1 2026-09-16-lab", "  RH-2 2026-09-16-lab"]
    assert len(blocks["results that move"].splitlines()) == 4
    assert "2026-03-16" not in text


def test_too_low_moves_the_other_way(records, capsys):
    words = ("--shift", "chamber_temperature=-0.1 degC")
    assert "held to have read too low by 0.1 degC" in said(capsys, records, *words)
    # At 25 °C saturation vapour pressure grows by 5.95 % a kelvin: 0.6 % of 50 %RH.
    changes = [r["change"] for r in json.loads(said(capsys, records, *words, "--json"))["results"]]
    assert changes == pytest.approx([0.297, 0.297], rel=0.02)


def test_an_amount_is_shown_with_a_space_before_its_unit(records, capsys):
    for typed in ("chamber_temperature=0.1degC", "chamber_temperature=+0.1  degC"):
        assert "held to have read too high by 0.1 degC, from" in said(capsys, records, "--shift", typed)


def test_days_up_to_the_last_are_retraced(records, capsys):
    text = said(capsys, records, "--until", "2026-09-15", "--shift", "saturation_temperature=+0.5 degC")
    assert text.splitlines() == [
        "GEN-01: saturation temperature held to have read too high by 0.5 degC, from 2026-06-01 to 2026-09-15",
        "no result moves",
    ]


def test_several_quantities_are_wrong_at_once(records, capsys):
    words = ("--shift", "saturation_temperature=0.1 K", "--shift", "chamber_temperature=0.1 K")
    together = json.loads(said(capsys, records, *words, "--json"))
    assert [e["quantity"] for e in together["errors"]] == ["saturation_temperature", "chamber_temperature"]
    # The same error in both thermometers of one bath nearly cancels.
    assert together["results"] and all(abs(r["change"]) < 0.01 for r in together["results"])


def test_programs_get_every_number(records, capsys):
    found = json.loads(said(capsys, records, "--shift", "saturation_temperature=+0.9 degF", "--json"))
    assert (found["reference"], found["since"], found["until"]) == ("GEN-01", "2026-06-01", None)
    assert found["errors"] == [{"quantity": "saturation_temperature", "error": 0.5, "unit": "degC"}]
    assert [(r["sensor"], r["visit"]) for r in found["results"]] == [
        ("RH-1", "2026-09-16-lab"),
        ("RH-2", "2026-09-16-lab"),
    ]
    one = found["results"][0]
    assert one["change"] == pytest.approx(one["after"]["error"] - one["before"]["error"], abs=1e-8)
    assert (one["before"]["verdict"], one["after"]["verdict"]) == ("pass", "fail")
    assert found["states"] == [
        {"sensor": "RH-1", "before": "in tolerance", "after": "out of tolerance", "recall": True}
    ]
    assert found["findings"] == {"opened": [{"sensor": "RH-1", "visit": "2026-09-16-lab"}], "dropped": []}
    assert found["impossible"] == []


def test_readings_that_it_would_make_impossible_are_named(records, capsys):
    text = said(capsys, records, "--shift", "saturation_temperature=+30 degC")
    assert "2 results left without value or verdict: nothing is known of them" in text.splitlines()[1]
    assert "readings that it would make impossible\n  visits/2026/2026-09-16-lab.csv:2:" in text
    assert "→ –" in text


@pytest.mark.parametrize(
    ("words", "fault", "cure"),
    [
        (
            ["saturation_temp=1 degC"],
            "GEN-01 has no quantity 'saturation_temp'",
            "did you mean 'saturation_temperature'?",
        ),
        (["saturation_temperature=1"], "'1' has no unit", "write a number and its unit"),
        (["saturation_temperature=1 kPa"], "'kPa' is no unit of temperature", "use one of degC, degF, K"),
        (["saturation_temperature=1 kPa/year"], "is no unit of temperature", "use one of degC, degF, K"),
        (["saturation_temperature"], "is no QUANTITY=ERROR", "write e.g. --shift 'saturation_pressure=+0.1 Pa'"),
        (["saturation_temperature="], "is no QUANTITY=ERROR", "write e.g."),
        (
            ["saturation_temperature=1 degC", "chamber_temperature=1 degC"],
            "gives several errors",
            "write --shift once for each quantity",
        ),
        (["saturation_temperature=one degC"], "is not a number with a unit", "write a number and its unit"),
    ],
)
def test_a_shift_that_cannot_be_read_is_named_with_its_cure(words, fault, cure, records, capsys):
    assert ask(records, "--shift", *words) == COULD_NOT_RUN
    said = capsys.readouterr().err
    assert fault in said
    assert cure in said.splitlines()[1]
    assert len(said.splitlines()) == 2


@pytest.mark.parametrize(
    ("given", "fault"),
    [
        ({"reference": "GEN-1"}, "there is no reference 'GEN-1'"),
        ({"since": "2027-01-01"}, "--since 2027-01-01 lies after the day of assessment, 2026-12-31"),
    ],
)
def test_a_reference_or_a_day_that_makes_no_sense_is_named(given, fault, records, capsys):
    assert ask(records, "--shift", "saturation_temperature=1 degC", **given) == COULD_NOT_RUN
    assert capsys.readouterr().err.startswith(fault)


def test_a_quantity_has_one_error(records, capsys):
    words = ["--shift", "saturation_temperature=1 degC"] * 2
    assert ask(records, *words) == COULD_NOT_RUN
    assert capsys.readouterr().err.startswith("--shift gives saturation_temperature twice")


def test_the_days_must_be_in_order(records, capsys):
    words = ("--until", "2026-05-31", "--shift", "saturation_temperature=1 degC")
    assert ask(records, *words) == COULD_NOT_RUN
    assert capsys.readouterr().err.startswith("--until 2026-05-31 lies before --since 2026-06-01")


def test_a_reference_id_nearly_right_is_suggested(records, capsys):
    ask(records, "--shift", "saturation_temperature=1 degC", reference="gen-01")
    assert "did you mean 'GEN-01'?" in capsys.readouterr().err


def test_faulty_records_are_refused(records, capsys):
    (records / "sensors/RH-1.yml").write_text("id: RH-1\n", encoding="utf-8")
    assert ask(records, "--shift", "saturation_temperature=1 degC") == FAULTS
    assert "RH-1.yml:1:1: error[missing-key]" in capsys.readouterr().out


def test_records_without_a_facility_are_refused(records, capsys):
    (records / "facility.yml").unlink()
    assert ask(records, "--shift", "saturation_temperature=1 degC") == FAULTS
    assert "facility.yml" in capsys.readouterr().out


def test_a_missing_folder_is_said_in_a_line(tmp_path, capsys):
    assert ask(tmp_path / "none", "--shift", "saturation_temperature=1 degC") == COULD_NOT_RUN
    assert "there is no such folder" in capsys.readouterr().err
