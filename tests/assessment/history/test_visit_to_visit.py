"""The visit-to-visit component: a family's own where it says enough, else what the policy declares."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from asfound.assessment.history.visit_to_visit import component, pool_of
from asfound.records.models import Channel, Policy
from tests import builders as b
from tests.assessment.checks import old_references, points, yearly
from tests.assessment.history.test_drift import YEARS
from tests.assessment.history.test_line import yearly as epoch_of

HUMIDITY = Channel.HUMIDITY


def policy(**keys):
    return Policy.model_validate({"rule": "guard_band", "visit_to_visit": "0.2 %RH", **keys})


def members(count, visits, between, seed=1):
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        shifts = between * rng.standard_normal((visits, 1)) + 0.05 * rng.standard_normal((visits, 3))
        instrument, history = epoch_of(0.1 * np.arange(visits)[:, None] + shifts)
        found.append(instrument.epoch(history))
    return found


def test_the_pool_of_a_family_finds_what_its_visits_shift_by():
    pool = pool_of("rush", HUMIDITY, members(40, 8, 0.3))
    assert (pool.visits, pool.instruments, pool.nu) == (320, 40, 40 * (8 - 2))
    assert pool.sigma == pytest.approx(0.3, abs=3.0 * 0.3 / math.sqrt(2.0 * 240.0))


def test_its_information_is_that_of_as_many_degrees_of_freedom():
    """Where visits shift by far more than their results scatter, Var(σ̂²) = 2σ⁴/ν."""
    pool = pool_of("rush", HUMIDITY, members(10, 6, 5.0))
    assert pool.information == pytest.approx(pool.nu / (2.0 * pool.sigma**4), rel=1e-2)


def test_no_member_but_those_that_tell_a_rate_says_anything():
    telling, short = members(2, 5, 0.3), members(3, 2, 0.3)
    alone, both = pool_of("rush", HUMIDITY, telling), pool_of("rush", HUMIDITY, [*telling, *short])
    assert both == alone and alone.visits == 10


def test_an_instrument_with_a_step_does_not_make_the_others_look_steady():
    """One of ten that jumped by 5 %RH speaks for itself; without it the family shifts by what it did before."""
    others, (odd,) = members(9, 8, 0.1), members(1, 8, 0.1, seed=5)
    odd.__dict__["errors"] = odd.errors + np.where(odd.years > 4.0, 5.0, 0.0)
    pool = pool_of("rush", HUMIDITY, [*others, odd])
    assert pool == replace(pool_of("rush", HUMIDITY, others), left_out=1)
    assert pool.sigma < 0.13 and (pool.instruments, pool.visits) == (9, 72)
    assert component(pool, HUMIDITY, policy()).basis.endswith(
        "(ν = 54), without 1 instrument that scatters by far more"
    )


@pytest.mark.parametrize("steps", [(5.0,), (0.0, 4.0)])
def test_of_two_or_three_instruments_the_one_that_jumped_is_found_too(steps):
    found = members(1 + len(steps), 8, 0.1, seed=4)
    for epoch, step in zip(found, steps):
        epoch.__dict__["errors"] = epoch.errors + np.where(epoch.years > 4.0, step, 0.0)
    assert pool_of("rush", HUMIDITY, found).left_out == np.count_nonzero(steps)


def test_instruments_that_are_alike_are_seldom_left_out():
    """In one family of a hundred, whatever its size."""
    families = [pool_of("rush", HUMIDITY, members(count, 5, 0.2, seed)) for seed in range(100) for count in (2, 6)]
    assert sum(pool.left_out > 0 for pool in families) <= 5


def test_visits_that_do_not_shift_have_none():
    (epoch,) = members(1, 6, 0.0)
    epoch.__dict__["errors"] = 0.1 * epoch.years
    assert pool_of("rush", HUMIDITY, [epoch]).sigma == 0.0


def test_the_policys_value_stands_until_the_family_says_enough():
    pool = pool_of("rush", HUMIDITY, members(2, 6, 0.3))
    assert pool.nu == 8
    declared = component(pool, HUMIDITY, policy(least_pool=9))
    assert (declared.sigma, declared.information, declared.basis) == (0.2, math.inf, "declared")
    own = component(pool, HUMIDITY, policy(least_pool=8))
    assert (own.sigma, own.information) == (pool.sigma, pool.information)
    assert own.basis == "estimated from 12 visits of rush (ν = 8)"
    assert component(None, HUMIDITY, policy()).basis == "declared"


def test_each_channel_has_a_component_of_its_own():
    keys = {"visit_to_visit_temperature": "0.05 degC"}
    assert component(None, Channel.TEMPERATURE, policy(**keys)).sigma == 0.05


def test_the_records_of_a_family_are_pooled_and_the_drift_says_so():
    shifts = iter(np.random.default_rng(4).normal(0.0, 0.3, 25))
    parts = [b.sensor(f"RH-{n}") for n in range(5)]
    for day in YEARS:
        rows = [row for n in range(5) for row in points(round(next(shifts), 2), sensor=f"RH-{n}")]
        parts.append(b.visit(f"{day}-lab", *rows))
    found = b.assessed(b.records(old_references(), *parts))
    drifts = [found.standings[f"RH-{n}"].drifts[0] for n in range(5)]
    assert {d.between_basis for d in drifts} == {"estimated from 25 visits of rush (ν = 15)"}
    (between,) = {d.between for d in drifts}
    assert between == pytest.approx(0.3, rel=0.5)
    # 0.3 %RH over visits a year apart, −2 … 2: u = 0.3/√10, and k of about fifteen degrees of freedom
    assert all(pytest.approx(2.18 * between / math.sqrt(10.0), rel=0.03) == d.U for d in drifts)
    assert all(10.0 < d.nu < 20.0 for d in drifts)
    (few,) = b.assessed(yearly(dict.fromkeys(YEARS, 0.0))).standings["RH-1"].drifts
    assert (few.between, few.between_basis, few.nu) == (0.0, "none declared", math.inf)
