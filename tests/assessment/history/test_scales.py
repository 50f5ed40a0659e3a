"""What a family's instruments say of how far each kind of effect varies against what is declared."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from asfound.assessment.history.lasting import Kind
from asfound.assessment.history.scales import MOST_INSTRUMENTS, declared_shift, nothing_seen, scales_of
from asfound.records.models import Channel, Policy
from tests import builders as b
from tests.assessment.checks import old_references, points, yearly
from tests.assessment.history.test_drift import YEARS
from tests.assessment.history.test_line import yearly as epoch_of

HUMIDITY = Channel.HUMIDITY


def members(count, visits, between, seed=1, own=0.05):
    """Instruments whose results declare 0.05 %RH of their own, and vary by `own`; visits shift by `between`."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(count):
        shifts = between * rng.standard_normal((visits, 1)) + own * rng.standard_normal((visits, 3))
        instrument, history = epoch_of(0.1 * np.arange(visits)[:, None] + shifts)
        epoch = instrument.epoch(history)
        serials = tuple(result.altered(serial=f"A{number}") for result in epoch.results)
        found.append(replace(epoch, results=serials))
    return found


def test_a_family_finds_what_its_visits_shift_by():
    found = scales_of(members(40, 8, 0.3), HUMIDITY, 0.0)
    assert (found.visits, found.instruments, found.left_out) == (320, 40, 0)
    assert found.between == pytest.approx(0.3, abs=3.0 * 0.3 / math.sqrt(2.0 * 240.0))


def test_a_family_finds_that_what_is_declared_of_its_results_varies_by_a_quarter():
    """As where a declared hysteresis lasts: declared 0.05, seen 0.025; χ² with everything as declared says so too."""
    found = scales_of(members(20, 8, 0.05, own=0.025), HUMIDITY, 0.1)
    assert found.factors.theta[Kind.OWN] == pytest.approx(0.25, rel=0.15)
    low, high = found.factors.bounds
    assert low[Kind.OWN] < 0.25 < high[Kind.OWN] < 0.4
    assert found.chi_squared < 0.6 * found.freedom


def test_as_declared_stays_as_declared():
    """No more than its bounds allow, and kinds of which nothing is declared stay at 1."""
    found = scales_of(members(40, 8, 0.05, seed=3), HUMIDITY, 0.05)
    low, high = found.factors.bounds
    assert np.all(low < 1.0) and np.all(high > 1.0)
    assert found.factors.theta[[Kind.VISIT, Kind.PERIOD]] == pytest.approx([1.0, 1.0])
    assert found.chi_squared == pytest.approx(found.freedom, rel=0.2)


def test_few_data_leave_what_is_declared_and_say_how_unsure_it_is():
    """One instrument and three visits: factors near 1, and a coverage factor well above 2."""
    (epoch,) = members(1, 3, 0.05)
    found = scales_of([epoch], HUMIDITY, 0.05)
    assert np.all(np.abs(found.factors.log) < 1.0)
    assert found.factors.freedom(np.array([0.5, 0.0, 0.5, 0.0])) < 15.0


def test_no_member_but_those_that_tell_a_rate_says_how_much_varies():
    telling, short = members(2, 5, 0.3), members(3, 2, 0.3)
    alone, both = scales_of(telling, HUMIDITY, 0.2), scales_of([*telling, *short], HUMIDITY, 0.2)
    assert np.array_equal(both.factors.log, alone.factors.log) and both.visits == alone.visits == 10


def test_an_instrument_with_a_step_does_not_make_the_others_look_steady():
    """One of ten that jumped by 5 %RH speaks for itself; without it the family shifts by what it did before."""
    others, (odd,) = members(9, 8, 0.1), members(1, 8, 0.1, seed=5)
    odd.__dict__["errors"] = odd.errors + np.where(odd.years > 4.0, 5.0, 0.0)
    found, without = scales_of([*others, odd], HUMIDITY, 0.1), scales_of(others, HUMIDITY, 0.1)
    assert found.left_out == 1 and found.factors.log == pytest.approx(without.factors.log, abs=0.02)
    assert found.between < 0.13 and (found.instruments, found.visits) == (9, 72)
    assert found.basis.endswith("72 visits of 9 instruments, without 1 instrument that scatters by far more")


@pytest.mark.parametrize("steps", [(5.0,), (0.0, 4.0)])
def test_of_two_or_three_instruments_the_one_that_jumped_is_found_too(steps):
    found = members(1 + len(steps), 8, 0.1, seed=4)
    for epoch, step in zip(found, steps):
        epoch.__dict__["errors"] = epoch.errors + np.where(epoch.years > 4.0, step, 0.0)
    assert scales_of(found, HUMIDITY, 0.1).left_out == np.count_nonzero(steps)


