"""What is expected of each point: today, when next due, and the day on which it leaves the tolerance."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from asfound.assessment.history.line import fit_line
from asfound.assessment.history.outlook import crossing_days, outlooks
from asfound.records.models import Channel
from tests.assessment.history.histories import Instrument, certain, visit
from tests.assessment.history.test_line import FOUR_YEARS, own, scaled, with_errors, worked_by_hand, yearly

LAST = FOUR_YEARS[2]


def outlook_of(fit, tolerance=1.8, today=LAST, due=None):
    (found, *_) = outlooks(fit, today, due, lambda _: tolerance)
    return found


def test_the_day_on_which_the_line_leaves_the_tolerance_is_that_worked_by_hand():
    """The line of `worked_by_hand`: x years after the middle visit the true error is 0.43333 + 0.1·x with
    u² = 0.0064 + 0.01/3 + 0.01·x²/32 + 0.0064 for what a visit shifts by = 0.0161333 + 0.0003125·x². A measurement has
    U = 2·√(0.0064 + 0.0036) = 0.2, so with a tolerance of 1.8 the limit is 1.6 (what lies beyond −1.6 has no weight).

    Median: 0.43333 + 0.1·x = 1.6, x = 11.6667, that is 7.6667 years or 2800.25 days after the last visit (x = 4): the
    2801st day. Earliest: 1.6 lies 1.95996·u above the error: (1.16667 − 0.1·x)² = 3.84146·u², or
    0.00879954·x² − 0.2333333·x + 1.2991358 = 0, x = 7.9532 and 18.563: 1443.9 days after the last visit: the 1444th.
    The other root is the latest day, 14.6 years ahead: beyond the horizon of 10.
    """
    found = outlook_of(fit_line(worked_by_hand(), Channel.HUMIDITY, certain(0.08)))
    assert found.limit == pytest.approx(1.6, abs=1e-9) and found.tolerance == 1.8
    assert found.leaves.median == LAST + timedelta(days=2801)
    assert found.leaves.earliest == LAST + timedelta(days=1444)
    assert found.leaves.latest is None
    assert "about 2025-11-15 (95 %: from 2022-02-27 to not within 10 years)" in found.leaves.sentence


def test_the_latest_day_is_the_other_root_of_the_same_equation():
    """With a tolerance of 1.1 the limit is 0.9:

    (0.466667 − 0.1·x)² = 3.84146·u²: 0.00879954·x² − 0.0933333·x + 0.1558022 = 0, x = 2.0754 and 8.5311, the latter
    1655.04 days after the last visit: the 1656th.
    """
    found = outlook_of(fit_line(worked_by_hand(), Channel.HUMIDITY, certain(0.08)), tolerance=1.1)
    assert found.leaves.earliest == LAST and found.leaves.latest == LAST + timedelta(days=1656)
    assert found.leaves.median == LAST + timedelta(days=244)  # x = 4.6667: 243.5 days
    assert f"from the last visit ({LAST}) to" in found.leaves.sentence


def test_what_was_beyond_at_the_last_visit_is_said_so():
    found = outlook_of(fit_line(worked_by_hand(), Channel.HUMIDITY, certain(0.08)), tolerance=0.6)
    assert found.leaves.median == found.leaves.earliest == LAST
    steep = with_errors(worked_by_hand(), [0.0, 2.0, 4.0])
    found = outlook_of(fit_line(steep, Channel.HUMIDITY, certain(0.08)), tolerance=0.6)
    assert found.leaves.latest == LAST and "since the last visit, 2018-03-16, or before" in found.leaves.sentence


def test_a_steady_line_far_inside_does_not_leave_within_the_horizon():
    steady = with_errors(worked_by_hand(), [0.0, 0.02, 0.01])
    found = outlook_of(fit_line(steady, Channel.HUMIDITY, certain(0.08)), tolerance=3.0)
    assert found.leaves.earliest is found.leaves.median is found.leaves.latest is None
    assert "not within 10 years" in found.leaves.sentence


def test_no_day_is_told_where_the_measurement_cannot_decide():
    found = outlook_of(fit_line(worked_by_hand(), Channel.HUMIDITY, certain(0.08)), tolerance=0.2 - 1e-9)
    assert "cannot be decided with this U" in found.leaves.sentence and found.leaves.median is None
    assert outlook_of(fit_line(worked_by_hand(), Channel.HUMIDITY, certain(0.08)), tolerance=math.nan).leaves is None


def test_trust_today_adds_a_visits_shift_and_the_prediction_a_measurement_to_the_line():
    """At the last visit u² = 0.0147333 (see `worked_by_hand`); + 0.0064 for a visit, + 0.0036 for a measurement.

    The reference that all share, 0.0064, is in the measurement as in the line.
    """
    found = outlook_of(fit_line(worked_by_hand(), Channel.HUMIDITY, certain(0.08)), due=LAST)
    assert found.error_today == found.error_due == pytest.approx(0.8333333, rel=1e-6)
    assert pytest.approx(2.0 * math.sqrt(0.0147333 + 0.0064), rel=1e-5) == found.U_today
    assert pytest.approx(2.0 * math.sqrt(0.0147333 - 0.0064 + 0.0064 + 0.0036), rel=1e-5) == found.U_due
    assert pytest.approx(2.0 * 0.1 / math.sqrt(32.0), rel=1e-6) == found.U_rate


def test_nothing_is_predicted_without_a_due_day():
    found = outlook_of(fit_line(worked_by_hand(), Channel.HUMIDITY, certain(0.08)))
    assert found.due is None and math.isnan(found.error_due) and math.isnan(found.U_due)


def test_factors_that_were_estimated_widen_by_students_t():
    """Median as before; the earliest day is further off the median, by t for the degrees of freedom of the variance."""
    known, guessed = (fit_line(worked_by_hand(), Channel.HUMIDITY, scaled(0.0, 0.0, 0.0, 0.0, u=u)) for u in (0.0, 0.9))
    days = [crossing_days(fit, [0], LAST, [1.6], (0.025, 0.5))[0] for fit in (known, guessed)]
    assert days[0][1] == days[1][1] and days[1][0] < days[0][0]
    day = days[1][0]
    error, u, nu = (x[0] for x in guessed.course(np.array([0]), np.full((1, 1), guessed.epoch.years_at(day))))
    reached = student.sf((1.6 - error[0]) / u[0], nu[0])
    assert reached == pytest.approx(0.025, abs=2e-4) and reached >= 0.025


@settings(max_examples=15)
@given(st.integers(0, 10_000), st.floats(0.3, 3.0), st.floats(0.01, 1.0))
def test_a_wider_tolerance_is_never_left_sooner(seed, tolerance, more):
    instrument, visits = yearly(np.random.default_rng(seed).normal(0.0, 0.3, (4, 3)))
    fit = fit_line(instrument.epoch(visits), Channel.HUMIDITY, certain(0.1))
    narrow, wide = (
        [o.leaves for o in outlooks(fit, visits[-1].day, None, lambda _, t=t: t)] for t in (tolerance, tolerance + more)
    )
    never = date.max
    for one, other in zip(narrow, wide):
        if one.sentence.startswith("cannot"):
            continue
        for name in ("earliest", "median", "latest"):
            assert (getattr(other, name) or never) >= (getattr(one, name) or never)
        assert (one.earliest or never) <= (one.median or never) <= (one.latest or never)


def test_each_point_has_the_tolerance_in_force_at_its_own_humidity_and_its_newest_measurements_u():
    instrument = Instrument()
    first = date(2020, 3, 16)
    visits = []
    for number in range(3):
        day = first + timedelta(days=365 * number)
        found = [
            instrument.result(day, at, 0.0, own(f"{day}/{at}", 0.05 * (number + 1), shared=0.0)) for at in (20.0, 80.0)
        ]
        visits.append(visit(day, found))
    visits[0] = replace(visits[0], as_found=visits[0].as_found[::-1])
    fit = fit_line(instrument.epoch(visits), Channel.HUMIDITY, certain(0.0))
    low, high = outlooks(fit, first, None, lambda at: at / 20.0)
    assert (low.target, low.tolerance, high.target, high.tolerance) == (20.0, 1.0, 80.0, 4.0)
    assert low.limit == pytest.approx(1.0 - 0.3)
