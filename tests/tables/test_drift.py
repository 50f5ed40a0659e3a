"""Published drift and scales: a row a point, a row a kind of effect, as they were computed."""

from __future__ import annotations

import pytest

from asfound.assessment.history.lasting import Kind
from asfound.records.models import Channel
from asfound.tables.columns import DRIFT, SCALES
from tests.site import store
from tests.tables.published import rows


def test_drift_has_one_row_a_point():
    found = rows("data/drift.csv")
    keys = [tuple(row[name] for name in DRIFT.key) for row in found]
    assert len(keys) == len(set(keys))
    assert {row["sensor"] for row in found} == set(store.assessment().standings), "those without a rate too"


def test_drift_gives_back_the_line_as_it_was_computed():
    (drift,) = store.assessment().standings["CREEP-1"].drifts
    mine = [row for row in rows("data/drift.csv") if row["sensor"] == "CREEP-1"]
    assert len(mine) == len(drift.outlooks) == 3
    for row, outlook in zip(mine, drift.outlooks, strict=True):
        assert float(row["rate"]) == pytest.approx(outlook.rate, rel=1e-9)
        assert float(row["expanded_uncertainty_due"]) == pytest.approx(outlook.U_due, rel=1e-9)
        assert outlook.leaves is not None and row["leaves_median"] == str(outlook.leaves.median or "")
        assert (row["unit"], row["state"]) == ("%RH", "drifting")
        assert row["between_basis"].endswith("weighed against 4 visits of 1 instrument")


def test_declared_against_seen_has_a_row_for_each_kind_of_effect_of_a_family():
    found = rows("data/scales.csv")
    keys = [tuple(row[name] for name in SCALES.key) for row in found]
    assert len(keys) == len(set(keys)) and {kind for *_, kind in keys} == {"own", "visit", "shift", "period"}
    for row in found:
        known = store.assessment().instruments.scales[row["model"], Channel(row["channel"]), row["method"]]
        assert float(row["factor"]) == pytest.approx(known.factors.theta[Kind[row["kind"].upper()]], rel=1e-9)
        assert float(row["factor_low"]) <= float(row["factor"]) <= float(row["factor_high"])


def test_where_no_rate_is_claimed_the_row_is_blank_but_for_the_state():
    (row,) = [row for row in rows("data/drift.csv") if row["sensor"] == "NEAR-1"]
    assert row["state"] == "too few visits"
    assert not any(row[name] for name in ("target", "rate", "nu", "chi_squared", "freedom", "leaves_median"))
