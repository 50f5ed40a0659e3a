"""Times of a log, in any format of strptime or ISO 8601 → seconds since 1970 UTC; a day of seconds at once.

One text of a kind is read by the standard library; texts that differ from it in nothing but digits are read with it, by
the places of their digits.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from asfound.records.trends.repeated_hour import placed_by_order
from asfound.records.visits.local_time import utc_candidates

_MOST_KINDS = 200
"""Kinds of texts read at once; a log has a handful: lengths of days and months, halves of the day, offsets."""
_DIGITS = {"Y": "[0-9]{4}", "f": "[0-9]{1,6}"} | dict.fromkeys("ymdHMSI", "[0-9]{1,2}")
_ISO = re.compile(
    r"(?P<Y>[0-9]{4})-?(?P<m>[0-9]{2})-?(?P<d>[0-9]{2})[T ](?P<H>[0-9]{2})(?::?(?P<M>[0-9]{2}))?(?::?(?P<S>[0-9]{2}))?"
    r"(?:[.,](?P<f>[0-9]{1,6})[0-9]*)?\s*(?P<z>Z|[+-][0-9:]+)?"
)


class TimesRefused(Exception):
    """The first row whose time is refused, how many there are, what is wrong, and the cure."""

    def __init__(self, row: int, count: int, message: str, cure: str) -> None:
        super().__init__(message)
        self.row, self.count, self.message, self.cure = row, count, message, cure


@dataclass(frozen=True)
class _Read:
    """Clock readings as microseconds since 1970, and the offset that stood beside each, in seconds (nan: none)."""

    local_us: np.ndarray
    offset_s: np.ndarray
    refused: np.ndarray


def utc_seconds(texts: Sequence[str], written: str | None, zone: tzinfo) -> np.ndarray:
    """Seconds since 1970 UTC, float64, of times as written (`written`: the strptime format; None: ISO 8601).

    In the hour that clocks repeat the order of the rows tells one pass from the other. Raises TimesRefused.
    """
    read = _read(texts, written)
    refused = np.flatnonzero(read.refused)
    if len(refused):
        row = int(refused[0])
        example = written or "2026-03-14T09:40:00"
        cure = f"correct it, or the mapping's `format` (now {example}); rows that are no readings can be passed over"
        raise TimesRefused(row, len(refused), f"{texts[row]!r} is not a time", cure)
    given = np.isfinite(read.offset_s)
    utc = read.local_us / 1e6 - np.where(given, read.offset_s, 0.0)
    if given.all():
        return utc
    if isinstance(zone, timezone):
        offset = datetime(2000, 1, 1, tzinfo=zone).utcoffset()
        return np.where(given, utc, utc - (offset.total_seconds() if offset is not None else 0.0))
    assert isinstance(zone, ZoneInfo), "a mapping's zone is an offset or of the IANA list"
    here = np.flatnonzero(~given)
    whole, part = np.divmod(read.local_us[here], 1_000_000)
    first, second = utc_candidates(whole.astype("datetime64[s]"), zone)
    skipped = np.flatnonzero(second < first)
    if len(skipped):
        row = int(here[skipped[0]])
        cure = "if the logger's clock keeps one offset all year, give it as the mapping's `zone`, e.g. +01:00"
        raise TimesRefused(row, len(skipped), f"{texts[row]} does not exist in {zone.key}", cure)
    placed = placed_by_order(whole, first, second)
    unknown = np.flatnonzero(~placed.known)
    if len(unknown):
        row = int(here[unknown[0]])
        cure = "let the logger's clock keep UTC or one offset, and give it as the mapping's `zone`"
        raise TimesRefused(row, len(unknown), f"{texts[row]} occurred twice in {zone.key}", cure)
    utc[here] = placed.time_utc + part / 1e6
    return utc


def _read(texts: Sequence[str], written: str | None) -> _Read:
    """Every kind of text at once; what fits none is read, or refused, one by one."""
    n = len(texts)
    local, offset, refused = np.zeros(n, np.int64), np.full(n, np.nan), np.zeros(n, bool)
    pattern = _ISO if written is None else _pattern(written)
    lengths = np.fromiter(map(len, texts), np.int64, n)
    waiting = {}
    for length in np.unique(lengths).tolist():
        rows = np.flatnonzero(lengths == length)
        characters = np.array([texts[row] for row in rows.tolist()], f"U{length or 1}")
        waiting[length] = rows, characters.view(np.uint32).reshape(len(rows), length or 1)
    for length, (rows, letters) in waiting.items():
        for _ in range(_MOST_KINDS):
            if not len(rows):
                break
            example = texts[rows[0]]
            match, clock = pattern.fullmatch(example), _clock(example, written)
            if match is None or clock is None:
                refused[rows[0]] = True
                rows, letters = rows[1:], letters[1:]
                continue
            fits, values = _alike(letters, match, clock, length)
            local[rows[fits]] = values[fits]
            shift = clock.utcoffset()
            offset[rows[fits]] = shift.total_seconds() if shift is not None else np.nan
            rows, letters = rows[~fits], letters[~fits]
        for row in rows.tolist():
            clock = _clock(texts[row], written)
            refused[row] = clock is None
            if clock is not None:
                local[row] = round(clock.replace(tzinfo=UTC).timestamp() * 1e6)
                shift = clock.utcoffset()
                offset[row] = shift.total_seconds() if shift is not None else np.nan
    return _Read(local, offset, refused)


def _clock(text: str, written: str | None) -> datetime | None:
    try:
        clock = datetime.fromisoformat(text.replace(",", ".")) if written is None else datetime.strptime(text, written)
    except ValueError:
        return None
    return clock if 1 < clock.year < 9999 and ("Y" in (written or "Y") or "y" in (written or "")) else None


def _pattern(written: str) -> re.Pattern[str]:
    """The places of a format's numbers; what is no number of ours is taken as it stands."""
    parts, seen = [], set()
    for piece in re.findall(r"%.|\s+|[^%\s]+", written):
        if piece.startswith("%") and len(piece) == 2:
            kind = piece[1]
            if kind in _DIGITS and kind not in seen:
                parts.append(f"(?P<{kind}>{_DIGITS[kind]})")
                seen.add(kind)
            else:
                parts.append(".+?")
        else:
            parts.append(r"\s+" if piece.isspace() else re.escape(piece))
    return re.compile("".join(parts))


