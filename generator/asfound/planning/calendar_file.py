"""Rounds as a calendar file (RFC 5545): one all-day event a trip."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta

from icalendar import Calendar, Event

from asfound.planning.rounds import Round, Stop, hours
from asfound.records.models import Facility
from asfound.wording.cautions import SUMMARY
from asfound.wording.words import counted, listed


def rounds_calendar(facility: Facility, made: datetime, planned: Sequence[Round]) -> bytes:
    """The file; `made` stands in every event as the time at which it was made (RFC 5545, 3.8.7.2)."""
    calendar = Calendar()
    calendar.add("prodid", "-//asfound//rounds//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"Calibration rounds, {facility.name}")
    for trip in planned:
        calendar.add_component(_event(facility, made, trip))
    return bytes(calendar.to_ical())


def _event(facility: Facility, made: datetime, trip: Round) -> Event:
    count = counted(len(trip.sensors), "sensor")
    event = Event()
    event.add("uid", _identity(facility, trip))
    event.add("dtstamp", made)
    event.add("dtstart", trip.day)
    event.add("dtend", trip.day + timedelta(days=1))
    event.add("summary", f"Calibration round: {count}" + (f" with {trip.reference}" if trip.reference else ""))
    event.add("location", listed(dict.fromkeys(place_words(stop) for stop in trip.stops)))
    event.add(
        "description", "\n".join([f"about {hours(trip.minutes)}", *_lines(trip), *trip.remarks, " ".join(SUMMARY)])
    )
    event.add("transp", "TRANSPARENT")
    return event


def _lines(trip: Round) -> list[str]:
    return [
        f"{stop.name}: {listed(s.sensor for s in group.sensors)} at {listed(f'{h:g}' for h in group.points)} %RH"
        for stop in trip.stops
        for group in stop.groups
    ]


def place_words(stop: Stop) -> str:
    """`Drying room A, Seed house`."""
    return f"{stop.name}, {stop.building}" if stop.building else stop.name


def _identity(facility: Facility, trip: Round) -> str:
    """The same for a trip with the same sensors that are due on the same day, whenever the file is made."""
    home = re.sub(r"^[a-z]+://|/.*$", "", facility.site_address or "") or re.sub(r"\W+", "-", facility.name.lower())
    sensors = "+".join(sorted(sensor.sensor for sensor in trip.sensors))
    return f"{trip.due or 'first'}/{sensors}@{home}"
