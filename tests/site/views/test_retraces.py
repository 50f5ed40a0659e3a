"""The block of a reference's page that carries back what its calibrations found."""

from __future__ import annotations

from datetime import date

import pytest

from asfound.assessment.assess import assess
from asfound.printing import templates
from asfound.site.lookup.lookup import Lookup, look_up
from asfound.site.publishing.pages import Pages
from asfound.site.views.overview import overview
from asfound.site.views.retraces import RetraceBlock, in_question, retrace_block
from tests import builders as b
from tests.printing.test_templates import ROOT

FIRST, HALF_WAY, SECOND = "2026-01-12", "2026-06-28", "2026-12-12"


def lookup(*errors: str, shown: float = 51.5, days: tuple[str, ...] = (HALF_WAY,)) -> Lookup:
    """A saturation thermometer found with these errors half a year before and after visits to one sensor."""
    tables = [
        b.calibration(*(b.point(at, error, "0.03 degC") for at in ("-20 degC", "60 degC")), on=on)
        for on, error in zip((FIRST, SECOND, "2026-12-20"), errors, strict=False)
    ]
    known = b.quantity(*tables, resolution="0.01 degC")
    visits = [b.visit(f"{day}-lab", b.plateau(50, [shown, shown], b.generated(50))) for day in days]
    files = b.records(b.sensor(), b.two_pressure(quantities={"saturation_temperature": known}), *visits)
    return look_up(assess(files, date(2026, 12, 31)))


def block(found: Lookup) -> RetraceBlock:
    shown = retrace_block(found, found.carried_back["GEN-01"])
    assert shown is not None
    return shown


def question(found: Lookup) -> str:
    return in_question(found.carried_back.get("GEN-01", ()))


def test_a_change_that_moves_no_verdict_is_said_in_a_sentence():
    """0.1 K half-way to 0.2 K moves 50 %RH by 0.30 %RH: 0.0595 a kelvin at 25 °C, by the published vapour pressure."""
    found = lookup("0 degC", "0.2 degC", shown=50.0)
    said = block(found)
    assert said.sentence.startswith(
        "What the calibration of 2026-12-12 found, carried back: 1 result of 1 visit moves by up to "
    )
    assert said.sentence.endswith(" U (there 0.30 %RH); no verdict changes.")
    (row,) = said.rows
    assert (row.day, row.verdicts) == ("2026-12-12", "0")
    assert row.found == ("saturation temperature +0.200 ± 0.042 °C at −20 °C since 2026-01-12: more than its U",)
    assert said.verdicts == ()
    assert question(found) == ""


def test_a_change_within_its_uncertainty_is_left_at_that():
    (row,) = block(lookup("0 degC", "0.04 degC")).rows
    assert row.found == ("saturation temperature +0.040 ± 0.042 °C at −20 °C since 2026-01-12",)


def test_a_changed_verdict_stands_with_both_sides_and_is_a_matter_for_the_overview():
    found = lookup("0 degC", "1 degC")
    said = block(found)
    assert said.sentence.endswith("; 1 verdict changes.")
    (row,) = said.verdicts
    assert (row.visit.text, row.item.path, row.found_by) == (f"{HALF_WAY}-lab", "sensors/RH-1.html", "2026-12-12")
    assert row.point == "50 %RH, as found"
    assert row.before.startswith("+1.50 ± ")
    assert (row.before_chip.word, row.after_chip.word) == ("pass", "fail")
    assert question(found) == (
        f"what the calibration of 2026-12-12 found would change 1 verdict: RH-1 ({HALF_WAY}-lab); "
        "no longer in tolerance: RH-1"
    )
    (reference,) = overview(found).references
    assert "verdicts in question" in [chip.word for chip in reference.chips]
    assert reference.sentence.endswith(question(found))


def test_a_verdict_at_the_edge_is_no_matter_where_the_change_lies_within_its_uncertainty():
    """Half of 0.04 K moves the error by 0.06 %RH, over the edge of the guard band; the budget holds that already."""
    (result,) = lookup("0 degC").assessment.results
    found = lookup("0 degC", "0.04 degC", shown=round(50 + 2 - result.U - 0.03, 2))
    assert len(block(found).verdicts) == 1
    assert question(found) == ""
    assert overview(found).references == ()


def test_three_visits_in_question_are_named_and_the_rest_counted():
    days = tuple(f"2026-{month:02d}-20" for month in (6, 7, 8, 9, 10))
    found = question(lookup("0 degC", "1 degC", days=days))
    assert found.startswith("what the calibration of 2026-12-12 found would change 5 verdicts: RH-1 (2026-06-20-lab), ")
    assert "RH-1 (2026-08-20-lab) and 2 more; no longer in tolerance: RH-1" in found


def test_a_newer_calibration_of_the_quantity_takes_the_matter_over():
    found = lookup("0 degC", "1 degC", "1 degC")
    assert [row.day for row in block(found).rows] == ["2026-12-20", "2026-12-12"]
    assert [row.verdicts for row in block(found).rows] == ["0", "1"]
    assert question(found) == ""


def test_where_no_visit_lies_between_no_result_moves():
    found = lookup("0 degC", "1 degC", days=("2026-12-15",))
    assert block(found).sentence == "What the calibration of 2026-12-12 found, carried back: no result moves."
    assert block(found).rows[0].moves == "no result"


def test_a_single_calibration_gives_no_block():
    found = lookup("0 degC")
    assert "GEN-01" not in found.carried_back
    assert retrace_block(found, ()) is None
    assert in_question(()) == ""


@pytest.mark.parametrize("second", ["0.2 degC", "1 degC"])
def test_the_template_prints_all_of_it(second):
    found = lookup("0 degC", second)
    pages = Pages(templates.template_folders(ROOT / "site_templates"))
    template = pages._environment.from_string(
        '{% from "retraces.html" import retrace_block %}{{ retrace_block(view, root) }}'
    )
    html = template.render(view=block(found), root="../")
    assert 'id="carried-back"' in html
    assert html.count("<table") == html.count("<caption>") == (2 if second == "1 degC" else 1)
    assert 'href="../visits/2026-06-28-lab.html"' in html or second != "1 degC"
    assert "degC" not in html
