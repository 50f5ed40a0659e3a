"""What another laboratory stated, at our coverage."""

from __future__ import annotations

import math

import pytest

from asfound.assessment.results.conformity import Verdict
from tests import builders as b


def stated(U, k=None, nu=None, error=0.6):
    """The result of one stated row; its tolerance is ± 2 %RH."""
    files = b.records(b.sensor(), b.visit("2026-03-16-elsewhere", b.stated(50.0, error, U, k, nu)))
    return next(iter(b.assessed(files).results))


def rules(result):
    return [fault.rule.name for fault in result.reservations]


def test_U_with_k_of_two_is_what_was_stated():
    result = stated(0.8, k=2.0)
    assert (result.U, result.u, result.verdict) == (pytest.approx(0.8), pytest.approx(0.4), Verdict.PASS)
    assert rules(result) == []


def test_U_of_a_smaller_coverage_becomes_larger_and_it_is_said():
    result = stated(0.8, k=1.65)
    assert result.u == pytest.approx(0.8 / 1.65)
    assert (result.k, result.U) == (pytest.approx(2.0), pytest.approx(2.0 * 0.8 / 1.65))
    assert rules(result) == ["converted-coverage"]
    assert "U = 0.80 %RH with k = 1.65 is 0.97 %RH at 95.45 %" in result.reservations[0].message


@pytest.mark.parametrize(
    ("k", "nu", "of_ours"),
    [
        # GUM table G.2, 95.45 %: ν = 8 has 2.37, ν = 4 has 2.87
        (2.0, 8.0, 2.37),
        (None, 8.0, 2.37),
        (2.87, None, 2.87),
        (2.37, 8.0, 2.37),
    ],
)
def test_degrees_of_freedom_are_its_own_or_what_k_implies(k, nu, of_ours):
    result = stated(0.8, k=k, nu=nu)
    u = 0.8 / (k or 2.366)
    assert result.k == pytest.approx(of_ours, abs=0.005)
    assert (result.u, result.U) == (pytest.approx(u, rel=1e-3), pytest.approx(of_ours * u, rel=3e-3))
    assert (rules(result) == ["converted-coverage"]) == (k == 2.0)


def test_without_k_and_degrees_of_freedom_there_is_no_verdict():
    result = stated(0.8)
    assert result.verdict is result.other_way is Verdict.NONE
    assert (result.U, result.u) == (0.8, 0.4)
    assert math.isnan(result.k) and math.isnan(result.p_outside)
    assert rules(result) == ["coverage-not-stated"] and "u = 0.40 %RH" in result.reservations[0].message


def test_a_result_of_unknown_coverage_still_counts_in_its_drift_line_and_for_the_due_day():
    def history(k):
        visits = [
            b.visit(
                f"{year}-03-16-elsewhere", *(b.stated(at, 0.1 * (year - 2022), 0.4, k) for at in (20.0, 50.0, 80.0))
            )
            for year in (2022, 2023, 2024, 2025)
        ]
        return b.assessed(b.records(b.sensor(), *visits))

    known, unknown = history(2.0), history(None)
    for one in (known, unknown):
        assert one.standings["RH-1"].due.since.year == 2025
    rates = [one.standings["RH-1"].drifts[0] for one in (known, unknown)]
    assert rates[0].rate == pytest.approx(0.1, abs=1e-3)
    assert (rates[1].rate, rates[1].U) == (pytest.approx(rates[0].rate), pytest.approx(rates[0].U))
