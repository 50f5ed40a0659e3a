"""The visit-to-visit component: what whole visits shift by beyond the uncertainty of their results.

Pooled over all instruments of a family by restricted maximum likelihood where they say enough, else as the policy
declares it. Without it the interval of a rate covers far too seldom. An instrument that scatters by far more than the
others speaks for itself (a step, a fault), not for the family: it is left out, so that it makes no other look steady.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import assert_never

from asfound.assessment.history.epochs import Epoch
from asfound.assessment.history.line import contrasts_of, tells_a_rate
from asfound.records.models import Channel, Policy
from asfound.statistics.least_squares import Contrasts, information, pooled, restricted_maximum, scatter_p_value

UNLIKE = 0.01
"""Probability with which one of a family's instruments is left out by mistake (our choice)."""


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
    left_out: int
    """instruments that scatter by far more than the others"""


def pool_of(model: str, channel: Channel, epochs: Iterable[Epoch]) -> Pool:
    """The pool of a family's epochs; those that tell no rate say nothing.

    Instruments read with one reference share what it lends them; ν counts them as independent.
    """
    members = [(epoch.visits.shape[1], contrasts_of(epoch, channel)) for epoch in epochs if tells_a_rate(epoch)]
    kept = _alike([found for _, found in members])
    found = pooled([members[i][1] for i in kept])
    variance = restricted_maximum(found)
    return Pool(
        model=model,
        sigma=math.sqrt(variance),
        information=information(found, variance),
        visits=sum(members[i][0] for i in kept),
        instruments=len(kept),
        nu=len(found.weights),
        left_out=len(members) - len(kept),
    )


def _alike(members: Sequence[Contrasts]) -> list[int]:
    """The numbers of those that scatter as the others do.

    First without all that stand out of what they themselves have widened, then, one at a time, without the worst where
    it stands out of the others alone.
    """
    kept = list(range(len(members)))
    while len(kept) > 1:
        least = UNLIKE / len(members)
        whole = pooled([members[i] for i in kept])
        variance = restricted_maximum(whole)
        p_values = {i: scatter_p_value(members[i], whole, variance) for i in kept}
        out = {i for i in kept if p_values[i] < least}
        if not out:
            worst = min(kept, key=lambda i: p_values[i])
            others = pooled([members[i] for i in kept if i != worst])
            if scatter_p_value(members[worst], others, restricted_maximum(others)) >= least:
                return kept
            out = {worst}
        kept = [i for i in kept if i not in out]
    return kept


def component(pool: Pool | None, channel: Channel, policy: Policy) -> VisitToVisit:
    """The family's own where it says enough, else the policy's."""
    if pool is not None and pool.nu >= policy.least_pool:
        basis = f"estimated from {pool.visits} visits of {pool.model} (ν = {pool.nu})"
        if pool.left_out:
            left_out = f"{pool.left_out} instrument{'s' if pool.left_out > 1 else ''}"
            basis += f", without {left_out} that scatter{'' if pool.left_out > 1 else 's'} by far more"
        return VisitToVisit(sigma=pool.sigma, information=pool.information, basis=basis)
    declared = _declared(policy, channel)
    return VisitToVisit(sigma=declared, information=math.inf, basis="declared" if declared else "none declared")


def _declared(policy: Policy, channel: Channel) -> float:
    match channel:
        case Channel.HUMIDITY:
            return policy.visit_to_visit
        case Channel.TEMPERATURE:
            return policy.visit_to_visit_temperature
        case _:
            assert_never(channel)
