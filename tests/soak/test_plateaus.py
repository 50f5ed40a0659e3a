"""Where a reference stood still, on references whose steps are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.soak.plateaus import find_plateaus

STEPS = ((0.0, 10.0), (2400.0, 40.0), (5400.0, 41.0), (9000.0, 80.0))
END = 12600.0
BEFORE = 22.0


def reference(every_s: float, noise: float, ramp_s: float = 60.0, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Time and humidity: steps that each take `ramp_s`, after some minutes at the room's humidity."""
    t = np.arange(-120.0, END, every_s)
    knots_t, knots_r, level = [-120.0], [BEFORE], BEFORE
    for start, target in STEPS:
        knots_t += [start, start + ramp_s]
        knots_r += [level, target]
        level = target
    clean = np.interp(t, knots_t, knots_r)
    return t, clean + noise * np.random.default_rng(seed).standard_normal(len(t))


@pytest.mark.parametrize(
    ("every_s", "noise"),
    [(1.0, 0.0), (1.0, 0.05), (1.0, 0.3), (10.0, 0.0), (10.0, 0.05), (10.0, 0.1), (60.0, 0.0), (60.0, 0.05)],
)
def test_every_level_is_found_once_when_it_began_and_ended(every_s, noise):
    t, r = reference(every_s, noise)
    found = find_plateaus(t, r)
    assert [round(one.level) for one in found] == [10, 40, 41, 80]
    within = max(90.0, 3.5 * every_s)
    for one, (start, _), end in zip(found, STEPS, [*(s for s, _ in STEPS[1:]), END], strict=True):
        assert one.start_utc == pytest.approx(start + 60.0, abs=within)
        assert one.end_utc == pytest.approx(end, abs=within)
    assert [one.step for one in found] == pytest.approx([-12.0, 30.0, 1.0, 39.0], abs=0.4)


def test_a_gap_and_outliers_do_not_end_a_plateau():
    t, r = reference(5.0, 0.05)
    gone = (t > 3300.0) & (t < 3900.0)
    r[::97] = 0.0
    r[(t > 6000.0) & (t < 6300.0)] = np.nan
    found = find_plateaus(t[~gone], r[~gone])
    assert [round(one.level) for one in found] == [10, 40, 41, 80]


def test_a_slow_ramp_is_no_plateau():
    t = np.arange(0.0, 7200.0, 5.0)
    noise = 0.03 * np.random.default_rng(5).standard_normal(len(t))
    assert find_plateaus(t, 20.0 + t / 7200.0 * 6.0 + noise) == ()
    after = np.where(t < 3600.0, 20.0 + t / 3600.0 * 10.0, 30.0) + noise
    (only,) = find_plateaus(t, after)
    assert only.start_utc == pytest.approx(3600.0, abs=180.0)
    assert only.level == pytest.approx(30.0, abs=0.05)


def test_of_a_reference_that_never_moved_the_step_is_not_known():
    t = np.arange(0.0, 3600.0, 10.0)
    (only,) = find_plateaus(t, np.full(len(t), 33.0))
    assert only.step is None
    assert only.minutes == pytest.approx(60.0, abs=1.0)


def test_a_reference_without_readings_has_no_plateau():
    t = np.arange(0.0, 3600.0, 10.0)
    assert find_plateaus(t, np.full(len(t), np.nan)) == ()
    assert find_plateaus(t[:3], t[:3]) == ()


@settings(max_examples=10, deadline=None)
@given(hours=st.floats(-1000.0, 1000.0), moved=st.floats(-5.0, 5.0))
def test_another_clock_or_an_offset_of_the_reference_finds_the_same(hours, moved):
    t, r = reference(10.0, 0.05)
    before, after = find_plateaus(t, r), find_plateaus(t + 3600.0 * round(hours), r + moved)
    assert [one.minutes for one in after] == pytest.approx([one.minutes for one in before])
    assert [one.level for one in after] == pytest.approx([one.level + moved for one in before])


def test_a_plateau_begins_after_the_last_sample_from_before_its_step():
    """Blocks hide one: its error is a whole step away, and would spoil every fit of the approach."""
    t = np.arange(0.0, 1800.0, 10.0)
    for moved in range(600, 640, 10):
        reference = np.where(t < moved, 20.0, 50.0)
        _, second = find_plateaus(t, reference)
        assert moved <= second.start_utc < moved + 30.0
