"""The checks of charts, intervals and reference checks are worth something: each slip of the pen makes one fail."""

from __future__ import annotations

import pytest

from tests.assessment.history import history_checks
from tests.assessment.test_mutations import failures
from tests.program import Slip, with_slip

SLIPS: dict[str, tuple[Slip, str]] = {
    "the moving range for the standard deviation": (
        Slip("control_charts", "D2 = 2.0 / math.sqrt(math.pi)", "D2 = 1.0"),
        "control_limits",
    ),
    "two standard deviations for three": (Slip("control_charts", "WIDTH = 3.0", "WIDTH = 2.0"), "control_limits"),
    "the weight on what was before": (
        Slip(
            "control_charts", "weight * value + (1.0 - weight) * average", "weight * average + (1.0 - weight) * value"
        ),
        "control_limits",
    ),
    "limits of a long series from the start": (
        Slip("control_charts", "(1.0 - weight) ** (2.0 * np.asarray(number, float))", "0.0 * np.asarray(number)"),
        "control_limits",
    ),
    "no signal below": (Slip("control_charts", "(values < lower - slack) | ", ""), "signals"),
    "the change the wrong way round": (
        Slip("change_charts", "now.error - before.error", "before.error - now.error"),
        "changes_charted",
    ),
    "shared sources counted twice": (
        Slip("drift", "[sign / len(pairs)] * len(measured)", "[1.0 / len(pairs)] * len(measured)"),
        "changes_charted",
    ),
    "the visit's shift once": (
        Slip("drift", "2.0 * between**2", "between**2"),
        "changes_charted",
    ),
    "the moving average around the mean": (
        Slip("change_charts", "ewma(changes, 0.0,", "ewma(changes, single.centre,"),
        "changes_charted",
    ),
    "extended for what was outside": (
        Slip("interval", "return months * reduce_by", "return months * extend_by"),
        "published_intervals",
    ),
    "an offset with its sign": (
        Slip("interval", "a, b = tolerance - abs(offset), abs(rate)", "a, b = tolerance - offset, abs(rate)"),
        "published_intervals",
    ),
    "a rate that is surely known": (
        Slip("interval", "root = math.sqrt((b * k * u) ** 2 + (k * u_rate) ** 2 * c)", "root = b * k * u"),
        "published_intervals",
    ),
    "the same as found counted again": (
        Slip("interval", "return _stepped(then.months, worst, rule)", "return _stepped(15, worst, rule)"),
        "staircases",
    ),
    "the best point for the worst": (Slip("interval", "worst = max(judged", "worst = min(judged"), "staircases"),
    "no upper bound": (Slip("interval", "if months > rule.longest:", "if False:"), "staircases"),
    "no lower bound": (Slip("interval", "if whole < rule.shortest:", "if False:"), "staircases"),
    "hours for minutes": (Slip("interval", "MINUTES_AN_HOUR = 60.0", "MINUTES_AN_HOUR = 1.0"), "hours_of_use"),
    "all readings of the counter": (
        Slip(
            "interval", "(since, first), (until, last) = read[-2:]", "(since, first), (until, last) = read[0], read[-1]"
        ),
        "hours_of_use",
    ),
    "a counter that may go back": (Slip("interval", "if last < first or until", "if until"), "hours_of_use"),
    "the kindest point for the strictest": (
        Slip("interval", "return min(answers, key", "return max(answers, key"),
        "intervals_by_drift",
    ),
    "the likely day for the earliest": (
        Slip("interval", "earliest = outlook.leaves.earliest", "earliest = outlook.leaves.median"),
        "intervals_by_drift",
    ),
    "U for u of the rate": (
        Slip("interval", "outlook.U_rate / k, u,", "outlook.U_rate, u,"),
        "intervals_by_drift",
    ),
    "every value for the worst of a visit": (
        Slip("reliability", "good=all(r.verdict in", "good=any(r.verdict in"),
        "reliability_of_a_model",
    ),
    "one success more": (
        Slip("reliability", "trials - successes + 1, 1.0", "trials - successes, 1.0"),
        "published_intervals",
    ),
    "a bound on both sides": (
        Slip("reliability", "1.0 - confidence))", "(1.0 - confidence) / 2.0))"),
        "published_intervals",
    ),
    "the target for what was observed": (
        Slip(
            "reliability",
            "months * math.log(target) / math.log(observed)",
            "months * math.log(observed) / math.log(target)",
        ),
        "published_intervals",
    ),
    "a failed check that ends a doubt": (
        Slip(
            "doubt",
            "ends = [c.day for c in checks[number + 1 :] if c.good]",
            "ends = [c.day for c in checks[number + 1 :]]",
        ),
        "failed_checks",
    ),
    "no doubt before the check": (
        Slip("doubt", "first=min(since + ONE_DAY, check.day)", "first=check.day"),
        "failed_checks",
    ),
    "no doubt after the check": (
        Slip("doubt", "last=None if until == date.max else max(until - ONE_DAY, check.day)", "last=check.day"),
        "failed_checks",
    ),
    "doubt on every reference": (
        Slip("doubt", "self.reference == reference and", "True and"),
        "failed_checks",
    ),
    "a limit that is only shown": (
        Slip("checks", "FAILED = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)", "FAILED = ()"),
        "failed_checks",
    ),
    "no drift between calibrations": (
        Slip("recalibrations", "drift = before.drift.value * years / RECTANGULAR_DIVISOR", "drift = 0.0 * years"),
        "found_off",
    ),
    "a drift allowance taken for a standard deviation": (
        Slip("recalibrations", "before.drift.value * years / RECTANGULAR_DIVISOR", "before.drift.value * years"),
        "found_off",
    ),
    "what was left for what was found": (
        Slip("recalibrations", "calibration.as_found or calibration.points", "calibration.points"),
        "found_off",
    ),
    "a correction for an error": (
        Slip(
            "recalibrations",
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
    with with_slip(slip) as program:
        assert failures(CHECKS[check], program) != []
