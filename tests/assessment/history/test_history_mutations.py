"""The checks of charts, intervals and reference checks are worth something: each slip of the pen makes one fail."""

from __future__ import annotations

import pytest

from tests.assessment.history import history_checks
from tests.program import as_it_is
from tests.slips import Slip, is_found

SLIPS: dict[str, tuple[Slip, str]] = {
    "the moving range for the standard deviation": (
        Slip("D2", "D2 = 2.0 / math.sqrt(math.pi)", "D2 = 1.0"),
        "control_limits",
    ),
    "two standard deviations for three": (Slip("control_charts.WIDTH", "WIDTH = 3.0", "WIDTH = 2.0"), "control_limits"),
    "the weight on what was before": (
        Slip("ewma", "weight * value + (1.0 - weight) * average", "weight * average + (1.0 - weight) * value"),
        "control_limits",
    ),
    "limits of a long series from the start": (
        Slip("ewma_half_width", "(1.0 - weight) ** (2.0 * np.asarray(number, float))", "0.0 * np.asarray(number)"),
        "control_limits",
    ),
    "no signal below": (Slip("_beyond", "(values < lower - slack) | ", ""), "signals"),
    "the change the wrong way round": (
        Slip("change_chart", "now.error - before.error", "before.error - now.error"),
        "changes_charted",
    ),
    "shared sources counted twice": (
        Slip("expanded_of_changes", "[sign / len(pairs)] * len(measured)", "[1.0 / len(pairs)] * len(measured)"),
        "changes_charted",
    ),
    "the visit's shift once": (
        Slip("expanded_of_changes", "2.0 * scales.shift**2", "scales.shift**2"),
        "changes_charted",
    ),
    "the moving average around the mean": (
        Slip("change_chart", "ewma(changes, 0.0,", "ewma(changes, single.centre,"),
        "changes_charted",
    ),
    "extended for what was outside": (
        Slip("staircase", "return months * reduce_by", "return months * extend_by"),
        "published_intervals",
    ),
    "an offset with its sign": (
        Slip(
            "drift_limited_years", "a, b = tolerance - abs(offset), abs(rate)", "a, b = tolerance - offset, abs(rate)"
        ),
        "published_intervals",
    ),
    "a rate that is surely known": (
        Slip("drift_limited_years", "root = math.sqrt((b * k * u) ** 2 + (k * u_rate) ** 2 * c)", "root = b * k * u"),
        "published_intervals",
    ),
    "the same as found counted again": (
        Slip("_by_staircase", "return _stepped(then.months, worst, rule)", "return _stepped(15, worst, rule)"),
        "staircases",
    ),
    "the best point for the worst": (Slip("_by_staircase", "worst = max(judged", "worst = min(judged"), "staircases"),
    "no upper bound": (Slip("_bounded", "if months > rule.longest:", "if False:"), "staircases"),
    "no lower bound": (Slip("_bounded", "if whole < rule.shortest:", "if False:"), "staircases"),
    "hours for minutes": (Slip("MINUTES_AN_HOUR", "MINUTES_AN_HOUR = 60.0", "MINUTES_AN_HOUR = 1.0"), "hours_of_use"),
    "all readings of the counter": (
        Slip(
            "_by_hours",
            "(since, first), (until, last) = read[-2:]",
            "(since, first), (until, last) = read[0], read[-1]",
        ),
        "hours_of_use",
    ),
    "a counter that may go back": (Slip("_by_hours", "if last < first or until", "if until"), "hours_of_use"),
    "the kindest point for the strictest": (
        Slip("_by_drift", "return min(answers, key", "return max(answers, key"),
        "intervals_by_drift",
    ),
    "the likely day for the earliest": (
        Slip("_at_point", "earliest = outlook.leaves.earliest", "earliest = outlook.leaves.median"),
        "intervals_by_drift",
    ),
    "U for u of the rate": (
        Slip("_to_the_limit", "outlook.U_rate / k, u,", "outlook.U_rate, u,"),
        "intervals_by_drift",
    ),
    "every value for the worst of a visit": (
        Slip("reliability._as_found", "good=all(r.verdict in", "good=any(r.verdict in"),
        "reliability_of_a_model",
    ),
    "one success more": (
        Slip("lower_bound", "trials - successes + 1, 1.0", "trials - successes, 1.0"),
        "published_intervals",
    ),
    "a bound on both sides": (
        Slip("lower_bound", "1.0 - confidence))", "(1.0 - confidence) / 2.0))"),
        "published_intervals",
    ),
    "the target for what was observed": (
        Slip(
            "exponential_months",
            "months * math.log(target) / math.log(observed)",
            "months * math.log(observed) / math.log(target)",
        ),
        "published_intervals",
    ),
    "a failed check that ends a doubt": (
        Slip(
            "_of_check",
            "ends = [c.day for c in checks[number + 1 :] if c.good]",
            "ends = [c.day for c in checks[number + 1 :]]",
        ),
        "failed_checks",
    ),
    "no doubt before the check": (
        Slip("_of_check", "first=min(since + ONE_DAY, check.day)", "first=check.day"),
        "failed_checks",
    ),
    "no doubt after the check": (
        Slip("_of_check", "last=None if until == date.max else max(until - ONE_DAY, check.day)", "last=check.day"),
        "failed_checks",
    ),
    "doubt on every reference": (
        Slip("Doubt.holds", "self.reference == reference and", "True and"),
        "failed_checks",
    ),
    "a limit that is only shown": (
        Slip("FAILED", "FAILED = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)", "FAILED = ()"),
        "failed_checks",
    ),
    "no drift between calibrations": (
        Slip(
            "recalibrations._compared",
            "drift = allowance / RECTANGULAR_DIVISOR",
            "drift = 0.0 * years",
        ),
        "found_off",
    ),
    "a drift allowance taken for a standard deviation": (
        Slip("recalibrations._compared", "allowance / RECTANGULAR_DIVISOR", "before.drift.value * years"),
        "found_off",
    ),
    "what was left for what was found": (
        Slip("recalibrations._as_found", "calibration.as_found or calibration.points", "calibration.points"),
        "found_off",
    ),
    "a correction for an error": (
        Slip(
            "_certified",
            'sign = 1.0 if calibration.declared == "error"',
            'sign = -1.0 if calibration.declared == "error"',
        ),
        "found_off",
    ),
}
CHECKS = {check.__name__: check for check in history_checks.ALL}


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_found(name):
    slip, check = SLIPS[name]
    assert is_found(slip, CHECKS[check], as_it_is())
