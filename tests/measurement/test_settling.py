"""What is left of an approach by a declared time constant."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asfound.assessment.assess import check
from asfound.measurement.settling import share_left
from asfound.records.models import TimeConstant
from tests import builders as b

RECTANGLE = math.sqrt(3.0)


def test_a_known_time_constant_corrects_all_that_it_leaves():
    # 45 %RH, six time constants later, leave 0.1115 %RH.
    share, half = share_left([36.0], TimeConstant(nominal="6 min", spread="0 min"))
    assert (45.0 * share, half) == (pytest.approx(0.1115, abs=5e-5), 0.0)


def test_of_a_model_that_follows_at_once_nothing_is_left():
    assert share_left([0.0, 3.0], TimeConstant(longest="0 min")) == (0.0, 0.0)


def test_of_the_longest_time_constant_half_is_corrected_and_half_is_left():
    share, half = share_left([36.0], TimeConstant(longest="6 min"))
    assert share == half == pytest.approx(math.exp(-6.0) / 2.0)


def test_later_readings_have_less_left():
    constant = TimeConstant(nominal="10 min", spread="0 min")
    assert share_left([20.0, 30.0], constant)[0] == pytest.approx((math.exp(-2.0) + math.exp(-3.0)) / 2.0)


@pytest.mark.parametrize("spread", [0.5, 3.0, 9.0])
@pytest.mark.parametrize("waited", [5.0, 20.0, 60.0])
def test_a_spread_is_drawn_and_both_moments_agree(spread, waited):
    drawn = np.random.default_rng(1).uniform(10.0 - spread, 10.0 + spread, 400_000)
    left = np.exp(-waited / drawn)
    share, half = share_left([waited], TimeConstant(nominal="10 min", spread=f"{spread} min"))
    assert share == pytest.approx(left.mean(), rel=0.01)
    assert half / RECTANGLE == pytest.approx(left.std(), rel=0.01)


@pytest.mark.parametrize(
    "keys",
    [
        {},
        {"nominal": "4 min"},
        {"spread": "1 min"},
        {"nominal": "4 min", "spread": "1 min", "longest": "5 min"},
        {"spread": "1 min", "longest": "5 min"},
        {"nominal": "4 min", "spread": "4 min"},
        {"nominal": "0 min", "spread": "0 min"},
    ],
)
def test_a_time_constant_says_whether_it_is_nominal_or_the_longest(keys):
    (fault,) = [f for f in check(b.records(b.sensor(), b.family(time_constant=keys))) if f.place.path.startswith("fam")]
    assert fault.rule.name == "wrong-value" and fault.place.path == "families/rush.yml"


def test_a_bare_time_is_refused():
    faults = check(b.records(b.sensor(), b.family(time_constant="4 min")))
    assert [(f.rule.name, f.place.path) for f in faults if f.place.path.startswith("fam")] == [
        ("wrong-value", "families/rush.yml")
    ]
