"""Published data: one row a result, numbers that other programs read back, covariances from the files alone."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from collections import Counter, defaultdict

import pandas as pd
import pytest

from asfound.assessment.history.lasting import Kind
from asfound.records.models import Channel
from asfound.site.publishing import downloads
from asfound.site.publishing.downloads import SCALE_COLUMNS
from asfound.uncertainty.covariance import covariance
from tests.site import store

KEY = ("visit", "sensor", "channel", "plateau")
STABLE = (
    "visit sensor serial channel unit plateau phase target direction method medium reference_value output far_end "
    "error error_sensor error_loop u nu_eff k U answer tolerance rule verdict p_outside tur status "
    "one_way loop reservations"
)


def published(path: str) -> bytes:
    return store.content().files[path]


def rows(path: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(published(path).decode(), newline="")))


def test_columns_and_their_order_are_stable():
    header = published("data/results.csv").split(b"\n", 1)[0].decode()
    assert header.split(",") == STABLE.split()


def test_each_result_has_one_row_and_one_key():
    found = rows("data/results.csv")
    assert len(found) == len(store.assessment().results)
    assert max(Counter(tuple(row[name] for name in KEY) for row in found).values()) == 1


def test_lines_end_in_one_way():
    for path, content in store.content().files.items():
        if path.startswith(("data/results", "data/contributions", "data/records")):
            assert b"\r" not in content and content.endswith(b"\n"), path


def test_numbers_come_back_at_ten_significant_digits():
    for row, result in zip(rows("data/results.csv"), store.assessment().results, strict=True):
        for name in ("reference_value", "error", "u", "nu_eff", "k", "U", "p_outside"):
            value = getattr(result, name)
            if math.isnan(value):
                assert row[name] == ""
            elif name == "p_outside" and value < 1e-6:
                assert row[name] == "1e-06", "no probability is published as none"
            else:
                assert float(row[name]) == pytest.approx(value, rel=1e-9)
                assert len(row[name].lstrip("-0.").partition("e")[0].replace(".", "")) <= 10


def test_other_programs_read_the_table_without_help():
    frame = pd.read_csv(io.BytesIO(published("data/results.csv")))
    assert frame["U"].dtype == frame["nu_eff"].dtype == float
    assert math.isinf(frame["nu_eff"].max()), "a budget without estimates has no end of degrees of freedom"
    assert (frame["U"] - frame["k"] * frame["u"]).abs().max() < 1e-8
    assert frame["error"].isna().sum() == (frame["status"] == "not done").sum() == 1


def test_json_says_the_same_as_csv():
    objects = json.loads(published("data/results.json"))
    assert [list(one) for one in objects] == [STABLE.split()] * len(objects)
    for one, row in zip(objects, rows("data/results.csv"), strict=True):
        assert one["reservations"] == [name for name in row["reservations"].split(";") if name]
        for name in STABLE.split()[:-1]:
            said = "" if one[name] is None else one[name]
            assert str(said) == row[name] or float(said) == float(row[name])


def contributions() -> dict[str, dict[str, float]]:
    """Signed contribution of every source, by result."""
    found: dict[str, dict[str, float]] = defaultdict(dict)
    for path in store.content().files:
        if path.startswith("data/contributions/"):
            for row in rows(path):
                assert row["source"] not in found[row["result"]], "a source stands once in a budget"
                found[row["result"]][row["source"]] = float(row["contribution"])
    return found


def test_contributions_add_up_to_u():
    """JCGM 100:2008, eq. 10: the sources are independent of each other."""
    by_result = contributions()
    linear = [row for row in rows("data/results.csv") if row["answer"] == "linear"]
    assert linear
    for row in linear:
        budget = by_result["/".join(row[name] for name in KEY)]
        assert math.sqrt(sum(c * c for c in budget.values())) == pytest.approx(float(row["u"]), rel=1e-8)


def test_contribution_is_sensitivity_times_standard_uncertainty():
    for row in rows("data/contributions/2026-11-02-bins.csv"):
        product = float(row["sensitivity"]) * float(row["standard_uncertainty"])
        assert product == pytest.approx(float(row["contribution"]), rel=1e-8)
        assert row["nu"] == "inf" or float(row["nu"]) > 0


def test_the_covariance_of_two_visits_follows_from_the_files():
    by_result = contributions()
    before, now = "2026-03-02-all/OUT-1/humidity/2", "2026-11-02-bins/OUT-1/humidity/2"
    shared = by_result[before].keys() & by_result[now].keys()
    from_files = sum(by_result[before][source] * by_result[now][source] for source in shared)
    number = {"/".join(map(str, r.key)): r.line for r in store.assessment().results}
    matrix = covariance(store.assessment().measurement.whole(), [number[before], number[now]])
    assert from_files == pytest.approx(matrix[0, 1], rel=1e-8)
    assert from_files > 0, "one humidity generator served both"


def test_a_withdrawn_visit_gives_no_results():
    assert not [row for row in rows("data/results.csv") if row["visit"] == "2026-11-23-void"]
    assert rows("data/contributions/2026-11-23-void.csv") == []


def test_the_records_of_a_visit_are_published_byte_for_byte():
    for path, content in store.store().items():
        if path.startswith("visits/"):
            assert published(f"data/{path}") == content


def test_the_list_of_records_is_what_sha256sum_checks():
    files = {**store.store(), "attachments/scan.pdf": b""}
    lines = downloads.records_manifest(files).decode().splitlines()
    listed = dict(reversed(line.split("  ", 1)) for line in lines)
    records = {path: content for path, content in store.store().items() if not path.startswith("trends/")}
    assert listed == {path: hashlib.sha256(content).hexdigest() for path, content in records.items()}
    assert list(listed) == sorted(listed)


# ---- Drift -------------------------------------------------------------------------------------------------------

DRIFT_STABLE = (
    "sensor serial channel unit target direction reference_value state rate U_rate nu p_value chi_squared freedom "
    "between between_basis tolerance limit error_today U_today due error_due U_due "
    "leaves_earliest leaves_median leaves_latest"
)


def test_drift_has_stable_columns_and_one_row_a_point():
    header = published("data/drift.csv").split(b"\n", 1)[0].decode()
    assert header.split(",") == DRIFT_STABLE.split()
    found = rows("data/drift.csv")
    keys = [(row["sensor"], row["channel"], row["target"], row["direction"]) for row in found]
    assert len(keys) == len(set(keys))
    assert {row["sensor"] for row in found} == set(store.assessment().standings), "those without a rate too"


def test_drift_gives_back_the_line_as_it_was_computed():
    (drift,) = store.assessment().standings["CREEP-1"].drifts
    mine = [row for row in rows("data/drift.csv") if row["sensor"] == "CREEP-1"]
    assert len(mine) == len(drift.outlooks) == 3
    for row, outlook in zip(mine, drift.outlooks, strict=True):
        assert float(row["rate"]) == pytest.approx(outlook.rate, rel=1e-9)
        assert float(row["U_due"]) == pytest.approx(outlook.U_due, rel=1e-9)
        assert outlook.leaves is not None and row["leaves_median"] == str(outlook.leaves.median or "")
        assert (row["unit"], row["state"]) == ("%RH", "drifting")
        assert row["between_basis"].endswith("weighed against 4 visits of 1 instrument")


def test_declared_against_seen_has_a_row_for_each_kind_of_effect_of_a_family():
    found = rows("data/scales.csv")
    assert tuple(found[0]) == SCALE_COLUMNS
    keys = [(row["model"], row["channel"], row["method"], row["kind"]) for row in found]
    assert len(keys) == len(set(keys)) and {kind for *_, kind in keys} == {"own", "visit", "shift", "period"}
    for row in found:
        known = store.assessment().instruments.scales[row["model"], Channel(row["channel"]), row["method"]]
        assert float(row["factor"]) == pytest.approx(known.factors.theta[Kind[row["kind"].upper()]], rel=1e-9)
        assert float(row["factor_low"]) <= float(row["factor"]) <= float(row["factor_high"])


def test_a_contribution_says_how_long_its_effect_lasts():
    scopes = {row["scope"] for row in rows("data/contributions/2026-11-02-bins.csv")}
    assert {"reading", "plateau", "calibration period", "longer"} <= scopes


def test_where_no_rate_is_claimed_the_row_is_blank_but_for_the_state():
    (row,) = [row for row in rows("data/drift.csv") if row["sensor"] == "NEAR-1"]
    assert row["state"] == "too few visits"
    assert not any(row[name] for name in ("target", "rate", "nu", "chi_squared", "freedom", "leaves_median"))
