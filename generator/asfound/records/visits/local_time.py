"""Local times → seconds since 1970 UTC, through the hours that clocks skip and repeat."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from asfound.faults import Rule, error

BAD_TIME = error("bad-time", "a time is not YYYY-MM-DD HH:MM[:SS]")
TIME_MISSING_HOUR = error("time-does-not-exist", "a local time was skipped when the clocks went forward")
TIME_REPEATED_HOUR = error("time-ambiguous", "a local time without an offset occurred twice when the clocks went back")
TIME_OFFSET = error("time-offset", "an offset stands where it is not needed, or does not fit the zone")
TIME_OFF_DAY = error("time-off-visit", "a row's time does not belong to the visit's days")

LONGEST_TRIP = timedelta(days=14)
_TIME = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[ T]([0-9]{2}:[0-9]{2}(?::[0-9]{2})?)(?:\s*([+-][0-9]{2}:[0-9]{2}|Z))?"
)
_PLAIN_TIME = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}[ T](?:[01][0-9]|2[0-3]):[0-5][0-9](?::[0-5][0-9])?")


class TimeRefused(Exception):
    """Why a time is refused: rule, message and cure."""

    def __init__(self, rule: Rule, message: str, cure: str) -> None:
        super().__init__(message)
        self.rule, self.message, self.cure = rule, message, cure


def utc_seconds(written: str, visit_day: date, zone: ZoneInfo) -> int:
    """`2026-03-14 09:40` in the zone → seconds since 1970 UTC. Raises TimeRefused.

    An offset (`+01:00`) may only stand in the hour that occurs twice when the clocks go back.
    """
    if _PLAIN_TIME.fullmatch(written):
        midnight = _steady_midnight(written[:10], visit_day, zone)
        if midnight is not None:
            return midnight + _second_of_day(written[11:])
    naive, offset = _as_written(written, "; format the column as text in a spreadsheet")
    if not _within_trip(naive.date(), visit_day):
        cure = f"correct it, or the file's day {visit_day} (a visit lasts at most {LONGEST_TRIP.days} days)"
        raise TimeRefused(TIME_OFF_DAY, f"{written} is not within the visit of {visit_day}", cure)
    return _by_clock(naive, offset, zone)


@lru_cache(maxsize=86_400)
def _second_of_day(clock: str) -> int:
    return 3600 * int(clock[:2]) + 60 * int(clock[3:5]) + int(clock[6:] or 0)


def _within_trip(day: date, visit_day: date) -> bool:
    return timedelta(0) <= day - visit_day <= LONGEST_TRIP


@lru_cache(maxsize=4096)
def _steady_midnight(day: str, visit_day: date, zone: ZoneInfo) -> int | None:
    """The first second of a day of the visit on which no clock is changed: most days, and the quick way."""
    try:
        midnight = datetime.fromisoformat(day)
    except ValueError:
        return None
    if not _within_trip(midnight.date(), visit_day):
        return None
    here = midnight.replace(tzinfo=zone)
    steady = here.utcoffset() == (midnight + timedelta(days=1)).replace(tzinfo=zone).utcoffset()
    return int(here.timestamp()) if steady else None


def utc_candidates(local: np.ndarray, zone: ZoneInfo) -> tuple[np.ndarray, np.ndarray]:
    """Many local times (datetime64[s]) → their two candidates in seconds since 1970 UTC, by the folds of PEP 495.

    The same twice but where clocks are changed: the second is later where the clocks showed a time twice, earlier
    where they never did (or where the calendar ends).
    """
    seconds = local.astype(np.int64)
    days, which = np.unique(local.astype("datetime64[D]"), return_inverse=True)
    offsets, steady = np.zeros(len(days), np.int64), np.zeros(len(days), bool)
    for number, day in enumerate(days.tolist()):
        if _in_calendar(day):
            end = day + timedelta(days=1)
            offsets[number] = _offset_s(datetime(day.year, day.month, day.day), 0, zone)
            steady[number] = offsets[number] == _offset_s(datetime(end.year, end.month, end.day), 1, zone)
    first = seconds - offsets[which]
    second = first.copy()
    changing = np.flatnonzero(~steady[which])
    times, which = np.unique(local[changing], return_inverse=True)
    found = np.zeros((2, len(times)), np.int64)
    for number, time in enumerate(times.tolist()):
        within = isinstance(time, datetime) and _in_calendar(time.date())
        found[:, number] = [_offset_s(time, fold, zone) for fold in (0, 1)] if within else (0, 1)
    first[changing], second[changing] = seconds[changing] - found[:, which]
    return first, second


def _in_calendar(day: date) -> bool:
    """Whether a day of numpy's is one of the calendar, and UTC does not lie beyond it."""
    return isinstance(day, date) and date.min < day < date.max


