"""What to set for each point: against published values, an independent solver, and the measurement itself."""

from __future__ import annotations

import csv
import json
from datetime import date
from pathlib import Path

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from asfound.cli import main
from asfound.commands.common import CLEAN, COULD_NOT_RUN, FAULTS
from asfound.planning.target_model import Conditions, SensorTargets
from asfound.planning.targets import COOLING_K_PER_PA, in_order, targets
from asfound.records.load import load
from asfound.records.snapshot import from_folder
from asfound.refusals import Refusal
from tests import builders
from tests.builders import Files, Keys, Row, calibration, flat, point, quantity

ROOT = Path(__file__).parents[2]
DAY = date(2026, 11, 25)
PUBLISHED = ROOT / "tests/published/two_pressure.csv"
ABSOLUTE = {"saturation_pressure": {**flat(0, 2600, "kPa", 0.4), "unit": "kPa absolute"}}


def asked(files: Files, conditions: Conditions | None = None, **keys: object) -> SensorTargets:
    records = builders.loaded(files)
    return targets(records, "RH-1", DAY, conditions or Conditions(), **keys)  # type: ignore[arg-type]


def store(points: list[float], quantities: Keys | None = None, sensor: Keys | None = None, **keys: object) -> Files:
    """A sensor with these points and one humidity generator."""
    humidity = {"humidity": [f"{value!r} %RH" for value in points]}
    return builders.records(
        builders.sensor(points=humidity, **(sensor or {})),
        builders.two_pressure(quantities={**ABSOLUTE, **(quantities or {})}, **keys),
        builders.barometer(),
    )


def said(found: SensorTargets, number: int = 0) -> list[str]:
    return [remark.kind for remark in (*found.remarks, *found.points[number].remarks)]


def published() -> list[dict[str, str]]:
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["id"].startswith("TPR")]
    return [row for row in rows if float(row["expected"]) <= 100 and float(row["Ps_kPa"]) > float(row["Pc_kPa"])]


@pytest.mark.parametrize("row", published(), ids=lambda row: row["id"])
def test_a_published_humidity_asks_for_the_pressure_it_was_published_with(row: dict[str, str]):
    """tests/published/two_pressure.csv, each row with its source: CoolProp's mixture model, independent of ours."""
    conditions = Conditions(
        chamber_c=float(row["Tc_C"]), saturation_c=float(row["Ts_C"]), ambient_pa=1e3 * float(row["Pc_kPa"])
    )
    found = asked(store([float(row["expected"])]), conditions).points[0]
    slope = abs(float(row["dRH_dPs_per_kPa"]))
    assert found.reached
    assert found.settings[0].value == pytest.approx(float(row["Ps_kPa"]), abs=float(row["tolerance"]) / slope + 0.01)


@pytest.mark.parametrize(("rh", "saturation_c", "chamber_c"), [(10, 15, 15), (45, 21, 22), (80, 24, 25), (25, 5, 20)])
def test_an_independent_solver_finds_the_same_pressure(rh: float, saturation_c: float, chamber_c: float):
    """The root of CoolProp's humid air: HAPropsSI, after Herrmann, Kretzschmar and Gatley (2009)."""
    room_pa = 100_400.0

    def too_wet(saturation_pa: float) -> float:
        saturated = coolprop.HAPropsSI("Y", "T", saturation_c + 273.15, "P", saturation_pa, "R", 1.0)
        chamber = coolprop.HAPropsSI("R", "T", chamber_c + 273.15, "P", room_pa, "Y", saturated)
        return float(100.0 * chamber - rh)

    theirs = brentq(too_wet, room_pa * 1.01, 2.4e6)
    conditions = Conditions(chamber_c=chamber_c, saturation_c=saturation_c, ambient_pa=room_pa)
    ours = asked(store([float(rh)]), conditions).points[0].settings[0]
    assert ours.value * 1e3 == pytest.approx(theirs, rel=1.5e-3), "Hardy's f is 0.13 % off the virial model at 1.2 MPa"


