"""What is due until a day, by place; and how it makes up trips with the cart."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.assessment.due import DueState
from asfound.planning.agenda import Agenda, DueSensor, agenda
from asfound.planning.rounds import hours, rounds
from tests import builders as b
from tests.assessment.checks import old_references, points, yearly

TODAY = date(2026, 1, 5)  # a Monday


def due(files, until, *places, day=TODAY):
    return agenda(b.assessed(files, str(day)), date.fromisoformat(until), places)


def test_what_is_due_up_to_and_on_the_last_day_is_listed():
    files = yearly({"2025-03-16": 0.1})
    assert [i.sensor for i in due(files, "2026-03-16").sensors] == ["RH-1"]
    assert due(files, "2026-03-15").sensors == ()


def test_a_sensor_without_a_calibration_is_due_at_once_with_the_reference_of_its_place():
    files = yearly({"2025-03-16": 0.1}, b.sensor("RH-2"))
    (never,) = due(files, "2026-01-31").sensors
    assert (never.sensor, never.day, never.state, never.reference) == ("RH-2", None, "never calibrated", "GEN-01")


def test_deferred_and_out_of_service_are_told_apart_from_what_is_due():
    put_off = b.sensor("RH-2", deferred_until="2026-06-30", deferred_reason="hall closed")
    stored = b.sensor("RH-3", out_of_service=[{"from": "2025-07-01", "reason": "stored"}])
    visit = b.visit("2025-01-16-lab", *points(0.1, sensor="RH-2"))
    found = due(b.records(old_references(), put_off, stored, visit), "2026-03-31")
    assert found.sensors == ()
    assert [(i.sensor, i.reason) for i in found.deferred] == [("RH-2", "deferred to 2026-06-30: hall closed")]
    assert [(i.sensor, i.reason) for i in found.unused] == [("RH-3", "stored")]


def test_a_place_is_looked_at_alone():
    places = b.facility(places=[{"id": "lab", "name": "Laboratory"}, {"id": "hall", "name": "Hall"}])
    files = b.records(places, old_references(), b.sensor("RH-1"), b.sensor("RH-2", place={"place": "hall"}))
    assert [i.sensor for i in due(files, "2026-03-31", "hall").sensors] == ["RH-2"]


def test_a_reference_that_is_away_when_a_sensor_is_due_is_said():
    away = b.two_pressure(away=[{"from": "2026-06-01", "until": "2026-06-30", "reason": "at its laboratory"}])
    files = b.records(b.sensor(interval={"months": 3}), away, b.visit("2026-03-16-lab", *points(0.1)))
    (item,) = due(files, "2026-06-30", day=date(2026, 3, 20)).sensors
    assert item.remarks == ("GEN-01 is away until 2026-06-30: at its laboratory",)


def test_a_reference_whose_calibration_runs_out_is_due_too():
    files = b.records(b.sensor(), b.two_pressure())
    runs_out = next(c for c in b.assessed(files).records.references["GEN-01"].quantities.values()).calibrations[-1]
    listed = due(files, str(runs_out.valid_until), day=runs_out.date)
    assert [(r.reference, r.day) for r in listed.references] == [("GEN-01", runs_out.valid_until)]


def item(name, day="2026-02-11", place="lab", targets=(20.0, 50.0, 80.0), reference="GEN-01", soak=20.0):
    return DueSensor(
        sensor=name,
        name=name,
        place=place,
        position="",
        state=DueState.IN_DATE if day else DueState.NEVER,
        day=date.fromisoformat(day) if day else None,
        points=targets,
        reference=reference,
        soak=soak,
        reason="",
        remarks=(),
    )


COSTS = {
    "set_up": "30 min",
    "move": "10 min",
    "change": "5 min",
    "soak": "20 min",
    "read": "5 min",
    "working_day": "6 h",
}
PLACES = [
    {"id": "lab", "name": "Laboratory", "building": "East"},
    {"id": "hall", "name": "Hall", "building": "West", "together": 2},
    {"id": "store", "name": "Store", "building": "East"},
]


def planned(*items, references=(), day=TODAY):
    files = b.records(b.facility(places=PLACES, rounds=COSTS), old_references(), b.sensor(), *references)
    found = Agenda(day=day, until=date(2026, 12, 31), sensors=items, references=(), deferred=(), unused=())
    return rounds(b.loaded(files), found)


def test_hours_are_set_up_moves_and_points():
    """30 + 10 + 3 · (5 + 20 + 5) minutes."""
    (trip,) = planned(item("RH-1"))
    assert trip.minutes == 130.0
    assert hours(trip.minutes) == "2 h 10 min"


def test_sensors_with_the_same_points_share_the_chamber_where_the_place_allows():
    (trip,) = planned(item("A", place="hall"), item("B", place="hall", soak=30.0), item("C", place="hall"))
    (stop,) = trip.stops
    assert [[s.sensor for s in group.sensors] for group in stop.groups] == [["A", "B"], ["C"]]
    assert [group.minutes for group in stop.groups] == [10 + 3 * 40, 10 + 3 * 30]
    (apart,) = planned(item("A"), item("B"))
    assert [len(group.sensors) for group in apart.stops[0].groups] == [1, 1]


def test_other_points_need_the_chamber_to_themselves():
    (trip,) = planned(item("A", place="hall"), item("B", place="hall", targets=(30.0,)))
    assert [len(group.sensors) for group in trip.stops[0].groups] == [1, 1]


def test_each_reference_makes_its_own_trip():
    trips = planned(item("A"), item("B", reference="MIR-01"))
    assert [(t.reference, [s.sensor for s in t.sensors]) for t in trips] == [("GEN-01", ["A"]), ("MIR-01", ["B"])]


def test_a_trip_ends_with_the_working_day():
    trips = planned(*[item(name) for name in "ABCDEF"])
    assert [len(t.sensors) for t in trips] == [3, 3]
    assert all(t.minutes <= 360.0 for t in trips)
    assert len({t.day for t in trips}) == 2  # one trip of a reference a day


def test_the_day_is_the_last_working_day_up_to_the_due_day():
    assert planned(item("A", day="2026-02-11"))[0].day == date(2026, 2, 11)
    assert planned(item("A", day="2026-02-15"))[0].day == date(2026, 2, 13)  # a Sunday: the Friday before


@pytest.mark.parametrize("day", [None, "2025-11-01"])
def test_what_is_overdue_or_was_never_calibrated_goes_first(day):
    (trip,) = planned(item("A", day=day))
    assert trip.day == date(2026, 1, 6)


def test_a_reference_that_is_away_on_the_due_day_goes_before_or_else_after():
    def away(since, until):
        return b.two_pressure(away=[{"from": since, "until": until, "reason": "at its laboratory"}])

    (before,) = planned(item("A", day="2026-02-11"), references=[away("2026-02-10", "2026-03-20")])
    assert (before.day, before.remarks) == (date(2026, 2, 9), ())
    (after,) = planned(item("A", day="2026-02-11"), references=[away("2026-01-01", "2026-03-20")])
    assert (after.day, after.remarks) == (date(2026, 3, 23), ("after the due day 2026-02-11",))


def test_places_of_one_building_follow_each_other():
    (trip,) = planned(
        item("A", "2026-02-01", "lab", (50.0,)),
        item("B", "2026-02-02", "hall", (50.0,)),
        item("C", "2026-02-03", "store", (50.0,)),
    )
    assert [stop.place for stop in trip.stops] == ["lab", "store", "hall"]


@settings(max_examples=30)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["lab", "hall", "store", "elsewhere"]),
            st.sampled_from([None, "2025-12-31", "2026-01-09", "2026-02-11", "2026-05-02"]),
            st.sampled_from([(50.0,), (20.0, 50.0, 80.0), ()]),
            st.sampled_from(["GEN-01", "MIR-01", ""]),
        ),
        max_size=14,
    )
)
def test_every_sensor_is_visited_once_and_no_cart_is_at_two_places(drawn):
    items = [item(f"S{number}", day, place, targets, ref) for number, (place, day, targets, ref) in enumerate(drawn)]
    trips = planned(*items)
    assert sorted(s.sensor for t in trips for s in t.sensors) == sorted(i.sensor for i in items)
    assert len({(t.reference, t.day) for t in trips}) == len(trips)
    for trip in trips:
        assert trip.day > TODAY and trip.day.weekday() < 5
        assert trip.minutes <= 360.0 or len(trip.stops) == len(trip.stops[0].groups) == 1
        assert len({s.reference for s in trip.sensors}) == 1
