"""What pages say of a store with one sensor for each state: who needs action, why, since when, who has it."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import replace
from datetime import date

import pytest

from asfound.assessment.standing import State
from asfound.certificates.traceability import Traceability
from asfound.faults import RULES
from asfound.rounding import NOTHING
from asfound.site.lookup.lookup import look_up
from asfound.site.views.data import data
from asfound.site.views.findings import case_rows, case_view
from asfound.site.views.issued import CertificateLine
from asfound.site.views.method import method, published_tables
from asfound.site.views.overview import OverviewView, overview
from asfound.site.views.references import reference_states, reference_view
from asfound.site.views.results import budget, result_table
from asfound.site.views.rounds import planned_rounds
from asfound.site.views.schedule import schedule
from asfound.site.views.sensors import SensorView, sensor_rows, sensor_view
from asfound.site.views.standing import since_when, trusted
from asfound.site.views.visits import VisitView, visit_rows, visit_view
from asfound.wording import words
from tests import builders
from tests.printing.test_templates import ROOT
from tests.site import store

PUBLISHED = ROOT / "site_templates" / "published_values.csv"


def no_certificate(sensor: str, visit: str) -> tuple[CertificateLine, ...]:
    return ()


def the_overview() -> OverviewView:
    return overview(store.lookup())


def the_sensor(name: str) -> SensorView:
    return sensor_view(store.lookup(), store.assessment().standings[name], no_certificate)


def the_visit(name: str) -> VisitView:
    return visit_view(store.lookup(), name, Traceability(store.assessment()), no_certificate)


def said(view: OverviewView, sensor: str) -> list[tuple[str, str]]:
    """(chip, sentence) of all that the Overview says of a sensor."""
    items = [item for group in view.groups for item in group.items if item.sensor.text == sensor]
    return [(matter.chip.word, matter.sentence) for item in items for matter in item.matters]


# ---- Overview ----------------------------------------------------------------------------------------------------


def test_the_first_line_says_built_when_the_newest_visit_and_what_awaits_review():
    view = the_overview()
    assert view.day == store.DAY
    assert view.newest is not None and view.newest.text == "2026-12-07-undone"
    assert view.awaiting == "no git history at hand: nothing tells what awaits review"


def test_what_needs_action_stands_by_consequence_then_by_state():
    order = [(group.anchor, [item.sensor.text for item in group.items]) for group in the_overview().groups]
    assert order == [
        ("action-high", ["OUT-1", "CREEP-1"]),
        ("action-medium", ["NEAR-1", "SET-1", "NEW-1", "LATE-1"]),
    ]


def test_out_of_tolerance_says_since_when_by_how_much_and_who_has_it():
    (state, why), (finding, whose) = said(the_overview(), "OUT-1")
    assert (state, finding) == ("out of tolerance", "finding: nobody has it yet")
    assert re.fullmatch(
        r"as found on 2026-11-02 with error \+3\.\d+ ± 0\.\d+ %RH at \d0 %RH, tolerance ±2\.\d+ %RH: fail", why
    )
    assert whose == "the air was drier than shown, from some day after 2026-03-02 to 2026-11-02"


def test_a_finding_stays_a_matter_after_the_sensor_was_set_right():
    ((chip, sentence),) = said(the_overview(), "SET-1")
    assert chip == "finding: open"
    assert sentence.startswith(
        "Ben Sedge has it: the air was damper than shown, from some day after 2026-03-02 to 2026-11-09: outside its "
        "limits "
    )
    assert re.search(
        r"\d+ h if the error changed evenly \(95 %: \d+ to \d+ h\), \d+ to \d+ h if it came in one step on any day; "
        r"in the \d+ of \d+ h with a value$",
        sentence,
    )


@pytest.mark.parametrize(
    ("sensor", "chip", "sentence"),
    [
        ("NEAR-1", "too close to call", "as found on 2026-11-02 with error "),
        (
            "CREEP-1",
            "drifting",
            r"\+1\.6\d* ± 0\.\d+ %RH per year over 4 visits: at \d+ %RH \|error\| \+ U leaves ± 2 %RH about 20",
        ),
        ("LATE-1", "overdue", "since 2026-09-02: 6 months after the complete calibration of 2026-03-02"),
        ("NEW-1", "never calibrated", "instrument NEW-1-A in place since 2026-12-01: no complete calibration"),
    ],
)
def test_each_state_says_why(sensor: str, chip: str, sentence: str):
    found = dict(said(the_overview(), sensor))
    assert re.match(sentence, found[chip]) if chip in found else False, found


def test_a_point_that_was_not_done_is_said_with_its_reason():
    assert ("not done", "1 point at the latest visit, 2026-12-07: door locked") in said(the_overview(), "LATE-1")


def test_what_is_fine_or_out_of_service_needs_no_action():
    for sensor in ("FINE-1", "LOOP-1", "OFF-1"):
        assert said(the_overview(), sensor) == []


def test_can_we_trust_the_store_today_in_one_sentence_with_numbers():
    """Of eight in service FINE-1 and LOOP-1; the two of high consequence are out of tolerance and drifting."""
    good = [name for name, standing in store.assessment().standings.items() if trusted(standing)]
    assert good == ["FINE-1", "LOOP-1"]
    trust = the_overview().trust
    assert trust.startswith("2 of 8 sensors in service can be trusted today, 0 of the 2 of high consequence")
    assert trust.endswith("6 sensors cannot: the list below says why.")
    assert the_overview().lead == "out"


def test_findings_that_nobody_has_lead_what_needs_action():
    assert [link.text for link in the_overview().unowned] == ["OUT-1, 2026-11-02"]
    body = store.page("index.html").body
    assert body.index("nobody has it yet") < body.index("High consequence")


def test_what_leaves_its_tolerance_before_it_is_due_says_when():
    """CREEP-1 creeps by 1.6 %RH a year, was found at +0.65 and is due in two years: ±2 %RH will not last."""
    (why,) = (said for word, said in said(the_overview(), "CREEP-1") if word == "drifting")
    found = re.search(r"\|error\| \+ U leaves ± 2 %RH about (\S+) \(95 %: .*\), before it is due on (\S+)$", why)
    assert found is not None and store.DAY < found[1] < found[2] == "2028-11-02"
    assert ("leave tolerance before due", 1) in the_overview().tally


def test_counts_by_place_add_up():
    view = the_overview()
    assert [row.place for row in view.places] == ["Laboratory", "Loft"], "FINE-1 was moved"
    for name in ("sensors", "in_tolerance", "close", "out", "drifting", "late", "unused"):
        assert sum(getattr(row, name) for row in view.places) == getattr(view.total, name)
    total = view.total
    assert (total.sensors, total.close, total.out, total.drifting, total.late, total.unused) == (9, 1, 1, 1, 2, 1)


def test_out_of_tolerance_counts_from_the_first_visit_that_found_it():
    """Both visits found it so; the second alone would make a long excursion look new."""
    files = builders.records(
        builders.sensor(),
        builders.two_pressure(),
        store.one_visit("2026-03-02-a", {"RH-1": 0.0}),
        store.one_visit("2026-06-01-b", {"RH-1": 3.0}),
        store.one_visit("2026-09-01-c", {"RH-1": 3.0}),
    )
    standing = builders.assessed(files).standings["RH-1"]
    assert standing.state is State.OUT and standing.state_since == date(2026, 9, 1)
    assert since_when(standing) == date(2026, 6, 1)


def of_one(errors: list[float], day: str = "2026-12-31", **keys: object):
    """Look-up of a store with RH-1, found off by so much at 20, 50 and 80 %RH, or at the first of them."""
    rows = [
        builders.plateau(at, [at + e, at + e], builders.generated(at))
        for at, e in zip((20.0, 50.0, 80.0), errors, strict=False)
    ]
    files = builders.records(builders.sensor(**keys), builders.two_pressure(), builders.visit("2026-03-02-a", *rows))
    return look_up(builders.assessed(files, day))


def test_a_calibration_away_from_the_working_temperature_gives_no_trust_and_says_why():
    found = of_one([0.1, 0.1, 0.1], working_temperature="-20 degC", rh_over="water")
    assert not trusted(found.assessment.standings["RH-1"])
    assert said(overview(found), "RH-1") == [("other temperature", "calibrated at 25 °C only, works at −20 °C")]


def test_a_sensor_deferred_beyond_its_interval_is_counted_apart():
    deferral = {"deferred_until": "2027-06-01", "deferred_reason": "the kiln runs"}
    assert trusted(of_one([0.1, 0.1, 0.1], "2027-03-02", **deferral).assessment.standings["RH-1"])
    late = of_one([0.1, 0.1, 0.1], "2027-03-03", **deferral)
    assert not trusted(late.assessment.standings["RH-1"])
    assert overview(late).trust.endswith("Not counted: 1 sensor deferred beyond its interval.")


def test_a_finding_leads_with_the_working_point_then_the_worst():
    (row,) = case_rows(of_one([3.0, 3.5, 4.5], working_humidity="50 %RH"))
    assert re.fullmatch(r"\+3\.5\d* ± \S+ %RH at 50 %RH; worst \+4\.5\d* ± \S+ %RH at 80 %RH", row.size)


def test_a_visit_that_did_not_judge_all_points_says_so():
    (visit,) = visit_rows(of_one([0.1]))
    assert [chip.word for _, chips in visit.sensors for chip in chips] == ["as found: pass at 1 of 3 points"]


def test_the_decision_rule_stands_once_on_overview_and_findings():
    for path in ("index.html", "findings/index.html"):
        assert store.page(path).body.count("guard band w = U") == 1, path


# ---- Sensors -----------------------------------------------------------------------------------------------------


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


def test_a_change_since_last_left_has_the_u_of_the_difference():
    """What both visits share cancels: U is smaller than the two results' U in quadrature."""
    row = the_sensor("OUT-1").drifts[0].changes[0]
    assert (row.point, row.chip.word) == ("20 %RH, start", "stands out")
    value, U = (float(text) for text in row.change.split(" ± "))
    assert value == pytest.approx(float(row.now) - float(row.before), abs=0.02)
    assert float(row.e_n) == pytest.approx(value / U, rel=0.05), "E_n stands beside it"
    results = [r for r in store.assessment().results if r.sensor == "OUT-1" and r.target == 20]
    assert math.hypot(*(r.U for r in results)) > U


