"""Advice: what goes into its straight line. What it advises is in `checks.advice`."""

from __future__ import annotations

from tests import builders as b
from tests.assessment.checks import yearly


def test_the_span_does_not_see_how_often_a_target_was_passed_one_way():
    """Shifted by 0.8 %RH throughout, with a loop 3 %RH wide at 80 %RH that is gone through twice rising."""
    rows = [
        b.plateau(at, [at + error, at + error], b.generated(at))
        for at, error in ((20, 0.8), (80, -0.7), (20, 0.8), (80, -0.7), (95, 0.8), (80, 2.3))
    ]
    limit = b.family(adjustment_limit={"absolute": "0.5 %RH"})
    (summary,) = b.assessed(yearly({"2025-03-16": rows}, limit)).summaries
    assert summary.advice.action == "zero" and "adjust zero by −0.8" in summary.advice.sentence
