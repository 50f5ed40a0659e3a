"""Drift of an instrument by its records: what counts, what a visit shares, what is said, and how often it covers."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t as student

from asfound.assessment.history.line import fit_line
from asfound.records.models import Channel
from asfound.uncertainty.covariance import covariance
from tests import builders as b
from tests.assessment.checks import TARGETS, old_references, points, yearly
from tests.assessment.history.histories import certain
from tests.benchmarks.drift_coverage import AS_DECLARED, CONSTANT, TOO_NARROW, simulate

YEARS = ("2021-03-16", "2022-03-16", "2023-03-16", "2024-03-16", "2025-03-16")


def test_a_rate_covers_only_with_the_visit_to_visit_component():
    """Whole visits shift by 0.3 %RH beyond their uncertainty: left out, 95 % become far fewer."""
    found = b.assessed(yearly(dict.fromkeys(YEARS, 0.0)))
    (epoch,) = found.instruments.history(("rush", "RH-1-A"), Channel.HUMIDITY).epochs
    kinds, fixed = certain().covariances(epoch.parts)
    known, truth, visit = kinds.sum(axis=0) + fixed, 0.2 * epoch.years, np.eye(5)[epoch.visit]
    assert known == pytest.approx(covariance(found.measurement.whole(), [r.line for r in found.results]))
    rng = np.random.default_rng(7)
    covered, rejected = {0.0: 0, 0.3: 0}, {0.0: 0, 0.3: 0}
    trials = 400
    for _ in range(trials):
        errors = truth + rng.multivariate_normal(np.zeros(len(truth)), known) + 0.3 * visit @ rng.normal(size=5)
        shown = replace(epoch, results=tuple(r.altered(error=float(e)) for r, e in zip(epoch.results, errors)))
        for between in covered:
            fit = fit_line(shown, Channel.HUMIDITY, certain(between))
            covered[between] += abs(fit.rate.rate - 0.2) <= fit.rate.U
            rejected[between] += fit.rejected
    assert 0.92 <= covered[0.3] / trials <= 0.985
    assert covered[0.0] / trials < 0.85
    assert rejected[0.3] / trials <= 0.035 and rejected[0.0] / trials > 0.5  # 1 % of true lines are rejected
    print(f"rate covered: {covered[0.3] / trials:.1%} with, {covered[0.0] / trials:.1%} without the component")


def test_the_policys_component_enters_rate_and_change():
    policy = {"rule": "guard_band", "visit_to_visit": "0.3 %RH"}
    errors = {"2023-03-16": 0.0, "2024-03-16": 0.3, "2025-03-16": 0.6}
    plain, shifting = (
        b.assessed(yearly(errors, *parts)).standings["RH-1"].drifts[0] for parts in ((), (b.facility(policies=policy),))
    )
    # Three visits to one instrument hardly weigh against what is declared: u = 0.3/√2 a year.
    assert max(plain.U, 2.0 * 0.3 / math.sqrt(2.0)) < shifting.U
    of_two = 2.0 * math.sqrt(2.0) * 0.3
    assert all(after.U > of_two > before.U for before, after in zip(plain.changes, shifting.changes))
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
    assert change.change == pytest.approx(0.2) and 0.4 < change.U < 0.6


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


def test_zero_and_span_apart_are_said_with_the_point_that_drifts_most():
    """+0.02, +0.10 and +0.18 %RH a year at 20, 50 and 80 %RH."""
    files = yearly({day: points(*(round(r * i, 2) for r in (0.02, 0.10, 0.18))) for i, day in enumerate(YEARS)})
    (found,) = b.assessed(files).standings["RH-1"].drifts
    assert found.span and found.state == "watch" and found.rate == pytest.approx(0.18, rel=1e-2)
    assert [o.rate for o in found.outlooks] == pytest.approx([0.02, 0.10, 0.18], rel=5e-2)
    assert "per year at 80 %RH and +0.0" in found.sentence and "(zero and span drift apart)" in found.sentence
    assert "significant, but less than 10 % of the tolerance" in found.sentence


def test_a_rate_that_uses_a_tenth_of_the_tolerance_in_an_interval_is_drifting():
    """0.1 %RH a year of ± 2 %RH: 5 % in 12 months, 10 % in 24."""
    files = {day: 0.1 * i for i, day in enumerate(YEARS)}
    for months, state, said in ((12, "watch", "less than 10 %"), (25, "drifting", "10 % of the tolerance")):
        family = b.family(interval={"months": months})
        (found,) = b.assessed(yearly(files, family)).standings["RH-1"].drifts
        assert found.state == state and said in found.sentence
        assert found.p_value < 1e-6


def test_the_outlook_reaches_to_the_next_due_day():
    (found,) = b.assessed(yearly({day: 0.1 * i for i, day in enumerate(YEARS)})).standings["RH-1"].drifts
    middle = found.outlooks[1]
    assert str(middle.due) == "2026-03-16" and middle.error_due == pytest.approx(0.5, abs=2e-3)
    assert middle.error_today == pytest.approx(0.1 * 2117 / 365.25, abs=2e-3)  # 2021-03-16 to 2026-12-31
    assert middle.U_due > 2.0 * middle.U_rate and middle.U_today > 2.0 * middle.U_rate
    limit = 2.0 - b.assessed(yearly({YEARS[4]: 0.4})).results[1].U
    assert middle.limit == pytest.approx(limit, rel=1e-6)
    crossing = (limit - 0.4) / 0.1  # years from the last visit on
    assert crossing > 10.0 and middle.leaves.median is None


def test_the_day_on_which_a_drifting_sensor_leaves_its_tolerance():
    """0.3 %RH a year from 1.2 at the last visit: (2 − U − 1.2)/0.3 years are left."""
    (found,) = b.assessed(yearly({day: 0.3 * i for i, day in enumerate(YEARS)})).standings["RH-1"].drifts
    middle = found.outlooks[1]
    left = (middle.limit - 1.2) / 0.3 * 365.25
    assert (middle.leaves.median - found.last).days == pytest.approx(left, abs=3.0)
    assert middle.leaves.earliest < middle.leaves.median < middle.leaves.latest


def test_ordinary_least_squares_is_told_beside_with_numpys_numbers():
    errors = {day: points(*e) for day, e in zip(YEARS, ((0.1, 0.0, 0.2), (0.0, 0.1, 0.1), (0.3, 0.1, 0.2),
                                                        (0.2, 0.2, 0.4), (0.3, 0.4, 0.3)))}  # fmt: skip
    shifting = b.facility(policies={"rule": "guard_band", "visit_to_visit": "0.3 %RH"})
    scattering = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.15 %RH"})
    assessment = b.assessed(yearly(errors, shifting, scattering))
    (found,) = assessment.standings["RH-1"].drifts
    x = found.fit.epoch.years
    design = np.column_stack([np.tile(np.eye(3), (5, 1)), x])
    solved, squares, *_ = np.linalg.lstsq(design, found.fit.epoch.errors, rcond=None)
    u = math.sqrt(squares[0] / 11.0 * np.linalg.inv(design.T @ design)[3, 3])
    U = u * float(student.ppf((1.0 + math.erf(math.sqrt(2.0))) / 2.0, 11))
    assert f"says +{solved[3]:.3f} ± {U:.3f} %RH per year (ν = 11): significant" in found.naive
    assert found.naive.endswith("where with the covariance of the results it is not.") and found.state == "steady"


def test_a_rejected_line_claims_no_rate_but_tells_the_plain_one():
    (found,) = b.assessed(yearly({day: 0.0 for day in YEARS[:4]} | {YEARS[4]: 1.2})).standings["RH-1"].drifts
    assert math.isnan(found.rate) and found.fit is None and found.outlooks == ()
    assert found.naive.endswith("where the line is rejected.")


def test_e_n_is_the_change_over_its_u():
    (found,) = b.assessed(yearly({"2024-03-16": 0.0, "2025-03-16": 0.3})).standings["RH-1"].drifts
    for change in found.changes:
        assert change.e_n == change.change / change.U and change.significant == (abs(change.e_n) > 1.0)
        assert abs(change.e_n) > abs(change.change) / math.hypot(change.before.U, change.now.U)


@pytest.mark.parametrize("world", [AS_DECLARED, CONSTANT, TOO_NARROW], ids=str)
def test_the_intervals_cover_and_steady_sensors_are_seldom_called_drifting(world):
    """tests/benchmarks/drift_coverage.py does it for 2,000 lines of each of many worlds."""
    (tally,) = simulate(120, seed=11, variants=[world]).values()
    assert 0.90 <= tally.mean("rate") <= 0.995
    assert 0.93 <= tally.mean("measured") <= 0.995 and tally.mean("leaves") >= 0.95
    assert tally.mean("change") >= 0.92
    assert tally.mean("drifting") <= 0.06 and tally.mean("rejected") <= 0.02
    assert 0.85 <= tally.mean("chi") <= 1.12  # in none of them the line is blamed for what was declared


def test_the_declared_hysteresis_is_in_the_uncertainty_of_today():
    wide = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.05 %RH", "hysteresis": "1.2 %RH"})
    (found,) = b.assessed(yearly(dict.fromkeys(YEARS, 0.1), wide)).standings["RH-1"].drifts
    assert all(outlook.U_today > 2.0 * 0.6 / math.sqrt(3.0) for outlook in found.outlooks)