def test_out_of_service_and_why_stand_on_the_page():
    assert the_sensor("OFF-1").notes == ("Out of service 2026-10-01 to further notice: the bin is being rebuilt",)


def test_settings_say_their_value_in_words_and_where_they_are_set():
    facts = {fact.name: (fact.value, fact.note) for fact in the_sensor("LATE-1").settings}
    assert facts["Humidity tolerance"] == ("±2 %RH", "family rush")
    assert facts["Points"][0] == "20 %RH, 50 %RH and 80 %RH"
    assert facts["Interval"] == ("6 months", "this sensor")


# ---- Visits ------------------------------------------------------------------------------------------------------


def test_a_visit_says_who_with_what_and_which_file():
    view = the_visit("2026-11-02-bins")
    assert ("Technician", "Ann Tansy") in [(fact.name, fact.value) for fact in view.facts]
    ((link, said),) = view.references
    assert link.text == "GEN-01"
    assert re.search(r"; calibrated or checked as good on 20\d\d-\d\d-\d\d and not again since$", said)
    (file,) = view.files
    assert file.title == "records/visits/2026/2026-11-02-bins.csv" and re.fullmatch("[0-9a-f]{64}", file.sha256)
    content = store.store()["visits/2026/2026-11-02-bins.csv"].decode()
    rows = list(csv.reader(content.splitlines()))
    assert [list(file.header), *(list(fields) for _, fields in file.lines)] == rows, "fields as written"
    assert [number for number, _ in file.lines] == list(range(2, len(rows) + 1))


