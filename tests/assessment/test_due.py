"""When a calibration is due, deferred or not asked for."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.assessment.due import add_months, completes
from tests import builders as b
from tests.assessment.checks import points, yearly

DAYS = st.dates(date(2000, 1, 1), date(2100, 12, 31))


def due(files, day):
    return b.assessed(files, day).standings["RH-1"].due


@settings(max_examples=80)
@given(DAYS, st.integers(1, 120))
def test_months_are_calendar_months(day, months):
    later = add_months(day, months)
    assert (later.year * 12 + later.month) - (day.year * 12 + day.month) == months
    assert later.day == day.day or (later.day < day.day and add_months(later, 0).day == later.day)
    assert 28 * months <= (later - day).days <= 31 * months


@settings(max_examples=40)
@given(DAYS, st.integers(1, 60), st.integers(1, 60))
def test_a_later_visit_is_never_due_earlier(day, months, more):
    assert add_months(day, months) <= add_months(day, months + more)
    assert add_months(day, months) <= add_months(date.fromordinal(day.toordinal() + 1), months)


@pytest.mark.parametrize(
    ("day", "state", "due_day"),
    [
        ("2026-02-01", "deferred", "2026-06-30"),
        ("2026-06-30", "deferred", "2026-06-30"),
        ("2026-07-01", "overdue", "2026-03-16"),
    ],
)
def test_a_deferral_holds_to_its_last_day(day, state, due_day):
    deferred = b.sensor(deferred_until="2026-06-30", deferred_reason="hall closed")
    found = due(yearly({"2025-03-16": 0.1}, deferred), day)
    assert (found.state, found.day) == (state, date.fromisoformat(due_day))
    assert state != "deferred" or "hall closed" in found.reason


def test_a_deferral_before_the_due_day_changes_nothing():
    deferred = b.sensor(deferred_until="2025-12-31", deferred_reason="hall closed")
    found = due(yearly({"2025-03-16": 0.1}, deferred), "2025-12-01")
    assert (found.state, found.day) == ("in date", date(2026, 3, 16))


@pytest.mark.parametrize(
    ("day", "state"), [("2025-06-30", "in date"), ("2025-07-01", "out of service"), ("2025-12-31", "out of service")]
)
def test_out_of_service_nothing_is_due(day, state):
    away = b.sensor(out_of_service=[{"from": "2025-07-01", "until": "2025-12-31", "reason": "stored"}])
    assert due(yearly({"2025-03-16": 0.1}, away), day).state == state


def test_back_in_service_the_due_date_is_the_old_one():
    away = b.sensor(out_of_service=[{"from": "2025-07-01", "until": "2026-12-31", "reason": "stored"}])
    found = due(yearly({"2025-03-16": 0.1}, away), "2027-01-01")
    assert (found.state, found.day) == ("overdue", date(2026, 3, 16))


def of_policy(**keys):
    return b.facility(policies=[{"rule": "guard_band", "visit_to_visit": "0.1 %RH", **keys}])


@pytest.mark.parametrize(
    ("day", "state"),
    [
        ("2026-03-16", "due soon"),
        ("2026-03-17", "in grace"),
        ("2026-03-30", "in grace"),
        ("2026-03-31", "overdue"),
    ],
)
def test_in_the_days_of_grace_a_sensor_is_not_yet_overdue(day, state):
    found = due(yearly({"2025-03-16": 0.1}, of_policy(grace_days=14)), day)
    assert (found.state, found.day, found.last_day) == (state, date(2026, 3, 16), date(2026, 3, 30))
    assert ("to 2026-03-30" in found.reason) == (state == "in grace")


def test_an_interval_may_end_with_its_month():
    found = due(yearly({"2025-02-03": 0.1}, of_policy(due_on="month_end")), "2026-02-20")
    assert (found.state, found.day) == ("due soon", date(2026, 2, 28))
    assert "end of the month" in found.reason
    leap = due(yearly({"2027-02-03": 0.1}, of_policy(due_on="month_end")), "2028-02-20")
    assert leap.day == date(2028, 2, 29)


def test_grace_moves_no_due_day():
    """A visit in the days of grace is where the next interval starts, as any complete visit."""
    found = due(yearly({"2025-03-16": 0.1, "2026-03-25": 0.1}, of_policy(grace_days=14)), "2026-04-01")
    assert found.day == date(2027, 3, 25)


def test_a_new_instrument_was_never_calibrated():
    swapped = b.sensor(
        installed=[
            {"serial": "A", "family": "rush", "from": "2000-01-01"},
            {"serial": "B", "family": "rush", "from": "2025-06-01"},
        ]
    )
    files = yearly({"2025-03-16": 0.1, "2025-06-01": 0.1}, swapped)
    assert due(files, "2025-05-31").state == "in date"
    assert due(yearly({"2025-03-16": 0.1}, swapped), "2025-06-01").state == "never calibrated"
    assert due(files, "2025-06-02").since == date(2025, 6, 1)


def test_the_interval_of_the_day_counts_from_the_visit():
    shorter = b.family(interval=[{"months": 24}, {"from": "2025-09-01", "months": 6}])
    files = yearly({"2025-03-16": 0.1}, shorter)
    assert due(files, "2025-08-31").day == date(2027, 3, 16)
    assert due(files, "2025-09-01").day == date(2025, 9, 16)


def test_the_points_of_the_visits_day_make_it_complete():
    more = b.family(
        points=[
            {"humidity": ["20 %RH", "50 %RH", "80 %RH"]},
            {"from": "2025-09-01", "humidity": ["20 %RH", "35 %RH", "50 %RH", "80 %RH"]},
        ]
    )
    files = yearly({"2025-03-16": 0.1, "2025-10-16": 0.1}, more)
    assert due(files, "2025-12-01").since == date(2025, 3, 16)


def test_a_visit_of_tomorrow_is_not_known_today():
    files = yearly({"2025-03-16": 0.1, "2026-03-16": 0.1})
    assert due(files, "2026-03-15").since == date(2025, 3, 16)
    assert due(files, "2026-03-16").since == date(2026, 3, 16)


def test_a_loop_that_gave_no_reading_leaves_the_point_undone():
    scaling = {"low": "4 mA", "high": "20 mA", "reads_low": "0 %RH", "reads_high": "100 %RH"}
    family = b.family(signal="current", scaling=scaling, humidity={"repeatability": "0.05 %RH"})

    def visits(broken):
        rows = [
            b.plateau(at, [milliampere] * 2, b.generated(at), unit="mA", loop_meter="METER-01")
            for at, milliampere in ((20.0, 7.2), (50.0, 12.0), (80.0, 3.5 if broken else 16.8))
        ]
        return yearly({"2025-03-16": rows}, family, b.loop_meter(quantities={"current": METER}))

    assert due(visits(broken=False), "2025-12-01").state == "in date"
    assert due(visits(broken=True), "2025-12-01").state == "never calibrated"
    results = b.results(visits(broken=True))
    broken = next(r for r in results if r.target == 80.0)
    assert (broken.status, broken.verdict) == ("not done", "no verdict")
    assert {f.rule.name for f in broken.reservations} == {"loop-out-of-range"}


METER = b.flat(0, 25, "mA", 0.01, on="2019-01-12", valid_until="2029-01-12")


def test_results_and_points_alone_say_whether_a_visit_is_complete():
    results = b.results(yearly({"2025-03-16": points(0.1)}))
    assert completes(results, (20.0, 50.0, 80.0))
    assert not completes(results[:2], (20.0, 50.0, 80.0))
    assert not completes((), ())


def test_a_visit_that_adjusted_and_left_points_out_does_not_reset_the_due_day():
    found = [b.plateau(t, [t + 0.1, t + 0.1, t + 0.1], b.generated(t)) for t in (20, 50, 80)]
    left = [b.plateau(t, [t, t, t], b.generated(t), phase="as_left") for t in (20, 50, 80)]
    parts = (b.sensor(), b.two_pressure())

    def after(*plateaus):
        return due(b.records(*parts, b.visit("2026-03-16-lab", *plateaus)), "2026-05-01").state

    assert after(*found) == "in date"
    assert after(*found, b.adjusted(), *left) == "in date"
    assert after(*found, b.adjusted(), *left[:2]) == "never calibrated"
    assert after(*found, b.adjusted("none"), *left[:2]) == "in date"
