"""The error over the range: exact at the points, straight between, held beyond; R + E(R) = indication solved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

import tests.builders as b
from asfound.assessment.findings.error_curve import (
    ErrorCurve,
    between_curves,
    curve_between,
    curve_of,
    curve_of_line,
    points_in_use,
    weights_at,
)
from asfound.uncertainty.covariance import covariance, expanded_of_combination


def curve(at: list[float], errors: list[float], u: float = 0.1, k: float = 2.0) -> ErrorCurve:
    return ErrorCurve(
        at=np.array(at), errors=np.array(errors), half=np.zeros(len(at)), covariance=u**2 * np.eye(len(at)), k=k
    )


def test_it_is_straight_between_the_points_and_held_beyond_them():
    c = curve([10, 15, 40], [1.0, 2.0, 4.5])
    assert c.error(np.array([0, 10, 12.5, 15, 20, 40, 90])).tolist() == [1, 1, 1.5, 2, 2.5, 4.5, 4.5]
    assert (c.lowest, c.highest) == (10, 40)


def test_uncertainty_at_a_point_is_the_points_and_between_independent_points_less():
    c = curve([10, 20], [0, 0], u=0.1)
    assert c.U(np.array([5, 10, 15, 20])) == pytest.approx([0.2, 0.2, 0.2 / np.sqrt(2), 0.2])
    together = replace(c, covariance=0.01 * np.ones((2, 2)))
    assert together.U(np.array([10, 13, 15])) == pytest.approx([0.2] * 3)


def test_an_indication_is_solved_for_the_reference_value():
    """Constant error E: R = I − E. Error E = a + b·R between the points: R = (I − a)/(1 + b)."""
    assert curve([10, 40], [2.5, 2.5]).reference_values(np.array([5, 20, 80])) == pytest.approx([2.5, 17.5, 77.5])
    a, slope = -1.0, 0.05
    c = curve([10, 40], [a + slope * 10, a + slope * 40])
    shown = np.array([12.0, 25.0, 38.0])
    assert c.reference_values(shown) == pytest.approx((shown - a) / (1 + slope))


@settings(max_examples=50, deadline=None)
@given(
    errors=st.lists(st.floats(-4, 4), min_size=1, max_size=6),
    shown=st.floats(-5, 110),
)
def test_it_is_solved_as_a_general_root_finder_solves_it(errors: list[float], shown: float):
    """scipy.optimize.brentq on R + E(R) − I."""
    c = curve([10.0 + 15.0 * i for i in range(len(errors))], errors)
    root = brentq(lambda r: r + float(c.error(r)) - shown, shown - 10, shown + 10, xtol=1e-12)
    assert float(c.reference_values(shown)) == pytest.approx(root, abs=1e-9)


def test_what_reads_alike_twice_cannot_be_solved():
    c = curve([10, 20], [11.0, 0.0])
    assert not c.invertible
    with pytest.raises(ValueError, match="two reference values give one indication"):
        c.reference_values(15.0)


def results(*errors: float, phase: str = "as_found", day: str = "2026-03-16"):
    """Rising through 20, 50, 80 %RH and back to 50."""
    rows = []
    for target, error in zip((20, 50, 80, 50), errors):
        rows += b.plateau(target, [target + error], b.generated(target), phase=phase)
    return b.records(b.sensor(), b.two_pressure(), b.visit(f"{day}-lab", rows)), day


def test_ways_through_one_point_are_averaged_with_what_they_share():
    files, _ = results(0.5, 1.0, 1.5, 1.4)
    assessment = b.assessed(files)
    budgets = assessment.measurement.whole()
    found = assessment.results
    c = curve_of(found, budgets, 0.0)
    fifties = [r for r in found if r.target == 50]
    assert c.at == pytest.approx([20, 50, 80], abs=0.01)
    assert c.errors == pytest.approx([0.5, 1.2, 1.5], abs=0.01)
    u, _, _ = expanded_of_combination(budgets, [r.line for r in fifties], [0.5, 0.5])
    assert c.covariance[1, 1] == pytest.approx(u**2, rel=1e-3)
    assert c.half == pytest.approx([0.0, 0.2, 0.0], abs=1e-3)  # either way of what they differ by, 0.4
    assert c.U(50.0) == pytest.approx(c.k * u + 0.2, rel=1e-3)
    lines = [r.line for r in found]
    assert c.covariance[0, 2] == pytest.approx(covariance(budgets, lines)[0, 2])
    visited = curve_of(found, budgets, 0.3)
    assert visited.covariance - c.covariance == pytest.approx(np.full((3, 3), 0.09))


def test_between_two_visits_the_error_is_straight_in_time():
    """Halfway, each visit weighs one half; at the ends the curve is that visit's own."""
    one, _ = results(0.0, 0.0, 0.0, day="2026-03-16")
    two, _ = results(2.0, 3.0, 4.0, day="2026-09-16")
    assessment = b.assessed(one | two)
    budgets = assessment.measurement.whole()
    left = [r for r in assessment.results if r.day.month == 3]
    found = [r for r in assessment.results if r.day.month == 9]
    half = curve_between(left, found, budgets, 0.2, 0.5)
    assert half.errors == pytest.approx([1.0, 1.5, 2.0], abs=0.01)
    lines = [left[0].line, found[0].line]
    u, _, _ = expanded_of_combination(budgets, lines, [0.5, 0.5])
    assert half.covariance[0, 0] == pytest.approx(u**2 + 0.2**2 / 2)
    end = curve_between(left, found, budgets, 0.2, 1.0)
    own = curve_of(found, budgets, 0.2)
    assert end.errors == pytest.approx(own.errors)
    assert end.covariance == pytest.approx(own.covariance)