def off_by(unit: str, *pairs: tuple[float, float], declared: str = "error", U: float = 0.1) -> Keys:
    table = [point(f"{at:g} {unit}", f"{value:g} {unit}", f"{U:g} {unit}") for at, value in pairs]
    return quantity(calibration(*table, declared=declared))


CROOKED = {
    "saturation_pressure": off_by("psi", (0, 0.3), (20, -0.4), (80, 0.6), (200, 1.1)) | {"unit": "psi gauge"},
    "saturation_temperature": off_by("degC", (0, 0.12), (40, -0.2), declared="correction"),
    "chamber_pressure": off_by("kPa", (-10, 0.2), (50, 0.3)) | {"unit": "kPa gauge"},
    "chamber_temperature": off_by("degC", (0, -0.15), (40, 0.25)),
}
ROOM = {"ambient_pressure": off_by("hPa", (800, 0.8), (1100, -0.6)) | {"unit": "hPa absolute"}}


@settings(max_examples=12, deadline=None)
@given(
    rh=st.floats(12, 90),
    chamber_c=st.floats(10, 35),
    colder=st.floats(0, 1),
    ambient=st.floats(950, 1040),
    over=st.floats(0, 0.5),
)
def test_readings_as_told_compute_to_the_point(rh: float, chamber_c: float, colder: float, ambient: float, over: float):
    """Through the whole measurement: tables, gauge pressure and barometer, efficiency, pressure lost."""
    chamber_c, ambient, over = round(chamber_c, 3), round(ambient, 2), round(over, 3)
    saturation_c, aimed = round(chamber_c - colder, 3), round(rh, 3)
    efficiency = {"value": "99 %", "bands": [{"lowest": "20 %RH", "highest": "80 %RH", "value": "97 %"}]}
    files = store([aimed], CROOKED, lowest_efficiency=efficiency, pressure_drop="1.2 kPa")
    files |= builders.barometer(quantities=ROOM)
    conditions = Conditions(
        chamber_c=chamber_c, saturation_c=saturation_c, chamber_pa=over * 1e3, ambient_pa=ambient * 1e2
    )
    found = asked(files, conditions).points[0]
    assert found.reached, found.remarks
    row: Row = {
        "reference": "GEN-01",
        "saturation_pressure [psi gauge]": round(found.settings[0].value, 6),
        "saturation_temperature [degC]": saturation_c,
        "chamber_pressure [kPa gauge]": over,
        "chamber_temperature [degC]": chamber_c,
        "ambient_pressure [hPa absolute]": ambient,
        "barometer": "BAR-01",
    }
    files |= builders.visit("2026-03-16-lab", builders.plateau(aimed, [aimed] * 3, row))
    (result,) = builders.results(files)
    assert result.reference_value == pytest.approx(aimed, abs=2e-5)


@pytest.mark.parametrize("table", [((5, 0.4), (60, -0.7)), ((5, -1.5), (30, 0.5), (95, 2.0))])
def test_a_probe_and_a_mirror_are_told_as_they_will_read(table: tuple[tuple[float, float], ...]):
    probe = {"reference_humidity": off_by("%RH", *table)}
    files = builders.records(builders.sensor(), builders.transfer_probe(quantities=probe))
    for target in asked(files, Conditions(chamber_c=22.0)).points:
        reading = target.settings[0].value
        error = np.interp(reading, *zip(*table, strict=True))
        assert reading - error == pytest.approx(target.point, abs=1e-9)


