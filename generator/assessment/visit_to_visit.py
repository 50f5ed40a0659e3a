"""The visit-to-visit component: what whole visits shift by beyond the uncertainty of their results.

Pooled over all instruments of a family by restricted maximum likelihood where they say enough, else as the policy
declares it. Without it the interval of a rate covers far too seldom.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from generator.assessment.history import Epoch
from generator.assessment.least_squares import information, pooled, restricted_maximum
from generator.assessment.line import contrasts_of, tells_a_rate
from generator.records.models import Channel, Policy


@dataclass(frozen=True, kw_only=True)
class VisitToVisit:
    """A standard deviation, in the channel's unit, and how it is known."""

    sigma: float
    information: float
    """1/Var of its square; infinite where it is declared"""
    basis: str
    """in words: declared, or estimated from how many visits"""


@dataclass(frozen=True, kw_only=True)
class Pool:
    """What the instruments of one family say of it."""

    model: str
    sigma: float
    information: float
    visits: int
    instruments: int
    nu: int
    """contrasts: visits beyond what levels and rates take"""


def pool_of(model: str, channel: Channel, epochs: Iterable[Epoch]) -> Pool:
    """The pool of a family's epochs; those that tell no rate say nothing.

    Instruments read with one reference share what it lends them; ν counts them as independent.
    """
    telling = [epoch for epoch in epochs if tells_a_rate(epoch)]
    found = pooled([contrasts_of(epoch, channel) for epoch in telling])
    variance = restricted_maximum(found)
    return Pool(
        model=model,
        sigma=math.sqrt(variance),
        information=information(found, variance),
        visits=sum(epoch.visits.shape[1] for epoch in telling),
        instruments=len(telling),
        nu=len(found.weights),
    )


def component(pool: Pool | None, channel: Channel, policy: Policy) -> VisitToVisit:
    """The family's own where it says enough, else the policy's."""
    if pool is not None and pool.nu >= policy.least_pool:
        basis = f"estimated from {pool.visits} visits of {pool.model} (ν = {pool.nu})"
        return VisitToVisit(sigma=pool.sigma, information=pool.information, basis=basis)
    declared = policy.visit_to_visit if channel is Channel.HUMIDITY else policy.visit_to_visit_temperature
    return VisitToVisit(sigma=declared, information=math.inf, basis="declared")


Pools = Mapping[tuple[str, Channel], Pool]
"""By model and channel."""