def test_every_revision_stands_on_the_page_with_its_reason():
    view = the_visit("2026-11-23-void")
    assert [(file.anchor, file.of, file.reason) for file in view.files] == [
        ("rows-r2", "Revision 2 of FINE-1", "the seal was split"),
        ("rows-r1", "First record of FINE-1", ""),
    ]
    (part,) = view.parts
    assert part.withdrawn == "the seal was split" and not part.channels


def test_an_error_is_split_between_sensor_and_loop():
    (part,) = the_visit("2026-11-16-loop").parts
    loop = part.channels[0].loop
    assert loop
    for row in loop:
        errors = tuple(float(text.partition(" ")[0]) for text in (row.sensor, row.loop, row.total))
        assert errors == pytest.approx((0.2, 0.3, 0.5), abs=0.06)


def test_one_error_has_one_U_on_a_page_also_where_a_simulation_gave_it():
    rows = [builders.plateau(t, [t + 0.2] * 2, builders.generated(t), far_end=[t + 0.5] * 2) for t in (20.0, 50.0)]
    coarse = builders.sensor(humidity={"resolution": "0.01 %RH", "far_end_resolution": "1 %RH"})
    files = builders.records(builders.family(), coarse, builders.two_pressure(), builders.visit("2026-03-02-a", *rows))
    lookup = look_up(builders.assessed(files))
    assert lookup.assessment.answers, "Monte Carlo decides"
    (part,) = visit_view(lookup, "2026-03-02-a", Traceability(lookup.assessment), no_certificate).parts
    (channel,) = part.channels
    errors = [row.error for group in channel.table.groups for row in group.rows]
    assert errors == [row.total for row in channel.loop]