def _alike(letters: np.ndarray, match: re.Match[str], clock: datetime, length: int) -> tuple[np.ndarray, np.ndarray]:
    """Which texts differ from the example in digits only and are times, and their microseconds since 1970."""
    names = [name for name in match.re.groupindex if name != "z" and match[name] is not None]
    numeric = np.zeros(max(length, 1), bool)
    for name in names:
        numeric[slice(*match.span(name))] = True
    digits = letters - np.uint32(ord("0"))  # what lies below wraps to a large number
    fits = (digits[:, numeric] < 10).all(axis=1) & (letters[:, ~numeric] == letters[0, ~numeric]).all(axis=1)

    def number(name: str, otherwise: int) -> np.ndarray:
        if name not in names:
            return np.full(len(letters), otherwise, np.int64)
        start, stop = match.span(name)
        return digits[:, start:stop].astype(np.int64) @ 10 ** np.arange(stop - start - 1, -1, -1)

    year = number("Y", clock.year)
    if "y" in names:  # POSIX: 69 to 99 are of the last century
        short = number("y", 0)
        year = np.where(short < 69, 2000, 1900) + short
    month, day = number("m", clock.month), number("d", clock.day)
    hour = number("H", clock.hour)
    if "I" in names:
        half = number("I", 0)
        fits &= (half >= 1) & (half <= 12)
        hour = half % 12 + clock.hour // 12 * 12
    minute, second = number("M", clock.minute), number("S", clock.second)
    micro = number("f", 0) * 10 ** (6 - (match.end("f") - match.start("f"))) if "f" in names else np.int64(0)
    fits &= (year > 1) & (year < 9999) & (month >= 1) & (month <= 12) & (day >= 1)
    fits &= (hour < 24) & (minute < 60) & (second < 60)
    safe_year, safe_month = np.where(fits, year, 2000), np.where(fits, month, 1)
    months = (safe_year - 1970) * 12 + safe_month - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    after = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    fits &= day <= after - first
    seconds = (first + day - 1) * 86_400 + hour * 3600 + minute * 60 + second
    return fits, seconds * 1_000_000 + micro
