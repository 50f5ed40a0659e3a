"""The checks are worth something: each slip of the pen makes the check fail that is there for it."""

from __future__ import annotations

import pytest

from tests.assessment import checks
from tests.program import as_it_is
from tests.slips import Slip, is_found

SLIPS: dict[str, tuple[Slip, str]] = {
    "one tail for two": (
        Slip("probability_outside", "ndtr(below) + ndtr(above)", "ndtr(np.maximum(below, above))"),
        "two_tails",
    ),
    "the normal distribution for t": (
        Slip("probability_outside", "stdtr(nu, below) + stdtr(nu, above)", "ndtr(below) + ndtr(above)"),
        "two_tails",
    ),
    "U for u in the probability": (
        Slip("judge_all", "p = probability_outside(error, u, nu", "p = probability_outside(error, U, nu"),
        "specific_risk",
    ),
    "no guard band": (Slip("verdict_by_rule", "w = policy.guard_band * U", "w = 0.0 * U"), "decision_rules"),
    "the policy's r forgotten": (Slip("verdict_by_rule", "w = policy.guard_band * U", "w = U"), "decision_rules"),
    "the guard band outwards": (
        Slip("verdict_by_rule", "size <= tolerance - w + slack", "size <= tolerance + w + slack"),
        "decision_rules",
    ),
    "an edge outside": (
        Slip("verdict_by_rule", "slack = abs(error), EDGE * tolerance", "slack = abs(error), -EDGE * tolerance"),
        "edges",
    ),
    "the sign of the error": (Slip("verdict_by_rule", "size, slack = abs(error)", "size, slack = error"), "edges"),
    "a fail at T": (
        Slip(
            "verdict_by_rule", "certain_fail = size > tolerance + w + slack", "certain_fail = size > tolerance + slack"
        ),
        "edges",
    ),
    "a pass with any U": (Slip("verdict_by_rule", "hopeless = tolerance - w < 0.0", "hopeless = False"), "edges"),
    "risk for its complement": (
        Slip("verdict_by_rule", "p_outside >= 1.0 - policy.largest_risk", "p_outside >= policy.largest_risk"),
        "specific_risk",
    ),
    "the larger part for the sum": (
        Slip("tolerance_at", 'chosen.combine == "sum"', 'chosen.combine == "maximum"'),
        "tolerances",
    ),
    "the lower band where two meet": (
        Slip(
            "tolerance_at",
            "sorted(tolerance.bands, key=_lower_edge)",
            "sorted(tolerance.bands, key=_lower_edge, reverse=True)",
        ),
        "tolerances",
    ),
    "the upper edge of a band outside": (
        Slip("tolerance_at", "reference_value <= band.highest.value", "reference_value < band.highest.value"),
        "tolerances",
    ),
    "of the error for of the reading": (
        Slip("tolerance_at", "chosen.of_reading * abs(reference_value)", "chosen.of_reading * reference_value"),
        "tolerances",
    ),
    "ordinary least squares for generalised": (
        Slip(
            "_root",
            "return np.linalg.cholesky(covariance + trace * np.eye(len(covariance)))",
            "return np.eye(len(covariance))",
        ),
        "least_squares",
    ),
    "a factor's own square": (
        Slip(
            "aitken",
            "covariance=inverse @ inverse.T",
            "covariance=inverse.T @ inverse",
        ),
        "least_squares",
    ),
    "a rate per day": (
        Slip("Epoch.years_at", "(day - self.opened).days / DAYS_A_YEAR", "(day - self.opened).days"),
        "drift_of_an_instrument",
    ),
    "visits without their shared sources": (
        Slip(
            "Lasting.parts",
            "return matrix @ matrix.T",
            "return np.diag(np.diag(matrix @ matrix.T))",
        ),
        "drift_of_an_instrument",
    ),
    "the plain root sum for the U of a difference": (
        Slip(
            "summed_contributions",
            "np.asarray(weights, float)[which]",
            "np.abs(np.asarray(weights, float))[which]",
        ),
        "drift_of_an_instrument",
    ),
    "the change the wrong way round": (
        Slip("changes_between", "change=found.error - left.error", "change=left.error - found.error"),
        "drift_of_an_instrument",
    ),
    "a rate in spite of the scatter": (
        Slip("drift", "if fit.rejected:", "if False:"),
        "lines_that_do_not_hold",
    ),
    "a sum of squares for χ²": (
        Slip("scale_factors.estimate", "chi_squared = float(residual @ residual)", "chi_squared = float(y @ y)"),
        "lines_that_do_not_hold",
    ),
    "levels not counted": (
        Slip("scale_factors.estimate", "freedom = n - p", "freedom = n - 2"),
        "lines_that_do_not_hold",
    ),
    "rising with falling": (
        Slip("Level.takes", "any_direction or result.direction == self.direction", "True"),
        "like_with_like",
    ),
    "cold with warm": (Slip("same_condition", " and not apart", ""), "like_with_like"),
    "an adjustment that opens nothing": (
        Slip(
            "epochs._entries",
            "segment, element = segment + 1, element + visit.element",
            "segment, element = segment, element + visit.element",
        ),
        "segments",
    ),
    "as left counted beside as found": (
        Slip(
            "epochs._entries",
            "take(number, visit.as_found or visit.as_left)",
            "take(number, visit.as_found + visit.as_left)",
        ),
        "segments",
    ),
    "an element that changes nothing": (
        Slip(
            "epochs._entries",
            "segment, element = segment + 1, element + visit.element",
            "segment, element = segment + 1, element",
        ),
        "segments",
    ),
    "any event an adjustment": (
        Slip("SensorVisitSummary.last_change", "self.sensor_visit.changes", "self.sensor_visit.events"),
        "segments",
    ),
    "thirty days for a month": (
        Slip("add_months", "min(day.day, calendar.monthrange(year, month + 1)[1])", "min(day.day, 28)"),
        "due_dates",
    ),
    "December lost": (
        Slip(
            "add_months", "index = day.year * 12 + day.month - 1 + months", "index = day.year * 12 + day.month + months"
        ),
        "due_dates",
    ),
    "overdue on the due day": (Slip("due.due", "elif today > day:", "elif today >= day:"), "due_dates"),
    "any point for all": (
        Slip("completes", "points_met(good, points) == len(points)", "points_met(good, points)"),
        "incomplete_visits",
    ),
    "a reference out of date counts": (
        Slip("completes", "and not any(f.rule.withholds_certificate for f in r.reservations)", ""),
        "incomplete_visits",
    ),
    "the first visit for the last": (
        Slip("_with_a_say", "return visits[number:]", "return visits[:1]"),
        "states",
    ),
    "as found before as left": (
        Slip("state_of", 'for p in ("as_found", "as_left")', 'for p in ("as_left", "as_found")'),
        "states",
    ),
    "the best for the worst": (
        Slip("standing._worst", "if Verdict.FAIL in verdicts:", "if verdicts == {Verdict.FAIL}:"),
        "states",
    ),
    "the old instrument's results": (
        Slip("standing_of", "v.results[0].serial == instrument.serial", "v.results[0].serial"),
        "states",
    ),
    "wet for dry": (
        Slip("direction_of", "air_if_high if result.error > 0", "air_if_high if result.error < 0"),
        "findings",
    ),
    "last good by a visit that failed": (
        Slip(
            "_last_good",
            "(Verdict.PASS, Verdict.CONDITIONAL_PASS)",
            "(Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.FAIL)",
        ),
        "findings",
    ),
    "advice inside the noise": (
        Slip("adjustment._adjustment", "elif abs(zero.value) > zero.U:", "elif True:"),
        "advice",
    ),
    "a slope always": (Slip("adjustment._adjustment", "if abs(span.value) > span.U:", "if True:"), "advice"),
    "advice from one point": (Slip("_of_humidity", "len(_points(usable)) < 2", "not usable"), "advice"),
    "adjusting with the error": (
        Slip("adjustment._adjustment", "value_with(-zero.value, zero.U", "value_with(zero.value, zero.U"),
        "advice",
    ),
    "rising minus falling": (
        Slip("hysteresis", "width = falling.error - rising.error", "width = rising.error - falling.error"),
        "both_ways",
    ),
    "hysteresis with the sum's U": (
        Slip("hysteresis", "(falling.line, rising.line), (1.0, -1.0))", "(falling.line, rising.line), (1.0, 1.0))"),
        "both_ways",
    ),
}
CHECKS = {check.__name__: check for check in checks.ALL}


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_found(name):
    slip, check = SLIPS[name]
    assert is_found(slip, CHECKS[check], as_it_is())
