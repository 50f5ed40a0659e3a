"""A reference method that nobody foresaw runs from its records to its certificate: a wet-and-dry-bulb psychrometer.

It is declared in this file alone, as DEVELOPERS.md says; no other file of the program names it.
"""

from __future__ import annotations

import csv
import html
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from asfound.certificates.print_all import certificate
from asfound.certificates.statement import Statements
from asfound.certificates.verify import verify
from asfound.cli import main
from asfound.commands.common import CLEAN, FAULTS
from asfound.humidity.vapour import saturated_partial_pressure
from asfound.measurement.evaluation import Evaluation
from asfound.measurement.methods.registry import MODELS
from asfound.printing.templates import template_folders
from asfound.records.methods import Method
from asfound.records.visits.columns import Column
from asfound.stated.statement import document
from asfound.uncertainty.duals import differentiate
from tests import builders as b
from tests.certificates.certified import issue
from tests.registered_method import registered

DAY = "2026-04-30"
VISIT = "2026-03-16-lab"
PSYCHROMETER = Method(
    kind="psychrometer",
    name="wet-and-dry-bulb psychrometer",
    columns=("dry_bulb", "wet_bulb", "chamber_pressure"),
    own_columns=(
        Column(name="dry_bulb", meaning="temperature of the dry thermometer", quantities=("temperature",)),
        Column(name="wet_bulb", meaning="temperature of the wetted thermometer", quantities=("temperature",)),
    ),
    media=("chamber",),
    needed=("dry_bulb", "wet_bulb", "chamber_pressure"),
    usual_sources=("chamber_gradient",),
    probe_temperature="dry_bulb",
    equation="e = e'w(tw) − A·P·(t − tw) with A = 6.53e-4·(1 + 0.000944 tw) 1/K (WMO-No. 8, Annex 4.B)",
    gives_targets=False,
    to_do="Read",
    principle="Psychrometer: the humidity follows from the temperatures of a dry and a wet thermometer in moving air.",
)


def psychrometer_rh(dry_c: Any, wet_c: Any, pressure_pa: Any) -> Any:
    """%RH of ventilated air: e = e'w(tw) − A·P·(t − tw) with A = 6.53e-4·(1 + 0.000944·tw) 1/K.

    WMO-No. 8, Annex 4.B (from memory), with the saturation pressure e'w = f·e_w of this program.
    """
    lowered = 6.53e-4 * (1 + 0.000944 * wet_c) * pressure_pa * (dry_c - wet_c)
    vapour_pa = saturated_partial_pressure(wet_c, pressure_pa) - lowered
    return 100.0 * vapour_pa / saturated_partial_pressure(dry_c, pressure_pa)


def evaluate_rows(evaluation: Evaluation, rows: np.ndarray, ice: bool) -> None:
    inputs = {
        "chamber_temperature": evaluation.inputs.at_probe("dry_bulb", rows),
        "wet_bulb": evaluation.inputs.read("wet_bulb", rows),
        "chamber_pressure": evaluation.inputs.chamber_pressure(rows),
    }
    saturated = ("water", "wet_bulb", "chamber_pressure")
    evaluation.evaluate("psychrometer", rows, inputs, psychrometer_rh, ice, saturated=saturated)


@pytest.fixture(autouse=True)
def _known() -> Iterator[None]:
    with registered(PSYCHROMETER, evaluate_rows):
        yield


def bulbs(wet_c: float | None, dry_c: float = 25.0) -> b.Row:
    return {
        "reference": "PSY-01",
        "dry_bulb [degC]": dry_c,
        "wet_bulb [degC]": wet_c,
        "chamber_pressure [kPa absolute]": 101.325,
    }


def facility(*wet_c: float | None) -> b.Files:
    """A sensor read at three points; at each the wet thermometer read `wet_c`."""
    quantities = {
        "dry_bulb": b.flat(0, 60, "degC", 0.05),
        "wet_bulb": b.flat(0, 60, "degC", 0.05),
        "chamber_pressure": b.flat(50, 150, "kPa", 0.1),
    }
    read = zip((20, 50, 80), wet_c or (11.8, 17.9, 22.4), strict=True)
    plateaus = [b.plateau(rh, [rh + 0.2, rh + 0.3, rh + 0.1], bulbs(wet)) for rh, wet in read]
    reference = b.reference("PSY-01", "psychrometer", quantities, chamber_gradient="0.1 degC")
    return b.records(b.facility(), b.sensor(), reference, b.visit(VISIT, *plateaus))


