"""`asfound soak`: of a log its plateaus, what was left at each, minutes saved, and rows that a build computes."""

from __future__ import annotations

import json
import pickle
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asfound.cli import main
from asfound.commands.common import CLEAN, COULD_NOT_RUN, FAULTS
from asfound.soak.approach import Approach, approach
from tests import builders as b
from tests.logs import Run, run_files

RUN = Run(targets=(20.0, 50.0, 80.0), minutes=40.0, tau_min=3.0, error=0.4)
DAY = "2026-03-16"
LOG = f"logs/{DAY}-lab.csv"


@pytest.fixture(autouse=True, scope="module")
def fitted_once() -> Iterator[None]:
    """The same readings are asked about from many sides: what was left of one approach is computed once."""
    known: dict[bytes, Approach] = {}

    def remembered(t: np.ndarray, y: np.ndarray, **asked: Any) -> Approach:
        key = pickle.dumps((t, y, sorted(asked.items())))
        if key not in known:
            known[key] = approach(t, y, **asked)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("asfound.soak.waiting.approach", remembered)
        yield


@pytest.fixture
def records(tmp_path: Path) -> Path:
    """A facility with one log of one sensor, and no visit."""
    written = {path: content for path, content in run_files(RUN).items() if path.startswith("logs/")}
    for path, content in (b.records(b.sensor(), b.two_pressure()) | written).items():
        file = tmp_path / "records" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    return tmp_path / "records"


def ask(records: Path, *words: str, log: str = LOG) -> int:
    return main(["soak", str(records / log), "--records", str(records), *words])


def documents(capsys: pytest.CaptureFixture[str], records: Path, *words: str) -> dict:
    ask(records, "--json", *words)
    (document,) = json.loads(capsys.readouterr().out)
    return document


def test_it_says_what_was_left_and_how_many_minutes_could_have_been_saved(records, capsys):
    assert ask(records) == CLEAN
    head, table, total = capsys.readouterr().out.strip().split("\n\n")
    assert head.endswith("723 rows, 10 s apart, 2026-03-16 08:00:00 until 2026-03-16 10:06:00")
    lines = table.splitlines()
    assert lines[0] == "RH-1 against GEN-01"
    assert [line.split()[0] for line in lines[2:]] == ["20", "50", "80"]
    assert all("min could have been saved" in line for line in lines[2:])
    assert total.startswith("in all ")


def test_the_numbers_are_those_of_the_simulated_sensor(records, capsys):
    plateaus = documents(capsys, records)["sensors"][0]["plateaus"]
    assert [p["target_rh"] for p in plateaus] == [20.0, 50.0, 80.0]
    for plateau in plateaus[1:]:  # what came before the first is not in the log
        assert plateau["step_rh"] == pytest.approx(30.0, abs=0.2)
        assert plateau["time_constants_min"][0] == pytest.approx(3.0, rel=0.2)
        assert abs(plateau["left_rh"]) <= plateau["U_left_rh"] + 0.001  # after 35 min nothing is left
        assert plateau["soak_min"] == pytest.approx(35.0, abs=1.0)
        assert plateau["saved_min"] == pytest.approx(plateau["soak_min"] - plateau["enough_after_min"])


def test_a_smaller_share_asks_for_a_longer_soak(records, capsys):
    saved = [documents(capsys, records, "--share", share)["saved_min"] for share in ("20", "10", "3")]
    assert saved[0] > saved[1] > saved[2]


def test_a_soak_that_was_too_short_is_said_and_is_the_exit_code(records, capsys):
    short = Run(targets=(20.0, 80.0), minutes=9.0, tau_min=4.0, window_min=3.0)
    for path, content in run_files(short).items():
        (records / path).parent.mkdir(parents=True, exist_ok=True)
        if path.startswith("logs/"):
            (records / path).write_bytes(content)
    assert ask(records) == FAULTS
    out = capsys.readouterr().out
    assert out.splitlines()[-1] == "in all 0 min could have been saved"
    assert out.splitlines()[-3].endswith("  no")


