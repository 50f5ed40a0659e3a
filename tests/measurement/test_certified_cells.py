"""Cells with a certified humidity of their own: an unsaturated solution, or a saturated one that was certified.

All that the records hold is invented; values and budgets are worked out by hand.
"""

from __future__ import annotations

import json
import math
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from asfound.certificates.statement import statements
from asfound.cli import main
from asfound.commands.common import CLEAN
from asfound.humidity import saturation_vapour_pressure
from asfound.planning.target_model import Conditions
from asfound.planning.targets import targets
from asfound.records.checking import check
from asfound.records.load import load
from asfound.site.lookup.lookup import look_up
from asfound.site.views.references import reference_states, reference_view
from asfound.uncertainty.sources import Scope
from tests import builders as b
from tests.measurement.lab import Lab, faults, measured

VISIT = "2026-03-16-lab"
Keys = dict[str, Any]


def certificate(**keys: Any) -> Keys:
    default = {
        "date": b.CALIBRATED,
        "laboratory": "Birch metrology",
        "accreditation": "accredited, ALD 041",
        "certificate": "CELL-7",
        "valid_until": "2027-01-12",
        "value": "33.1 %RH",
        "at": "25 degC",
        "change": "0.04 %RH/degC",
        "U": "0.46 %RH",
        "k": 2.3,
    }
    return {key: value for key, value in (default | keys).items() if value is not None}


def cell(name: str = "SOLUTION-33", *more: Keys, **keys: Any) -> Keys:
    return {"name": name, "calibrations": [certificate(**keys), *more]}


def files(*cells: Keys, solution_c: float = 25.0, salt: str = "SOLUTION-33", day: str = VISIT, **keys: Any) -> b.Files:
    rows = b.plateau(33, [33.4, 33.5], b.over_salt(salt, solution_c))
    return b.records(b.sensor(), b.saturated_salt(cells=list(cells), **keys), b.visit(day, rows))


def lab(*cells: Keys, **keys: Any) -> Lab:
    return measured(files(*cells, **keys))


def test_the_humidity_is_the_certified_one_carried_to_the_solution_s_temperature():
    assert lab(cell()).line(33.0).reference_value == pytest.approx(33.1, abs=1e-12)
    assert lab(cell(), solution_c=22.0).line(33.0).reference_value == pytest.approx(33.1 - 3.0 * 0.04, abs=1e-12)
    assert lab(cell(change="-0.2 %RH/degC"), solution_c=22.0).line(33.0).reference_value == pytest.approx(33.7)


def test_the_certificate_stands_in_the_budget_with_U_over_k_and_its_degrees_of_freedom():
    """U/k = 0.46/2.3 = 0.2 %RH; k of ν = 9 and ν = 10 is 2.32 and 2.28 (JCGM 100:2008, table G.2, from memory)."""
    source = lab(cell()).source("cell_SOLUTION-33/calibration", 33.0)
    assert abs(source.contribution) == pytest.approx(0.2, rel=1e-12)
    assert 9.0 < source.source.nu < 10.0
    assert source.source.scope is Scope.CALIBRATION
    unknown = lab(cell(k=None)).source("cell_SOLUTION-33/calibration", 33.0)
    assert (abs(unknown.contribution), unknown.source.nu) == (pytest.approx(0.23), math.inf)


def test_drift_grows_from_the_day_of_the_certificate():
    """63 days at ±0.3 %RH a year, rectangular."""
    source = lab(cell(drift="0.3 %RH/year")).source("cell_SOLUTION-33/drift", 33.0)
    assert abs(source.contribution) == pytest.approx(0.3 / math.sqrt(3.0) * 63 / 365.25, rel=1e-12)


