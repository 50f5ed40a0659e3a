"""Hours outside the process limits, from trends whose true humidity is known."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from asfound.assessment.findings.error_curve import ErrorCurve
from asfound.assessment.findings.error_path import Basis, ErrorPath, Leg
from asfound.assessment.findings.exposure import mean_difference, size_at, trend_exposure
from asfound.records.models import ProcessLimits
from asfound.records.trends.exports import Trend

HOUR = 3600
START = int(datetime(2026, 3, 1, tzinfo=UTC).timestamp())
LIMITS = ProcessLimits.model_validate({"lowest": "10 %RH", "highest": "20 %RH"})
ZONE = ZoneInfo("Europe/Oslo")


def curve(error: float, u: float = 0.1, slope: float = 0.0, half: float = 0.0) -> ErrorCurve:
    """Error at 15 %RH, and its change for each %RH; u common to all points; `half`: of the loop's width."""
    at = np.array([5.0, 15.0, 40.0])
    errors = error + slope * (at - 15.0)
    return ErrorCurve(at=at, errors=errors, half=np.full(3, half), covariance=u**2 * np.ones((3, 3)), k=2.0)


def constant(error: float, u: float = 0.1, half: float = 0.0) -> ErrorPath:
    return ErrorPath(basis=Basis.HELD, legs=(Leg(times=(START,), curves=(curve(error, u, half=half),)),))


def trend(humidity: np.ndarray, step: int = HOUR, start: int = START, **keys) -> Trend:
    time = start + step * np.arange(len(humidity))
    known = {"sensor": "RH-1", "files": (("trends/RH-1.csv", "0" * 64),), "left_out": 0}
    return Trend(time_utc=time, readings={"humidity": np.asarray(humidity, float)}, **known | keys)


def exposed(of: Trend, path: ErrorPath, days: float, visits=(), limits=LIMITS, zone=ZONE):
    return trend_exposure(of, path, limits, (START, START + round(86400 * days)), visits, zone)


def sine(days: float, mean: float, swing: float, step: int = 60) -> np.ndarray:
    """The true humidity: one swing a day."""
    t = np.arange(round(days * 86400 / step)) * step / 86400
    return mean + swing * np.sin(2 * np.pi * t)


def share_below(limit: float, mean: float, swing: float) -> float:
    """Of a sine, the part of the time below a limit: (π/2 + asin((limit − mean)/swing)) / π, by its inverse."""
    return (math.pi / 2 + math.asin((limit - mean) / swing)) / math.pi


@pytest.mark.parametrize(("mean", "swing", "error"), [(12.0, 4.0, 2.5), (12.0, 4.0, -2.5), (10.0, 2.0, 0.0)])
def test_a_sine_with_a_constant_error_is_outside_for_as_long_as_the_sine_itself(mean, swing, error):
    days = 30
    found = exposed(trend(sine(days, mean, swing) + error, 60), constant(error), days)
    expected = 24 * days * share_below(10.0, mean, swing)
    assert found.hours.best == pytest.approx(expected, abs=0.001 * 24 * days)
    assert (found.hours.dry, found.hours.damp) == (found.hours.best, 0.0)


def test_the_uncertainty_of_the_error_moves_the_whole_trend():
    """U = 0.2 %RH: the least and the most hours are those of the sine against 9.8 and 10.2 %RH."""
    days = 30
    found = exposed(trend(sine(days, 12.0, 4.0) + 2.0, 60), constant(2.0, u=0.1), days)
    for hours, limit in ((found.hours.least, 9.8), (found.hours.most, 10.2)):
        assert hours == pytest.approx(24 * days * share_below(limit, 12.0, 4.0), abs=0.5)


def test_a_sensor_in_a_loop_was_on_either_side_of_it_while_the_air_rose_and_fell():
    """A swing of ±4 %RH a day about 12, shown 1.9 high while it rises and 3.3 high while it falls; U = 0.2.

    Least and most are those of air that was 0.9 damper, or drier, than by the middle; the truth lies between.
    """
    days, at = 30, np.arange(30 * 1440) / 1440
    true = sine(days, 12.0, 4.0)
    shown = true + np.where(np.cos(2 * np.pi * at) > 0.0, 1.9, 3.3)
    found = exposed(trend(shown, 60), constant(2.6, u=0.1, half=0.7), days)
    middle = shown - 2.6
    hours = [float(np.sum(middle + moved < 10.0)) / 60 for moved in (0.9, -0.9)]
    assert [found.hours.least, found.hours.most] == pytest.approx(hours)
    assert found.hours.least < float(np.sum(true < 10.0)) / 60 < found.hours.most