def test_the_rows_name_the_log_and_come_out_as_the_sensors_error(records, tmp_path, capsys):
    visit = records / f"visits/2026/{DAY}-lab.csv"
    visit.parent.mkdir(parents=True)
    assert ask(records, "--with", "technician=ann", "--output", str(visit)) == CLEAN
    header, *rows = visit.read_text(encoding="utf-8").splitlines()
    assert header == "sensor,time,phase,target [%RH],reference,technician,soak [min],log,log_from,log_until"
    assert [row.split(",")[3] for row in rows] == ["20", "50", "80"]
    files = {p.relative_to(records).as_posix(): p.read_bytes() for p in records.rglob("*") if p.is_file()}
    for result in b.results(files):
        assert abs(result.error - RUN.error) <= result.U


def test_a_log_in_a_folder_is_named_with_it_and_one_elsewhere_is_to_be_brought(records, tmp_path, capsys):
    for folder in (records / "logs/2026", tmp_path / "logger"):
        folder.mkdir()
        for suffix in ("csv", "yml"):
            (folder / f"cart.{suffix}").write_bytes((records / f"logs/{DAY}-lab.{suffix}").read_bytes())
    assert ask(records, "--output", str(tmp_path / "inside.csv"), log="logs/2026/cart.csv") == CLEAN
    assert ",2026/cart.csv," in (tmp_path / "inside.csv").read_text(encoding="utf-8")
    assert "put " not in capsys.readouterr().err
    elsewhere = str(tmp_path / "logger/cart.csv")
    assert ask(records, "--output", str(tmp_path / "outside.csv"), log=elsewhere) == CLEAN
    assert ",cart.csv," in (tmp_path / "outside.csv").read_text(encoding="utf-8")
    assert "put cart.csv and its mapping into " in capsys.readouterr().err


def test_a_visit_that_is_there_is_not_overwritten(records, capsys):
    visit = records / "visit.csv"
    visit.write_text("kept", encoding="utf-8")
    assert ask(records, "--output", str(visit)) == COULD_NOT_RUN
    assert "is there already" in capsys.readouterr().err
    assert visit.read_text(encoding="utf-8") == "kept"


def test_a_log_with_faults_is_told_by_its_own_path(records, capsys):
    log = records / LOG
    log.write_text(log.read_text(encoding="utf-8").replace("25.00", "warm", 1), encoding="utf-8")
    assert ask(records) == FAULTS
    assert f"{log}:2:1: error[bad-number]" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--sensor", "RH-7"), "sensor 'RH-7' has no record"),
        (("--reference", "GEN-1"), "did you mean 'GEN-01'?"),
        (("--mapping", "nowhere.yml"), "nowhere.yml: No such file"),
        (("--with", "techician=ann"), "did you mean 'technician'?"),
        (("--with", "output [%RH]=50"), "the row has output, which its log gives"),
    ],
)
def test_what_cannot_be_done_is_told_with_the_cure(records, capsys, words, said):
    assert ask(records, *words) == COULD_NOT_RUN
    told = capsys.readouterr().err
    assert said in told
    assert "\n  cure: " in told


def test_a_reference_without_a_humidity_is_not_told_as_a_sensor_without_readings(records, capsys):
    mapping = records / f"logs/{DAY}-lab.yml"
    said = mapping.read_text(encoding="utf-8")
    assert "saturation_pressure [kPa absolute]" in said
    mapping.write_text(said.replace("[kPa absolute]", "[kPa gauge]"), encoding="utf-8")  # and no ambient pressure
    assert ask(records) == COULD_NOT_RUN
    told = capsys.readouterr().err
    assert "none of its readings give a humidity" in told
    assert "--with for what every row shares" in told


def test_a_log_without_a_mapping_or_without_plateaus(records, capsys):
    (records / f"logs/{DAY}-lab.yml").rename(records / "logs/other.yml")
    assert ask(records) == COULD_NOT_RUN
    assert f"write {DAY}-lab.yml beside it" in capsys.readouterr().err
    lines = (records / LOG).read_text(encoding="utf-8").splitlines()
    (records / LOG).write_text("\n".join(lines[:20]), encoding="utf-8")
    assert ask(records, "--mapping", str(records / "logs/other.yml")) == COULD_NOT_RUN
    assert "19 rows are too few" in capsys.readouterr().err
    moved = [line.replace(",25.00", f",{25 + 0.2 * n:.2f}", 1) for n, line in enumerate(lines[1:60])]
    (records / LOG).write_text("\n".join([lines[0], *moved]), encoding="utf-8")
    assert ask(records, "--mapping", str(records / "logs/other.yml")) == COULD_NOT_RUN
    assert "no plateau of GEN-01 is found" in capsys.readouterr().err
