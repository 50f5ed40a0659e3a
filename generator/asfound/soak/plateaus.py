"""Where the reference stood still, from its own humidity: levels held, through noise, outliers and gaps in the log."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

LEAST_MINUTES = 5.0
"""What stands for less is no plateau (our choice)."""
BAND = 0.25
"""%RH about its level within which a reference stands, or four times its noise if that is more (our choice)."""
NOISE_BANDS = 4.0
LEAST_STEP = 0.5
"""%RH; a smaller move is no step (our choice)."""
_BLOCK_S = 20.0
_LEAST_READINGS = 3
_LOOK_BLOCKS = 6


@dataclass(frozen=True, kw_only=True)
class Plateau:
    """One level that the reference held."""

    start_utc: float
    """seconds since 1970 UTC: from here on it stood"""
    end_utc: float
    level: float
    """median of the reference, %RH"""
    step: float | None
    """by how much it had moved from where it was before, signed, %RH; None: nothing before it is known"""
    drift_per_s: float
    """its slope while it stood, %RH/s"""

    @property
    def minutes(self) -> float:
        """How long it stood."""
        return (self.end_utc - self.start_utc) / 60.0


def find_plateaus(
    time_utc: np.ndarray, reference: np.ndarray, *, least_minutes: float = LEAST_MINUTES, band: float = BAND
) -> tuple[Plateau, ...]:
    """The plateaus of a reference's humidity (%RH, nan where there is none), by time. Shapes (rows,).

    A level counts where the medians of short blocks stay within the band about it for `least_minutes`, and do not run
    through the band from one side to the other: a slow ramp is no plateau.
    """
    known = np.isfinite(reference)
    t, r = np.asarray(time_utc, float)[known], np.asarray(reference, float)[known]
    if len(t) < 2 * _LEAST_READINGS:
        return ()
    blocks_t, blocks_end, level = _blocks(t, r)
    noise = float(np.median(np.abs(np.diff(level, 2)))) / 0.6745 / np.sqrt(6.0) if len(level) > 3 else 0.0
    band = max(band, NOISE_BANDS * noise)
    found: list[Plateau] = []
    here, count = 0, len(level)
    before = float(level[0])
    first_is_known = False
    while here < count:
        stay = _stay(level, here, band)
        if stay is None:
            here += 1
            continue
        start, end = stay
        start = max(start, here)
        plateau = _plateau(t, r, blocks_t[start], blocks_end[end], band)
        if plateau is None or plateau.minutes < least_minutes:
            here += 1
            continue
        moved = plateau.level - before
        known_step = first_is_known or (not found and start > 0)
        step = moved if known_step and abs(moved) >= LEAST_STEP else None
        last = (t >= blocks_t[end]) & (t <= blocks_end[end])  # in its last block it may have begun to move
        stands = np.minimum.accumulate(np.abs(r[last] - plateau.level) <= band)
        stop = float(t[last][stands][-1]) if stands.any() else float(blocks_end[max(end - 1, start)])
        opening = (t >= blocks_t[start]) & (t <= blocks_end[start])  # in its first block it may still have moved
        moving = np.flatnonzero(np.abs(r[opening] - plateau.level) > band)
        begin = float(t[opening][min(moving[-1] + 1, opening.sum() - 1)] if len(moving) else blocks_t[start])
        found.append(replace(plateau, start_utc=begin, step=step, end_utc=stop))
        before, first_is_known, here = plateau.level, True, end + 1
    return tuple(found)


def _blocks(t: np.ndarray, r: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Begin, end and median of the blocks, of at least three readings each."""
    usual = float(np.median(np.diff(t)))
    length = max(_BLOCK_S, _LEAST_READINGS * usual)
    number = ((t - t[0]) / length).astype(np.int64)
    _, first = np.unique(number, return_index=True)
    last = np.array([*first[1:], len(t)]) - 1
    medians = np.array([np.median(r[a : b + 1]) for a, b in zip(first.tolist(), last.tolist(), strict=True)])
    return t[first], t[last], medians


def _stay(level: np.ndarray, here: int, band: float) -> tuple[int, int] | None:
    """First and last block of a stay that begins at `here`; None where it does not stand there."""
    look = level[here : here + _LOOK_BLOCKS]
    if len(look) < 2 or np.ptp(look) > 2.0 * band:
        return None
    start, end = here, _last_within(level, here, float(np.median(look)), band)
    for _ in range(3):  # the level of the whole is not the level of its beginning
        centre = float(np.median(level[(start + end) // 2 : end + 1]))
        inside = np.abs(level[start : end + 1] - centre) <= band
        if not inside.any():
            return None
        outside = np.flatnonzero(~inside[:-1] & ~inside[1:])
        later = start + (int(outside[outside < len(inside) // 2][-1]) + 2 if (outside < len(inside) // 2).any() else 0)
        later += int(np.argmax(inside[later - start :]))
        further = _last_within(level, later, centre, band)
        if (later, further) == (start, end):
            break
        start, end = later, max(further, later)
    return start, end


def _last_within(level: np.ndarray, start: int, centre: float, band: float) -> int:
    """The last block of a stay within the band: one block outside is an outlier, two are the end."""
    outside = np.abs(level[start:] - centre) > band
    leaves = np.flatnonzero(outside[:-1] & outside[1:])
    end = start + int(leaves[0]) - 1 if len(leaves) else len(level) - 1
    while end > start and abs(level[end] - centre) > band:
        end -= 1
    return max(end, start)


def _plateau(t: np.ndarray, r: np.ndarray, start: float, end: float, band: float) -> Plateau | None:
    """The readings of a stay; None where they run through the band."""
    inside = (t >= start) & (t <= end)
    x, y = t[inside], r[inside]
    level = float(np.median(y))
    near = np.abs(y - level) <= 4.0 * band
    x, y = x[near], y[near]
    half = x >= (start + end) / 2.0
    if half.sum() < 2 * _LEAST_READINGS or np.ptp(x[half]) <= 0.0:
        return None
    slope = float(np.polyfit(x[half] - x[half][0], y[half], 1)[0])
    whole = float(np.polyfit(x - x[0], y, 1)[0])
    if min(abs(whole), abs(slope)) * (end - start) > band and whole * slope > 0.0:
        return None
    return Plateau(start_utc=start, end_utc=end, level=level, step=None, drift_per_s=slope)
