"""What a finding's page and form say of the time before it, with and without a trend."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pikepdf
import pytest

import tests.builders as b
from asfound.assessment.findings.cases import Case
from asfound.faults import RecordsRefused
from asfound.printing import templates
from asfound.site.lookup.lookup import Lookup, look_up
from asfound.site.publishing.build import content_of
from asfound.site.publishing.finding_form import form_page, form_path, forms
from asfound.site.views.exposure import exposure_view, hours_in_short, hours_outside
from asfound.site.views.findings import case_rows, case_view
from asfound.site.views.standing import matters
from tests.assessment.findings.test_investigation import DRIFTED, STEPPED, exported, read, store

FOLDERS = templates.template_folders()


def looked_up(files: b.Files) -> Lookup:
    return look_up(b.assessed(files, "2028-12-31"))


@cache
def drier() -> Lookup:
    """Shown 48 %RH in the end with an error of 4: the air was at 44, below the limit of 45 %RH."""
    trends = exported(np.full(24 * 400, 48.0), "2026-05-01") | exported(np.full(24 * 400, 44.3), "2026-05-01", "RH-2")
    files = store({}, b.sensor("RH-2"), trends)
    for day, rows in STEPPED.items():
        files |= b.visit(f"{day}-lab", rows)
    return looked_up(files)


def only(lookup: Lookup) -> Case:
    (case,) = lookup.assessment.cases
    return case


def test_a_window_without_a_line_says_what_is_taken_for_it():
    view = exposure_view(drier(), only(drier()))
    assert (
        "Left in tolerance at every set point on 2026-08-17; found out of tolerance on 2027-02-15, 182 days"
        in (view.since[0])
    )
    assert "No drift line" in view.since[1] and "a step on any day" in view.since[1]


def test_a_line_says_when_with_its_bounds():
    lookup = looked_up(store(DRIFTED))
    found = lookup.assessment.cases[-1]
    view, crossed = exposure_view(lookup, found), found.exposure.crossed
    assert f"about {crossed.median}; with a probability of 95 % between {crossed.earliest} and" in view.since[1]


def test_hours_stand_with_their_bounds_and_those_of_a_step():
    view = exposure_view(drier(), only(drier()))
    facts = {fact.name: fact.value for fact in view.hours}
    hours = only(drier()).exposure.trend.hours
    counted = f"{hours.best:.0f} h if the error changed evenly (95 %: {hours.least:.0f} to {hours.most:.0f} h); "
    assert facts["Outside 45 to 60 %RH, corrected"].startswith(counted)
    assert facts["Outside 45 to 60 %RH, corrected"].endswith("too dry")
    assert facts["Outside 45 to 60 %RH, as shown"] == "0 h"
    least, most = only(drier()).exposure.trend.stepped
    assert facts["Outside 45 to 60 %RH, if it came in one step on any day"] == f"{least:.0f} to {most:.0f} h"
    assert facts["Trend"] == "trends/RH-1.csv"


def test_list_overview_and_page_bound_the_hours_in_the_same_words():
    """What 95 % bounds and what a step bounds are two ranges, and each says which it is."""
    case = only(drier())
    evenly, by_step = (fact.value for fact in exposure_view(drier(), case).hours[:2])
    told = f"{evenly.partition(';')[0]}, {by_step} if it came in one step on any day"
    assert hours_outside(case) == told and "(95 %: " in told
    assert case_rows(drier())[0].hours == told
    assert hours_in_short(case) == f"outside its limits {told}"


def test_hours_by_a_drift_line_have_no_step_beside_them():
    shown = exported(np.full(24 * 900, 48.0), "2026-05-01")
    lookup = looked_up(store(DRIFTED, shown))
    case = lookup.assessment.cases[-1]
    assert re.fullmatch(r"\d+ h \(95 %: \d+ to \d+ h\)(; in the .*)?", hours_outside(case))


def test_what_stands_against_the_hours_is_said():
    said = " ".join(exposure_view(drier(), only(drier())).said)
    assert "around calibrations are left out" in said
    assert "stood still at 48 %RH from 2026-08-17" in said


def test_what_the_loop_adds_is_said_where_it_is_not_corrected():
    rows = {}
    for day, error in (("2026-08-17", 0.1), ("2027-02-15", 4.0)):
        rows[day] = [
            row
            for target in (20, 50, 80)
            for row in b.plateau(target, [target + error], b.generated(target), far_end=target + error + 0.4)
        ]
    trend = exported(np.full(24 * 400, 48.0), "2026-05-01")
    for judged_at, told in (("sensor", True), ("far_end", False)):
        lookup = looked_up(store(rows, trend, judged_at=judged_at))
        said = exposure_view(lookup, only(lookup)).said
        assert any("what the loop" in sentence for sentence in said) is told
    assert not any("what the loop" in sentence for sentence in exposure_view(drier(), only(drier())).said)


@pytest.mark.parametrize(("controls", "words"), [(True, "drives the plant"), (False, "drives nothing")])
def test_whether_the_sensor_moved_the_air_is_said(controls: bool, words: str):
    lookup = looked_up(store(STEPPED, exported(np.full(24 * 400, 48.0), "2026-05-01"), controls=controls))
    view = exposure_view(lookup, only(lookup))
    assert words in view.meaning
    assert ("held by" in view.size[0]) is controls


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        (48.0, "the error hid some of the hours"),
        (62.0, "showed hours outside that the air did not spend there"),
        (52.0, "moved the record, not the air"),
    ],
)
def test_a_sensor_that_drives_nothing_hid_hours_outside_or_showed_some_that_were_none(shown: float, words: str):
    """Four too high in the end: 48 shown was 44, below 45; 62 shown, above 60, was 58; 52 shown was 48."""
    lookup = looked_up(store(STEPPED, exported(np.full(24 * 400, shown), "2026-05-01")))
    assert words in exposure_view(lookup, only(lookup)).meaning


def test_an_error_that_grows_with_humidity_is_told_where_the_air_was():
    """1 %RH at 20, 3 at 50, 5 at 80: at 50 shown the air was at R with R + 1 + (R − 20)/15 = 50, so at 47.1875."""
    grown = {"2026-08-17": read(0.1), "2027-02-15": read((1.0, 3.0, 5.0))}
    lookup = looked_up(store(grown, exported(np.full(24 * 400, 48.0), "2026-05-01")))
    (size,) = exposure_view(lookup, only(lookup)).size
    assert "the air was at 47.19" in size and "(there the error was +2.81 ±" in size
    (same,) = exposure_view(drier(), only(drier())).size
    assert "there the error" not in same, "nothing to add where it is the same"


def test_without_a_trend_the_reason_stands_in_place_of_hours():
    lookup = looked_up(store(STEPPED))
    view = exposure_view(lookup, only(lookup))
    assert (view.hours, view.chart, view.meaning) == ((), None, "")
    assert view.said == ("No trend of RH-1 is on record, so hours outside cannot be told.",)
    assert case_rows(lookup)[0].hours == "not known" and hours_in_short(only(lookup)) == ""


def test_what_cannot_be_solved_is_left_unsaid():
    lookup = looked_up(store({"2026-08-17": read(0.1), "2027-02-15": read((35.0, 4.0, 0.0))}))
    (size,) = exposure_view(lookup, only(lookup)).size
    assert size.endswith("(U with what differs from visit to visit).")


def test_neighbours_are_told_with_what_they_showed():
    (row,) = exposure_view(drier(), only(drier())).neighbours
    assert (row.sensor.text, row.left, row.found) == ("RH-2", "not judged", "not judged")
    assert row.difference == "−3.7 %RH over 168 h"


def test_the_chart_holds_each_day_against_the_limits():
    view = case_view(drier(), only(drier()))
    chart = json.loads(view.exposure.chart)
    assert view.has_charts
    assert chart["kind"] == "exposure" and chart["limits"]["low"] == 45
    assert (chart["opened"], chart["found"]) == ("2026-08-17", "2027-02-15")
    first, last = chart["points"][1], chart["points"][-2]
    assert (first["outside"], last["outside"]) == (False, True)
    assert last["mean"] == pytest.approx(44.0, abs=0.1)
    assert "outside the process limits" in last["hover"]
    assert len(chart["points"]) == 183


def test_the_chart_opens_on_the_day_that_the_page_names_far_from_greenwich():
    ((path, local),) = exported(np.full(24 * 400, 48.0), "2026-05-01").items()
    trend = {path: local.replace(b"time,", b"time [UTC],")}
    lookup = looked_up(store(STEPPED, b.facility(time_zone="Pacific/Auckland"), trend))
    view = exposure_view(lookup, only(lookup))
    assert json.loads(view.chart)["opened"] == "2026-08-17"
    assert "on 2026-08-17; found" in view.since[0]


def test_months_hold_what_the_chart_draws():
    months = exposure_view(drier(), only(drier())).months
    assert [row.month for row in months] == [f"2026-{m:02d}" for m in range(8, 13)] + ["2027-01", "2027-02"]
    assert (months[0].outside, months[-1].outside) == ("0 of 15", "15 of 15")
    assert months[-1].lowest == "44.0"


def test_every_day_of_the_chart_stands_in_a_file_beside_it():
    view = case_view(drier(), only(drier()))
    content = content_of(dict(drier().records.files), drier(), FOLDERS, {})
    rows = list(csv.DictReader(io.StringIO(content.files[view.exposure.days.path].decode())))
    points = json.loads(view.exposure.chart)["points"]
    assert [(row["day"], float(row["mean"]), float(row["expanded_uncertainty"])) for row in rows] == [
        (point["date"], point["mean"], point["U"]) for point in points
    ]


def test_the_list_tells_days_and_hours():
    (row,) = case_rows(drier())
    assert (row.days, row.hours) == ("182", hours_outside(only(drier())))


def test_the_form_is_the_same_whatever_the_day_and_says_what_it_is():
    path = form_path(only(drier()))
    assert path == "findings/RH-1/2027-02-15-lab.form.pdf"
    pdf = forms(drier(), FOLDERS)[path]
    later = look_up(b.assessed(dict(drier().records.files), "2029-03-01"))
    assert forms(later, FOLDERS)[path] == pdf
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert len(document.pages) <= 2
        assert str(document.docinfo["/Title"]) == "Finding: RH-1, out of tolerance on 2027-02-15"


def test_the_form_holds_what_the_page_says():
    case = only(drier())
    view = case_view(drier(), case)
    page = form_page(drier(), case, view)
    assert page["since"] == list(view.exposure.since)
    assert [name for name, _ in page["hours"] if name] == [fact.name for fact in view.exposure.hours]
    assert "no certificate" in page["basis"]
    assert "live loops" in page["caution"]
    assert page["closing"].endswith("a finding closes only there.")
    assert page["filed"] == []


def test_what_is_on_file_is_printed():
    filed = b.finding("RH-1", "2027-02-15-lab", deviation="DEV-3", told=[{"day": "2027-02-16", "whom": "quality"}])
    lookup = looked_up(store(STEPPED, filed))
    page = form_page(lookup, only(lookup), case_view(lookup, only(lookup)))
    assert ["Owner", "Ben Sedge"] in page["filed"] and ["Told on 2027-02-16", "quality"] in page["filed"]


def test_a_character_that_no_font_has_is_refused_at_its_place():
    files = store(STEPPED)
    named = files["sensors/RH-1.yml"].decode().replace("Air of the store", "Air \N{CJK UNIFIED IDEOGRAPH-4E2D}")
    lookup = looked_up(files | {"sensors/RH-1.yml": named.encode()})
    with pytest.raises(RecordsRefused) as refused:
        forms(lookup, FOLDERS)
    assert refused.value.faults[0].place.path == "sensors/RH-1.yml"
    assert refused.value.faults[0].rule.name == "unprintable-character"


def test_without_findings_nothing_is_printed(tmp_path: Path):
    good = {day: rows for day, rows in STEPPED.items() if day < "2027"}
    assert forms(looked_up(store(good)), (tmp_path,)) == {}
    assert date.fromisoformat("2026-08-17") in {r.day for r in looked_up(store(good)).assessment.results}


def test_what_needs_action_tells_the_hours():
    lookup = drier()
    (finding,) = [m for m in matters(lookup, lookup.assessment.standings["RH-1"]) if m.chip.word.startswith("finding")]
    assert hours_in_short(only(lookup)) in finding.sentence
