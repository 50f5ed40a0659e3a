"""A dry room: set points that lie closer together than 3 %RH are told apart wherever somebody asks for a point."""

from __future__ import annotations

from datetime import date

import pytest

from asfound.terminal.explain import as_text, explain_visit
from tests import builders as b

DRY = (0.3, 0.5, 1.5)
FAMILY = b.family(points={"humidity": [f"{point} %RH" for point in DRY]}, tolerance={"absolute": "0.05 %RH"})


def visits(errors_by_day, at=DRY):
    """Another laboratory's results at these humidities: {day: errors}."""
    return [
        b.visit(f"{day}-dry", *(b.stated(point, error, 0.01) for point, error in zip(at, errors, strict=False)))
        for day, errors in errors_by_day.items()
    ]


def standing(errors_by_day, at=DRY, family=FAMILY):
    files = b.records(family, b.sensor(), b.two_pressure(), *visits(errors_by_day, at))
    return b.assessed(files, "2026-12-31").standings["RH-1"]


def test_one_dry_point_makes_no_complete_calibration():
    assert standing({"2026-03-16": (0.0,)}).due.state == "never calibrated"
    assert standing({"2026-03-16": (0.0, 0.0)}).due.state == "never calibrated"
    assert standing({"2026-03-16": (0.0, 0.0, 0.0)}).due.since == date(2026, 3, 16)


def test_a_plateau_that_missed_a_dry_set_point_leaves_it_to_be_done():
    assert standing({"2026-03-16": (0.0, 0.0, 0.0)}, (0.3, 0.62, 1.5)).due.state == "never calibrated"


def test_a_new_pass_at_one_dry_point_leaves_the_failure_at_its_neighbour_standing():
    found = standing({"2025-03-16": (0.0, 0.2, 0.0), "2026-03-16": (0.0,)})
    assert found.state == "out of tolerance"
    assert [(r.day.year, r.point) for r in found.deciding] == [(2025, 0.5), (2025, 1.5), (2026, 0.3)]


def test_each_dry_point_has_a_level_of_its_own_so_that_a_true_line_is_not_rejected():
    errors = {
        f"{year}-03-16": tuple(e + 0.002 * (year - 2021) for e in (0.0, 0.03, -0.03)) for year in range(2021, 2027)
    }
    (drift,) = standing(errors).drifts
    assert [outlook.target for outlook in drift.outlooks] == list(DRY)
    assert drift.fit is not None and not drift.fit.rejected
    assert drift.rate == pytest.approx(0.002, abs=1e-4)


def test_a_finding_opens_after_the_visit_that_passed_every_dry_point():
    days = {"2024-03-16": (0.0, 0.0, 0.0), "2025-03-16": (0.0, 0.0), "2026-03-16": (0.2, 0.0, 0.0)}
    (case,) = standing(days).cases
    assert case.last_good == date(2024, 3, 16)


def test_dry_points_make_as_many_points_of_an_error_curve():
    from asfound.assessment.findings.error_curve import curve_of

    files = b.records(FAMILY, b.sensor(), b.two_pressure(), *visits({"2026-03-16": (0.01, 0.02, 0.03)}))
    assessment = b.assessed(files)
    curve = curve_of(list(assessment.results), assessment.measurement.whole(), 0.0)
    assert (curve.at.tolist(), curve.errors.tolist()) == ([0.3, 0.5, 1.5], [0.01, 0.02, 0.03])


def test_rising_at_a_salt_and_falling_at_the_set_point_nearby_are_both_ways_of_one_point():
    family = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.05 %RH", "hysteresis": "1 %RH"})
    readings = ((20, 20), (49, 49), (80, 80), (50, 51))
    rows = [b.plateau(target, [output], b.generated(target)) for target, output in readings]
    results = b.results(b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows)))
    assert [(r.target, r.point, r.direction, r.loop) for r in results] == [
        (20.0, 20.0, "start", 0.5),
        (49.0, 50.0, "rising", 0.0),
        (80.0, 80.0, "rising", 0.5),
        (50.0, 50.0, "falling", 0.0),
    ]


def test_a_plateau_aimed_at_a_set_point_and_counted_elsewhere_is_told():
    rows = [b.plateau(20, [23.5], b.generated(23.5)), b.plateau(60, [60], b.generated(60))]
    missed, meant = b.results(b.records(b.family(), b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows)))
    (fault,) = [f for f in missed.reservations if f.rule.name == "missed-set-point"]
    assert (
        fault.message == "23.5 %RH lies 3.5 %RH from the set point 20 %RH: only nearer than 3 %RH does it count there"
    )
    assert missed.has_verdict and (missed.point, meant.point) == (pytest.approx(23.5, abs=1e-3), 60.0)
    assert not [f for f in meant.reservations if f.rule.name == "missed-set-point"], "meant as a point of its own"


def test_the_technician_is_told_at_the_cart_what_counts_at_no_set_point():
    rows = [b.plateau(at, [at], b.generated(at)) for at in (20, 35, 80)]
    files = b.records(b.family(), b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows))
    told = as_text(explain_visit(files, "RH-1", "2026-03-16-lab"))
    assert "still to do: 50 %RH" in told
    assert "at no set point: 35 %RH; within 3 %RH of one it would count there" in told