def test_a_reservation_with_two_reasons_is_one_chip_and_two_sentences():
    result = next(r for r in store.assessment().results if r.reservations)
    first = result.reservations[0]
    table = result_table([result.altered(reservations=(first, replace(first, message="another reason")))])
    (row,) = (row for group in table.groups for row in group.rows)
    assert row.reservations == (words.reservation_chip(first),)
    assert sum(first.rule.name.replace("-", " ") in note for note in table.remarks) == 2


def test_every_measured_result_has_its_budget_row_by_row():
    view = the_visit("2026-11-02-bins")
    results = [r for r in store.assessment().results if r.visit == view.id]
    assert sum(len(part.budgets) for part in view.parts) == len(results) == 12
    shown = budget(store.lookup(), results[0])
    assert shown is not None
    assert len(shown.rows) == len(store.assessment().measurement.whole().lines(results[0].line))
    assert any(row.identity.startswith("GEN-01/") for row in shown.rows)
    assert all(re.search(r"%RH|°C|Pa|^[\d.·^−]+$", row.u) for row in shown.rows), "with unit, unless it has none"


def test_a_budget_says_which_answer_is_used():
    lookup = store.lookup()
    answers = {r.answer: budget(lookup, r).answer for r in store.assessment().results if r.line is not None}
    assert answers["linear"] == "linear propagation (GUM)"
    assert re.fullmatch(r"Monte Carlo \(JCGM 101\), [\d\u202f]+ trials, seed \d+", answers["monte carlo"])


def test_advice_and_adjustment_stand_with_the_sensor():
    (part,) = the_visit("2026-11-09-set").parts
    assert part.advice == "adjusted, and the as left passes: done"
    assert ("Adjustment", "zero adjusted: before → after") in [(fact.name, fact.value) for fact in part.facts]


def test_the_list_of_visits_is_newest_first_with_verdicts_by_phase():
    rows = {row.link.text: row for row in visit_rows(store.lookup())}
    assert list(rows) == sorted(rows, reverse=True)
    ((sensor, chips),) = rows["2026-11-09-set"].sensors
    assert sensor.text == "SET-1" and [chip.word for chip in chips] == ["as found: fail", "as left: pass"]
    assert rows["2026-11-23-void"].remark == "2 revisions, FINE-1 withdrawn"
    ((_, probe),) = rows["2026-02-02-probe"].sensors
    assert [chip.word for chip in probe] == ["calibrated here"]


# ---- References --------------------------------------------------------------------------------------------------


def test_a_reference_says_whether_it_is_in_date_and_how_its_last_check_went():
    states = {state.link.text: state for state in reference_states(store.lookup())}
    assert states["GEN-01"].sentence == "in date until 2028-01-12"
    probe = states["PROBE-01"]
    assert probe.check_link is not None and probe.check_link.path == "visits/2026-08-03-probe-check.html"
    assert re.fullmatch(r"largest error \+0\.6\d* ± 0\.\d+ %RH", probe.last_check)