def in_folder(files: b.Files, folder: Path) -> Path:
    for path, content in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(content)
    return folder


def test_the_humidity_is_that_of_the_psychrometric_formula():
    """t = 25 °C, tw = 18 °C at 1013.25 hPa, by hand with e'w of 20.73 and 31.82 hPa (WMO-No. 8, 4.B, from memory)."""
    assessment = b.assessed(facility(11.8, 18.0, 22.4), DAY)
    found = {r.target: r for r in assessment.results}[50.0]
    by_hand = 100 * (20.73 - 6.53e-4 * (1 + 0.000944 * 18) * 1013.25 * 7) / 31.82
    assert found.reference_value == pytest.approx(by_hand, abs=0.05)
    assert found.method == "psychrometer"


def test_its_budget_holds_what_the_thermometers_may_be_off_by():
    """GUM (JCGM 100:2008) 5.1.2: each thermometer's u, U/k = 0.025 °C, times its partial derivative."""
    assessment = b.assessed(facility(), DAY)
    result = next(r for r in assessment.results if r.target == 50.0)
    _, slope = differentiate(psychrometer_rh, np.array([25.0]), np.array([17.9]), np.array([101_325.0]))
    assert result.line is not None
    lines = assessment.measurement.whole().lines(result.line)
    of_bulbs = sum(line.contribution**2 for line in lines if "bulb" in line.source.identity) ** 0.5
    assert of_bulbs >= 0.025 * float(np.hypot(*slope[:2, 0])) * 0.999
    assert result.u > of_bulbs


def test_check_asks_for_the_wet_thermometer(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["check", "--records", str(in_folder(facility(11.8, None, 22.4), tmp_path))]) == FAULTS
    told = "".join(capsys.readouterr())
    assert "missing-reading" in told
    assert "wet_bulb is missing for a psychrometer" in told


def test_explain_and_targets_and_sheet_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    common = ["--records", str(in_folder(facility(), tmp_path / "records")), "--date", DAY]
    assert main(["check", *common[:2]]) == CLEAN
    assert main(["explain", "RH-1", VISIT, *common[:2]]) == CLEAN
    assert "PSY-01" in capsys.readouterr().out
    assert main(["targets", "RH-1", *common]) == CLEAN
    told = " ".join(capsys.readouterr().out.split())
    assert "a wet-and-dry-bulb psychrometer gives no targets" in told
    assert "not told" in told
    sheet = tmp_path / "sheet"
    sheet.mkdir()
    assert main(["sheet", "RH-1", "--technician", "ann", "--phone", "--output", str(sheet), *common]) == CLEAN
    (visit,) = sheet.glob("*.csv")
    assert {"dry_bulb [degC]", "wet_bulb [degC]", "chamber_pressure [kPa absolute]"} <= {
        *next(csv.reader(io.StringIO(visit.read_text(encoding="utf-8"))))
    }


def test_a_site_is_built_that_names_it(tmp_path: Path):
    records = in_folder(facility(), tmp_path / "records")
    assert main(["build", "--records", str(records), "--date", DAY, "--site", str(tmp_path / "site")]) == CLEAN
    page = (tmp_path / "site/references/PSY-01.html").read_text(encoding="utf-8")
    assert PSYCHROMETER.name in page
    method = html.unescape((tmp_path / "site/method.html").read_text(encoding="utf-8"))
    assert PSYCHROMETER.equation in method


def test_its_certificate_says_the_principle_and_agrees_with_itself():
    files = facility()
    assessment = b.assessed(files, DAY)
    statement = Statements(assessment).issued(assessment.summaries[0], issue())
    assert PSYCHROMETER.principle in json.dumps(document(statement), ensure_ascii=False)
    found = verify(certificate(statement, files[statement.evidence.visit], template_folders()))
    assert found.agrees, found.checks


def test_a_method_without_a_model_is_a_bug_and_not_a_blank_value(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delitem(MODELS, "psychrometer")
    with pytest.raises(KeyError, match="psychrometer"):
        b.assessed(facility(), DAY)
