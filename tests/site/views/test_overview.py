"""What the Overview says of a store with one sensor for each state: who needs action, why, since when, who has it."""

from __future__ import annotations

import re
from datetime import date

import pytest

from asfound.assessment.standing import State
from asfound.site.views.findings import case_rows
from asfound.site.views.overview import overview
from asfound.site.views.standing import since_when, trusted
from asfound.site.views.visits import visit_rows
from tests import builders
from tests.site import store
from tests.site.views.pages import of_one, said, the_overview


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