def test_a_line_gives_one_point_for_each_set_point_with_the_loop_that_its_levels_show():
    files, _ = results(0.1, 0.3, 0.6, 0.5)
    read = [r for r in b.assessed(files).results if r.target != 80]
    points = points_in_use(read, read, np.array([20.1, 50.2, 50.0]), np.array([0.1, 0.3, 0.5]))
    c = curve_of_line(points, 0.04 * np.eye(3), 0.1, np.inf)
    assert c.at == pytest.approx([20.1, 50.1])
    assert c.errors == pytest.approx([0.1, 0.4])
    assert c.half == pytest.approx([0.0, 0.1])
    assert c.covariance == pytest.approx(np.array([[0.05, 0.01], [0.01, 0.03]]))
    assert c.k == pytest.approx(2.0)


def looped(*errors: float, width: str | None = None, day: str = "2026-03-16") -> b.Files:
    """As `results`; `width`: of the loop, as the family declares it."""
    declared = {"resolution": "0.01 %RH", "repeatability": "0.05 %RH"} | ({"hysteresis": width} if width else {})
    return results(*errors, day=day)[0] | b.family(humidity=declared)


def curve_at_50(files: b.Files) -> ErrorCurve:
    assessment = b.assessed(files)
    return curve_of(list(assessment.results), assessment.measurement.whole(), 0.0)


def test_a_loop_that_was_measured_is_no_surer_than_one_that_is_declared():
    """+1.9 rising and +3.3 falling, against +1.9 rising and a declared width of 1.4: 2.6 ± 0.7 and what U adds."""
    measured = curve_at_50(looped(0.0, 1.9, 1.9, 3.3))
    declared = curve_at_50(looped(0.0, 1.9, 1.9, width="1.4 %RH"))
    for c in (measured, declared):
        assert float(c.error(50.0)) == pytest.approx(2.6, abs=0.01)
        assert float(c.half_loop(50.0)) == pytest.approx(0.7, abs=0.01)
        assert 0.7 + 0.1 < float(c.U(50.0)) < 0.7 + 0.3
    assert float(measured.U(50.0)) == pytest.approx(float(declared.U(50.0)), abs=0.1)


def test_where_both_ways_were_read_what_is_declared_plays_no_part():
    alone, beside = (curve_at_50(looped(0.0, 1.9, 1.9, 2.1, width=width)) for width in (None, "1.4 %RH"))
    at = np.array([50.0])
    assert alone.error(at) == pytest.approx(beside.error(at), abs=1e-4)
    assert alone.U(at) == pytest.approx(beside.U(at), abs=1e-4)


