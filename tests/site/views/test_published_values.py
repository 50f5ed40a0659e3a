"""What the pages Method and Data publish: values from sources beside computed ones, the rule in force, all rules."""

from __future__ import annotations

import csv
import re

from asfound.assessment.all_rules import ALL_RULES
from asfound.printing.unprintable import UNPRINTABLE
from asfound.site.views.data import data
from asfound.site.views.method import method, published_tables
from tests.printing.test_templates import ROOT
from tests.site import store

PUBLISHED = ROOT / "site_templates" / "published_values.csv"


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
    view = data(store.lookup(), files={}, records_hash="", licences=())
    expected = {fault.text() for r in store.assessment().results for fault in r.reservations}
    expected |= {fault.text() for fault in store.assessment().reservations}
    assert len(view.reservations) == len(expected)
    assert all(re.fullmatch(r"records/\S+:\d+:\d+", row.place) for row in view.reservations)
    assert [row.name for row in view.rules] == sorted([*ALL_RULES, UNPRINTABLE.name])
    effects = {row.name: row.effect for row in view.rules}
    assert effects["unsettled-plateau"] == "no verdict and no certificate"
    assert effects["bad-number"] == "nothing is built"
