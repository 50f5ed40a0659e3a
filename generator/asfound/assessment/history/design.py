"""The parameters of a line: a level for each point of each segment, the years, and where it can be told the span."""

from __future__ import annotations

import numpy as np

from asfound.assessment.history.epochs import Epoch
from asfound.records.models import Channel

LEAST_VISITS = 3
SPAN_SPREAD_RH = 20.0
"""Span drift can be told where the points that recur are at least so far apart, %RH (our choice)."""


def tells_a_rate(epoch: Epoch) -> bool:
    """Whether there are visits enough, and a point that recurs."""
    return len(epoch.days) >= LEAST_VISITS and epoch.recurs


def centre_of(epoch: Epoch) -> float:
    """h̄: the mean reference value of the open segment's points."""
    levels = epoch.open_levels or range(len(epoch.levels))
    return float(np.mean(epoch.reference_values[list(levels)]))


def design_of(epoch: Epoch, channel: Channel) -> np.ndarray:
    """A column for each level, the years, and where span drift can be told the years times h − h̄; shape (n, p)."""
    levels = np.eye(len(epoch.levels))[epoch.level]
    columns = [levels, epoch.years]
    if _span_can_be_told(epoch, channel):
        columns.append(epoch.years * (epoch.reference_values - centre_of(epoch))[epoch.level])
    return np.column_stack(columns)


def steps_of(epoch: Epoch) -> np.ndarray:
    """1 where a result is of a visit or a later one, a column for each visit but the first; shape (n, visits − 1)."""
    return (epoch.visit[:, None] >= np.unique(epoch.visit)[1:]).astype(float)


def _span_can_be_told(epoch: Epoch, channel: Channel) -> bool:
    """Whether levels that recur are far enough apart, on visits enough."""
    if channel is not Channel.HUMIDITY or len(epoch.days) < LEAST_VISITS:
        return False
    recurring = epoch.reference_values[epoch.days_seen > 1]
    return len(recurring) > 1 and float(np.ptp(recurring)) >= SPAN_SPREAD_RH
