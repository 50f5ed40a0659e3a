"""The checks of drift hold for the program, and each finds the slips that it is there for."""

from __future__ import annotations

import pytest

from tests.assessment.history import drift_checks
from tests.program import as_it_is
from tests.slips import Slip, is_found

SLIPS = {
    "visits that shift each result for itself": (
        Slip(
            "line._covariance",
            "between**2 * (epoch.visits @ epoch.visits.T)",
            "between**2 * np.eye(len(epoch.results))",
        ),
        "two_points",
    ),
    "a standard deviation for a variance": (
        Slip("line._covariance", "between**2 * (epoch", "between * (epoch"),
        "one_point",
    ),
    "span about zero for span about the middle": (
        Slip("Fit.rate_at", "1.0, reference_value - self.centre)", "1.0, reference_value)"),
        "two_points",
    ),
    "the root of the variance forgotten": (
        Slip("Fit._combination", "u=math.sqrt(variance),", "u=variance,"),
        "one_point",
    ),
    "half of Satterthwaite": (
        Slip(
            "least_squares.effective_freedom", "nu = 2.0 * variance**2 * information", "nu = variance**2 * information"
        ),
        "one_point",
    ),
    "a bound for the probability of one tail": (Slip("EARLIEST", "0.025, 0.5, 0.975", "0.05, 0.5, 0.95"), "ahead"),
    "the whole tolerance for what U leaves of it": (
        Slip("_leaves", "[tolerances[i] - points[i].U for", "[tolerances[i] for"),
        "ahead",
    ),
    "trust without the visit's shift": (Slip("outlooks", "now.spread(i, visit=1.0, ", "now.spread(i, "), "ahead"),
    "trust without hysteresis": (Slip("outlooks", "visit=1.0, own=width)", "visit=1.0)"), "ahead"),
    "the whole width of a hysteresis for its half": (Slip("outlooks", "hysteresis / 2.0 /", "hysteresis /"), "ahead"),
    "a prediction without its measurement": (Slip("outlooks", ", own=newest.u**2)", ")"), "ahead"),
    "a mishap that goes on": (Slip("_moves_otherwise", "< MOVES_OTHERWISE", "< 0.0"), "made_good"),
    "years of 360 days": (Slip("DAYS_A_YEAR", "DAYS_A_YEAR = 365.25", "DAYS_A_YEAR = 360.0"), "one_point"),
    "residuals over all results": (
        Slip("naive_sentence", "float(left @ left) / freedom / squares", "float(left @ left) / len(years) / squares"),
        "plainly",
    ),
    "a normal k for three residuals": (Slip("naive_sentence", "nu=freedom", "nu=math.inf"), "plainly"),
    "maximum likelihood for restricted": (
        Slip("contrasts", "free = whitened[:, p:] - q @ (q.T @ whitened[:, p:])", "free = whitened[:, p:]"),
        "pools",
    ),
    "contrasts not weighed": (Slip("contrasts", "weights=s[kept] ** 2", "weights=np.ones(kept.sum())"), "pools"),
    "the information twice": (
        Slip("information", "return 0.5 * float(np.sum((found", "return float(np.sum((found"),
        "pools",
    ),
    "the one that jumped among the others": (
        Slip("pool_of", "kept = _alike([found for _, found in members])", "kept = list(range(len(members)))"),
        "pools",
    ),
    "points of another laboratory as independent": (
        Slip("Epoch.covariance", "* (self.visits @ self.visits.T) + np.diag", "* np.eye(n) + np.diag"),
        "from_elsewhere",
    ),
    "another position as if nothing were": (
        Slip("epochs._entries", "segment, position = segment + 1, visit.position", "position = visit.position"),
        "from_elsewhere",
    ),
    "another loop compared": (
        Slip("pairs_between", "if before.position != now.position:", "if False:"),
        "from_elsewhere",
    ),
    "one visit's shift in a difference of two": (
        Slip("expanded_of_changes", "2.0 * between**2", "between**2"),
        "changes",
    ),
    "E_n upside down": (
        Slip("Change.e_n", "return self.change / self.U if", "return self.U / self.change if"),
        "changes",
    ),
}
CHECKS = {check.__name__: check for check in drift_checks.ALL}


@pytest.mark.parametrize("check", drift_checks.ALL, ids=lambda check: check.__name__)
def test_drift_is_what_it_must_be(check):
    found = list(check(as_it_is()))
    assert found
    assert [str(one) for one in found if not one.holds] == []


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_in_drift_is_found(name):
    slip, check = SLIPS[name]
    assert is_found(slip, CHECKS[check], as_it_is())