def test_calibrations_stand_link_by_link_as_their_certificate_says():
    view = reference_view(store.lookup(), store.lookup().records.references["GEN-01"])
    quantity = next(q for q in view.quantities if q.name == "saturation pressure")
    (calibration,) = quantity.calibrations
    assert (calibration.by, calibration.certificate) == ("Birch metrology", "C-2026-01-12")
    assert (calibration.largest_U, calibration.declared) == ("0.4 kPa", "error"), "as written, not converted"
    assert [(row.at, row.U) for row in calibration.points] == [("0 kPa", "0.4 kPa"), ("1500 kPa", "0.4 kPa")]


def test_what_was_calibrated_here_names_its_visit_and_what_it_leans_on():
    lookup = store.lookup()
    probe = reference_view(lookup, lookup.records.references["PROBE-01"])
    (calibration,) = next(q for q in probe.quantities if q.name == "reference humidity").calibrations
    assert calibration.visit is not None and calibration.visit.text == "2026-02-02-probe"
    assert len(calibration.points) == 3
    generator = reference_view(lookup, lookup.records.references["GEN-01"])
    assert [link.text for link in generator.carries] == ["PROBE-01"]
    assert "2026-02-02-probe" in [row.visit.text for row in generator.leaning]
    measured = [r for r in store.assessment().results if r.line is not None]
    assert generator.leaning_results == len(measured), "there is no other reference in use"


# ---- Schedule ----------------------------------------------------------------------------------------------------


def test_overdue_stands_first_then_month_by_month():
    view = schedule(store.lookup(), planned_rounds(store.lookup()))
    assert [row.link.text for row in view.groups[0].rows] == ["NEW-1", "LATE-1"]
    months = [group.anchor for group in view.groups[1:]]
    assert months == sorted(months) and view.groups[1].title == "January 2028"


def test_everything_in_service_is_due_once_and_references_run_out_beside_it():
    view = schedule(store.lookup(), planned_rounds(store.lookup()))
    due = [row.link.text for group in view.groups for row in group.rows]
    serving = [name for name in store.assessment().standings if name != "OFF-1"]
    assert sorted(due) == sorted([*serving, *store.lookup().records.references])
    assert [row.link.text for row in view.unused] == ["OFF-1"]


def test_within_a_month_places_stand_together_and_references_last():
    group = next(
        g for g in schedule(store.lookup(), planned_rounds(store.lookup())).groups if g.title == "November 2028"
    )
    places = [row.place for row in group.rows]
    assert places == sorted(places, key=["Laboratory", "Loft", "Reference standards"].index)
    assert "Loft" in places


# ---- Findings ----------------------------------------------------------------------------------------------------


def test_findings_that_nobody_has_stand_first():
    assert [(row.sensor.text, row.chip.word, row.owner) for row in case_rows(store.lookup())] == [
        ("OUT-1", "nobody has it yet", ""),
        ("SET-1", "open", "Ben Sedge"),
    ]


def test_a_finding_says_its_window_direction_and_what_the_sensor_drives():
    """OUT-1 showed high, so the air was drier than shown; it drives the plant, so the room was moved."""
    case = store.lookup().cases[("OUT-1", "2026-11-02-bins")]
    view = case_view(store.lookup(), case)
    assert "the air was drier than shown, by about 3.0 %RH" in view.meaning
    assert "The sensor drives the plant" in view.meaning
    facts = {fact.name: fact.value for fact in view.known}
    assert (facts["Last known good"], facts["Found"]) == ("2026-03-02", "2026-11-02")
    assert not view.on_file and view.path == "findings/OUT-1/2026-11-02-bins.yml"


def test_who_was_told_stands_with_the_day():
    view = case_view(store.lookup(), store.lookup().cases[("SET-1", "2026-11-09-set")])
    assert [(fact.name, fact.value) for fact in view.told] == [("2026-11-09", "quality")]
    assert {fact.name: fact.value for fact in view.filed}["Deviation number"] == "DEV-7"


# ---- Method and Data ---------------------------------------------------------------------------------------------


