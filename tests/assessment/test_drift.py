"""Drift of an instrument by its records: what counts, what a visit shares, what is said, and how often it covers."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from generator.assessment.line import fit_line
from generator.records.models import Channel
from generator.uncertainty.covariance import covariance
from tests import builders as b
from tests.assessment.checks import TARGETS, old_references, points, yearly

YEARS = ("2021-03-16", "2022-03-16", "2023-03-16", "2024-03-16", "2025-03-16")


def test_a_rate_covers_only_with_the_visit_to_visit_component():
    """Whole visits shift by 0.3 %RH beyond their uncertainty: left out, 95 % become far fewer."""
    found = b.assessed(yearly(dict.fromkeys(YEARS, 0.0)))
    (epoch,) = found.instruments.history(("reed", "RH-1-A"), Channel.HUMIDITY).epochs
    known, truth, visit = epoch.covariance, 0.2 * epoch.years, epoch.visits
    assert known == pytest.approx(covariance(found.measurement.whole(), [r.line for r in found.results]))
    rng = np.random.default_rng(7)
    covered, rejected = {0.0: 0, 0.3: 0}, {0.0: 0, 0.3: 0}
    trials = 400
    for _ in range(trials):
        errors = truth + rng.multivariate_normal(np.zeros(len(truth)), known) + 0.3 * visit @ rng.normal(size=5)
        shown = replace(epoch, results=tuple(replace(r, error=float(e)) for r, e in zip(epoch.results, errors)))
        for between in covered:
            fit = fit_line(shown, Channel.HUMIDITY, between)
            covered[between] += abs(fit.rate.rate - 0.2) <= fit.rate.U
            rejected[between] += fit.rejected
    assert 0.92 <= covered[0.3] / trials <= 0.985
    assert covered[0.0] / trials < 0.85
    assert rejected[0.3] / trials <= 0.025 and rejected[0.0] / trials > 0.5  # 1 % of true lines are rejected
    print(f"rate covered: {covered[0.3] / trials:.1%} with, {covered[0.0] / trials:.1%} without the component")


def test_the_policys_component_enters_rate_and_change():
    policy = {"rule": "guard_band", "visit_to_visit": "0.3 %RH"}
    errors = {"2023-03-16": 0.0, "2024-03-16": 0.3, "2025-03-16": 0.6}
    plain, shifting = (
        b.assessed(yearly(errors, *parts)).standings["RH-1"].drifts[0] for parts in ((), (b.facility(policies=policy),))
    )
    assert pytest.approx(math.hypot(plain.U, 2.0 * 0.3 / math.sqrt(2.0)), rel=0.01) == shifting.U
    for before, after in zip(plain.changes, shifting.changes):
        assert pytest.approx(math.hypot(before.U, 2.0 * math.sqrt(2.0) * 0.3), rel=0.01) == after.U
    assert plain.state == "drifting" and shifting.state != "drifting"


def test_visits_that_share_no_target_have_no_rate_and_break_nothing():
    visits = [
        b.visit(f"{day}-lab", b.plateau(at, [at + 0.4, at + 0.5], b.generated(at))) for day, at in zip(YEARS, TARGETS)
    ]
    (found,) = b.assessed(b.records(b.sensor(), old_references(), *visits)).standings["RH-1"].drifts
    assert math.isnan(found.rate) and found.state == "too few visits"


def test_three_visits_on_one_day_have_no_rate():
    rooms = {"attic": 8, "lab": 11, "yard": 14}
    visits = [b.visit(f"2025-03-16-{room}", *points(0.2), hour=hour) for room, hour in rooms.items()]
    (found,) = b.assessed(b.records(b.sensor(), old_references(), *visits)).standings["RH-1"].drifts
    assert math.isnan(found.rate) and found.visits == 1


def test_results_without_a_source_of_their_own_are_fitted_all_the_same():
    silent = b.family(humidity={"resolution": "0 %RH", "repeatability": "0 %RH"})
    quantities = {
        name: known | {"resolution": f"0 {known['resolution'].split()[1]}"}
        for name, known in json.loads(old_references()["references/GEN-01.yml"])["quantities"].items()
    }
    files = yearly({day: [*points(0.2), *points(0.2)] for day in YEARS}, silent, b.two_pressure(quantities=quantities))
    (found,) = b.assessed(files).standings["RH-1"].drifts
    assert found.rate == pytest.approx(0.0, abs=1e-3) and found.U < 0.01


def test_one_shared_target_among_others_is_enough_for_a_rate():
    single = {day: [b.plateau(at, [at + 0.1], b.generated(at))] for day, at in zip(YEARS, (20.0, 35.0, 80.0))}
    both = {**single, YEARS[3]: points(0.4)}
    (found,) = b.assessed(yearly(both)).standings["RH-1"].drifts
    assert found.rate == pytest.approx(0.3 / 3.0, rel=0.6) and found.visits == 4


def test_two_results_of_one_point_leave_nothing_to_test_the_line_with():
    lone = {day: [b.plateau(at, [at + 0.1], b.generated(at))] for day, at in zip(YEARS, (20.0, 35.0, 20.0))}
    (found,) = b.assessed(yearly(lone)).standings["RH-1"].drifts
    assert found.freedom == 0 and "too few results to test the line" in found.sentence


def test_targets_passed_once_each_way_have_no_rate():
    ways = ((20, 50), (80, 50), (50,))
    visits = {day: [b.plateau(at, [at], b.generated(at)) for at in way] for day, way in zip(YEARS, ways)}
    (found,) = b.assessed(yearly(visits)).standings["RH-1"].drifts
    assert math.isnan(found.rate) and "none with a point of another" in found.sentence


def test_a_step_of_one_point_up_and_another_down_is_told_as_both():
    files = yearly({day: 0.0 for day in YEARS[:4]} | {YEARS[4]: points(-1.0, 0.0, 1.0)})
    (found,) = b.assessed(files).standings["RH-1"].drifts
    assert found.state == "watch" and "a step of −1.00 to +1.00 %RH between 2024-03-16" in found.sentence


def test_another_laboratorys_result_enters_the_change_and_the_rate_with_its_own_uncertainty():
    ours = {"2022-03-16": 0.0, "2023-03-16": 0.1, "2025-03-16": 0.3}
    theirs = {"2024-03-16": [b.stated(at, 0.1, 0.4) for at in TARGETS]}
    alone, found = (
        b.assessed(yearly(dict(sorted(v.items())))).standings["RH-1"].drifts[0] for v in (ours, ours | theirs)
    )
    assert (alone.visits, found.visits) == (3, 4) and found.freedom == alone.freedom + 3
    assert 0.9 * alone.U < found.U < alone.U and found.rate == pytest.approx(alone.rate, abs=0.1 * alone.U)
    change = found.changes[0]
    assert change.change == pytest.approx(0.2) and pytest.approx(0.4, abs=0.15) == change.U


def test_a_point_without_a_verdict_is_no_drift_point():
    unsettled = b.facility(policies={"rule": "guard_band", "settling": {"least_soak": "20 min"}})
    files = yearly(
        {"2022-03-16": 0.0, "2023-03-16": points(3.0, soak=5), "2024-03-16": 0.0, "2025-03-16": 0.0}, unsettled
    )
    (found,) = b.assessed(files).standings["RH-1"].drifts
    assert found.visits == 3 and found.rate == pytest.approx(0.0, abs=1e-3)


def test_rising_is_compared_with_rising_and_falling_with_falling():
    def both_ways(shift):
        return [
            b.plateau(20, [20.0], b.generated(20)),
            b.plateau(50, [49.5 + shift], b.generated(50)),
            b.plateau(80, [80.0], b.generated(80)),
            b.plateau(50, [50.5 + shift], b.generated(50)),
        ]

    (found,) = b.assessed(yearly({"2024-03-16": both_ways(0.0), "2025-03-16": both_ways(0.2)})).standings["RH-1"].drifts
    changes = [change.change for change in found.changes if change.target == 50.0]
    assert changes == [pytest.approx(0.2), pytest.approx(0.2)]


def test_the_temperature_channel_drifts_by_its_own_rate():
    family = b.family(
        channels=["humidity", "temperature"],
        temperature={"resolution": "0.01 degC", "repeatability": "0.02 degC"},
        temperature_tolerance={"absolute": "0.5 degC"},
    )
    files = yearly(
        {day: points(0.0, output_temperature=round(25.0 + 0.1 * i, 2)) for i, day in enumerate(YEARS)}, family
    )
    humidity, temperature = b.assessed(files).standings["RH-1"].drifts
    assert humidity.rate == pytest.approx(0.0, abs=1e-3)
    assert temperature.rate == pytest.approx(0.1, rel=1e-2)
