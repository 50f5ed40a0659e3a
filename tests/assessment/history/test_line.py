"""The line through a history: levels of segments, rates of an element, and one example worked by hand."""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.assessment.history.epochs import epochs_of, lasting_of
from asfound.assessment.history.lasting import KINDS, STATED_OWN, Kind
from asfound.assessment.history.line import drift_to, fit_line, line_through
from asfound.records.models import Channel
from asfound.statistics.scale_factors import Factors
from tests.assessment.history.histories import Instrument, certain, visit

HUMIDITY = Channel.HUMIDITY
FOUR_YEARS = (date(2010, 3, 16), date(2014, 3, 16), date(2018, 3, 16))
"""1461 days apart, which are 4 years of 365.25 days."""


def days(count, start=date(2015, 3, 16), apart=365):
    return [start + timedelta(days=apart * i) for i in range(count)]


def own(name, u=0.05, reference="cal-1", shared=0.2):
    return {f"own/{name}": u, reference: shared}


def with_errors(epoch, errors):
    """The same history with other errors."""
    other = copy.copy(epoch)
    other.__dict__["errors"] = np.asarray(errors, float)
    return other


def yearly(errors, targets=(20.0, 50.0, 80.0), **sources):
    """A visit a year that finds these errors, one row a visit and one column a target."""
    instrument = Instrument()
    visits = [
        visit(day, [instrument.result(day, at, e, own(f"{day}/{at}", **sources)) for at, e in zip(targets, row)])
        for day, row in zip(days(len(errors)), errors)
    ]
    return instrument, visits


def worked_by_hand():
    """Three visits four years apart to one point, 0.00, 0.50 and 0.80 %RH found, one reference throughout.

    Each result has 0.06 %RH of its own and shares 0.08 %RH of the reference with all; a visit shifts by 0.08 %RH. So
    each visit scatters by s² = 0.06² + 0.08² = 0.01; the reference adds 0.0064 to every level and nothing to a rate.
    """
    instrument = Instrument()
    errors = zip(FOUR_YEARS, (0.0, 0.5, 0.8))
    visits = [
        visit(day, [instrument.result(day, 50.0, e, {f"own/{day}": 0.06, "reference": 0.08})]) for day, e in errors
    ]
    return instrument.epoch(visits)


def test_a_line_of_three_visits_is_that_worked_by_hand():
    """Years from the middle visit: −4, 0, 4; their squares sum to 32.

    rate = (−4·0.00 + 0·0.50 + 4·0.80)/32 = 0.1 a year; u² = 0.01/32, so u = 0.1/√32 = 0.017 68 and U = 0.0354.
    The mean is 1.3/3 = 0.4333: the line goes through 0.0333, 0.4333, 0.8333, residuals −0.0333, 0.0667, −0.0333,
    χ² = (0.001111 + 0.004444 + 0.001111)/0.01 = 0.667 with 3 − 2 = 1 degree of freedom.
    At the last visit the true error is 0.8333 with u² = 0.0064 + 0.01/3 + 0.01·16/32 = 0.014733.
    """
    fit = fit_line(worked_by_hand(), HUMIDITY, certain(0.08))
    assert fit.rate.rate == pytest.approx(0.1, rel=1e-9)
    assert fit.rate.u == pytest.approx(0.1 / math.sqrt(32.0), rel=1e-9)
    assert pytest.approx(0.0353553, rel=1e-5) == fit.rate.U and fit.rate.nu == math.inf
    assert fit.chi_squared == pytest.approx(2.0 / 3.0, rel=1e-6) and fit.freedom == 1
    then = fit.expected(FOUR_YEARS[2])
    assert then.errors == pytest.approx([0.83333333], rel=1e-6)
    assert then.covariance[0, 0] == pytest.approx(0.0147333333, rel=1e-6)
    assert then.true()[0] == pytest.approx([math.sqrt(0.0147333333 + 0.0064)], rel=1e-6)


def scaled(*log, u=0.0, **keys):
    """Factors of own, visit, shift and period as given, each known to u on its logarithm."""
    factors = Factors(log=np.array(log, float), covariance=u**2 * np.eye(KINDS))
    return replace(certain(0.08, **keys), factors=factors)


