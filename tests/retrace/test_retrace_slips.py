"""The checks of retracing hold for the program, and each finds the slips that it is there for."""

from __future__ import annotations

import pytest

from tests.program import as_it_is
from tests.retrace import retrace_checks
from tests.slips import Slip, is_found

SLIPS = {
    "a shift added": (
        Slip("Calibrations.applied", "error_value + shift.error(", "error_value - shift.error("),
        "wrong_thermometer",
    ),
    "the last day left out": (
        Slip("Shift.error", "day <= np.datetime64(self.until", "day < np.datetime64(self.until"),
        "wrong_thermometer",
    ),
    "the first day left out": (
        Slip("Shift.error", "day >= np.datetime64(self.since", "day > np.datetime64(self.since"),
        "wrong_thermometer",
    ),
    "only what leaned on it by itself": (
        Slip("Retracer._leaning", "return _closed(found, more)", "return found"),
        "what_it_calibrated",
    ),
    "recalls of what was bad before": (
        Slip(
            "StateChange.worse",
            "_GRAVITY.index(self.after) > _GRAVITY.index(self.before)",
            "_GRAVITY.index(self.after) < 9",
        ),
        "what_to_do",
    ),
    "findings confused": (Slip("Retracer._cases", "not in there)", "in there)"), "what_to_do"),
    "a certificate for every move": (
        Slip("CERTIFICATE_SHARE", "CERTIFICATE_SHARE = 0.1", "CERTIFICATE_SHARE = 0.0"),
        "what_to_do",
    ),
    "a distribution left where it was": (
        Slip("retrace._answer", "estimate=line.error,", "estimate=before.error,"),
        "distributions",
    ),
    "u for U": (Slip("retrace._answer", "U=answer.U * ratio,", "U=answer.u * ratio,"), "distributions"),
    "all of a change at once": (
        Slip("wandered", "change * (day - first).astype(float) / days", "change"),
        "half_way",
    ),
    "the time that is left": (Slip("wandered", "(day - first).astype", "(first - day).astype"), "half_way"),
    "left in place of found": (
        Slip("recalibrations._as_found", "calibration.as_found or calibration.points", "calibration.points"),
        "half_way",
    ),
}
CHECKS = {check.__name__: check for check in retrace_checks.ALL}


@pytest.mark.parametrize("check", retrace_checks.ALL, ids=lambda check: check.__name__)
def test_a_retrace_says_what_it_must(check):
    found = list(check(as_it_is()))
    assert found
    assert [str(one) for one in found if not one.holds] == []


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_in_retracing_is_found(name):
    slip, check = SLIPS[name]
    assert is_found(slip, CHECKS[check], as_it_is())
