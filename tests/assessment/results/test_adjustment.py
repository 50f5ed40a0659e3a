"""Advice: what goes into its straight line. What it advises is in `checks.advice`."""

from __future__ import annotations

from tests import builders as b
from tests.assessment.checks import points, yearly


def test_the_span_does_not_see_how_often_a_target_was_passed_one_way():
    """Shifted by 0.8 %RH throughout, with a loop 3 %RH wide at 80 %RH that is gone through twice rising."""
    rows = [
        b.plateau(at, [at + error, at + error], b.generated(at))
        for at, error in ((20, 0.8), (80, -0.7), (20, 0.8), (80, -0.7), (95, 0.8), (80, 2.3))
    ]
    limit = b.family(adjustment_limit={"absolute": "0.5 %RH"})
    (summary,) = b.assessed(yearly({"2025-03-16": rows}, limit)).summaries
    assert summary.advice.action == "zero" and "adjust zero by −0.8" in summary.advice.sentence


def advised(rows, *parts, day="2025-03-16"):
    (summary,) = b.assessed(yearly({day: rows}, *parts)).summaries
    return summary.advice


def test_after_an_adjustment_the_as_left_speaks():
    found = points(3.0)
    assert advised(found).action == "zero"
    assert advised([*found, b.adjusted("zero")]).sentence.startswith("adjusted, and not yet read as left")
    assert advised([*found, b.adjusted("zero"), *points(0.1, phase="as_left")]).sentence.endswith("passes: done")
    wrong_way = advised([*found, b.adjusted("zero"), *points(6.0, phase="as_left")])
    assert "does not pass yet" in wrong_way.sentence and "zero by −6.0" in wrong_way.sentence


def test_an_error_of_the_loop_is_not_adjusted_at_the_sensor():
    rows = [b.plateau(t, [t + 0.1] * 2, b.generated(t), far_end=[t + 4.0] * 2) for t in (20, 50, 80)]
    advice = advised(rows)
    assert advice.action == "loop" and "leave the sensor" in advice.sentence


def test_what_no_zero_and_span_cures_is_not_adjusted():
    assert advised(points(0.0, 6.0, 0.0)).action == "repair"


def test_a_reading_that_stands_still_is_no_matter_of_span():
    rows = [b.plateau(t, [50.0] * 2, b.generated(t)) for t in (20, 50, 80)]
    assert "hardly follows the humidity" in advised(rows).sentence


def test_an_adjustment_limit_above_the_tolerance_does_not_excuse_a_fail():
    assert advised(points(3.0), b.family(adjustment_limit={"absolute": "5 %RH"})).action == "zero"


def test_a_failing_temperature_channel_is_never_left_as_it_is():
    family = b.family(
        channels=["humidity", "temperature"],
        temperature_tolerance={"absolute": "0.5 degC"},
        temperature={"resolution": "0.01 degC", "repeatability": "0.02 degC"},
    )
    rows = [b.plateau(t, [t + 0.1] * 2, b.generated(t), output_temperature=[26.0] * 2) for t in (20, 50, 80)]
    advice = advised(rows, family)
    assert advice.action == "temperature" and "adjust or replace" in advice.sentence


def test_the_limit_that_an_error_is_beyond_is_named_with_its_unit():
    """Tolerance ± 2 %RH: a limit of our own below what the rule passes, or what the rule passes."""
    own = b.family(adjustment_limit={"absolute": "0.5 %RH"})
    assert "is beyond ±0.50 %RH, the adjustment limit: adjust zero" in advised(points(0.8), own).sentence
    assert "%RH, what the rule passes: adjust zero" in advised(points(3.0)).sentence