def test_a_mirror_below_freezing_is_told_for_frost_and_for_dew():
    """60 %RH over ice at −20 °C and one atmosphere: by CoolProp's humid air, which saturates over ice there."""
    ice = {"rh_over": "ice", "working_temperature": "-20 degC", "points": {"humidity": ["60 %RH"]}}
    files = builders.records(builders.sensor(**ice), builders.chilled_mirror())
    found = asked(files)
    frost, dew = found.points[0].settings
    assert (frost.note, dew.note) == ("frost", "dew")
    assert frost.value == pytest.approx(-25.20, abs=0.02)
    vapour = coolprop.HAPropsSI("P_w", "T", 273.15 + frost.value, "P", 101325.0, "R", 1.0)
    full = coolprop.HAPropsSI("P_w", "T", 253.15, "P", 101325.0, "R", 1.0)
    assert vapour / full == pytest.approx(0.60, abs=0.001)
    assert dew.value < frost.value, "over supercooled water the same vapour saturates at a lower temperature"
    assert "dew or frost" in said(found)


@pytest.mark.parametrize("over", ["water", "ice"])
def test_a_point_beyond_saturation_over_ice_is_not_dialled(over: str):
    """At −18 °C and one atmosphere saturation over ice is 83.8 %RH over water: above it frost forms."""
    points = {"water": ["80 %RH", "90 %RH"], "ice": ["90 %RH", "100 %RH"]}[over]
    cold = {"rh_over": over, "working_temperature": "-18 degC", "points": {"humidity": points}}
    pressure = builders.flat(0, 1500, "kPa", 0.4) | {"unit": "kPa absolute"}
    generator = builders.two_pressure(quantities={"saturation_pressure": pressure})
    for reference in (builders.chilled_mirror(), generator):
        found = asked(builders.records(builders.sensor(**cold), reference), Conditions(saturation_c=5.0))
        reached = {target.point: target for target in found.points}
        assert all(target.reached for point, target in reached.items() if (over, point) != ("water", 90.0))
        if over == "water":
            (remark,) = reached[90.0].remarks
            assert remark.kind == "beyond saturation" and "at most 83.8 %RH over water" in remark.text


@pytest.mark.parametrize(("over", "shown"), [("water", 60.0), ("ice", 60.0 * 149.0 / 124.9), (None, None)])
def test_a_probe_below_freezing_is_told_in_the_phase_that_it_shows(over: str | None, shown: float | None):
    """At −18 °C, 149.0 Pa over supercooled water (Murphy and Koop) and 124.9 Pa over ice (IAPWS R14-08)."""
    cold = {"rh_over": "water", "working_temperature": "-18 degC", "points": {"humidity": ["60 %RH"]}}
    files = builders.records(builders.sensor(**cold), builders.transfer_probe(rh_over=over))
    (target,) = asked(files).points
    if shown is None:
        assert not target.reached and "does not say rh_over" in target.remarks[0].text
    else:
        assert target.settings[0].value == pytest.approx(shown, rel=0.003)


def test_above_freezing_a_sensor_over_ice_has_its_points_over_water():
    warm = {"rh_over": "ice", "points": {"humidity": ["60 %RH"]}}
    found = asked(builders.records(builders.sensor(**warm), builders.transfer_probe()), Conditions(chamber_c=23.0))
    assert found.points[0].settings[0].value == pytest.approx(60.0) and not found.over_ice


def test_the_nearest_salt_is_named_with_its_humidity():
    """Greenspan 1977, table 2, at 25 °C: LiCl 11.30, NaCl 75.29, K2SO4 97.30 %RH."""
    files = builders.records(
        builders.sensor(points={"humidity": ["12 %RH", "74 %RH", "50 %RH"]}), builders.saturated_salt()
    )
    found = asked(files, Conditions(chamber_c=25.0)).points
    assert [target.salt for target in found] == ["LiCl", "NaCl", "NaCl"]
    assert [target.humidity for target in found] == pytest.approx([11.30, 75.29, 75.29], abs=0.01)
    assert [target.reached for target in found] == [True, True, False]


def test_what_the_supply_cannot_reach_is_said_with_what_it_reaches():
    found = asked(store([5.0, 50.0], supply="6 bar"), Conditions(chamber_c=20.0))
    assert [target.reached for target in found.points] == [False, True]
    assert found.reach is not None
    assert found.reach[0] == pytest.approx(100 * 101325 / 701325, rel=0.02), "the ideal gas's ratio of pressures"
    assert f"{found.reach[0]:.1f} %RH" in found.points[0].remarks[0].text
    more = asked(store([5.0], supply="24 bar"), Conditions(chamber_c=20.0))
    assert more.points[0].reached