def test_the_thermometer_acts_through_the_cell_s_change_and_the_probe_s_distance_through_the_vapour():
    """A thermometer of solution and probe alike: 0.04 %RH/°C. A probe that is warmer alone: 33.1 %RH · dln(e)/dT."""
    found = lab(cell(), chamber_gradient="0.1 degC", salt_condition="0.3 %RH")
    thermometer = found.source("chamber_temperature/calibration", 33.0)
    assert thermometer.sensitivity == pytest.approx(-0.04, rel=1e-6)
    low, high = (float(saturation_vapour_pressure(25.0 + step)) for step in (-0.01, 0.01))
    relative = (high - low) / 0.02 / float(saturation_vapour_pressure(25.0))
    gradient = found.source("/chamber_gradient", 33.0)
    assert abs(gradient.contribution) == pytest.approx(33.1 * relative * 0.1 / math.sqrt(3.0), rel=1e-4)
    assert abs(found.source("/condition", 33.0).contribution) == pytest.approx(0.3 / math.sqrt(3.0))
    assert found.source("/published", 33.0) is None


def test_a_further_source_may_be_of_one_cell_or_of_them_all():
    for of in ("cell_SOLUTION-33", "humidity"):
        more = {"name": "more", "label": "more", "of": of, "lasts": "longer", "u": "0.1 %RH", "correction": "0.2 %RH"}
        found = lab(cell(), further=[more])
        assert abs(found.source("/more", 33.0).contribution) == pytest.approx(0.1)
        assert found.line(33.0).reference_value == pytest.approx(33.3)
    elsewhere = {"name": "more", "label": "more", "of": "cell_OTHER", "lasts": "longer", "u": "0.1 %RH"}
    assert lab(cell(), cell("OTHER"), further=[elsewhere]).source("/more", 33.0) is None


def test_the_newest_certificate_up_to_the_day_holds():
    later = certificate(date="2026-03-01", value="33.4 %RH", certificate="CELL-8")
    found = lab(cell("SOLUTION-33", later))
    assert found.line(33.0).reference_value == pytest.approx(33.4)
    assert found.source("2026-03-01/cell_SOLUTION-33/calibration", 33.0) is not None
    assert lab(cell("SOLUTION-33", later), day="2026-02-16-lab").line(33.0).reference_value == pytest.approx(33.1)


def test_a_cell_beyond_its_certificate_s_last_day_is_out_of_date_and_before_its_first_an_error():
    found = lab(cell(valid_until="2026-03-15"))
    assert "reference-out-of-date" in found.reservations(33.0)
    assert "reference-out-of-date" not in lab(cell(valid_until="2026-03-16")).reservations(33.0)
    assert faults(files(cell(), day="2026-01-11-lab")).count("not-yet-calibrated") >= 1
    out = b.assessed(files(cell(valid_until="2026-03-15")))
    assert reference_states(look_up(out))[0].sentence == "calibration of cell SOLUTION-33 ran out on 2026-03-15"


def test_two_results_share_a_certificate_and_published_salts_stay_beside_it():
    rows = [b.plateau(at, [at, at], b.over_salt(salt)) for at, salt in ((33.0, "SOLUTION-33"), (75.0, "NaCl"))]
    found = measured(b.records(b.sensor(), b.saturated_salt(cells=[cell()]), b.visit(VISIT, *rows)))
    assert found.line(75.0).reference_value == pytest.approx(75.29, abs=0.01)
    assert found.source("salt/NaCl/published", 75.0) is not None
    assert found.source("cell_SOLUTION-33/calibration", 75.0) is None


@pytest.mark.parametrize(
    ("cells", "salts", "complaint"),
    [
        ([cell("NaCl")], ["NaCl"], "NaCl stands twice among salts and cells"),
        ([cell(), cell()], [], "SOLUTION-33 stands twice among salts and cells"),
        ([], [], "a saturated_salt needs its salts"),
        ([cell(U="0 %RH")], [], "U"),
        ([cell(valid_until="2026-01-01")], [], "2026-01-01 lies before the day of calibration 2026-01-12"),
        ([cell("SOLUTION-33", certificate())], [], "the calibrations are not in order of date"),
        ([cell(change=None)], [], "change"),
        ([cell(change="0.04 degC")], [], "'0.04 degC'"),
    ],
)
def test_a_cell_that_cannot_be_meant_is_refused(cells: list[Keys], salts: list[str], complaint: str):
    _, found = load(b.records(b.sensor(), b.saturated_salt(cells=cells, salts=salts)))
    assert [complaint in fault.text() for fault in found] == [True], [fault.text() for fault in found]