def test_factors_that_were_estimated_leave_the_rate_their_degrees_of_freedom():
    """Own makes 0.36 of Var(rate), the visits' shift 0.64: ν = 2/(0.36² + 0.64²)/u² = 2/(0.5392·0.2)."""
    fit = fit_line(worked_by_hand(), HUMIDITY, scaled(0.0, 0.0, 0.0, 0.0, u=math.sqrt(0.2)))
    assert fit.rate.nu == pytest.approx(2.0 / (0.5392 * 0.2), rel=1e-6)
    assert fit.rate.U > 1.03 * fit_line(worked_by_hand(), HUMIDITY, certain(0.08)).rate.U  # k = 2.11


def test_a_kind_of_effect_that_varies_less_than_declared_makes_rates_surer_and_stays_in_the_error():
    """The results' own 0.06 varies by a tenth of its variance: u² of the rate = (0.1·0.0036 + 0.0064)/32.

    The nine tenths that do not vary are still there, hidden in the level: they count in the true error.
    """
    fit = fit_line(worked_by_hand(), HUMIDITY, scaled(math.log(0.1), 0.0, 0.0, 0.0))
    assert fit.rate.u == pytest.approx(math.sqrt((0.00036 + 0.0064) / 32.0), rel=1e-6)
    then = fit.expected(FOUR_YEARS[2])
    assert then.true()[0][0] ** 2 == pytest.approx(then.covariance[0, 0] + 0.0064 + 0.9 * 0.0036, rel=1e-6)
    # A measurement brings its own again as far as it varies, a tenth; the reference that all share is in both.
    line = then.covariance[0, 0] - 0.0064
    assert then.measured()[0][0] ** 2 == pytest.approx(line + 0.0064 + 0.1 * 0.0036, rel=1e-6)


def test_the_loop_of_use_stands_beside_what_proved_constant():
    """Half a width of 0.1 %RH, two-valued, beside what hides; from the start the side that was read is not known."""
    half = 0.1
    scales = scaled(math.log(0.1), 0.0, 0.0, 0.0)
    start, rising = (fit_line(with_loop(worked_by_hand(), half, way), HUMIDITY, scales) for way in ("start", "rising"))
    for fit, variance in ((start, 2.0 * half**2), (rising, half**2)):
        assert fit.hidden(in_use=True) == pytest.approx([0.9 * 0.0036 + variance], rel=1e-9)
        assert fit.hidden() == pytest.approx([0.9 * 0.0036], rel=1e-9)
    assert (start.to_the_middle, rising.to_the_middle) == (0.0, pytest.approx([half]))
    falling = fit_line(with_loop(worked_by_hand(), half, "falling"), HUMIDITY, scales)
    assert falling.to_the_middle == pytest.approx([-half])


def with_loop(epoch, half, way):
    return replace(epoch, results=tuple(result.altered(loop=half, direction=way) for result in epoch.results))


def test_few_instruments_are_tested_against_what_is_declared_as_well():
    """A step that has widened the factors of its own pool is still off the line."""
    stepped = with_errors(worked_by_hand(), [0.0, 0.0, 3.0])
    wide = scaled(6.0, 0.0, 6.0, 0.0)
    assert not fit_line(stepped, HUMIDITY, wide).rejected
    assert fit_line(stepped, HUMIDITY, replace(wide, instruments=2)).rejected


def test_an_adjustment_without_error_costs_the_line_only_precision():
    """As left continues what was found exactly; visits shift, so that each new level must be learnt."""
    rng = np.random.default_rng(5)
    truth = 0.3 + 0.1 * np.arange(6.0)[:, None] + 0.02 * rng.standard_normal((6, 3))
    _, plain = yearly(truth)
    instrument, visits = yearly(truth)
    day = visits[3].day
    left = [instrument.result(day, r.target, r.error, own(f"{day}/left/{r.target}")) for r in visits[3].as_found]
    parted = [*visits[:3], replace(visits[3], as_left=tuple(left), adjusted=True), *visits[4:]]
    whole = fit_line(instrument.epoch(visits), HUMIDITY, certain(0.0))
    cut = fit_line(instrument.epoch(parted), HUMIDITY, certain(0.0))
    assert cut.epoch.segments == 2 and cut.freedom == whole.freedom
    assert cut.rate.rate == pytest.approx(whole.rate.rate, abs=whole.rate.U)
    assert cut.rate.u > whole.rate.u
    assert len(plain) == 6


