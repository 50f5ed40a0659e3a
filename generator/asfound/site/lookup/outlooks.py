"""What a drift line expects of a sensor's points, in words: which point leaves its tolerance first, and when."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from asfound.assessment.due import DueState
from asfound.assessment.history.drift import Drift
from asfound.assessment.history.outlook import HORIZON_YEARS, PointOutlook
from asfound.assessment.standing import Standing, State
from asfound.rounding import value_with
from asfound.wording import words

NOT_WITHIN = f"not within {HORIZON_YEARS} years"
LEAVES_BEFORE_DUE = words.Chip(word="leaves before due", kind="drift")
MAY_BE_OUT = words.Chip(word="may be out today", kind="close")


def leaves_first(outlooks: Sequence[PointOutlook]) -> int:
    """Number of the point that leaves its tolerance first; where none does, that which uses most of it when due."""

    def order(number: int) -> tuple[date, date, float]:
        outlook = outlooks[number]
        leaves = outlook.leaves
        median = leaves.median if leaves else None
        earliest = leaves.earliest if leaves else None
        return median or date.max, earliest or date.max, -outlook.share_today

    return min(range(len(outlooks)), key=order)


def leaving_before_due(standing: Standing, *, likely: bool = True) -> tuple[Drift, PointOutlook] | None:
    """The first point to leave its tolerance before the next due day, more likely than not; None where none does.

    Not `likely`: the earlier 95 % bound counts. What is out of tolerance, or too close to call, has left it already:
    its state says so.
    """
    due = standing.due
    if standing.state is not State.IN or due.state is DueState.OUT_OF_SERVICE or due.day is None:
        return None
    leaving = []
    for drift in standing.drifts:
        for outlook in drift.outlooks:
            leaves = outlook.leaves
            day = None if leaves is None else leaves.median if likely else leaves.earliest
            if day is not None and day <= due.day:
                leaving.append((day, drift, outlook))
    return min(leaving, key=lambda one: one[0])[1:] if leaving else None


def beyond_today(standing: Standing) -> tuple[Drift, PointOutlook] | None:
    """The point at which |error| + U, in use today, are furthest beyond the tolerance; None where all are within.

    What is out of tolerance, or too close to call, is said so by its state.
    """
    if standing.state is not State.IN:
        return None
    beyond = [(drift, o) for drift in standing.drifts for o in drift.outlooks if o.share_today > 1.0]
    return max(beyond, key=lambda one: one[1].share_today) if beyond else None


def beyond_sentence(drift: Drift, outlook: PointOutlook) -> str:
    """`humidity at 20 %RH: by its history +0.64 ± 0.84 %RH today, tolerance ±1.40 %RH`."""
    symbol = words.unit(drift.channel.unit)
    error = words.difference(outlook.error_today, outlook.U_today)
    tolerance = value_with(outlook.tolerance, outlook.U_today)
    where = f"{drift.channel} at {words.target(outlook.target)}"
    return f"{where}: by its history {error} {symbol} today, tolerance ±{tolerance} {symbol}"


def leaving_sentence(drift: Drift, outlook: PointOutlook, due: date) -> str:
    """`at 10 %RH |error| + U leaves the tolerance about 2027-01-05 (95 %: …), before it is due on 2027-04-14`."""
    assert outlook.leaves is not None
    what = f"{drift.channel} at {words.target(outlook.target)}"
    return f"{what}: {words.shown(outlook.leaves.sentence)}, before it is due on {due}"


def leaving_day(outlook: PointOutlook) -> tuple[str, str]:
    """(day, bounds) as a table shows them: `2027-01-05`, `2026-12-02 to 2027-03-30`."""
    leaves = outlook.leaves
    if leaves is None:
        return "no tolerance", ""
    if outlook.limit <= 0:
        return "U too large", ""
    if leaves.earliest is None:
        return NOT_WITHIN, ""
    bounds = f"{leaves.earliest} to {leaves.latest or 'later'}"
    return (str(leaves.median), bounds) if leaves.median else (f"more likely {NOT_WITHIN}", bounds)