def test_a_point_above_what_flow_allows_is_not_reached():
    found = asked(store([99.0, 90.0], least_overpressure="5 kPa"), Conditions(chamber_c=20.0))
    assert [target.reached for target in found.points] == [False, True]
    assert "warmer" in found.points[0].remarks[0].text
    warmer = Conditions(chamber_c=20.0, saturation_c=22.0)
    assert asked(store([99.0], least_overpressure="5 kPa"), warmer).points[0].reached


def test_water_condenses_where_it_is_colder_than_the_dew_point():
    """At 20 °C and 80 %RH the dew point is 16.4 °C (psychrometric tables)."""

    def kinds(**given: float) -> list[str]:
        return said(asked(store([80.0]), Conditions(chamber_c=20.0, **given)))

    assert kinds() == []
    assert kinds(room_c=17.0, line_c=20.0) == []
    assert kinds(room_c=16.0, line_c=20.0) == ["condensation"], "on the chamber's wall"
    assert kinds(room_c=20.0, line_c=19.0) == ["condensation"], "in the line, as warm as the chamber's dew point"
    assert kinds(room_c=16.0) == ["condensation", "condensation"]


def test_a_probe_from_a_cold_room_gets_wet():
    cold = {"working_temperature": "5 degC"}
    found = asked(store([20.0, 60.0], sensor=cold), Conditions(chamber_c=22.0))
    assert [len(target.remarks) for target in found.points] == [0, 1], "dew points −2.0 and 13.9 °C"
    assert "the probe comes from 5.0 °C" in found.points[1].remarks[0].text


def test_ice_at_the_valve_is_foreseen_where_the_expansion_cools_below_freezing():
    assert said(asked(store([10.0]), Conditions(chamber_c=1.5))) == ["ice"]
    assert said(asked(store([60.0]), Conditions(chamber_c=1.5))) == []
    assert said(asked(store([10.0]), Conditions(chamber_c=15.0))) == []


@pytest.mark.parametrize("bar", [1, 5, 10])
def test_air_cools_in_expansion_by_no_more_than_is_reckoned(bar: float):
    """Joule-Thomson: enthalpy stays. CoolProp's dry air from 2 °C at pressure to one atmosphere."""
    enthalpy = coolprop.PropsSI("H", "T", 275.15, "P", bar * 1e5 + 101325, "Air")
    after = coolprop.PropsSI("T", "H", enthalpy, "P", 101325, "Air")
    reckoned = COOLING_K_PER_PA * bar * 1e5
    assert 0.9 * reckoned < 275.15 - after <= 1.02 * reckoned


def test_outside_the_certificate_is_said():
    narrow = {"saturation_pressure": {**flat(100, 400, "kPa", 0.4), "unit": "kPa absolute"}}
    found = asked(store([50.0, 10.0], narrow), Conditions(chamber_c=20.0))
    assert [[remark.kind for remark in target.remarks] for target in found.points] == [[], ["outside calibration"]]
    assert "100 to 400 kPa" in found.points[1].remarks[0].text


def test_a_frozen_saturator_is_refused_and_one_away_or_out_of_date_is_told():
    assert "saturator frozen" in said(asked(store([50.0]), Conditions(chamber_c=-5.0)))
    away = [{"from": "2026-11-20", "until": "2026-11-30", "reason": "lent"}]
    assert said(asked(store([50.0], away=away))) == ["reference away"]
    stale = {"chamber_temperature": flat(-20, 60, "degC", 0.03, valid_until="2026-11-24")}
    assert said(asked(store([50.0], stale))) == ["reference out of date"]


