"""What a visit's page and the list of visits say."""

from __future__ import annotations

import csv
import re
from dataclasses import replace

import pytest

from asfound.certificates.traceability import Traceability
from asfound.site.lookup.lookup import look_up
from asfound.site.views.results import budget, result_table
from asfound.site.views.visits import visit_rows, visit_view
from asfound.wording import words
from tests import builders
from tests.site import store
from tests.site.views.pages import no_certificate, the_visit


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