def test_both_segments_carry_the_rate():
    """Two visits before an adjustment and two after: neither alone has a rate, together they do."""
    instrument = Instrument()
    first, second, third = days(3)
    row = [(20.0, 0.1), (50.0, 0.2), (80.0, 0.3)]

    def results(day, shift, phase="found"):
        return [instrument.result(day, at, e + shift, own(f"{day}/{phase}/{at}")) for at, e in row]

    visits = [
        visit(first, results(first, 0.0)),
        visit(second, results(second, 0.4), results(second, -0.7, "left")),
        visit(third, results(third, -0.3)),
    ]
    fit = fit_line(instrument.epoch(visits), HUMIDITY, certain(0.0))
    assert fit.rate.rate == pytest.approx(0.4 * 365.25 / 365.0, rel=1e-6)
    assert fit.expected(third).errors == pytest.approx([-0.2, -0.1, 0.0], abs=1e-9)
    assert fit.freedom == 12 - 6 - 2


def repaired(before: Sequence[float], after: Sequence[float]):
    """What visits found before an adjustment to zero, the last of them at that visit, and what they found since."""
    instrument, visits = Instrument(), []
    for number, (day, shift) in enumerate(zip(days(len(before) + len(after)), [*before, *after], strict=True)):
        found = [instrument.result(day, at, shift, own(f"{day}/{at}")) for at in (20.0, 50.0, 80.0)]
        left = [instrument.result(day, at, 0.0, own(f"{day}/left/{at}")) for at in (20.0, 50.0, 80.0)]
        visits.append(visit(day, found, left if number == len(before) - 1 else None))
    return instrument, visits


MISHAP = (0.0, 0.0, 0.0, 2.0)


def test_a_mishap_that_was_made_good_is_no_drift_that_goes_on():
    instrument, visits = repaired(MISHAP, (0.0, 0.0, 0.0))
    epoch = instrument.epoch(visits)
    assert (
        fit_line(epoch, HUMIDITY, certain(0.7)).rate.rate > 0.2 and not fit_line(epoch, HUMIDITY, certain(0.7)).rejected
    )
    fit = line_through(epoch, HUMIDITY, certain(0.3))
    assert fit.alone and fit.epoch.opened == visits[3].day and fit.epoch.segments == 1
    assert fit.rate.rate == pytest.approx(0.0, abs=1e-9) and not fit.rejected


def test_two_visits_that_turn_against_the_rate_before_are_too_few_for_another():
    instrument, visits = repaired((0.0, 0.5, 1.0, 1.5), (-1.0,))
    fit = line_through(instrument.epoch(visits), HUMIDITY, certain(0.2))
    assert fit.contradicted and fit.rejected and not fit.alone


def test_segments_that_agree_are_fitted_together():
    instrument, visits = repaired(MISHAP, (0.55, 1.1, 1.65))
    fit = line_through(instrument.epoch(visits), HUMIDITY, certain(0.7))
    assert not fit.alone and not fit.contradicted and fit.epoch.segments == 2


def test_a_new_element_has_its_own_rate():
    instrument = Instrument()
    visits = []
    for number, day in enumerate(days(8)):
        rate = 0.8 if number < 4 else 0.1
        found = [instrument.result(day, at, rate * number, own(f"{day}/{at}")) for at in (20.0, 80.0)]
        changed = number == 3
        left = [instrument.result(day, at, 0.3, own(f"{day}/left/{at}")) for at in (20.0, 80.0)] if changed else None
        visits.append(visit(day, found, left, element=changed))
    old, new = epochs_of(visits, lasting_of(visits, instrument.budgets()))
    assert (len(old.days), len(new.days)) == (4, 5)
    assert fit_line(old, HUMIDITY, certain(0.0)).rate.rate == pytest.approx(0.8, rel=2e-3)
    assert fit_line(new, HUMIDITY, certain(0.0)).rate.rate == pytest.approx(0.1, rel=2e-3)


