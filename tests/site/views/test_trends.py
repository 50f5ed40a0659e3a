"""What pages say of trends: lines and bands, control charts, who leaves first, opinions, checks of references."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import pytest

from asfound.assessment.history.change_charts import ChangeChart
from asfound.assessment.standing import State
from asfound.printing import templates
from asfound.records.models import Channel
from asfound.site.charts.axes import history_chart
from asfound.site.charts.trends import FLEET_ROWS, control_chart
from asfound.site.lookup.lookup import Lookup, look_up
from asfound.site.lookup.outlooks import leaves_first, leaving_before_due, leaving_day
from asfound.site.publishing.build import content_of
from asfound.site.views.drift import DriftPage, drift_page
from asfound.site.views.history_events import history_events
from asfound.site.views.references import reference_state, reference_view
from asfound.site.views.sensor_drift import drift_views, proposal_view
from asfound.site.views.standing import matters, trusted
from asfound.statistics.control_charts import ewma, individuals
from asfound.wording import words
from tests import builders
from tests.builders import Files
from tests.site import store

MONTHS = ("2026-02", "2026-04", "2026-06", "2026-08", "2026-10", "2026-12")
PATHS = {
    "STILL-1": (0.1, 0.15, 0.1, 0.05, 0.1, 0.12),
    "CREEP-1": (-0.42, -0.08, 0.22, 0.46, 0.84, 1.08),
    "SINKS-1": (0.03, -0.1, -0.1, -0.21, -0.2, -0.32),
    "YOUNG-1": (None, None, None, None, 0.1, 0.1),
}
"""Errors at each visit, %RH; tolerance ±2 %RH, due after 24 months."""


def files() -> Files:
    intervals = {"method": "drift", "shortest": 3, "longest": 36}
    policy = {"rule": "guard_band", "visit_to_visit": "0.05 %RH", "intervals": intervals}
    visits = (
        store.one_visit(f"{month}-02-round", {name: path[n] for name, path in PATHS.items() if path[n] is not None})
        for n, month in enumerate(MONTHS)
    )
    return builders.records(
        builders.facility(policies=policy),
        builders.family(interval={"months": 24}),
        *(builders.sensor(name) for name in PATHS),
        builders.two_pressure(),
        *visits,
    )


@cache
def lookup() -> Lookup:
    return look_up(builders.assessed(files()))


@cache
def page() -> DriftPage:
    return drift_page(lookup())


def standing(name: str) -> Any:
    return lookup().assessment.standings[name]


def history(name: str) -> dict[str, Any]:
    chart = history_chart(lookup(), standing(name), Channel.HUMIDITY, [], standing(name).drifts[0])
    assert chart is not None
    found: dict[str, Any] = json.loads(chart)
    return found


# ---- The line in the history ---------------------------------------------------------------------------------------


def test_the_line_of_every_point_runs_from_the_first_visit_to_the_due_day():
    chart = history("CREEP-1")
    assert {line["target"] for line in chart["drift"]} == {"20 %RH", "50 %RH", "80 %RH"}
    for line in chart["drift"]:
        assert (line["dates"][0], line["dates"][-1]) == ("2026-02-02", "2028-12-02")
        assert not line["thin"]
    assert chart["due"]["date"] == "2028-12-02"


def test_one_band_is_drawn_that_of_the_point_that_leaves_first_and_it_ends_at_the_prediction_of_the_table():
    chart, (drift,) = history("CREEP-1"), standing("CREEP-1").drifts
    banded = [(number, line) for number, line in enumerate(chart["drift"]) if "low" in line]
    assert len(banded) == 1
    number, line = banded[0]
    assert number == leaves_first(drift.outlooks)
    outlook = drift.outlooks[number]
    assert line["error"][-1] == pytest.approx(outlook.error_due, rel=1e-8)
    assert line["high"][-1] - line["error"][-1] == pytest.approx(outlook.U_due, rel=1e-8)
    widths = [high - low for high, low in zip(line["high"], line["low"], strict=True)]
    assert widths[-1] == max(widths), "what is further off is less sure"


def test_what_does_not_drift_has_a_thin_line_and_what_has_no_rate_has_none():
    still = history("STILL-1")["drift"]
    assert still and all(line["thin"] for line in still)
    assert "drift" not in history("YOUNG-1")


# ---- Leaving the tolerance -----------------------------------------------------------------------------------------


def test_who_leaves_the_tolerance_before_due_stands_first_with_the_day():
    assert [row.sensor.text for row in page().leaving] == ["CREEP-1"]
    (row,) = page().leaving
    _, outlook = leaving_before_due(standing("CREEP-1"))
    assert date(2026, 12, 31) < outlook.leaves.median < date(2028, 12, 2)
    assert str(outlook.leaves.median) in row.sentence and row.sentence.endswith("before it is due on 2028-12-02")
    assert "CREEP-1" not in [link.text for link in page().may_leave], "told once"


def test_a_sensor_that_is_out_already_does_not_leave_again():
    parts = files() | store.one_visit("2026-12-20-late", {"CREEP-1": 3.0})
    late = look_up(builders.assessed(parts))
    assert leaving_before_due(late.assessment.standings["CREEP-1"]) is None
    assert "CREEP-1" not in [row.sensor.text for row in drift_page(late).leaving]


def test_a_steady_sensor_does_not_leave_within_ten_years_or_says_how_likely():
    (drift,) = standing("STILL-1").drifts
    days = {leaving_day(outlook)[0] for outlook in drift.outlooks}
    assert days <= {"not within 10 years", "more likely not within 10 years"}


# ---- The fleet -----------------------------------------------------------------------------------------------------


def test_states_of_trend_are_counted_once_a_sensor():
    assert sum(number for _, number in page().tally) == len(PATHS)
    assert dict(page().tally)["drifting"] == 2 and dict(page().tally)["too few visits"] == 1


def test_drift_stands_as_part_of_the_tolerance_largest_first():
    rows = {row.sensor.text: row for row in page().rows}
    order = [row.sensor.text for row in page().rows]
    assert (order[0], order[-1]) == ("CREEP-1", "YOUNG-1") and rows["YOUNG-1"].share == ""
    (drift,) = standing("CREEP-1").drifts
    share = float(rows["CREEP-1"].share.partition(" ")[0])
    assert share == pytest.approx(100 * max(abs(o.rate) for o in drift.outlooks) / 2.0, rel=0.05)
    assert rows["SINKS-1"].share.startswith("−")


def test_a_row_of_the_fleet_names_the_points_that_it_speaks_of():
    rows = page().rows
    assert any(row.share_at for row in rows)
    for row in rows:
        for drift in standing(row.sensor.text).drifts:
            uses = {f"{o.target:g} %RH": abs(o.rate) / o.tolerance for o in drift.outlooks}
            assert row.share_at == (max(uses, key=uses.__getitem__) if uses else "")
            first = {f"{o.target:g} %RH" for o in drift.outlooks if leaving_day(o) == (row.leaves, row.bounds)}
            assert row.leaves_at in (first if row.bounds else {""})


def test_what_moves_stands_open_and_the_rest_is_folded_under_it_each_channel_once():
    assert {row.sensor.text for row in page().moving} == {"CREEP-1", "SINKS-1"}
    assert {row.sensor.text for row in page().others} == {"STILL-1", "YOUNG-1"}
    assert sorted(page().moving + page().others, key=page().rows.index) == list(page().rows)
    body = {p.path: p for p in content_of(files(), lookup(), templates.template_folders(), {}).pages}["drift.html"].body
    fold = body[body.index("Steady, or with too few visits: 2 of 4 channels") :].partition("</details>")[0]
    assert all((f"sensors/{name}.html" in fold) is (name in ("STILL-1", "YOUNG-1")) for name in PATHS)


def test_a_drifting_sensor_needs_action_by_the_day_on_which_its_first_point_leaves():
    """Not by the day of its first visit, which is when the line begins and not when the drift began."""
    found = standing("CREEP-1")
    (drift,) = found.drifts
    (sentence,) = (m.sentence for m in matters(lookup(), found) if m.chip.word == "drifting")
    outlook = drift.outlooks[leaves_first(drift.outlooks)]
    assert outlook.leaves is not None
    assert f"about {outlook.leaves.median} (95 %: from {outlook.leaves.earliest} to" in sentence
    assert sentence.startswith(words.shown(drift.sentence).partition(":")[0])
    assert not sentence.startswith("since") and "over 6 visits" in sentence


def test_a_bound_before_due_is_told_of_any_point_not_only_of_that_which_leaves_first():
    """One point is likelier to leave first, another may leave sooner: the sooner bound counts."""
    found = standing("CREEP-1")
    first = found.drifts[0].outlooks[0]
    days = (first.leaves.median, found.due.day)
    one = replace(first, leaves=replace(first.leaves, median=date(2029, 6, 1), earliest=date(2029, 3, 1)))
    other = replace(first, leaves=replace(first.leaves, median=None, earliest=date(2028, 6, 1), latest=None))
    shown = replace(found, drifts=(replace(found.drifts[0], outlooks=(one, other)),))
    assert max(days) < one.leaves.earliest and leaving_before_due(shown) is None
    assert leaving_before_due(shown, likely=False) == (shown.drifts[0], other)


def test_the_chart_has_every_channel_with_a_rate_under_its_place_and_model():
    chart = json.loads(page().chart or "")
    assert {point["label"] for point in chart["points"]} == {row.sensor.text for row in page().rows if row.share}
    assert {point["group"] for point in chart["points"]} == {"Laboratory, rush"}
    sizes = [abs(point["value"]) for point in chart["points"]]
    assert sizes == sorted(sizes, reverse=True) and len(sizes) <= FLEET_ROWS


def test_reliability_says_how_many_of_how_many_and_a_lower_bound():
    (row, *_) = page().reliabilities
    visits = sum(error is not None for path in PATHS.values() for error in path)
    assert (row.model, row.place, row.count, row.rate) == ("rush", "all places", f"{visits} of {visits}", "100 %")
    assert row.lower_bound == f"{100 * 0.05 ** (1 / visits):.0f} %", "none out of n: p^n = 5 % (Clopper and Pearson)"


# ---- Opinions ------------------------------------------------------------------------------------------------------


def test_only_proposals_that_differ_are_listed_and_say_what_they_would_change():
    rows = {row.sensor.text: row for row in page().proposals}
    assert rows["CREEP-1"].chip.word == "shorter" and "instead of 2028-12-02" in rows["CREEP-1"].changes
    assert (rows["STILL-1"].chip.word, rows["STILL-1"].proposed) == ("longer", "36 months")
    assert [row.chip.word for row in page().proposals] == sorted((r.chip.word for r in rows.values()), reverse=True)
    assert len(rows) + page().kept == len(PATHS)


def test_why_and_what_it_would_change_share_a_cell_so_that_a_phone_shows_both():
    pages = {p.path: p for p in content_of(files(), lookup(), templates.template_folders(), {}).pages}
    table = pages["drift.html"].body.partition('id="proposals"')[2].partition("</table>")[0]
    last = re.findall(r'<td class="said">(.*?)</td></tr>', table, re.DOTALL)
    assert len(last) == len(page().proposals) and all("It would change: " in cell for cell in last)


def test_a_proposal_says_what_it_lacks():
    view = proposal_view(standing("YOUNG-1").proposal)
    assert view is not None and view.chip.word == "no proposal" and "too few" in view.sentence
    assert view.changes == ""


def test_an_opinion_is_called_one_and_stands_on_no_certificate():
    pages = {p.path: p for p in content_of(files(), lookup(), templates.template_folders(), {}).pages}
    for path in ("sensors/CREEP-1.html", "drift.html"):
        text = pages[path].body.lower()
        assert "opinion" in text and "stands on no certificate and never applies itself" in text


# ---- Control charts ------------------------------------------------------------------------------------------------


def test_changes_that_add_up_are_a_signal_in_chart_and_table_with_the_same_number():
    (view,) = drift_views(standing("CREEP-1"), [])
    assert view.control.chart is not None
    newest = json.loads(view.control.chart)["points"][-1]
    assert "mean" in newest["signals"] and newest["mean"] > newest["mean_high"]
    assert [chip.word for chip in view.control.rows[0].chips] == ["average beyond its limits"]
    assert f"change {view.control.rows[0].change} %RH" in newest["hover"]
    assert "signal: the moving average is beyond its limits" in newest["hover"]


def test_a_step_is_a_signal_of_its_own():
    changes = (0.1, -0.1) * 8 + (2.0,)
    chart = ChangeChart(
        channel=Channel.HUMIDITY,
        days=tuple(date(2010 + year, 3, 2) for year in range(len(changes))),
        changes=changes,
        U=(0.2,) * len(changes),
        individuals=individuals(changes),
        ewma=ewma(changes, 0.0, 0.3),
        sentence="",
    )
    drawn = json.loads(control_chart("STEP-1", chart, []) or "")
    assert [point["date"] for point in drawn["points"] if "value" in point["signals"]] == ["2026-03-02"]
    assert drawn["points"][-1]["value"] > drawn["upper"]


def test_what_is_steady_gives_no_signal():
    (view,) = drift_views(standing("STILL-1"), [])
    assert {chip.word for row in view.control.rows for chip in row.chips} == {"within"}


def test_two_visits_are_too_few_for_limits():
    (view,) = drift_views(standing("YOUNG-1"), [])
    assert view.control.chart is None and "needed for limits" in view.control.sentence
    (chart,) = standing("YOUNG-1").charts
    assert control_chart("YOUNG-1", chart, []) is None


# ---- References ----------------------------------------------------------------------------------------------------


def checked(*errors: float) -> Lookup:
    """A transfer probe, checked once a month against the two-pressure humidity generator; its limit is 1 %RH."""
    probe = builders.transfer_probe(check_limit={"humidity": "1 %RH"})
    checks = [
        builders.visit(f"2026-{month:02}-03-check", *store.three_points("PROBE-01", error, phase="check"))
        for month, error in enumerate(errors, start=3)
    ]
    leaning = builders.visit("2026-05-20-room", builders.plateau(50.0, [50.1, 50.1], builders.by_probe(50.0)))
    return look_up(
        builders.assessed(builders.records(builders.sensor(), builders.two_pressure(), probe, *checks, leaning))
    )


def test_checks_of_a_reference_are_charted_with_their_limit():
    found = checked(0.1, 0.2, 0.1, 0.15)
    view = reference_view(found, found.records.references["PROBE-01"])
    assert view.has_charts and view.check_chart is not None
    chart = json.loads(view.check_chart)
    assert {(point["low"], point["high"], point["phase"]) for point in chart["points"]} == {(-1.0, 1.0, "check")}
    assert chart["limits"] == "limit of checks" and chart["control"]["lower"] < 0.14 < chart["control"]["upper"]
    assert view.check_sentence.startswith("4 checks since 2026-03-03, none beyond the limit of 1 %RH")
    assert view.doubts == ()


def test_what_the_chips_of_a_reference_say_is_answered_before_its_calibrations():
    found = checked(0.1, 0.2, 0.1, 3.0)
    pages = content_of(dict(found.records.files), found, templates.template_folders(), {}).pages
    body = next(p.body for p in pages if p.path == "references/PROBE-01.html")
    order = re.findall(r'<h2 id="([\w-]+)"', body)
    assert order[:2] == ["checks", "doubts"] and order.index("calibrations") < order.index("leaning")


def test_visits_that_leaned_on_a_reference_in_doubt_are_named_on_its_page():
    found = checked(0.1, 0.2, 0.1, 3.0)
    view = reference_view(found, found.records.references["PROBE-01"])
    assert [row.visit.text for row in view.doubts] == ["2026-05-20-room"]
    assert "in doubt from 2026-05-04" in view.doubts[0].why
    assert reference_view(found, found.records.references["GEN-01"]).doubts == ()


def test_a_failed_check_marks_the_reference_until_it_is_calibrated_anew():
    def words_of(*anew: builders.Keys) -> list[str]:
        humidity = [builders.point(at, "0 %RH", "0.4 %RH") for at in ("0 %RH", "100 %RH")]
        temperature = [builders.point(at, "0 degC", "0.1 degC") for at in ("0 degC", "60 degC")]
        tables = {"reference_humidity": humidity, "reference_temperature": temperature, "air_temperature": temperature}
        known = {
            name: builders.quantity(*(builders.calibration(*table, **keys) for keys in ({}, *anew)))
            for name, table in tables.items()
        }
        probe = builders.transfer_probe(quantities=known, check_limit={"humidity": "1 %RH"})
        check = builders.visit("2026-04-03-check", *store.three_points("PROBE-01", 3.0, phase="check"))
        found = look_up(builders.assessed(builders.records(builders.two_pressure(), probe, check)))
        return [chip.word for chip in reference_state(found, found.records.references["PROBE-01"]).chips]

    assert "last check failed" in words_of()
    assert "last check failed" not in words_of({"on": "2026-05-20"})


def test_a_calibration_during_the_checks_is_marked_and_one_before_them_is_not():
    chart = json.loads(reference_view(store.lookup(), store.lookup().records.references["PROBE-01"]).check_chart or "")
    assert chart["events"] == []
    ends = [builders.point(at, "0 %RH", "0.4 %RH") for at in ("0 %RH", "100 %RH")]
    anew = builders.quantity(builders.calibration(*ends), builders.calibration(*ends, on="2026-04-20"))
    probe = builders.transfer_probe(quantities={"reference_humidity": anew}, check_limit={"humidity": "1 %RH"})
    checks = [
        builders.visit(f"2026-0{month}-03-check", *store.three_points("PROBE-01", 0.1, phase="check"))
        for month in (4, 5)
    ]
    found = look_up(builders.assessed(builders.records(builders.two_pressure(), probe, *checks)))
    chart = json.loads(reference_view(found, found.records.references["PROBE-01"]).check_chart or "")
    assert [(event["date"], event["text"]) for event in chart["events"]] == [
        ("2026-04-20", "calibrated: reference humidity")
    ]


def test_the_history_of_a_reference_s_user_is_marked_too():
    """The other way round: what leans on it says when it was calibrated anew (test_history_events)."""
    assert history_events(lookup(), standing("STILL-1")) == []


# ---- Trust today ----------------------------------------------------------------------------------------------------


def in_use(*errors: float) -> Lookup:
    """Found now at one of these, now at the other, of ± 2 %RH, by visits that are declared to shift by 0.4 %RH."""
    visits = [
        builders.visit(f"{month}-03-lab", *store.three_points("RH-1", errors[i % len(errors)]))
        for i, month in enumerate(MONTHS)
    ]
    policy = {"rule": "guard_band", "visit_to_visit": "0.4 %RH"}
    files = builders.records(builders.facility(policies=policy), builders.sensor(), builders.two_pressure(), *visits)
    return look_up(builders.assessed(files))


def test_a_sensor_that_may_be_out_in_use_today_is_not_trusted():
    calm, shifting = in_use(1.3), in_use(1.0, 1.6)
    assert trusted(calm.assessment.standings["RH-1"]) and matters(calm, calm.assessment.standings["RH-1"]) == []
    standing = shifting.assessment.standings["RH-1"]
    assert standing.state is State.IN and not trusted(standing)
    (matter,) = [m for m in matters(shifting, standing) if m.chip.word == "may be out today"]
    assert re.fullmatch(
        r"humidity at \d0 %RH: by its history \+1\.\d+ ± 1\.\d %RH today, tolerance ±2\.0 %RH", matter.sentence
    )