def test_a_visit_that_names_neither_is_told_both():
    fault = next(one for one in check(files(cell(), salt="SOLUTION-53"))[1] if one.rule.name == "salt-not-in-cells")
    assert "write one of LiCl, NaCl, K2SO4, SOLUTION-33" in fault.cure


def test_silence_about_k_and_drift_is_said():
    told = [fault.message for fault in check(files(cell(k=None)))[1] if fault.rule.name == "not-declared"]
    assert any("k = 2 of" in message and "cell_SOLUTION-33" in message for message in told)
    assert any("drift since the newest calibration of" in m and "cell_SOLUTION-33" in m for m in told)


def test_a_target_names_the_cell_with_its_humidity_there():
    sensor = b.sensor(points={"humidity": ["33 %RH"]})
    records = b.loaded(b.records(sensor, b.saturated_salt(cells=[cell()])))
    found = targets(records, "RH-1", date(2026, 3, 16), Conditions(chamber_c=20.0)).points
    assert [(target.salt, target.reached) for target in found] == [("SOLUTION-33", True)]
    assert found[0].humidity == pytest.approx(33.1 - 5 * 0.04)


def test_the_certificate_of_a_calibration_names_the_cell_s_own_and_no_published_value():
    (statement,) = statements(b.assessed(files(cell())))
    link = next(one for one in statement.traceability if one.quantity == "cell_SOLUTION-33")
    assert (link.laboratory, link.certificate) == ("Birch metrology (accredited, ALD 041)", "CELL-7")
    assert (link.lowest_U, link.highest_U, link.lowest_k, link.unit) == (0.46, 0.46, 2.3, "%RH")
    assert statement.words.salts is None
    assert statement.method.principles == (
        "Certified cell SOLUTION-33: the humidity over the solution after its certificate, at its temperature.",
    )


def test_the_page_of_the_reference_says_what_the_certificate_says():
    lookup = look_up(b.assessed(files(cell())))
    facts = {fact.name: fact for fact in reference_view(lookup, lookup.records.references["SALT-01"]).facts}
    fact = facts["Cell SOLUTION-33"]
    assert fact.value == "33.1 %RH at 25 °C, 0.04 %RH/°C, U = 0.46 %RH, k = 2.3"
    assert fact.note == "CELL-7, Birch metrology, 2026-01-12, valid until 2027-01-12"


def test_check_and_explain_and_the_built_site_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    folder, site = tmp_path / "records", tmp_path / "site"
    for path, content in files(cell(valid_until="2026-03-15")).items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(content)
    assert main(["check", "--records", str(folder)]) == CLEAN
    capsys.readouterr()
    assert main(["explain", "RH-1", VISIT, "--records", str(folder)]) == CLEAN
    assert "SALT-01: calibration of cell SOLUTION-33 ran out on 2026-03-15" in capsys.readouterr().out
    asked = ["--shift", "cell_SOLUTION-33=+0.5 %RH", "--since", "2026-01-12", "--date", "2026-04-30", "--json"]
    assert main(["retrace", "SALT-01", *asked, "--records", str(folder)]) == CLEAN
    (moved,) = json.loads(capsys.readouterr().out)["results"]
    assert moved["after"]["error"] - moved["before"]["error"] == pytest.approx(0.5), "what it gives was too high"
    assert main(["build", "--records", str(folder), "--date", "2026-04-30", "--site", str(site)]) == CLEAN
    assert "Cell SOLUTION-33" in (site / "references" / "SALT-01.html").read_text(encoding="utf-8")