def test_instruments_that_are_alike_are_seldom_left_out():
    """In one family of a hundred, whatever its size."""
    families = [scales_of(members(count, 5, 0.2, seed), HUMIDITY, 0.2) for seed in range(60) for count in (2, 6)]
    assert sum(found.left_out > 0 for found in families) <= 4


def test_of_a_large_family_a_choice_speaks_that_its_order_does_not_change():
    found = members(MOST_INSTRUMENTS + 10, 3, 0.1)
    one, other = scales_of(found, HUMIDITY, 0.1), scales_of(found[::-1], HUMIDITY, 0.1)
    assert one.instruments == other.instruments == MOST_INSTRUMENTS
    assert one.factors.log == pytest.approx(other.factors.log, abs=1e-9)


def test_a_familys_own_value_stands_before_the_policys():
    """0.1 %RH from visit to visit is three tolerances of a dry room's sensor of ± 0.03 %RH."""
    dry = b.family("dry", visit_to_visit="0.002 %RH", tolerance={"absolute": "0.03 %RH"})
    facility = b.facility(policies=[{"rule": "guard_band", "visit_to_visit": "0.1 %RH"}])
    records = b.loaded(b.records(facility, dry, b.family()))
    policy = records.facility.policies[0]
    humidity = {name: declared_shift(policy, family, HUMIDITY) for name, family in records.families.items()}
    assert humidity == {"dry": 0.002, "rush": 0.1}
    assert declared_shift(policy, records.families["dry"], Channel.TEMPERATURE) == 0.0


def test_where_neither_declares_anything_a_twentieth_of_the_tolerance_is_supposed():
    days = {"2024-03-16": 0.1, "2025-03-16": 0.1, "2026-03-16": 0.1}
    facility = b.facility(policies=[{"rule": "guard_band"}])
    for tolerance in (2.0, 0.5):
        family = b.family(tolerance={"absolute": f"{tolerance} %RH"})
        visits = [b.visit(f"{day}-lab", *points(error)) for day, error in days.items()]
        found = b.assessed(b.records(facility, family, b.sensor(), old_references(), *visits)).standings["RH-1"]
        (drift,) = found.drifts
        assert drift.between_basis.startswith(f"supposed {tolerance / 20.0:.2g}, weighed against 3 visits")


def test_what_nobody_approved_is_read_with_a_shift_supposed_all_the_same():
    (epoch,) = members(1, 3, 0.1)
    assert nothing_seen(0.0, epoch).between == pytest.approx(0.05 / 4.0)


def test_where_no_tolerance_is_known_a_quarter_of_what_else_varies_is_supposed():
    found = scales_of(members(3, 5, 0.01), HUMIDITY, 0.0)
    assert found.shift == pytest.approx(0.05 / 4.0) and not found.declared
    assert found.basis == "supposed 0.013, weighed against 15 visits of 3 instruments"


def test_the_policys_values_stand_where_no_family_says_anything():
    policy = Policy.model_validate(
        {"rule": "guard_band", "visit_to_visit": "0.2 %RH", "visit_to_visit_temperature": "0.05 degC"}
    )
    assert [declared_shift(policy, None, channel) for channel in Channel] == [0.2, 0.05]
    assert (nothing_seen(0.2).between, nothing_seen(0.2).basis) == (0.2, "declared")
    assert (nothing_seen(0.0).between, nothing_seen(0.0).basis) == (0.0, "none declared")


def test_the_records_of_a_family_are_pooled_and_the_drift_says_so():
    shifts = iter(np.random.default_rng(4).normal(0.0, 0.3, 25))
    parts = [b.sensor(f"RH-{n}") for n in range(5)]
    for day in YEARS:
        rows = [row for n in range(5) for row in points(round(next(shifts), 2), sensor=f"RH-{n}")]
        parts.append(b.visit(f"{day}-lab", *rows))
    found = b.assessed(b.records(old_references(), *parts))
    drifts = [found.standings[f"RH-{n}"].drifts[0] for n in range(5)]
    (basis,) = {d.between_basis for d in drifts}
    assert basis.endswith("weighed against 25 visits of 5 instruments")
    (between,) = {d.between for d in drifts}
    assert between == pytest.approx(0.3, rel=0.5)
    # 0.3 %RH over visits a year apart, −2 … 2: u = 0.3/√10, and k of about fifteen degrees of freedom
    assert all(pytest.approx(2.18 * between / math.sqrt(10.0), rel=0.06) == d.U for d in drifts)
    assert all(8.0 < d.nu < 40.0 for d in drifts)
    (few,) = b.assessed(yearly(dict.fromkeys(YEARS, 0.0))).standings["RH-1"].drifts
    assert few.between_basis.endswith("weighed against 5 visits of 1 instrument")