def _offset_s(time: datetime, fold: int, zone: ZoneInfo) -> int:
    offset = time.replace(tzinfo=zone, fold=fold).utcoffset()
    return round(offset.total_seconds()) if offset is not None else 0


def clock_seconds(written: str, zone: ZoneInfo) -> int:
    """A local time of any day → seconds since 1970 UTC. Raises TimeRefused."""
    return _by_clock(*_as_written(written), zone)


def _as_written(written: str, advice: str = "") -> tuple[datetime, str | None]:
    """What the clocks showed, and the offset where one stands beside it; `advice` goes on with the cure."""
    match = _TIME.fullmatch(written)
    if match is not None:
        try:
            return datetime.fromisoformat(f"{match[1]}T{match[2]}"), match[3]
        except ValueError:
            pass
    cure = f"write YYYY-MM-DD HH:MM, e.g. 2026-03-14 09:40{advice}"
    raise TimeRefused(BAD_TIME, f"{written!r} is not a time", cure)


def _by_clock(naive: datetime, offset: str | None, zone: ZoneInfo) -> int:
    shown = naive.isoformat(" ", "seconds" if naive.second else "minutes")
    if not date.min < naive.date() < date.max:  # UTC may lie beyond the calendar
        raise TimeRefused(BAD_TIME, f"{shown} is at an end of the calendar", "correct the year")
    candidates = tuple(_instants(naive, zone))
    if not candidates:
        cure = "write the time as the new clock showed it"
        raise TimeRefused(TIME_MISSING_HOUR, f"{shown} does not exist in {zone.key}", cure)
    if offset is None:
        if len(candidates) > 1:
            forms = " or ".join(f"{shown}{_offset_text(c, zone)}" for c in candidates)
            raise TimeRefused(TIME_REPEATED_HOUR, f"{shown} occurred twice in {zone.key}", f"write {forms}")
        return int(candidates[0].timestamp())
    if len(candidates) == 1 and _offset_text(candidates[0], zone) == offset.replace("Z", "+00:00"):
        message = f"{shown} occurred once in {zone.key} and takes no offset"
        raise TimeRefused(TIME_OFFSET, message, f"write {shown}")
    if len(candidates) == 1:
        message = f"{zone.key} had no offset {offset} at {shown}"
        raise TimeRefused(TIME_OFFSET, message, f"write {shown}{_as_clocks_showed(naive, offset, zone)}")
    for candidate in candidates:
        if _offset_text(candidate, zone) == offset.replace("Z", "+00:00"):
            return int(candidate.timestamp())
    forms = " or ".join(f"{shown}{_offset_text(c, zone)}" for c in candidates)
    raise TimeRefused(TIME_OFFSET, f"{zone.key} had no offset {offset} at {shown}", f"write {forms}")


def _instants(naive: datetime, zone: ZoneInfo) -> Iterator[datetime]:
    """The instants at which a zone's clocks show `naive`: none, one or two."""
    seen: set[datetime] = set()
    for fold in (0, 1):
        instant = naive.replace(tzinfo=zone, fold=fold).astimezone(UTC)
        if instant.astimezone(zone).replace(tzinfo=None) == naive and instant not in seen:
            seen.add(instant)
            yield instant


def _as_clocks_showed(naive: datetime, offset: str, zone: ZoneInfo) -> str:
    """What to write instead where the offset was meant."""
    try:
        there = datetime.fromisoformat(f"{naive.isoformat()}{offset}").astimezone(zone)
    except ValueError:  # no clock has such an offset
        return ""
    return f", or {there.replace(tzinfo=None).isoformat(' ', 'minutes')} if the offset is right"


def _offset_text(instant: datetime, zone: ZoneInfo) -> str:
    offset = instant.astimezone(zone).strftime("%z")
    return f"{offset[:3]}:{offset[3:]}"
