"""The checks of drift hold for the program, and each finds the slips that it is there for."""

from __future__ import annotations

import pytest

from tests.assessment.history import drift_checks
from tests.program import as_it_is
from tests.slips import Slip, is_found

SLIPS = {
    "visits that shift each result for itself": (
        Slip("Parts.covariances", "shift**2 * self.shift", "shift**2 * np.eye(n)"),
        "two_points",
    ),
    "a standard deviation for a variance": (
        Slip("Parts.covariances", "shift**2 * self.shift", "shift * self.shift"),
        "one_point",
    ),
    "span about zero for span about the middle": (
        Slip("Fit.rate_at", "1.0, reference_value - self.centre)", "1.0, reference_value)"),
        "two_points",
    ),
    "the root of the variance forgotten": (
        Slip("scale_factors.spread_of", "return np.sqrt(variance), ", "return variance, "),
        "one_point",
    ),
    "half of Satterthwaite": (
        Slip("Factors.freedom", "np.maximum(2.0 / np.maximum(", "np.maximum(1.0 / np.maximum("),
        "one_point",
    ),
    "a bound for the probability of one tail": (Slip("EARLIEST", "0.025, 0.5, 0.975", "0.05, 0.5, 0.95"), "ahead"),
    "the whole tolerance for what U leaves of it": (
        Slip("_leaves", "[tolerances[i] - points[i].U for", "[tolerances[i] for"),
        "ahead",
    ),
    "trust without the visit's shift": (
        Slip("Expected.true", "further[Kind.SHIFT] = self.fit.scales.shift**2", "pass"),
        "ahead",
    ),
    "trust without hysteresis": (Slip("outlooks", "now.true(in_use=True)", "now.true()"), "ahead"),
    "the whole width of a hysteresis for its half": (
        Slip("Fit.loops", "self.epoch.results[i].in_use", "2.0 * self.epoch.results[i].in_use"),
        "ahead",
    ),
    "a prediction without its measurement": (Slip("outlooks", "*then.measured()", "*then.true()"), "ahead"),
    "a mishap that goes on": (Slip("_moves_otherwise", "< MOVES_OTHERWISE", "< 0.0"), "made_good"),
    "years of 360 days": (Slip("DAYS_A_YEAR", "DAYS_A_YEAR = 365.25", "DAYS_A_YEAR = 360.0"), "one_point"),
    "residuals over all results": (
        Slip("naive_sentence", "float(left @ left) / freedom / squares", "float(left @ left) / len(years) / squares"),
        "plainly",
    ),
    "a normal k for three residuals": (Slip("naive_sentence", "nu=freedom", "nu=math.inf"), "plainly"),
    "maximum likelihood for restricted": (
        Slip("scale_factors.contrasts", "free = q[:, design.shape[1] :]", "free = q"),
        "pools",
    ),
    "the prior forgotten": (Slip("scale_factors.scale_factors", "/ 2.0 - prior * phi", "/ 2.0"), "pools"),
    "the score twice": (Slip("scale_factors.scale_factors", "axis=0) / 2.0 - prior", "axis=0) - prior"), "pools"),
    "the one that jumped among the others": (Slip("scales._alike", "while len(kept) > 1:", "while False:"), "pools"),
    "points of another laboratory as independent": (
        Slip("Lasting.parts", "np.outer(stated, stated) * together", "np.diag(stated**2)"),
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
        Slip("expanded_of_changes", "2.0 * scales.shift**2", "scales.shift**2"),
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
