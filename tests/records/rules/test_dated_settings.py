"""A visit is judged by the settings of its day."""

from __future__ import annotations

from tests.records.rules.written import (
    PROBE,
    SENSOR,
    edited,
    row,
    table,
    told,
    visit,
)
from tests.repositories import minimal


def test_a_visit_is_judged_by_the_settings_of_its_day():
    tolerance = "tolerance:\n  - {from: 2024-01-01, absolute: 3 %RH}\n  - {from: 2026-03-14, absolute: 2 %RH}\n"
    assert told({SENSOR: minimal()[SENSOR].decode() + tolerance}) == []
    late = "tolerance: {from: 2026-03-15, absolute: 2 %RH}\n"
    assert told({SENSOR: minimal()[SENSOR].decode() + late}) == ["2 tolerance-missing"]


def test_a_sensor_read_below_freezing_says_which_humidity_it_shows():
    cold = visit(row(saturation_temperature=-4.98, chamber_temperature=-5.01))
    assert told(cold) == ["2 rh-over-undeclared"]
    assert told(cold | edited("families/HX-2.yml", "model: HX-2", "model: HX-2\nrh_over: water")) == []


def test_a_transfer_probe_read_below_freezing_says_which_humidity_it_shows():
    said = edited("families/TX-5.yml", "model: TX-5", "model: TX-5\nrh_over: water")
    cold = table(PROBE | {"reference_temperature [degC]": -17.9}) | said
    assert told(cold) == ["2 rh-over-undeclared"]
    for over in ("water", "ice"):
        assert told(cold | edited("references/PRB-01.yml", "serial: P1", f"serial: P1\nrh_over: {over}")) == []
    assert told(table(PROBE | {"reference_temperature [degC]": 0.0}) | said) == []


def test_a_transfer_probe_that_is_checked_below_freezing_says_which_humidity_it_shows():
    check = {"sensor": "PRB-01", "phase": "check", "condensate": "frost", "reference": "MIR-01", "target [%RH]": 60}
    read = {"output [%RH]": 60, "mirror_temperature [degC]": -24, "chamber_temperature [degC]": -18}
    room = {"chamber_pressure [kPa absolute]": 101.3, "time": "2026-03-14 09:40", "technician": "ada"}
    cold = table(check | read | room)
    assert told(cold) == ["2 rh-over-undeclared"]
    assert told(cold | edited("references/PRB-01.yml", "serial: P1", "serial: P1\nrh_over: ice")) == []
