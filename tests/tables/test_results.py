"""Published results: one row each, numbers that other programs read back, what they rest on beside them."""

from __future__ import annotations

import io
import json
import math
from collections import Counter
from dataclasses import replace
from datetime import datetime

import pandas as pd
import pyarrow
import pytest
from pyarrow import parquet

from asfound import __version__
from asfound.tables.columns import RESULTS
from asfound.tables.results import result_rows
from asfound.tables.writing import csv_of
from tests.site import store
from tests.tables.published import published, rows

OWN = {"standard_uncertainty": "u", "expanded_uncertainty": "U", "expanded_uncertainty_sensor": "U_sensor"}


def test_each_result_has_one_row_and_one_key():
    found = rows("data/results.csv")
    assert len(found) == len(store.assessment().results)
    assert max(Counter(tuple(row[name] for name in RESULTS.key) for row in found).values()) == 1


def test_numbers_come_back_at_ten_significant_digits():
    for row, result in zip(rows("data/results.csv"), store.assessment().results, strict=True):
        for name in ("reference_value", "error", "nu_eff", "k", *OWN):
            value = getattr(result, OWN.get(name, name))
            if math.isnan(value):
                assert row[name] == ""
            else:
                assert float(row[name]) == pytest.approx(value, rel=1e-9)
                assert len(row[name].lstrip("-0.").partition("e")[0].replace(".", "")) <= 10


def test_a_probability_that_nobody_knows_is_told_as_a_bound_and_not_as_a_number():
    told = set()
    for row, result in zip(rows("data/results.csv"), store.assessment().results, strict=True):
        below = result.p_outside < 1e-6
        assert (row["p_outside_below"] == "1e-06") is below
        assert (row["p_outside"] == "") is (below or math.isnan(result.p_outside))
        told.add(below)
    assert told == {True, False}


def test_other_programs_read_the_table_without_help():
    frame = pd.read_csv(io.BytesIO(published("data/results.csv")))
    u, U = frame["standard_uncertainty"], frame["expanded_uncertainty"]
    assert U.dtype == frame["nu_eff"].dtype == float
    assert math.isinf(frame["nu_eff"].max()), "a budget without estimates has no end of degrees of freedom"
    assert (U - frame["k"] * u).abs().max() < 1e-8
    assert frame["error"].isna().sum() == (frame["status"] == "not done").sum() == 1


def test_a_row_says_when_where_by_which_revision_and_by_which_reference():
    for row, result in zip(rows("data/results.csv"), store.assessment().results, strict=True):
        assert datetime.fromisoformat(row["time"]).timestamp() == result.time_utc and row["time"].endswith("Z")
        assert (row["revision"], row["reference"]) == (str(result.revision), result.reference)
        sensor = store.assessment().records.sensors.get(result.sensor)
        served = [period.place for period in sensor.place if period.from_ <= result.day] if sensor else [""]
        assert row["place"] == served[-1], "where it served then, wherever it serves now"


def test_rows_of_visits_that_nobody_approved_say_so():
    assert {row["approval"] for row in rows("data/results.csv")} == {"no history"}
    provenance = store.lookup().provenance
    one = store.assessment().results[0]
    approved = {
        path: replace(visit, approvals={one.sensor: None}) if f"/{one.visit}" in path else visit
        for path, visit in provenance.visits.items()
    }
    found = list(result_rows(store.assessment(), replace(provenance, visits=approved)))
    mine = {str(row["approval"]) for row in found if (row["visit"], row["sensor"]) == (one.visit, one.sensor)}
    assert mine == {"approved"}
    assert "no history" in {str(row["approval"]) for row in found}


def test_json_says_the_same_as_csv_and_of_when_it_is():
    told = json.loads(published("data/results.json"))
    assert list(told) == ["format", "asfound", "day", "commit", "results"]
    assert (told["format"], told["asfound"], told["day"]) == ("results/2", __version__, str(store.TODAY))
    for one, row in zip(told["results"], rows("data/results.csv"), strict=True):
        assert list(one) == list(RESULTS.names[:-1])
        assert one["reservations"] == [name for name in row["reservations"].split(";") if name]
        for name in set(one) - {"reservations"}:
            said = "" if one[name] is None else one[name]
            assert str(said) == row[name] or float(said) == float(row[name]), name


def test_parquet_says_the_same_with_types():
    table = parquet.read_table(io.BytesIO(published("data/results.parquet")))
    assert table.column_names == list(RESULTS.names)
    assert table.schema.field("time").type == pyarrow.timestamp("ms", "UTC")
    errors = [float(row["error"]) if row["error"] else None for row in rows("data/results.csv")]
    assert table.column("error").to_pylist() == errors


def test_a_withdrawn_visit_gives_no_results():
    assert not [row for row in rows("data/results.csv") if row["visit"] == "2026-11-23-void"]
    assert rows("data/contributions/2026-11-23-void.csv") == []


def test_lines_end_in_one_way():
    content = csv_of(RESULTS, result_rows(store.assessment(), store.lookup().provenance))
    assert b"\r" not in content and content.endswith(b"\n")