def test_the_element_that_was_just_put_in_has_no_line():
    instrument, visits = yearly([[0.0, 0.0, 0.0]] * 4)
    changed = [*visits[:3], replace(visits[3], adjusted=True, element=True)]
    assert epochs_of(changed, lasting_of(changed, instrument.budgets()))[-1] is None
    assert drift_to(changed, lasting_of(changed, instrument.budgets()), HUMIDITY, certain(0.1)) is None
    assert drift_to(visits, lasting_of(visits, instrument.budgets()), HUMIDITY, certain(0.1)) is not None


def test_another_position_opens_a_segment():
    """Another loop may read otherwise: the level is learnt anew, the rate goes on."""
    instrument, visits = yearly([[0.1 * i + (2.0 if i > 2 else 0.0)] * 3 for i in range(6)])
    moved = [replace(v, position="RH-1" if i < 3 else "RH-2") for i, v in enumerate(visits)]
    fit = fit_line(instrument.epoch(moved), HUMIDITY, certain(0.0))
    assert fit.epoch.segments == 2 and fit.rate.rate == pytest.approx(0.1, rel=2e-3) and not fit.rejected
    assert fit_line(instrument.epoch(visits), HUMIDITY, certain(0.0)).rejected


def test_zero_and_span_that_drift_apart_are_told_apart():
    truth = [[(0.10 + 0.004 * (at - 50.0)) * i for at in (20.0, 50.0, 80.0)] for i in range(6)]
    fit = fit_line(yearly(truth)[0].epoch(yearly(truth)[1]), HUMIDITY, certain(0.05))
    assert fit.span and fit.rate.rate == pytest.approx(0.10, rel=2e-3)
    assert fit.span_rate.rate == pytest.approx(0.004, rel=2e-3)
    assert [fit.rate_at(at).rate for at in (20.0, 80.0)] == pytest.approx([-0.02, 0.22], rel=5e-3)


@pytest.mark.parametrize(("targets", "told"), [((40.0, 61.0), True), ((40.0, 59.0), False), ((50.0,), False)])
def test_span_drift_needs_points_far_apart(targets, told):
    instrument, visits = yearly([[0.01 * at * i for at in targets] for i in range(4)], targets)
    fit = fit_line(instrument.epoch(visits), HUMIDITY, certain(0.0))
    assert fit.span is told
    assert fit.freedom == 4 * len(targets) - len(targets) - 1 - told


def test_a_temperature_channel_has_one_rate_for_all_points():
    instrument, visits = yearly([[0.01 * at * i for at in (20.0, 80.0)] for i in range(4)], (20.0, 80.0))
    assert not fit_line(instrument.epoch(visits), Channel.TEMPERATURE, certain(0.0)).span


def recalibrated(shared):
    """Four visits, the reference calibrated anew between the second and the third; or one calibration throughout."""
    instrument = Instrument()
    visits = []
    for number, day in enumerate(days(4)):
        reference = "cal-1" if shared or number < 2 else "cal-2"
        sources = [own(f"{day}/{at}", 0.05, reference, 0.3) for at in (20.0, 80.0)]
        visits.append(visit(day, [instrument.result(day, at, 0.0, s) for at, s in zip((20.0, 80.0), sources)]))
    return fit_line(instrument.epoch(visits), HUMIDITY, certain(0.0))


def test_a_reference_shared_by_all_visits_cancels_in_the_rate_and_a_recalibrated_one_does_not():
    assert recalibrated(True).rate.u == pytest.approx(0.05 / math.sqrt(2.0 * 5.0), rel=2e-3)  # years −1.5 … 1.5: Σ = 5
    assert recalibrated(False).rate.u == pytest.approx(0.05 / math.sqrt(2.0), rel=2e-2)  # only pairs count: ± 0.5 each


