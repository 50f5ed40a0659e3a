"""How an instrument changes from visit to visit: as found less as left before, on control charts.

The mean over the points that two visits share; sources that both lean on cancel in its uncertainty. Successive changes
share a visit, whose own shift counts in both with opposite signs: that widens the moving range by up to √1.5, so the
limits are careful ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from asfound.assessment.history.changes import expanded_of_changes, pairs_between
from asfound.assessment.history.epochs import VisitHistory
from asfound.assessment.history.lasting import Lasting
from asfound.assessment.history.scales import Scales
from asfound.records.models import Channel
from asfound.rounding import expanded, value_with
from asfound.statistics.control_charts import (
    FIRM_VALUES,
    LEAST_VALUES,
    Ewma,
    Individuals,
    ewma,
    individuals,
    moving_range_sigma,
)


@dataclass(frozen=True, kw_only=True)
class ChangeChart:
    """The changes of one channel of one instrument, in the channel's unit, in order of days."""

    channel: Channel
    days: tuple[date, ...]
    """on which each change was found"""
    changes: tuple[float, ...]
    """mean over the points"""
    U: tuple[float, ...]
    """of each change: what both visits lean on cancels, each visit shifts by its own"""
    individuals: Individuals | None
    """None with fewer than LEAST_VALUES changes"""
    ewma: Ewma | None
    """around zero, with the individuals' standard deviation"""
    sentence: str


def change_chart(
    visits: Sequence[VisitHistory], lasting: Lasting | None, channel: Channel, scales: Scales
) -> ChangeChart:
    """The chart of one channel's history (visits in order of days)."""
    found = [(now.day, pairs) for before, now in pairwise(visits) if (pairs := pairs_between(before, now))]
    days = tuple(day for day, _ in found)
    changes = tuple(math.fsum(now.error - before.error for before, now in pairs) / len(pairs) for _, pairs in found)
    U = expanded_of_changes([pairs for _, pairs in found], lasting, scales) if lasting is not None else ()
    single = average = None
    if len(changes) >= LEAST_VALUES:
        single = individuals(changes)
        average = ewma(changes, 0.0, moving_range_sigma(changes))
    return ChangeChart(
        channel=channel,
        days=days,
        changes=changes,
        U=U,
        individuals=single,
        ewma=average,
        sentence=_sentence(days, changes, U, single, average, channel),
    )


def _sentence(
    days: Sequence[date],
    changes: Sequence[float],
    U: Sequence[float],
    single: Individuals | None,
    average: Ewma | None,
    channel: Channel,
) -> str:
    count = f"{len(changes)} change{'s' if len(changes) != 1 else ''} from visit to visit"
    if single is None or average is None:
        return f"{count}: {LEAST_VALUES} are needed for limits"
    said = [count + (", too few for more than provisional limits" if len(changes) < FIRM_VALUES else "")]
    for number in single.signals:
        size = f"{value_with(changes[number], U[number], sign=True)} ± {expanded(U[number])} {channel.unit}"
        said.append(f"the change of {size} found on {days[number]} lies beyond the limits")
    if average.signals:
        first, last = days[average.signals[0]], days[average.signals[-1]]
        several = f"{len(average.signals)} times from {first} to {last}"
        left = several if len(average.signals) > 2 else "on " + " and ".join(str(days[n]) for n in average.signals)
        one_way = len({average.values[n] > average.centre for n in average.signals}) == 1
        why = ": small changes add up in one direction" if one_way and not single.signals else ""
        said.append(f"the moving average left its limits {left}{why}")
    if not single.signals and not average.signals:
        said.append("all within their limits")
    return "; ".join(said)
