"""What a sensor's page and the list of sensors say."""

from __future__ import annotations

from datetime import date

import pytest

from asfound.records.settings_in_force import SettingsOn
from asfound.site.views.sensor_settings import settings_facts
from asfound.site.views.sensors import sensor_rows
from tests import builders as b
from tests.site import store
from tests.site.views.pages import the_sensor


def test_every_sensor_stands_in_the_list_with_its_state_and_due_day():
    rows = {row.link.text: row for row in sensor_rows(store.lookup())}
    assert list(rows) == sorted(store.assessment().standings)
    assert [chip.word for chip in rows["CREEP-1"].chips] == ["in tolerance", "in date", "drifting"]
    assert [chip.word for chip in rows["NEW-1"].chips] == ["never calibrated"]
    assert [chip.word for chip in rows["OFF-1"].chips] == ["out of service", "in tolerance"]
    assert (rows["LATE-1"].due, rows["NEW-1"].due, rows["OFF-1"].due) == ("2026-09-02", "", "")


def test_that_it_is_in_date_is_not_ticked_off_on_a_sensor_out_of_tolerance():
    kinds = {row.link.text: [(chip.word, chip.kind) for chip in row.chips] for row in sensor_rows(store.lookup())}
    assert kinds["OUT-1"] == [("out of tolerance", "out"), ("in date", "none")]
    assert kinds["FINE-1"][-1] == ("in date", "ok")


def test_a_verdict_stands_with_the_result_that_decides_and_its_rule():
    view = the_sensor("OUT-1")
    assert view.verdict.startswith("Out of tolerance: as found on 2026-11-02 with error +3.")
    assert view.rule.startswith("guard band w = U")
    assert view.due == "In date, due 2028-11-02: 24 months after the complete calibration of 2026-11-02."


def test_what_the_state_says_already_is_not_said_twice():
    assert [matter.chip.word for matter in the_sensor("OUT-1").matters] == ["finding: nobody has it yet"]


def test_a_position_names_every_instrument_and_place_it_had():
    view = the_sensor("FINE-1")
    assert [(fact.name, fact.note) for fact in view.instruments] == [
        ("NEW", "from 2026-06-01 on"),
        ("OLD", "from 2020-01-01 to 2026-05-31"),
    ]
    assert [fact.name for fact in view.places] == ["Loft, beam 3", "Laboratory"]
    assert view.name == store.HOSTILE, "escaping is the template's business"


def test_the_history_marks_swaps_moves_and_adjustments():
    chart = the_sensor("FINE-1").histories[0].chart
    assert chart is not None
    for text in ('"2026-06-01","kind":"other","text":"NEW in place of OLD"', '"text":"moved to Loft"'):
        assert text in chart
    adjusted = the_sensor("SET-1").histories[0].chart
    assert adjusted is not None and '"kind":"adjusted","text":"zero adjusted: before → after"' in adjusted


def test_a_withdrawn_visit_is_listed_and_its_results_are_not():
    view = the_sensor("FINE-1")
    void = next(line for line in view.visits if line.visit.text == "2026-11-23-void")
    assert [chip.word for chip in void.chips] == ["withdrawn"] and void.done == "the seal was split"
    assert "2026-11-23-void" not in [group.visit.text for group in view.histories[0].table.groups]


def test_results_stand_newest_visit_first_and_found_before_left():
    groups = the_sensor("SET-1").histories[0].table.groups
    assert [(group.visit.text, group.phase) for group in groups] == [
        ("2026-11-09-set", "as found"),
        ("2026-11-09-set", "as left"),
        ("2026-03-02-all", "as found"),
    ]


def test_a_change_since_last_left_has_its_u_and_e_n_beside_it():
    row = the_sensor("OUT-1").drifts[0].changes[0]
    assert (row.point, row.chip.word) == ("20 %RH, start", "stands out")
    value, U = (float(text) for text in row.change.split(" ± "))
    assert value == pytest.approx(float(row.now) - float(row.before), abs=0.02)
    assert float(row.e_n) == pytest.approx(value / U, rel=0.05), "E_n stands beside it"


def test_out_of_service_and_why_stand_on_the_page():
    assert the_sensor("OFF-1").notes == ("Out of service 2026-10-01 to further notice: the bin is being rebuilt",)


def test_settings_say_their_value_in_words_and_where_they_are_set():
    facts = {fact.name: (fact.value, fact.note) for fact in the_sensor("LATE-1").settings}
    assert facts["Humidity tolerance"] == ("±2 %RH", "family rush")
    assert facts["Points"][0] == "20 %RH, 50 %RH and 80 %RH"
    assert facts["Interval"] == ("6 months", "this sensor")


def test_what_is_declared_by_bands_stands_with_its_bands_and_how_well_it_is_known():
    band = {"lowest": "70 %RH", "highest": "100 %RH", "value": "0.2 %RH"}
    said = b.family(humidity={"repeatability": {"value": "0.05 %RH", "nu": "9", "bands": [band]}})
    known = b.loaded(b.records(b.sensor(), said))
    facts = {fact.name: fact.value for fact in settings_facts(SettingsOn(known, known.sensors["RH-1"], date.max))}
    name = "repeatability, until the family's visits give a better one"
    assert facts["Declared of the humidity channel"] == f"{name} 0.05 %RH, ν = 9, 0.2 %RH from 70 %RH to 100 %RH"