@settings(max_examples=20)
@given(st.integers(0, 10_000), st.floats(-3.0, 3.0))
def test_a_shift_common_to_all_results_moves_levels_and_not_rates(seed, shift):
    errors = np.random.default_rng(seed).normal(0.0, 0.1, (5, 3))
    instrument, visits = yearly(errors)
    epoch = instrument.epoch(visits)
    here, there = (fit_line(with_errors(epoch, epoch.errors + by), HUMIDITY, certain(0.1)) for by in (0.0, shift))
    assert there.rate.rate == pytest.approx(here.rate.rate, abs=1e-7)
    assert there.span_rate.rate == pytest.approx(here.span_rate.rate, abs=1e-7)
    assert there.chi_squared == pytest.approx(here.chi_squared, abs=1e-5)
    assert there.expected(visits[2].day).errors - shift == pytest.approx(here.expected(visits[2].day).errors, abs=1e-7)


@settings(max_examples=20)
@given(st.integers(0, 10_000))
def test_the_order_of_a_visits_points_changes_nothing(seed):
    rng = np.random.default_rng(seed)
    instrument, visits = yearly(rng.normal(0.0, 0.1, (4, 3)))
    mixed = [replace(v, as_found=tuple(v.as_found[i] for i in rng.permutation(3))) for v in visits]
    one, other = (fit_line(instrument.epoch(v), HUMIDITY, certain(0.1)) for v in (visits, mixed))
    assert other.rate.rate == pytest.approx(one.rate.rate, abs=1e-9)
    assert other.rate.u == pytest.approx(one.rate.u, rel=1e-9)
    assert other.expected(visits[0].day).errors == pytest.approx(one.expected(visits[0].day).errors, abs=1e-8)


@settings(max_examples=20)
@given(st.integers(0, 10_000), st.floats(0.0, 0.3), st.floats(0.01, 0.3))
def test_a_larger_visit_to_visit_component_never_makes_a_rate_surer(seed, between, more):
    instrument, visits = yearly(np.random.default_rng(seed).normal(0.0, 0.1, (4, 3)))
    epoch = instrument.epoch(visits)
    assert (
        fit_line(epoch, HUMIDITY, certain(between + more)).rate.u > fit_line(epoch, HUMIDITY, certain(between)).rate.u
    )


def test_the_points_of_another_laboratorys_visit_share_its_uncertainty_and_nothing_else():
    instrument = Instrument()
    (day,) = days(1)
    ours = instrument.result(day, 20.0, 0.1, own("ours"))
    theirs = [ours.altered(target=at, line=None, status="stated", u=0.2, temperature_c=math.nan) for at in (50, 80)]
    epoch = instrument.epoch([visit(day, [ours]), visit(day + timedelta(days=30), theirs)])
    kinds, fixed = certain().covariances(epoch.parts)
    expected = np.zeros((3, 3))
    expected[0, 0] = 0.05**2 + 0.2**2
    expected[1:, 1:] = 0.04 * ((1.0 - STATED_OWN) + STATED_OWN * np.eye(2))
    assert kinds.sum(axis=0) + fixed == pytest.approx(expected, abs=1e-9)
    assert kinds[Kind.VISIT][1:, 1:] == pytest.approx(0.04 * (1.0 - STATED_OWN) * np.ones((2, 2)))


def test_another_laboratorys_direction_does_not_part_its_points_from_ours():
    instrument, visits = yearly([[0.0, 0.0, 0.0]] * 3)
    stated = [r.altered(direction="falling", line=None, status="stated", u=0.2) for r in visits[2].as_found]
    both = [*visits[:2], replace(visits[2], as_found=tuple(stated))]
    assert len(instrument.epoch(both).levels) == 3
    falling = [r.altered(direction="falling") for r in visits[2].as_found]
    assert len(instrument.epoch([*visits[:2], replace(visits[2], as_found=tuple(falling))]).levels) == 6


@pytest.mark.parametrize("errors", [(0.1, 0.1, 0.1), (0.1, 0.2, 0.3), (0.0, 5.0, -5.0)])
def test_results_that_claim_to_be_without_any_uncertainty_break_nothing(errors):
    """A certain line has a certain rate; what is off it is rejected."""
    instrument, visits = yearly([[e, e] for e in errors], (20.0, 80.0), u=0.0, shared=0.0)
    fit = fit_line(instrument.epoch(visits), HUMIDITY, certain(0.0))
    if errors[2] > 0.0:
        assert fit.rate.rate == pytest.approx((errors[2] - errors[0]) / 2.0, abs=1e-3)
        assert fit.rate.u < 1e-8
    else:
        assert fit.rejected
