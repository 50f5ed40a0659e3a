"""The checks of exposure hold for the program, and each finds the slips that it is there for."""

from __future__ import annotations

import pytest

from tests.assessment.findings import exposure_checks
from tests.program import as_it_is
from tests.slips import Slip, is_found

SLIPS = {
    "the error added": (
        Slip("ErrorCurve.reference_values", "shown = self.at + self.errors", "shown = self.at - self.errors"),
        "trends_corrected",
    ),
    "a step that stays what it was": (
        Slip("Leg.after", "return self.curves[-1]\n", "return self.curves[0]\n"),
        "trends_corrected",
    ),
    "time backwards between visits": (
        Slip("curve_between", "errors=(1.0 - share) * there", "errors=share * there"),
        "trends_corrected",
    ),
    "dry for damp": (
        Slip(
            "findings.exposure._hours",
            "held_h[corrected.humidity < limits.lowest]",
            "held_h[corrected.humidity > limits.highest]",
        ),
        "trends_corrected",
    ),
    "no uncertainty": (Slip("MOVED", "MOVED = np.linspace(-1.0, 1.0, 9)", "MOVED = np.zeros(9)"), "trends_corrected"),
    "corrected for shown": (
        Slip("trend_exposure", "held_h[_outside(shown, limits)]", "held_h[_outside(corrected.humidity, limits)]"),
        "trends_corrected",
    ),
    "good at some points": (
        Slip("_last_good", "whole = points_met(left, visit.points) == len(visit.points)", "whole = True"),
        "windows",
    ),
    "the last visit for the last good": (
        Slip("_last_good", "if left and whole and all(", "if left or all("),
        "windows",
    ),
    "one tail for two sides": (
        Slip("probability_outside", "(error - tolerance) / u", "(tolerance - error) / u"),
        "crossings",
    ),
    "the middle for the end": (Slip("EARLIEST", "0.025, 0.5, 0.975", "0.025, 0.5, 0.5"), "crossings"),
    "a step taken for drift": (
        Slip(
            "Investigation._path",
            "line(history) if foretold(line(history[:-1]), case.worst) else None",
            "line(history)",
        ),
        "crossings",
    ),
}
CHECKS = {check.__name__: check for check in exposure_checks.ALL}


@pytest.mark.parametrize("check", exposure_checks.ALL, ids=lambda check: check.__name__)
def test_an_exposure_says_what_it_must(check):
    found = list(check(as_it_is()))
    assert found
    assert [str(one) for one in found if not one.holds] == []


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_in_an_exposure_is_found(name):
    slip, check = SLIPS[name]
    assert is_found(slip, CHECKS[check], as_it_is())
