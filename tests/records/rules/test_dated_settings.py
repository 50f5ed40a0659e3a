"""A visit is judged by the settings of its day."""

from __future__ import annotations

from tests.records.rules.written import (
    SENSOR,
    edited,
    row,
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