def test_the_start_whose_side_is_not_known_moves_no_middle_that_was_read():
    """50 from the start, then rising and falling: the middle is that of the two ways."""
    rows = []
    for target, error in ((50, 3.3), (20, 0.0), (50, 1.9), (80, 0.0), (50, 3.3)):
        rows += b.plateau(target, [target + error], b.generated(target))
    c = curve_at_50(b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", rows)))
    assert float(c.error(50.0)) == pytest.approx(2.6, abs=0.01)
    assert float(c.half_loop(50.0)) == pytest.approx(0.7, abs=0.01)


def test_from_the_start_alone_the_whole_declared_width_holds_either_way():
    c = curve_at_50(looped(0.0, 1.9, 1.9, width="1.4 %RH"))
    assert (float(c.error(20.0)), float(c.half_loop(20.0))) == (pytest.approx(0.0, abs=0.01), pytest.approx(1.4))


@pytest.mark.parametrize(
    ("left", "found", "half"),
    [
        ((0.0, 0.0, 0.0, 1.4), (0.0, 2.0, 2.0, 2.4), 0.7),  # the wider of two that were measured
        ((0.0, 0.0, 0.0, 1.4), (0.0, 2.0, 2.0), 1.4),  # found rising alone: falling lies a whole width above
        ((0.0, 0.0, 0.0), (0.0, 2.0, 2.0, 3.4), 1.4),
        ((0.0, 0.0, 0.0), (0.0, 2.0, 2.0), 0.0),  # nobody knows of any
    ],
)
def test_between_visits_a_loop_lasts_that_one_of_them_measured(left, found, half):
    both = results(*left, day="2026-03-16")[0] | results(*found, day="2026-09-16")[0]
    assessment = b.assessed(both)
    early, late = ([r for r in assessment.results if r.day.month == month] for month in (3, 9))
    for share in (0.0, 0.5, 1.0):
        c = curve_between(early, late, assessment.measurement.whole(), 0.0, share)
        assert float(c.half_loop(50.0)) == pytest.approx(half, abs=0.01)


def test_temperatures_that_lie_together_are_one_point():
    """A combined sensor is read at three humidities of one temperature: three readings of one temperature error."""
    rows = []
    for target in (20, 50, 80):
        rows += b.plateau(target, [target], b.generated(target), output_temperature=25.4)
    family = b.family(
        channels=["humidity", "temperature"],
        temperature={"resolution": "0.01 degC", "repeatability": "0.02 degC"},
        temperature_tolerance={"absolute": "0.5 degC"},
    )
    assessment = b.assessed(b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", rows)))
    found = [r for r in assessment.results if r.channel.value == "temperature"]
    c = curve_of(found, assessment.measurement.whole(), 0.0)
    assert len(found) == 3
    assert (c.at.tolist(), c.errors.tolist()) == (pytest.approx([25.0], abs=0.01), pytest.approx([0.4], abs=0.01))


def test_another_laboratorys_points_share_its_uncertainty():
    rows = [*b.stated(20, 1.0, 0.4), *b.stated(50, 1.0, 0.4)]
    assessment = b.assessed(b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", rows)))
    c = curve_of(assessment.results, assessment.measurement.whole(), 0.0)
    assert c.covariance == pytest.approx(np.full((2, 2), 0.04))


def test_weights_add_to_one():
    weights = weights_at(np.array([10.0, 15.0, 40.0]), np.linspace(0, 100, 41))
    assert weights.sum(axis=1) == pytest.approx(np.ones(41))
    assert (weights >= 0).all()


def test_between_days_near_each_other_curves_are_mixed():
    early, late = curve([10, 20], [0, 0], u=0.1), curve([10, 20], [1, 2], u=0.2)
    mixed = between_curves(early, late, 0.25)
    assert mixed.errors.tolist() == [0.25, 0.5]
    assert mixed.covariance[0, 0] == pytest.approx(0.75 * 0.01 + 0.25 * 0.04)


def test_a_loop_that_was_read_one_way_is_in_use_from_its_middle_on_both_sides():
    """Declared 1.2 wide, read rising through 50 and 80 %RH: 0.6 above what was read, ± 0.6."""
    family = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.05 %RH", "hysteresis": "1.2 %RH"})
    rows = [b.plateau(at, [at, at], b.generated(at)) for at in (20, 50, 80)]
    assessment = b.assessed(b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows)))
    c = curve_of(assessment.results, assessment.measurement.whole(), 0.0)
    assert c.errors == pytest.approx([0.0, 0.6, 0.6], abs=0.01)
    assert [r.one_way for r in assessment.results] == ["", "rising", "rising"]
    own = covariance(assessment.measurement.whole(), [r.line for r in assessment.results])
    assert c.covariance == pytest.approx(own)
    assert c.half == pytest.approx([1.2, 0.6, 0.6]), "of the start the side is not known"
