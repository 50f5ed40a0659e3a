"""How far the instruments of a family vary against what is declared, by how long each kind of effect lasts.

One factor for each kind of effect, common to a family's instruments read on one channel by one method. They are what
lines are read with, and what tells a facility that its limits are wide or narrow. An instrument that scatters by far
more than the others speaks for itself (a step, a fault), not for the family: it is left out, so that it makes no other
look steady.
"""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from typing import assert_never

import numpy as np

from asfound.assessment.history.design import design_of, steps_of, tells_a_rate
from asfound.assessment.history.epochs import Epoch
from asfound.assessment.history.lasting import KINDS, Kind, Parts
from asfound.records.models import Channel, Family, Policy
from asfound.statistics.scale_factors import Contrasts, Factors, as_declared, contrasts, goodness_of, scale_factors

UNLIKE = 0.01
"""Probability with which one of a family's instruments is left out by mistake (our choice)."""
STEP_OVER_SCATTER = 2.0
"""A step counts with so much more of its probability: the test of one is careful (our choice)."""
MOST_INSTRUMENTS, MOST_RESULTS = 60, 1500
"""More say nothing that these do not, for ln θ is then known to a few percent; which ones, a hash of their serials
decides (our choice)."""
LEAST_INSTRUMENTS = 3
"""With fewer a step cannot be told from scatter: what is declared then judges as well (our choice)."""
UNDECLARED, OF_THE_REST = 0.05, 0.25
"""Part of its tolerance that an instrument is taken to shift by from visit to visit, before any data, where nothing is
declared of it; where nothing has a tolerance, part of what else varies (our choice)."""


@dataclass(frozen=True, kw_only=True)
class Scales:
    """The factors of one family, channel and method, and what they rest on."""

    factors: Factors
    shift: float
    """standard deviation of a visit's own shift as declared or supposed, in the channel's unit"""
    declared: bool
    """whether it is declared"""
    instruments: int
    visits: int
    left_out: int
    """instruments that scatter by far more than the others"""
    chi_squared: float
    """of all their lines, with everything as declared"""
    freedom: int
    labels: Mapping[Kind, str] = field(default_factory=dict)
    """of each kind of which anything is declared, what most of it is"""

    @property
    def between(self) -> float:
        """Standard deviation from visit to visit in use, in the channel's unit."""
        return math.sqrt(float(self.factors.theta[Kind.SHIFT])) * self.shift

    @property
    def basis(self) -> str:
        """How it is known, in words."""
        start = "declared" if self.declared else "supposed"
        if not self.instruments:
            return start if self.shift else "none declared"
        instruments = f"{self.instruments} instrument{'s' if self.instruments > 1 else ''}"
        said = f"{start} {self.shift:.2g}, weighed against {self.visits} visits of {instruments}"
        if self.left_out:
            left_out = f"{self.left_out} instrument{'s' if self.left_out > 1 else ''}"
            said += f", without {left_out} that scatter{'' if self.left_out > 1 else 's'} by far more"
        return said

    @property
    def few(self) -> bool:
        """Whether too few instruments speak to tell a step of one of them from scatter."""
        return self.instruments < LEAST_INSTRUMENTS

    @property
    def of_changes(self) -> Factors:
        """What changes from visit to visit are read with; of few instruments as declared."""
        return as_declared(KINDS) if self.few else self.factors

    def covariances(self, parts: Parts) -> tuple[np.ndarray, np.ndarray]:
        """(of each kind as declared (K, n, n), fixed (n, n)) of some results."""
        return parts.covariances(self.shift)


def method_of(epoch: Epoch) -> str:
    """The method of most of its results; what another laboratory stated is one."""
    counted = Counter("stated" if r.line is None else r.method.partition(" ")[0] for r in epoch.results)
    return min(counted, key=lambda name: (-counted[name], name))


def nothing_seen(declared: float, epoch: Epoch | None = None) -> Scales:
    """Where no history says anything: as declared. `declared`: standard deviation from visit to visit, 0 where none.

    `epoch`: what is read with it, whose tolerance stands in for what is not declared.
    """
    return Scales(
        factors=as_declared(KINDS),
        shift=declared if declared > 0.0 or epoch is None else _supposed([epoch]),
        declared=declared > 0.0,
        instruments=0,
        visits=0,
        left_out=0,
        chi_squared=0.0,
        freedom=0,
    )


def scales_of(epochs: Sequence[Epoch], channel: Channel, declared: float) -> Scales:
    """What the epochs of one family, channel and method say; those that tell no rate say nothing of the factors."""
    if not epochs:
        return nothing_seen(declared)
    chosen = _chosen(epochs)
    parts = [epoch.parts for epoch in chosen]
    own, rounding = (float(np.median(np.concatenate(values))) for values in zip(*map(_own, parts), strict=True))
    coarse = rounding > own
    shift = declared if declared > 0.0 else _supposed(chosen)
    telling = [i for i, epoch in enumerate(chosen) if tells_a_rate(epoch)]
    shared = _leaning_together([chosen[i] for i in telling])
    members = [_contrasts(chosen[i], parts[i], channel, shift, lines) for i, lines in zip(telling, shared, strict=True)]
    factors, kept = _alike(members, coarse=coarse)
    chi_squared, freedom = 0.0, 0
    if kept:
        declared_fit = goodness_of([members[i] for i in kept], as_declared(KINDS))
        chi_squared, freedom = float(np.sum(declared_fit.chi_squared)), int(np.sum(declared_fit.freedom))
    counted = [chosen[telling[i]] for i in kept]
    labels: dict[Kind, str] = {}
    for epoch in counted[:1]:
        labels = epoch.lasting.labels([epoch.newest(level) for level in range(len(epoch.levels))])
    return Scales(
        factors=factors,
        shift=shift,
        declared=declared > 0.0,
        instruments=len({epoch.results[0].serial for epoch in counted}),
        visits=sum(len(epoch.days) for epoch in counted),
        left_out=len(members) - len(kept),
        chi_squared=chi_squared,
        freedom=freedom,
        labels=labels,
    )