def test_as_found_begins_nearest_to_where_the_sensor_works():
    demo, _ = load(from_folder(ROOT / "records"))
    assert demo is not None
    assert in_order(demo.sensors["DRY-11"], (10.0, 15.0, 40.0)) == (15.0, 10.0, 40.0)
    assert in_order(demo.sensors["GER-11"], (50.0, 80.0, 90.0)) == (80.0, 50.0, 90.0)


def test_without_a_word_of_gauge_or_absolute_nothing_is_guessed():
    unsaid = {"saturation_pressure": flat(0, 1500, "kPa", 0.4)}
    with pytest.raises(Refusal, match=r"gauge or absolute(.|\n)*cure: add e.g. `unit: kPa absolute`"):
        asked(store([50.0], unsaid))
    read_before = store([50.0], unsaid) | builders.visit(
        "2026-03-16-lab", builders.plateau(50, [50.1], builders.generated(50, gauge=True))
    )
    assert asked(read_before).points[0].settings[0].unit.symbol == "kPa gauge", "as the last visit's header says"


def test_the_command_answers_in_text_and_as_data(capsys: pytest.CaptureFixture[str]):
    asked_for = ["targets", "DRY-21", "--records", str(ROOT / "records"), "--date", "2026-11-25"]
    assert main([*asked_for, "--ambient", "29.80 inHg", "--chamber-temperature", "59.0 degF"]) == CLEAN
    text = capsys.readouterr().out
    assert "psi gauge" in text
    assert "put the loop in hand" in " ".join(text.split())
    assert main([*asked_for, "--ambient", "29.80 inHg absolute", "--chamber-temperature", "59.0 degF"]) == CLEAN
    assert capsys.readouterr().out == text, "a room's pressure is absolute, and may be said to be, as a header does"
    assert main([*asked_for, "--ambient", "1009.1", "--chamber-temperature", "15", "--json"]) == CLEAN
    (found,) = json.loads(capsys.readouterr().out)
    assert [entry["point"] for entry in found["points"]] == [15, 10, 40]
    shown = [entry["settings"][0]["shown"] for entry in found["points"]]
    assert all(line in text for line in shown[:1]), "29.80 inHg is 1009.1 hPa, and 59 degF is 15 °C"


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["DRY-111"], "did you mean 'DRY-11'"),
        (["DRY-11", "--reference", "GEN-011"], "did you mean 'GEN-01'"),
        (["DRY-11", "--reference", "BAR-01"], "gives no humidity"),
        (["DRY-11", "--ambient", "29.8"], 'another unit as in "29.92 inHg"'),
        (["DRY-11", "--chamber-temperature", "295"], "no temperature here"),
        (["DRY-11", "--saturator-temperature", "90", "--chamber-temperature", "5"], "cure: check the temperatures"),
    ],
)
def test_what_cannot_be_answered_is_told_with_a_cure(options: list[str], told: str, capsys: pytest.CaptureFixture[str]):
    assert main(["targets", *options, "--records", str(ROOT / "records"), "--date", "2026-11-25"]) == COULD_NOT_RUN
    printed = capsys.readouterr()
    assert told in printed.err
    assert printed.out == ""


def test_a_record_that_cannot_be_read_is_named_and_a_visit_hinders_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    files = store([50.0]) | {"visits/2026/2026-03-16-lab.csv": b"sensor,tim\n"}
    for path, content in files.items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_bytes(content)
    assert main(["targets", "RH-1", "--records", str(tmp_path), "--date", "2026-11-25"]) == CLEAN
    unit = {"saturation_pressure": {**flat(0, 1500, "kPa", 0.4), "unit": "psig"}}
    (tmp_path / "references/GEN-01.yml").write_bytes(store([50.0], unit)["references/GEN-01.yml"])
    capsys.readouterr()
    assert main(["targets", "RH-1", "--records", str(tmp_path), "--date", "2026-11-25"]) == FAULTS
    said = capsys.readouterr().out
    assert "error[bad-unit] unit: unknown unit [psig]" in said
    assert "cure: write psi gauge" in said
