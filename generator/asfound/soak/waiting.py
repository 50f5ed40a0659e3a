"""Whether the wait at a plateau was long enough, and after how many minutes it would have been."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from asfound.soak.approach import Approach, approach
from asfound.soak.plateaus import Plateau

SHARE_OF_TOLERANCE = 0.1
"""What may be left, with its U, as a share of the tolerance (our choice)."""
WINDOW_MIN = 5.0
"""minutes of readings at a plateau's end (our choice)"""
LARGEST_WINDOW = 0.4
"""of a plateau's duration (our choice)"""
LEAST_WAIT_MIN = 2.0
"""No soak shorter than this is proposed (our choice): fewer readings say nothing about a slow term."""
_SEARCHES = 6


@dataclass(frozen=True, kw_only=True)
class Wait:
    """A plateau's soak and reading, and what was left when it was read. Minutes count from the plateau's start."""

    plateau: Plateau
    window_utc: tuple[float, float]
    """of the readings: from, until"""
    soak_min: float
    """before the first reading"""
    approach: Approach
    U_left: float
    """expanded uncertainty of what was left, 95.45 %"""
    largest_left: float
    """what may be left, with its U; nan: not asked"""
    enough_after_min: float | None
    """the earliest soak after which the same readings would have done; None: this one was too short, or not asked"""

    @property
    def long_enough(self) -> bool:
        """Whether what was left, with its U, is no more than may be."""
        return enough(self.approach, self.largest_left)

    @property
    def saved_min(self) -> float:
        """Minutes that could have been saved; 0 where the soak was too short or not judged."""
        return max(0.0, self.soak_min - self.enough_after_min) if self.enough_after_min is not None else 0.0


def expanded(found: Approach) -> float:
    """U of what is left: the two-sided 95.45 % of Student's t (JCGM 100:2008, G.3.2)."""
    if not np.isfinite(found.u_left):
        return float("nan")
    return float(stdtrit(min(found.nu, 1e9), 0.5 + 0.9545 / 2.0)) * found.u_left


def enough(found: Approach, largest_left: float) -> bool:
    """Whether |left| + U is at most so much; what is not known is not enough."""
    return bool(abs(found.left) + expanded(found) <= largest_left)


def wait_at(
    plateau: Plateau,
    time_utc: np.ndarray,
    error: np.ndarray,
    *,
    largest_left: float = float("nan"),
    window_min: float = WINDOW_MIN,
    resolution: float = 0.0,
) -> Wait:
    """The soak at one plateau, read over the `window_min` at its end.

    `error`: indication minus reference (%RH), nan where there is none, shape of `time_utc` (seconds since 1970 UTC);
    `resolution`: last digit of the indication, %RH.
    """
    inside = (time_utc >= plateau.start_utc) & (time_utc <= plateau.end_utc)
    t, y = time_utc[inside] - plateau.start_utc, error[inside]
    window_s = 60.0 * min(window_min, LARGEST_WINDOW * plateau.minutes)

    def until(end_s: float) -> Approach:
        seen = t <= end_s
        return approach(
            t[seen],
            y[seen],
            window_s=(end_s - window_s, end_s),
            step=plateau.step,
            drift_per_s=plateau.drift_per_s,
            resolution=resolution,
        )

    whole = plateau.end_utc - plateau.start_utc
    found = until(whole)
    earliest = None
    if enough(found, largest_left):
        short, long = min(60.0 * LEAST_WAIT_MIN, whole - window_s), whole - window_s
        if enough(until(short + window_s), largest_left):
            long = short
        for _ in range(_SEARCHES):
            if long - short <= 30.0:
                break
            middle = (short + long) / 2.0
            if enough(until(middle + window_s), largest_left):
                long = middle
            else:
                short = middle
        earliest = float(np.ceil(long / 60.0))
    return Wait(
        plateau=plateau,
        window_utc=(plateau.end_utc - window_s, plateau.end_utc),
        soak_min=(whole - window_s) / 60.0,
        approach=found,
        U_left=expanded(found),
        largest_left=largest_left,
        enough_after_min=earliest,
    )
