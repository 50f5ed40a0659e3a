"""A point approached from one side: its error and U are of that approach, and nothing is inferred of the other."""

from __future__ import annotations

import math

import pytest

from asfound.assessment.results.conformity import Verdict
from asfound.assessment.standing import State
from asfound.site.views.standing import deciding_sentence, trusted
from asfound.terminal.explain import as_text, explain_visit
from tests import builders as b

WIDE = {"resolution": "0.01 %RH", "repeatability": "0.05 %RH", "hysteresis": "1.6 %RH"}


def files_of(*points: tuple[int, float], hysteresis: str | None = "1.6 %RH"):
    """A visit that goes through these (target, error); tolerance ±2 %RH."""
    known = {key: value for key, value in WIDE.items() if key != "hysteresis"}
    family = b.family(humidity=known | ({"hysteresis": hysteresis} if hysteresis else {}))
    rows = [b.plateau(at, [at + error] * 2, b.generated(at)) for at, error in points]
    return b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows))


def assessed(*points: tuple[int, float], hysteresis: str | None = "1.6 %RH"):
    return b.assessed(files_of(*points, hysteresis=hysteresis))


RISING = ((20, 0.0), (50, 0.0), (80, 0.0))


def test_u_holds_nothing_of_the_loop_for_the_error_is_that_of_the_approach():
    plain, looped = (assessed(*RISING, hysteresis=width).results for width in (None, "1.6 %RH"))
    assert [with_loop.u for with_loop in looped] == pytest.approx([without.u for without in plain])


def test_in_use_either_side_counts_from_the_middle_and_from_the_start_a_whole_width_either_way():
    """Half the time the use is on the side that was read, else a width of 1.6 up or down: √(½·1.6²) = √2·0.8."""
    start, rising, _ = assessed(*RISING).results
    assert (rising.in_use, rising.to_the_middle, rising.across) == (0.8, 0.8, 1.6)
    assert (start.in_use, start.to_the_middle) == (pytest.approx(math.sqrt(2.0) * 0.8), 0.0)
    assert abs(start.across) == 1.6
    assert all(r.in_use == r.across == 0.0 for r in assessed(*RISING, hysteresis=None).results)


@pytest.mark.parametrize(
    ("error", "state"), [(0.2, State.IN), (-0.2, State.IN), (0.6, State.CLOSE), (-0.6, State.CLOSE)]
)
def test_from_the_start_both_sides_must_pass(error, state):
    """1.6 %RH wide, ±2: 0.2 becomes 1.8 at most, 0.6 becomes 2.2, on whichever side."""
    found = assessed((50, error), (20, 0.0), (80, -1.0))
    assert found.standings["RH-1"].state is state


def test_results_say_the_way_that_was_read_alone_and_what_the_other_would_bring():
    results = assessed(*RISING, (50, 1.0)).results
    assert [(r.direction, r.one_way, r.loop) for r in results] == [
        ("start", "", 0.8), ("rising", "", 0.0), ("rising", "rising", 0.8), ("falling", "", 0.0),
    ]  # fmt: skip
    without = assessed(*RISING, hysteresis=None).results
    assert [(r.one_way, r.loop) for r in without] == [("", 0.0), ("rising", 0.0), ("rising", 0.0)]


@pytest.mark.parametrize(
    ("error", "state", "other"),
    [(-1.0, State.IN, Verdict.PASS), (0.36, State.CLOSE, Verdict.CONDITIONAL_PASS), (1.5, State.CLOSE, Verdict.FAIL)],
)
def test_in_tolerance_needs_the_side_that_was_not_read_by_its_declared_width(error, state, other):
    """Rising, the other side is 1.6 %RH higher: −1.0 becomes 0.6, 0.36 becomes 1.96, 1.5 becomes 3.1."""
    found = assessed((20, 0.0), (50, error), (80, -1.0))
    (result,) = [r for r in found.results if r.target == 50]
    assert (result.verdict, result.other_way) == (Verdict.PASS, other)
    standing = found.standings["RH-1"]
    assert standing.state is state and trusted(standing) is (state is State.IN)


def test_the_sentence_of_the_state_names_the_side_that_was_not_read():
    sentence = deciding_sentence(assessed((20, 0.0), (50, 1.5), (80, -1.0)).standings["RH-1"])
    assert "rising only: the other side of its declared loop, +3.1" in sentence
    assert sentence.endswith("%RH, was not read and would be fail")


def test_the_technician_is_told_at_the_cart_while_the_other_side_can_still_be_read():
    files = files_of((20, 0.0), (50, 1.5), (80, -1.0))
    told = as_text(explain_visit(files, "RH-1", "2026-03-16-lab"))
    assert "✓ pass, as found" in told
    assert "too close to call: 50 %RH rising only: the other side of its declared loop, +3.1" in told
    assert "read it from that side, too" in " ".join(told.split())
    both = as_text(explain_visit(files_of((20, 0.0), (50, 1.5), (80, -1.0), (50, 1.6)), "RH-1", "2026-03-16-lab"))
    assert "too close to call" not in both


def test_where_both_ways_were_read_each_has_its_own_verdict_and_no_width_is_inferred():
    found = assessed((20, 0.0), (50, 0.2), (80, -1.0), (50, 1.0))
    fifties = [r for r in found.results if r.target == 50]
    assert all(r.other_way is r.verdict is Verdict.PASS for r in fifties)
