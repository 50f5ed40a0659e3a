"""Rounds as a calendar file: what RFC 5545 asks of an event, read back by a general-purpose library."""

from __future__ import annotations

from datetime import UTC, date, datetime

from icalendar import Calendar

from asfound.planning.calendar_file import rounds_calendar
from tests import builders as b
from tests.planning.test_agenda import COSTS, PLACES, item, planned

MADE = datetime(2026, 1, 5, tzinfo=UTC)


def written(*items, **keys):
    records = b.loaded(b.records(b.facility(places=PLACES, rounds=COSTS, **keys)))
    return rounds_calendar(records.facility, MADE, planned(*items))


def events(content):
    return [part for part in Calendar.from_ical(content).walk("VEVENT")]


def test_a_trip_is_an_event_of_its_whole_day():
    (event,) = events(written(item("RH-1"), item("RH-2", place="store")))
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (date(2026, 2, 11), date(2026, 2, 12))
    assert event["SUMMARY"] == "Calibration round: 2 sensors with GEN-01"
    assert event["LOCATION"] == "Laboratory, East and Store, East"
    assert "RH-1 at 20, 50 and 80 %RH" in event["DESCRIPTION"]
    assert "live loops" in event["DESCRIPTION"]


def test_the_file_is_one_that_calendars_accept():
    """RFC 5545, 3.1: lines end with CRLF and have at most 75 octets; 3.6: PRODID and VERSION; 3.6.1: UID, DTSTAMP."""
    content = written(item("RH-1", place="hall"), item("Å-2", place="hall"))
    assert content.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(len(line) for line in content.split(b"\r\n")) <= 75
    calendar = Calendar.from_ical(content)
    assert calendar["VERSION"] == "2.0" and calendar["PRODID"]
    assert all(event["UID"] and event["DTSTAMP"].dt == MADE for event in events(content))


def test_the_same_trip_keeps_its_identity_and_others_have_their_own():
    one, other = (events(written(item("RH-1"), item("RH-2", reference="MIR-01")))[n]["UID"] for n in (0, 1))
    (alone,) = events(written(item("RH-1")))
    assert one != other
    assert alone["UID"] == one
    assert one.endswith("@alder-seed-store")
    (hosted,) = events(written(item("RH-1"), site_address="https://records.alder.example/x/"))
    assert hosted["UID"].endswith("@records.alder.example")