def test_between_two_limits_either_side_of_a_loop_may_be_outside_and_none_for_certain():
    """Corrected 15 ± 0.3, limits 14.5 and 15.5, half of the loop 0.9: dry on one side, damp on the other."""
    tight = ProcessLimits.model_validate({"lowest": "14.5 %RH", "highest": "15.5 %RH"})
    found = exposed(trend(sine(10, 15.0, 0.3, 3600)), constant(0.0, u=0.0, half=0.9), 10, limits=tight)
    assert (found.hours.best, found.hours.least, found.hours.most) == (0.0, 0.0, 240.0)


def test_a_day_says_how_unsure_its_mean_is_with_the_whole_loop():
    (day,) = exposed(trend(np.full(24, 15.0)), constant(0.0, u=0.1, half=0.7), 1, zone=ZoneInfo("UTC")).days[:1]
    assert pytest.approx(0.9) == day.U


def test_a_step_from_no_error_leaves_the_loop_that_was_there():
    """Found at 4 ± 0.7; 10.5 shown. Before it may have been 9.8 %RH, outside; after it was 6.5."""
    found = exposed(trend(np.full(240, 10.5)), constant(4.0, u=0.0, half=0.7), 10)
    assert found.stepped == (0.0, 240.0)
    assert exposed(trend(np.full(240, 9.0)), constant(-4.0, u=0.0, half=0.7), 10).stepped == (0.0, 240.0)


def test_what_was_shown_outside_stands_beside():
    """Shown 17 ± 4: above 20 %RH for acos(3/4)/π of the time; truly 14 ± 4: never outside."""
    days = 10
    found = exposed(trend(sine(days, 17.0, 4.0), 60), constant(3.0, u=0.0), days)
    assert found.shown == pytest.approx(24 * days * math.acos(0.75) / math.pi, abs=0.3)
    assert found.hours.best == 0.0


def test_an_error_that_grows_straight_is_corrected_by_its_day():
    """0 → 4 %RH over 40 days while 12 %RH is shown: the air leaves 10 %RH when the error passes 2, after 20 days."""
    leg = Leg(times=(START, START + 40 * 86400), curves=(curve(0.0), curve(4.0)))
    path = ErrorPath(basis=Basis.BETWEEN, legs=(leg,))
    found = exposed(trend(np.full(40 * 24, 12.0)), path, 40)
    assert found.hours.best == pytest.approx(20 * 24, abs=24)
    assert found.hours.least == pytest.approx(18 * 24, abs=24)
    assert found.hours.most == pytest.approx(22 * 24, abs=24)


def test_a_step_may_have_come_on_any_day():
    """Left at 0, found at 4 %RH. Shown 9.5 in the first half and 13 in the second, with U = 0.2.

    As left it was outside in the first half, as found in both: 480 h with a step at the end, 960 h with one before.
    """
    leg = Leg(times=(START, START + 40 * 86400), curves=(curve(0.0), curve(4.0)))
    path = ErrorPath(basis=Basis.BETWEEN, legs=(leg,))
    shown = np.r_[np.full(480, 9.5), np.full(480, 13.0)]
    assert exposed(trend(shown), path, 40).stepped == (480, 960)
    assert exposed(trend(np.full(960, 13.0)), path, 40).stepped == (0, 960)


def test_hours_in_two_visits_are_left_out_once():
    """10:00 to 16:00 and 14:00 to 18:00 of the first day, and an hour that the window does not hold."""
    visits = [(START + a * HOUR, START + b * HOUR) for a, b in ((14, 18), (10, 16), (240, 241), (-5, 0))]
    found = exposed(trend(np.full(240, 15.0)), constant(0.0), 10, visits)
    assert (found.visits, found.window, found.covered) == (8.0, 232.0, 232.0)


def test_legs_step_each_for_itself():
    """0 → 4, set right, 0 → 4 again: 13 %RH shown throughout may have been outside all the time or never."""
    day = 86400
    legs = tuple(
        Leg(times=(START + n * 20 * day, START + (n + 1) * 20 * day), curves=(curve(0.0), curve(4.0))) for n in (0, 1)
    )
    found = exposed(trend(np.full(960, 13.0)), ErrorPath(basis=Basis.BETWEEN, legs=legs), 40)
    assert found.stepped == (0, 960)
    assert found.hours.best == pytest.approx(2 * 24 * 5, abs=24)  # the last quarter of each leg


