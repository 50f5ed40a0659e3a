"""Contributions: u, ν, U and covariances of every published number follow from the files alone."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pyarrow import parquet
from scipy import stats

from asfound.assessment.assess import assess
from asfound.provenance import without_history
from asfound.records.snapshot import from_folder
from asfound.scaffold.demo.story import TODAY
from asfound.tables import writing
from asfound.tables.columns import CONTRIBUTIONS, RESULTS
from asfound.tables.contributions import Contributions
from asfound.tables.results import result_rows
from asfound.tables.writing import Parquet, csv_of, frame_of, parquet_of
from asfound.uncertainty.covariance import covariance
from tests.site import store
from tests.tables.published import published, rows

COVERAGE = math.erf(math.sqrt(2.0))
"""Of k = 2 for a normal distribution."""
DEMO = Path(__file__).parents[2] / "records"
PARTS = {
    "total": "expanded_uncertainty",
    "sensor": "expanded_uncertainty_sensor",
    "loop": "expanded_uncertainty_loop",
}


def from_files(content: bytes) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(content), keep_default_na=False, dtype={"variance_group": str})


def combined(budget: pd.DataFrame) -> tuple[float, float, float]:
    """u, ν, U of a number by its contributions (JCGM 100:2008, eq. 10, G.2b; scipy's t)."""
    variance = budget.contribution**2
    u = math.sqrt(variance.sum())
    group = np.where(budget.variance_group == "", budget.source, budget.variance_group)
    of_group = variance.groupby(group).sum()
    lost = (of_group**2 / budget.nu.groupby(group).first()).sum()
    nu = u**4 / lost if lost > 0.0 else math.inf
    k = stats.t.ppf((1.0 + COVERAGE) / 2.0, nu) if math.isfinite(nu) else 2.0
    return u, nu, k * u


def drawn(budget: pd.DataFrame, rng: np.random.Generator, trials: int = 100_000) -> float:
    """U of a number by drawing every source from its published distribution (JCGM 101:2008, 7.7)."""
    total = np.zeros(trials)
    for c, nu, distribution in zip(budget.contribution, budget.nu, budget.distribution, strict=True):
        if distribution == "rectangular":
            total += c * math.sqrt(3.0) * rng.uniform(-1.0, 1.0, trials)
        else:
            total += c * (rng.standard_t(nu, trials) if math.isfinite(nu) else rng.standard_normal(trials))
    low, high = np.quantile(total, [(1.0 - COVERAGE) / 2.0, (1.0 + COVERAGE) / 2.0])
    return max(-low, high)


@pytest.fixture(scope="module")
def demo() -> tuple[pd.DataFrame, pd.DataFrame]:
    """(results, contributions) of the whole demo as they are published."""
    assessment = assess(from_folder(DEMO), TODAY)
    results = csv_of(RESULTS, result_rows(assessment, without_history(assessment.records)))
    contributions = csv_of(CONTRIBUTIONS, Contributions(assessment).rows(assessment.results))
    return pd.read_csv(io.BytesIO(results)), from_files(contributions)


def judged(demo: tuple[pd.DataFrame, pd.DataFrame]) -> Iterator[tuple[pd.Series, dict[str, pd.DataFrame]]]:
    """Every measured result of the demo with the budgets of its parts."""
    results, contributions = demo
    budgets = {key: budget for key, budget in contributions.groupby(["result", "part"])}
    for _, row in results[results.answer.isin(["linear", "monte carlo"])].iterrows():
        name = f"{row.visit}/{row.sensor}/{row.channel}/{row.plateau}"
        yield row, {part: budgets[name, part] for part in PARTS if (name, part) in budgets}


def test_u_nu_and_U_of_every_number_of_the_demo_follow_from_the_files(demo):
    results = parts = 0
    for row, budgets in judged(demo):
        u, nu, U = combined(budgets[row.part])
        assert u == pytest.approx(row.standard_uncertainty, rel=1e-8)
        if row.answer == "linear":
            assert nu == pytest.approx(row.nu_eff, rel=1e-7)
            assert pytest.approx(row.expanded_uncertainty, rel=1e-7) == U
        results += 1
        for part in ("sensor", "loop"):
            assert (part in budgets) is math.isfinite(row[PARTS[part]])
            if part in budgets:
                assert combined(budgets[part])[2] == pytest.approx(row[PARTS[part]], rel=1e-7)
                parts += 1
    assert results > 600 and parts > 1000


def test_where_monte_carlo_decides_U_follows_by_drawing_again(demo):
    """To two digits: an answer of so many trials is good to no more."""
    rng = np.random.default_rng(1)
    decided = [(row, budgets) for row, budgets in judged(demo) if row.answer == "monte carlo"]
    for row, budgets in decided:
        assert drawn(budgets[row.part], rng) == pytest.approx(row.expanded_uncertainty, rel=0.015)
    assert decided


def test_parquet_holds_the_contributions_of_all_visits(demo):
    frame = pd.read_parquet(io.BytesIO(published("data/contributions.parquet")))
    visits = [path for path in store.content().files if path.startswith("data/contributions/")]
    assert len(frame) == sum(len(rows(path)) for path in visits) > 100
    same = frame_of(CONTRIBUTIONS, Contributions(store.assessment()).rows(store.assessment().results))
    keys = list(CONTRIBUTIONS.key)
    assert frame.sort_values(keys).contribution.tolist() == same.sort_values(keys).contribution.tolist()
    rows_of_all = list(Contributions(store.assessment()).rows(store.assessment().results))
    assert parquet_of(CONTRIBUTIONS, rows_of_all) == parquet_of(CONTRIBUTIONS, rows_of_all), "the same bytes"


def test_rows_are_written_in_groups_and_read_as_one(monkeypatch: pytest.MonkeyPatch):
    """So that a fleet's contributions need no memory but that of a group."""
    monkeypatch.setattr(writing, "ROWS_A_GROUP", 20)
    rows = list(Contributions(store.assessment()).rows(store.assessment().results))
    file = Parquet(CONTRIBUTIONS)
    for start in range(0, len(rows), 7):
        file.add(rows[start : start + 7])
    content = file.content()
    assert parquet.ParquetFile(io.BytesIO(content)).num_row_groups == math.ceil(len(rows) / 21)
    found, expected = pd.read_parquet(io.BytesIO(content)), frame_of(CONTRIBUTIONS, rows)
    assert found.fillna({"variance_group": ""}).to_numpy().tolist() == expected.to_numpy().tolist()


def test_contribution_is_sensitivity_times_standard_uncertainty():
    for row in rows("data/contributions/2026-11-02-bins.csv"):
        product = float(row["sensitivity"]) * float(row["standard_uncertainty"])
        assert product == pytest.approx(float(row["contribution"]), rel=1e-8)
        assert row["nu"] == "inf" or float(row["nu"]) > 0


def test_a_source_stands_once_in_a_budget_and_the_largest_first():
    for path in store.content().files:
        if path.startswith("data/contributions/"):
            budgets = from_files(published(path))
            assert not budgets.duplicated(list(CONTRIBUTIONS.key)).any()
            for _, budget in budgets.groupby(["result", "part"]):
                assert budget.contribution.abs().is_monotonic_decreasing


def test_the_covariance_of_two_visits_follows_from_the_files():
    def of(visit: str) -> pd.Series:
        budgets = from_files(published(f"data/contributions/{visit}.csv"))
        mine = budgets[(budgets.result == f"{visit}/OUT-1/humidity/2") & (budgets.part == "sensor")]
        return mine.set_index("source").contribution

    before, now = "2026-03-02-all", "2026-11-02-bins"
    from_the_files = float((of(before) * of(now)).sum())  # what they do not share is no number
    number = {"/".join(map(str, r.key)): r.line for r in store.assessment().results}
    lines = [number[f"{visit}/OUT-1/humidity/2"] for visit in (before, now)]
    matrix = covariance(store.assessment().measurement.whole(), lines)
    assert from_the_files == pytest.approx(matrix[0, 1], rel=1e-8)
    assert from_the_files > 0, "one humidity generator served both"


def test_a_contribution_says_how_long_its_effect_lasts():
    scopes = {row["scope"] for row in rows("data/contributions/2026-11-02-bins.csv")}
    assert {"reading", "plateau", "calibration period", "longer"} <= scopes
