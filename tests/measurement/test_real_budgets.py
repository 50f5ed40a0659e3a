"""What real budgets hold can be written down, and stands where it belongs, as large as worked out by hand.

The records are invented (`real_laboratory`). A contribution is u, times degrees or value where it grows with them,
times the change of the error with the reading by central difference: readings moved, all measured again.
"""

from __future__ import annotations

import functools
import math

import pytest

from asfound.uncertainty.sources import Scope
from tests.measurement.lab import Lab, measured
from tests.measurement.real_laboratory import CLAIMS, Claim, Place, laboratory

STEPS = {"kPa absolute": (0.05, 1e3), "degC": (0.02, 1.0), "%RH": (0.05, 1.0), "mA": (0.005, 1.0)}
"""Unit → step in it, and canonical units in one."""


@functools.cache
def lab() -> Lab:
    return measured(laboratory())


def errors(found: Lab) -> dict[Place, float]:
    """Every measured error."""
    return {place: found.measurement.lines[number].error for place, number in places(found).items()}


def places(found: Lab) -> dict[Place, int]:
    """Row in the budgets of each result."""
    where = {}
    for number, line in enumerate(found.measurement.lines):
        cell = found.measurement.cells[line.cell]
        where[cell.sensor_visit.visit.id[11:], cell.plateau.target, str(line.part)] = number
    return where


@functools.cache
def slopes(reading: str) -> dict[Place, float]:
    """Change of each error with what is read in a column, by central difference; per canonical unit."""
    step, scale = STEPS[reading.partition("[")[2].rstrip("]")]
    high, low = (errors(measured(laboratory(moved={reading: sign * step}))) for sign in (1.0, -1.0))
    return {place: (high[place] - low[place]) / (2.0 * step * scale) for place in high}


def contributions(ending: str) -> dict[Place, tuple[float, float, Scope]]:
    """Where a source stands: its contribution, ν and scope."""
    found = {}
    for place, number in places(lab()).items():
        lines = [x for x in lab().measurement.whole().lines(number) if x.source.identity.endswith(ending)]
        if any(x.contribution for x in lines):
            size = math.hypot(*(x.contribution for x in lines))
            found[place] = (size, lines[0].source.nu, lines[0].source.scope)
    return found


def identity(claim: Claim) -> str:
    return f"/{claim.of}/further/{claim.name}"


def each(claims: tuple[Claim, ...]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("claim", claims, ids=lambda claim: f"{claim.owner} {claim.name}")


@each(CLAIMS)
def test_each_source_stands_where_it_acts_as_large_as_by_hand_and_nowhere_else(claim: Claim):
    owned = {place: one for place, one in contributions(identity(claim)).items()}
    assert set(owned) == claim.where
    for place, (contribution, nu, scope) in owned.items():
        slope = slopes(claim.reading)[place] if claim.reading else 1.0
        assert contribution == pytest.approx(claim.u * claim.factor * abs(slope), rel=3e-3), place
        assert (nu, scope) == (pytest.approx(claim.nu), claim.scope), place


@each(tuple(claim for claim in CLAIMS if claim.correction))
def test_what_is_known_of_its_mean_is_corrected_where_it_acts_and_nowhere_else(claim: Claim):
    plain = errors(measured(laboratory(without=claim)))
    for place, error in errors(lab()).items():
        slope = slopes(claim.reading)[place] if claim.reading else -1.0
        expected = slope * claim.correction * claim.factor if place in claim.where else 0.0
        assert error - plain[place] == pytest.approx(expected, rel=1e-2, abs=1e-9), place


@pytest.mark.parametrize(
    ("source", "u"),
    [("calibration", 0.4 / 2.0), ("drift", 0.2 / math.sqrt(3.0) * 65 / 365.25)],
)
def test_a_certified_cell_brings_its_certificate_and_its_drift_to_its_own_results(source: str, u: float):
    """Certified on 2026-01-12, read on 2026-03-18: 65 days."""
    found = contributions(f"cell_SOLUTION-33/{source}")
    assert {place: (one[0], one[2]) for place, one in found.items()} == {
        ("salt", 33.0, "sensor"): (pytest.approx(u), Scope.CALIBRATION)
    }


def test_nothing_that_is_written_down_is_left_out_of_the_sum():
    """u² of each result is the sum of what stands in its budget (JCGM 100:2008, 5.1.2)."""
    whole = lab().measurement.whole()
    for number in places(lab()).values():
        parts = [x.contribution for x in whole.lines(number)]
        assert whole.u[number] == pytest.approx(math.hypot(*parts), rel=1e-9)
