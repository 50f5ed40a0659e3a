"""The checks are worth something: each slip of the pen makes the check fail that is there for it."""

from __future__ import annotations

import pytest

from tests.assessment import checks
from tests.program import Slip, with_slip

SLIPS: dict[str, tuple[Slip, str]] = {
    "one tail for two": (
        Slip("conformity", "ndtr(below) + ndtr(above)", "ndtr(np.maximum(below, above))"),
        "two_tails",
    ),
    "the normal distribution for t": (
        Slip("conformity", "stdtr(nu, below) + stdtr(nu, above)", "ndtr(below) + ndtr(above)"),
        "two_tails",
    ),
    "U for u in the probability": (
        Slip("conformity", "p = probability_outside(error, u, nu", "p = probability_outside(error, U, nu"),
        "specific_risk",
    ),
    "no guard band": (Slip("conformity", "w = policy.guard_band * U", "w = 0.0 * U"), "decision_rules"),
    "the policy's r forgotten": (Slip("conformity", "w = policy.guard_band * U", "w = U"), "decision_rules"),
    "the guard band outwards": (
        Slip("conformity", "size <= tolerance - w + slack", "size <= tolerance + w + slack"),
        "decision_rules",
    ),
    "an edge outside": (
        Slip("conformity", "slack = abs(error), EDGE * tolerance", "slack = abs(error), -EDGE * tolerance"),
        "edges",
    ),
    "the sign of the error": (Slip("conformity", "size, slack = abs(error)", "size, slack = error"), "edges"),
    "a fail at T": (
        Slip("conformity", "certain_fail = size > tolerance + w + slack", "certain_fail = size > tolerance + slack"),
        "edges",
    ),
    "a pass with any U": (Slip("conformity", "hopeless = tolerance - w < 0.0", "hopeless = False"), "edges"),
    "risk for its complement": (
        Slip("conformity", "p_outside >= 1.0 - policy.largest_risk", "p_outside >= policy.largest_risk"),
        "specific_risk",
    ),
    "the larger part for the sum": (
        Slip("conformity", 'chosen.combine == "sum"', 'chosen.combine == "maximum"'),
        "tolerances",
    ),
    "the lower band where two meet": (
        Slip(
            "conformity",
            "sorted(tolerance.bands, key=_lower_edge)",
            "sorted(tolerance.bands, key=_lower_edge, reverse=True)",
        ),
        "tolerances",
    ),
    "the upper edge of a band outside": (
        Slip("conformity", "reference_value <= band.highest.value", "reference_value < band.highest.value"),
        "tolerances",
    ),
    "of the error for of the reading": (
        Slip("conformity", "chosen.of_reading * abs(reference_value)", "chosen.of_reading * reference_value"),
        "tolerances",
    ),
    "ordinary least squares for generalised": (
        Slip(
            "least_squares",
            "return np.linalg.cholesky(covariance + trace * np.eye(len(covariance)))",
            "return np.eye(len(covariance))",
        ),
        "least_squares",
    ),
    "a factor's own square": (
        Slip(
            "least_squares",
            "covariance=inverse @ inverse.T",
            "covariance=inverse.T @ inverse",
        ),
        "least_squares",
    ),
    "a rate per day": (
        Slip("epochs", "(day - self.opened).days / DAYS_A_YEAR", "(day - self.opened).days"),
        "drift_of_an_instrument",
    ),
    "visits without their shared sources": (
        Slip(
            "epochs",
            "= covariance(self.budgets, lines)",
            "= np.diag(np.diag(covariance(self.budgets, lines)))",
        ),
        "drift_of_an_instrument",
    ),
    "the plain root sum for the U of a difference": (
        Slip(
            "drift",
            "u, k_lines, _ = expanded_of_combinations(budgets, sums, lines, weights)",
            "u, k_lines = np.sqrt([sum(r.u**2 for pair in pairs for r in pair) for pairs in changes]), 2.0",
        ),
        "drift_of_an_instrument",
    ),
    "the change the wrong way round": (
        Slip("drift", "change=found.error - left.error", "change=left.error - found.error"),
        "drift_of_an_instrument",
    ),
    "a rate in spite of the scatter": (
        Slip("drift", "if fit.rejected:", "if False:"),
        "lines_that_do_not_hold",
    ),
    "a sum of squares for χ²": (
        Slip("least_squares", "chi_squared=float(residual @ residual)", "chi_squared=float(values @ values)"),
        "lines_that_do_not_hold",
    ),
    "levels not counted": (
        Slip("least_squares", "freedom=n - p", "freedom=n - 2"),
        "lines_that_do_not_hold",
    ),
    "rising with falling": (
        Slip("epochs", "any_direction or result.direction == self.direction", "True"),
        "like_with_like",
    ),
    "cold with warm": (Slip("epochs", "< SAME_TARGET_RH and not apart", "< SAME_TARGET_RH"), "like_with_like"),
    "an adjustment that opens nothing": (
        Slip(
            "epochs",
            "segment, element = segment + 1, element + visit.element",
            "segment, element = segment, element + visit.element",
        ),
        "segments",
    ),
    "as left counted beside as found": (
        Slip(
            "epochs",
            "take(number, visit.as_found or visit.as_left)",
            "take(number, visit.as_found + visit.as_left)",
        ),
        "segments",
    ),
    "an element that changes nothing": (
        Slip(
            "epochs",
            "segment, element = segment + 1, element + visit.element",
            "segment, element = segment + 1, element",
        ),
        "segments",
    ),
    "any event an adjustment": (Slip("summary", "self.sensor_visit.changes", "self.sensor_visit.events"), "segments"),
    "thirty days for a month": (
        Slip("due", "min(day.day, calendar.monthrange(year, month + 1)[1])", "min(day.day, 28)"),
        "due_dates",
    ),
    "December lost": (
        Slip("due", "index = day.year * 12 + day.month - 1 + months", "index = day.year * 12 + day.month + months"),
        "due_dates",
    ),
    "overdue on the due day": (Slip("due", "if today > day:", "if today >= day:"), "due_dates"),
    "any point for all": (
        Slip("due", "points_met(good, points) == len(points)", "points_met(good, points)"),
        "incomplete_visits",
    ),
    "a reference out of date counts": (
        Slip("due", "and not any(f.rule.withholds_certificate for f in r.reservations)", ""),
        "incomplete_visits",
    ),
    "the first visit for the last": (
        Slip("standing", "return visits[number:]", "return visits[:1]"),
        "states",
    ),
    "as found before as left": (
        Slip("standing", 'for p in ("as_found", "as_left")', 'for p in ("as_left", "as_found")'),
        "states",
    ),
    "the best for the worst": (
        Slip("standing", "if Verdict.FAIL in verdicts:", "if verdicts == {Verdict.FAIL}:"),
        "states",
    ),
    "the old instrument's results": (
        Slip("standing", "v.results[0].serial == instrument.serial", "v.results[0].serial"),
        "states",
    ),
    "wet for dry": (Slip("cases", "air_if_high if result.error > 0", "air_if_high if result.error < 0"), "findings"),
    "last good by a visit that failed": (
        Slip(
            "cases",
            "(Verdict.PASS, Verdict.CONDITIONAL_PASS)",
            "(Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.FAIL)",
        ),
        "findings",
    ),
    "advice inside the noise": (Slip("adjustment", "if abs(zero.value) > zero.U:", "if True:"), "advice"),
    "a slope always": (Slip("adjustment", "if abs(span.value) > span.U:", "if True:"), "advice"),
    "advice from one point": (Slip("adjustment", "len({r.target for r in usable}) < 2", "not usable"), "advice"),
    "adjusting with the error": (
        Slip("adjustment", "value_with(-zero.value, zero.U", "value_with(zero.value, zero.U"),
        "advice",
    ),
    "rising minus falling": (
        Slip("adjustment", "width = falling.error - rising.error", "width = rising.error - falling.error"),
        "both_ways",
    ),
    "hysteresis with the sum's U": (
        Slip("adjustment", "(falling.line, rising.line), (1.0, -1.0))", "(falling.line, rising.line), (1.0, 1.0))"),
        "both_ways",
    ),
}
CHECKS = {check.__name__: check for check in checks.ALL}


def failures(check, program):
    """What does not hold, in words; a check that cannot even be computed fails."""
    try:
        return [str(one) for one in check(program) if not one.holds]
    except (ArithmeticError, AssertionError, AttributeError, KeyError, TypeError, ValueError, Warning) as refusal:
        return [repr(refusal)]


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_found(name):
    slip, check = SLIPS[name]
    with with_slip(slip) as program:
        assert failures(CHECKS[check], program) != []