def test_where_the_start_is_not_known_the_step_was_from_no_error():
    found = exposed(trend(np.full(240, 12.0)), constant(4.0), 10)
    assert (found.hours.best, found.stepped) == (240, (0, 240))


def test_a_line_needs_no_step():
    leg = Leg(times=(START, START + 40 * 86400), curves=(curve(0.0), curve(4.0)))
    assert exposed(trend(np.full(240, 12.0)), ErrorPath(basis=Basis.LINE, legs=(leg,)), 10).stepped is None


def test_a_simulated_year_gives_back_its_hidden_truth():
    """Noise, weather, an error with a slope that drifts: the corrected daily means are the true ones."""
    random = np.random.default_rng(1)
    n = 365 * 24
    true = 14 + 3 * np.sin(np.arange(n) / 300) + np.convolve(random.normal(0, 0.6, n), np.ones(12) / 4, "same")
    slope = 0.04
    error = 0.2 + 2.0 * np.arange(n) / n
    shown = true + error + slope * (true - 15)
    ends = tuple(curve(e, slope=slope) for e in (0.2, 2.2))
    path = ErrorPath(basis=Basis.LINE, legs=(Leg(times=(START, START + n * HOUR), curves=ends),))
    found = exposed(trend(shown), path, 365, zone=ZoneInfo("UTC"))
    outside = ((true < 10) | (true > 20)).sum()
    assert found.hours.best == pytest.approx(outside, abs=0.02 * outside)
    assert found.hours.least < outside < found.hours.most
    assert np.array([d.mean for d in found.days[:365]]) == pytest.approx(true.reshape(365, 24).mean(axis=1), abs=0.01)


def test_only_hours_with_a_value_count_and_calibrations_are_left_out():
    humidity = np.full(10 * 24, 8.0)
    humidity[24:48] = np.nan
    visit = (START + 5 * 86400, START + 5 * 86400 + 6 * HOUR)
    found = exposed(trend(humidity), constant(0.0), 10, visits=[visit])
    assert found.window == 240 - 6
    assert found.visits == 6
    assert found.covered == 240 - 24 - 6
    assert found.hours.best == found.covered


def test_a_trend_that_ends_early_covers_less():
    found = exposed(trend(np.full(48, 8.0)), constant(0.0), 10)
    assert (found.window, found.covered, found.hours.best) == (240, 48, 48)


def test_without_process_limits_nothing_is_outside_and_nothing_inside():
    found = exposed(trend(np.full(48, 8.0)), constant(1.0), 2, limits=None)
    assert (found.shown, found.hours, found.stepped) == (None, None, None)
    assert {d.mean for d in found.days} == {7.0}


def test_humidities_outside_the_points_are_told():
    found = exposed(trend(np.array([*[15.0] * 24, *[60.0] * 24])), constant(1.0), 2)
    assert found.beyond == 24


def test_days_are_local():
    found = exposed(trend(np.r_[np.full(23, 12.0), np.full(24, 14.0)]), constant(0.0), 2)
    assert [(str(d.day), d.mean) for d in found.days] == [("2026-03-01", 12.0), ("2026-03-02", 14.0)]


def test_size_where_the_sensor_works():
    size = size_at(curve(2.0, slope=0.1), 20.0)
    assert (size.error, size.U, size.held) == (pytest.approx(2.5), pytest.approx(0.2), False)
    assert size.true_when_shown + 2.0 + 0.1 * (size.true_when_shown - 15) == pytest.approx(20.0)
    assert size_at(curve(2.0), 60.0).held


def test_neighbours_are_compared_where_both_have_values():
    own = trend(np.r_[np.full(24, 12.0), np.full(24, np.nan)])
    other = trend(np.full(200, 14.5), step=1800, start=START + 12 * HOUR)
    difference, hours = mean_difference(own, other, START, START + 2 * 86400)
    assert (difference, hours) == (2.5, 12.0)
    assert mean_difference(own, trend(np.zeros(0)), START, START + 86400) == (None, 0.0)
    late = trend(np.full(10, 14.0), start=START + 90 * 86400)
    assert mean_difference(own, late, START, START + 86400) == (None, 0.0)