def _supposed(epochs: Sequence[Epoch]) -> float:
    """What whole visits are taken to shift by where nothing is declared of it, in the channel's unit."""
    tolerances = np.array([result.tolerance for epoch in epochs for result in epoch.results])
    if np.isfinite(tolerances).any():
        return UNDECLARED * float(np.nanmedian(tolerances))
    parts = [epoch.parts for epoch in epochs]
    return OF_THE_REST * math.sqrt(
        float(np.median(np.concatenate([p.reading + p.own + np.diag(p.visit) for p in parts])))
    )


def declared_shift(policy: Policy, family: Family | None, channel: Channel) -> float:
    """What a family or else the policy declares that whole visits shift by, in the channel's unit; 0 where neither."""
    match channel:
        case Channel.HUMIDITY:
            own, else_ = family.visit_to_visit if family else None, policy.visit_to_visit
        case Channel.TEMPERATURE:
            own, else_ = family.visit_to_visit_temperature if family else None, policy.visit_to_visit_temperature
        case _:
            assert_never(channel)
    return next((said for said in (own, else_) if said is not None), 0.0)


def _chosen(epochs: Sequence[Epoch]) -> list[Epoch]:
    """The epochs of no more instruments than MOST_INSTRUMENTS and MOST_RESULTS allow, in the order given."""
    results = Counter[str]()
    for epoch in epochs:
        results[epoch.results[0].serial] += len(epoch.results)
    if len(results) <= LEAST_INSTRUMENTS:
        return list(epochs)
    order = sorted(results, key=lambda serial: hashlib.sha256(serial.encode()).digest())
    before = [0, *accumulate(results[serial] for serial in order)]
    chosen = {
        serial
        for number, serial in enumerate(order[:MOST_INSTRUMENTS])
        if before[number] < MOST_RESULTS or number < LEAST_INSTRUMENTS
    }
    return [epoch for epoch in epochs if epoch.results[0].serial in chosen]


def _own(parts: Parts) -> tuple[np.ndarray, np.ndarray]:
    """(variance that is a result's own without its display's rounding, variance of the rounding)."""
    return parts.reading + parts.own, parts.rounding


def _leaning_together(epochs: Sequence[Epoch]) -> list[float]:
    """For each epoch, how many of these lean on the calibrations that it leans on, weighed by what they lend it."""
    if not epochs:
        return []
    used = [epoch.lasting.of_periods(epoch.results) for epoch in epochs]
    counts = Counter(source for sources, _ in used for source in sources.tolist())
    return [
        float(np.average([counts[source] for source in sources.tolist()], weights=variance)) if len(sources) else 1.0
        for sources, variance in used
    ]


def _contrasts(epoch: Epoch, parts: Parts, channel: Channel, shift: float, lines: float) -> Contrasts:
    kinds, fixed = parts.covariances(shift)
    weights = np.ones(KINDS)
    weights[Kind.PERIOD] = 1.0 / lines
    return contrasts(design_of(epoch, channel), epoch.errors, kinds, fixed, weights, steps_of(epoch))


def _alike(members: Sequence[Contrasts], *, coarse: bool) -> tuple[Factors, list[int]]:
    """The factors of those that scatter as the others do, and their numbers.

    The worst is left out while it stands out of the factors that it has widened itself or, if not, of the others'.
    """
    kept = list(range(len(members)))
    least = UNLIKE / max(len(members), 1)
    factors = _factors(members, kept, coarse=coarse)
    while len(kept) > 1:
        p_values = _unlike([members[i] for i in kept], factors)
        worst = kept[int(np.argmin(p_values))]
        others = [i for i in kept if i != worst]
        without = _factors(members, others, coarse=coarse, start=factors)
        if np.min(p_values) >= least and _unlike([members[worst]], without)[0] >= least:
            break
        kept, factors = others, without
    return factors, kept


def _unlike(lines: Sequence[Contrasts], factors: Factors) -> np.ndarray:
    """Probability of so much scatter, or of so large a step, in each line."""
    found = goodness_of(lines, factors)
    return np.minimum(found.p_value, found.step_p_value / STEP_OVER_SCATTER)


def _factors(
    members: Sequence[Contrasts], kept: Sequence[int], *, coarse: bool, start: Factors | None = None
) -> Factors:
    """A coarse display that stands still hides scatter: what it does not show is then not taken for absent."""
    found = scale_factors([members[i] for i in kept], KINDS, start)
    return found.at_least_declared(Kind.OWN) if coarse else found
