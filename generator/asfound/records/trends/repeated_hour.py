"""The hour that clocks repeat, in an export without offsets: the order of its rows tells one pass from the other.

Where times rise into the hour, step back once and rise out of it, the rows before the step belong to the first pass and
those after it to the second. Of an hour that stands there once, or whose order contradicts itself, nothing is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Span = tuple[int, int]
"""from and until, seconds since 1970 UTC"""


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Local times placed by their order."""

    time_utc: np.ndarray
    """seconds since 1970 UTC, int64; of times that are not known, the first candidate"""
    known: np.ndarray
    """which times the order tells, or the clock alone"""
    unknown: tuple[Span, ...]
    """for each repeated hour with times that are not known, from their earliest candidate until their latest"""


def placed_by_order(local: np.ndarray, first: np.ndarray, second: np.ndarray) -> Placed:
    """Local times (seconds, int64) in the order of the file, with their candidates, to instants.

    `second` is later than `first` where the clocks showed a time twice. The newest row may stand first or last.
    """
    if len(local) and local[-1] < local[0]:
        mirrored = placed_by_order(local[::-1], first[::-1], second[::-1])
        return Placed(time_utc=mirrored.time_utc[::-1], known=mirrored.known[::-1], unknown=mirrored.unknown)
    time_utc, known, unknown = first.copy(), np.ones(len(local), bool), []
    twice = np.flatnonzero(second > first)
    usual = float(np.median(np.abs(np.diff(local)))) if len(twice) and len(local) > 1 else 0.0
    nights = (local[twice] + 43_200) // 86_400  # from noon to noon: no clock is changed at noon
    for night in np.unique(nights):
        rows = twice[nights == night]
        begins = _second_pass(local, rows, int((second - first)[rows[0]]), usual)
        if begins is None:
            known[rows] = False
            unknown.append((int(first[rows].min()), int(second[rows].max())))
        else:
            time_utc[begins : rows[-1] + 1] = second[begins : rows[-1] + 1]
    return Placed(time_utc=time_utc, known=known, unknown=tuple(unknown))


def _second_pass(local: np.ndarray, rows: np.ndarray, repeated: int, usual: float) -> int | None:
    """The row with which the second pass begins; None where the order does not tell.

    A step back that leaves more than half of the repeated span between two rows (or one usual step, if that is longer)
    may be a row out of place or twice there, and tells nothing (our choice).
    """
    start, stop = int(rows[0]), int(rows[-1]) + 1
    if stop - start != len(rows) or stop - start == len(local):
        return None
    if (start and local[start - 1] >= local[start]) or (stop < len(local) and local[stop] <= local[stop - 1]):
        return None
    steps = np.diff(local[start:stop])
    back = np.flatnonzero(steps <= 0)
    if len(back) != 1 or repeated + steps[back[0]] > max(repeated / 2, usual):
        return None
    return start + int(back[0]) + 1