def test_published_values_are_those_of_the_tests_with_their_sources():
    """The Method page shows a part of tests/published: the same facts, not a second opinion."""
    tables = {}
    for name in ("saturation_vapour_pressure", "enhancement_factor", "two_pressure", "saturated_salts"):
        with (ROOT / "tests" / "published" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            tables |= {row["id"]: row for row in csv.DictReader(file)}
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["quantity"] for row in rows} == {
        "saturation_vapour_pressure",
        "enhancement_factor",
        "two_pressure_rh",
        "salt_rh",
    }
    for row in rows:
        known = tables[row["id"]]
        assert (row["published"], row["unit"], row["source"], row["obtained"]) == (
            known["expected"],
            known["unit"],
            known["source"],
            known["obtained"],
        )


def test_computed_values_agree_with_published_ones_as_far_as_each_source_allows():
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        allowed = [(float(r["published"]), float(r["allowed"]), r["allowed_kind"]) for r in csv.DictReader(file)]
    shown = [row for table in published_tables(PUBLISHED.read_bytes()) for row in table.rows]
    assert len(shown) == len(allowed) > 30
    for row, (expected, tolerance, kind) in zip(shown, allowed, strict=True):
        limit = tolerance * abs(expected) if kind == "relative" else tolerance
        rounding = 0.5 * 10.0 ** -len(row.computed.partition(".")[2])
        assert abs(float(row.computed) - expected) <= limit + rounding, row.at


def test_the_computed_column_is_computed_and_not_copied():
    """A published value that is wrong must show as wrong."""
    text = PUBLISHED.read_text(encoding="utf-8")
    wrong = text.replace(",3169.9293,", ",3179.9293,").encode()
    at = "25 °C over water"
    right, changed = (
        next(row for table in published_tables(content) for row in table.rows if row.at == at)
        for content in (text.encode(), wrong)
    )
    assert right.computed == changed.computed and right.difference == "−3 ppm"
    assert changed.difference.startswith("−314") and changed.difference.endswith(" ppm")


def test_the_method_page_names_the_rule_in_force():
    (policy,) = method(store.lookup(), PUBLISHED.read_bytes()).policies
    assert policy.title == "Visits from the first visit on" and policy.rule.startswith("guard band w = U")


def test_every_reservation_and_every_rule_stand_on_the_data_page():
    view = data(store.lookup(), columns=(), drift_columns=(), files={}, records_hash="", licences=())
    expected = {fault.text() for r in store.assessment().results for fault in r.reservations}
    expected |= {fault.text() for fault in store.assessment().reservations}
    assert len(view.reservations) == len(expected)
    assert all(re.fullmatch(r"records/\S+:\d+:\d+", row.place) for row in view.reservations)
    assert [row.name for row in view.rules] == sorted(name for name, rule in RULES.items() if not rule.of_changes)
    effects = {row.name: row.effect for row in view.rules}
    assert effects["unsettled-plateau"] == "no verdict and no certificate"
    assert effects["bad-number"] == "nothing is built"


# ---- Words -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("-0.35 degC", "−0.35 °C"),
        ("0.2 degC/year", "0.2 °C/year"),
        ("RH-101 on 2026-03-14", "RH-101 on 2026-03-14"),
        ("zero 0.0 %RH → zero -2.3 %RH", "zero 0.0 %RH → zero −2.3 %RH"),
        ("4 to -5", "4 to −5"),
    ],
)
def test_units_and_minus_are_shown_as_people_write_them(written: str, shown: str):
    assert words.shown(written) == shown


@pytest.mark.parametrize(
    ("value", "U", "shown"),
    [(0.184, 0.226, "+0.18 ± 0.23"), (-3.0275, 0.31, "−3.03 ± 0.31"), (0.0004, 0.05, "0.000 ± 0.050")],
)
def test_an_error_is_rounded_to_its_uncertainty(value: float, U: float, shown: str):
    """U to two significant digits, the value to match: JCGM 100:2008, 7.2.6."""
    assert words.difference(value, U) == shown


def test_no_number_is_a_dash_and_certainty_is_never_claimed():
    assert words.difference(math.nan, 0.1) == words.percent(math.nan) == words.target(math.nan) == NOTHING
    assert (words.percent(0.0), words.percent(1.0), words.percent(0.0231)) == ("< 0.1 %", "> 99.9 %", "2.3 %")
