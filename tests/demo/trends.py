"""Simulate exports of the building system: `python -m tests.demo.trends` writes records/trends/ anew.

The air of a place swings with the day, the weather and what is carried in. Where a sensor drives the plant, the plant
holds what that sensor shows, so its hidden error moves the air; the others show the air with theirs. Every sensor has
random numbers of its own, and the same code gives the same bytes.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from tests.demo.displays import written
from tests.demo.hidden import SENSORS, bounded, stream
from tests.demo.nameplates import RECORDS
from tests.demo.rounds import ROUTES, TRIPS

ZONE = ZoneInfo("Europe/Copenhagen")
IN_HAND = range(8, 16)
"""Local hours of a visit's day in which the loop is in hand and nothing is recorded."""


@dataclass(frozen=True, kw_only=True)
class Air:
    """How the air of a place behaves, %RH."""

    held: float
    by_day: float
    """half of its daily swing"""
    weather: float
    """standard deviation over days"""
    carried_in: float
    """what a load of seed or an open door adds at once; it is gone within a day"""
    driver: str = ""
    """the sensor that drives the plant"""


PLACES = {
    "drying-a": Air(held=14.6, by_day=1.1, weather=0.5, carried_in=3.5, driver="DRY-11"),
    "drying-b": Air(held=15.0, by_day=1.2, weather=0.5, carried_in=3.5, driver="DRY-21"),
    "herbarium-north": Air(held=44.4, by_day=1.0, weather=0.9, carried_in=2.0),
    "hall-2": Air(held=80.0, by_day=3.0, weather=1.2, carried_in=9.0),
}


@dataclass(frozen=True, kw_only=True)
class Export:
    """What was exported of one sensor: from the day of one visit to the day of another."""

    sensor: str
    place: str
    first: str
    last: str
    utc: bool = False
    spreadsheet: bool = False
    """semicolons and decimal commas"""
    outage: tuple[str, int] | None = None
    """local day and hours without a record"""


EXPORTS = (
    Export(sensor="DRY-11", place="drying-a", first="2024-09-25", last="2024-10-09"),
    Export(sensor="DRY-13", place="drying-a", first="2024-04-10", last="2024-10-09"),
    Export(sensor="DRY-21", place="drying-b", first="2023-04-18", last="2023-10-17", spreadsheet=True),
    Export(sensor="HRB-11", place="herbarium-north", first="2024-05-14", last="2025-05-13", utc=True,
           outage=("2024-12-27", 31)),
    Export(sensor="GER-21", place="hall-2", first="2026-05-19", last="2026-11-17", spreadsheet=True),
    Export(sensor="GER-22", place="hall-2", first="2026-10-26", last="2026-11-17"),
)  # fmt: skip


def trends() -> tuple[dict[str, bytes], dict[str, tuple[tuple[datetime, float], ...]]]:
    """Every export by its path below records/, and by sensor the true humidity behind each of its rows."""
    files, truths = {}, {}
    for export in EXPORTS:
        rows = tuple(_rows(export))
        files[f"trends/{export.sensor}.csv"] = _csv(export, rows)
        truths[export.sensor] = tuple((instant, true) for instant, true, _ in rows)
    return files, truths


def _rows(export: Export) -> Iterator[tuple[datetime, float, str]]:
    """(instant, true humidity, what was recorded) of each hour."""
    truth, noise = SENSORS[export.sensor], stream(export.sensor, "trend")
    visits = _visits(export.sensor)
    since, missing = _outage(export)
    for instant, true in _air(export.place, export.first, export.last):
        local = instant.astimezone(ZONE)
        if since is not None and since <= instant < since + timedelta(hours=missing):
            continue
        error = truth.error(true, local.date(), as_left=False) + truth.loop
        shown = written(true + error + bounded(noise, truth.noise), 1)
        yield instant, true, "" if local.date() in visits and local.hour in IN_HAND else shown


def _air(place: str, first: str, last: str) -> Iterator[tuple[datetime, float]]:
    """The true humidity of a place, hour by hour: the same whichever sensor is asked about it."""
    air = PLACES[place]
    day, end = date.fromisoformat(first), date.fromisoformat(last)
    while day <= end:
        midnight = datetime.combine(day, time(), ZONE).astimezone(UTC)
        hours = datetime.combine(day + timedelta(days=1), time(), ZONE).astimezone(UTC) - midnight
        today, yesterday = (stream(place, "air", str(d)) for d in (day, day - timedelta(days=1)))
        weather, before = bounded(today, air.weather), bounded(yesterday, air.weather)
        load = today.randrange(7, 17) if today.random() < 0.3 else None
        for hour in range(int(hours.total_seconds()) // 3600):
            instant = midnight + timedelta(hours=hour)
            swing = air.by_day * math.sin(2.0 * math.pi * (hour - 9) / 24.0)
            drawn = before + (weather - before) * hour / 24.0
            carried = air.carried_in * math.exp(-(hour - load) / 4.0) if load is not None and hour >= load else 0.0
            driven = -SENSORS[air.driver].error(air.held, day, as_left=False) if air.driver else 0.0
            yield instant, air.held + driven + swing + drawn + carried
        day += timedelta(days=1)


def _visits(sensor: str) -> set[date]:
    """The days on which a sensor was calibrated."""
    return {
        trip.date
        for trip in TRIPS
        if any(sensor in session for session in (trip.sessions or ROUTES[trip.route].sessions))
    }


def _outage(export: Export) -> tuple[datetime | None, int]:
    if export.outage is None:
        return None, 0
    day, hours = export.outage
    return datetime.combine(date.fromisoformat(day), time(14), ZONE).astimezone(UTC), hours


def _csv(export: Export, rows: tuple[tuple[datetime, float, str], ...]) -> bytes:
    """The file; local times are as clocks show them: in the hour that they repeat, the order tells."""
    separator, end = (";", "\r\n") if export.spreadsheet else (",", "\n")
    lines = [separator.join(("time [UTC]" if export.utc else "time", "humidity [%RH]"))]
    for instant, _, shown in rows:
        local = instant.astimezone(UTC if export.utc else ZONE)
        value = shown.replace(".", ",") if export.spreadsheet else shown
        lines.append(f"{local:%Y-%m-%d %H:%M}{separator}{value}")
    text = end.join(lines) + end
    return text.encode("utf-8-sig" if export.spreadsheet else "utf-8")


def main() -> None:
    """Write the trends below --records (default: the committed ones)."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=Path, default=RECORDS)
    folder: Path = parser.parse_args().records
    files, _truths = trends()
    for path, content in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(content)
    print(f"{len(files)} trends written below {folder}")


if __name__ == "__main__":
    main()
