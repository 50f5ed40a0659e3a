"""What a whole facility is told is true of it: the short form of tests/benchmarks/facility_worlds.py.

The limits are loose, for the results of one facility lean on the same standards; the same draws at every run.
"""

from __future__ import annotations

import math

import pytest

from tests.benchmarks.facility_worlds import (
    ALL,
    FINE,
    LARGE,
    TEMPERATURE,
    WHOLE_STEPS,
    Tally,
    simulate,
    table_of_lines,
    table_of_results,
)
from tests.benchmarks.invented_references import A, B, World


@pytest.fixture(scope="module", params=[A, B], ids=lambda world: world.name)
def told(request: pytest.FixtureRequest) -> tuple[Tally, Tally]:
    """(of results, of lines) of one facility with three visits to each of its instruments."""
    world: World = request.param
    tallies = simulate(world, 1, visits=(3, 3), due=False)
    print(table_of_results(tallies[0]), table_of_lines(tallies[1]), sep="\n")
    return tallies


def test_true_errors_lie_within_U_of_what_was_found(told: tuple[Tally, Tally]):
    of_results, _ = told
    assert of_results.mean(ALL, "covered") >= 0.93
    assert 0.4 <= math.sqrt(of_results.mean(FINE, "z²")) <= 1.15
    assert abs(of_results.mean(FINE, "z")) <= 0.4
    assert 0.3 <= math.sqrt(of_results.mean(TEMPERATURE, "z²")) <= 1.1  # one facility, two thermometers


def test_a_display_of_whole_percent_hides_no_more_than_its_U(told: tuple[Tally, Tally]):
    of_results, _ = told
    assert of_results.mean(WHOLE_STEPS, "covered") >= 0.95
    assert 0.4 <= math.sqrt(of_results.mean(WHOLE_STEPS, "z²")) <= 1.0


def test_true_rates_lie_within_U_and_instruments_that_run_straight_are_not_refused(told: tuple[Tally, Tally]):
    _, of_lines = told
    assert of_lines.mean(LARGE, "rate") >= 0.9
    assert 0.5 <= math.sqrt(of_lines.mean(LARGE, "z²")) <= 1.3
    assert 0.5 <= of_lines.mean(LARGE, "chi") <= 1.3
    assert of_lines.mean(LARGE, "rejected") == 0.0
