"""What changed between two visits to an instrument: as found now minus as left before, with the U of the difference."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asfound.assessment.history.epochs import VisitHistory, condition_of, same_condition
from asfound.assessment.history.lasting import KINDS, STATED_OWN, Kind, Lasting
from asfound.assessment.history.scales import Scales
from asfound.assessment.results.table import Result
from asfound.statistics.scale_factors import spread_of
from asfound.uncertainty.budgets import effective_freedom
from asfound.uncertainty.covariance import summed_contributions
from asfound.uncertainty.sources import coverage_factor

Pairs = Sequence[tuple[Result, Result]]
"""(as left before, as found now), one a point"""


@dataclass(frozen=True, kw_only=True)
class Change:
    """As found now minus last as left, at one target."""

    target: float
    before: Result
    now: Result
    change: float
    U: float
    """of the difference: sources that both share cancel, each visit shifts by its own, the rest as the family varies"""

    @property
    def significant(self) -> bool:
        """Whether the change is larger than the expanded uncertainty of the difference."""
        return abs(self.change) > self.U

    @property
    def e_n(self) -> float:
        """E_n: the change over its U (ISO 13528:2022, 9.7; ISO/IEC 17043:2010, B.3.1.3 e; from memory).

        The standards divide by the root sum of two independent U; here what both results share has cancelled.
        """
        return self.change / self.U if self.U else math.copysign(math.inf, self.change) if self.change else 0.0


def last_changes(history: Sequence[VisitHistory], lasting: Lasting | None, scales: Scales) -> tuple[Change, ...]:
    """What the newest visit found against what the visit before left."""
    if lasting is None or len(history) < 2:
        return ()
    return changes_between(history[-2], history[-1], lasting, scales)


def changes_between(before: VisitHistory, now: VisitHistory, lasting: Lasting, scales: Scales) -> tuple[Change, ...]:
    """As found now minus as left before, at every point that both hold."""
    pairs = pairs_between(before, now)
    return tuple(
        Change(target=found.point, before=left, now=found, change=found.error - left.error, U=U)
        for (left, found), U in zip(
            pairs, expanded_of_changes([[pair] for pair in pairs], lasting, scales), strict=True
        )
    )


def pairs_between(before: VisitHistory, now: VisitHistory) -> list[tuple[Result, Result]]:
    """(as left before, as found now): same point and temperature, same direction where it has it.

    At another position the loop is another: there is nothing to compare.
    """
    if before.position != now.position:
        return []
    found = []
    for result in now.as_found:
        best, condition = None, condition_of(result)
        for left in before.left:
            fits = same_condition(condition_of(left), condition)
            if fits and (best is None or left.direction == result.direction):
                best = left
                if left.direction == result.direction:
                    break
        if best is not None:
            found.append((best, result))
    return found


def expanded_of_changes(changes: Sequence[Pairs], lasting: Lasting, scales: Scales) -> tuple[float, ...]:
    """U of each change, the mean over its pairs (one or more): what both visits lean on cancels.

    Kinds of effect are scaled as the family varies, or as declared where few instruments show it: one that jumped does
    not vouch for its own jump. Another laboratory's results are independent of ours, and share most of their u at one
    visit.
    """
    if not changes:
        return ()
    n, factors = len(changes), scales.of_changes
    kinds = np.zeros((KINDS + 1, n))  # the last: what no factor scales
    kinds[Kind.SHIFT] = 2.0 * scales.shift**2
    sums: list[int] = []
    lines: list[int] = []
    weights: list[float] = []
    stated_freedom = np.full(n, np.inf)
    for number, pairs in enumerate(changes):
        for sign, results in zip((-1.0, 1.0), zip(*pairs, strict=True), strict=True):
            measured = [int(r.line) for r in results if r.line is not None]
            sums += [number] * len(measured)
            lines += measured
            weights += [sign / len(pairs)] * len(measured)
            stated = [r for r in results if r.line is None]
            if stated:
                kinds[Kind.OWN, number] += STATED_OWN * math.fsum(r.u**2 for r in stated) / len(pairs) ** 2
                kinds[Kind.VISIT, number] += (1.0 - STATED_OWN) * (math.fsum(r.u for r in stated) / len(pairs)) ** 2
                stated_freedom[number] = min(stated_freedom[number], *(r.nu_eff for r in stated))
    theta = np.append(factors.theta, 1.0)
    kinds *= theta[:, None]
    spoken = kinds[Kind.OWN] + kinds[Kind.VISIT]  # of what was stated alone so far
    terms, c_u = summed_contributions(lasting.budgets, sums, lines, weights)
    kind = lasting.kinds_of(np.searchsorted(lasting.sources, terms.source))
    scaled = c_u * np.sqrt(theta[kind])
    np.add.at(kinds, (kind, terms.row), scaled**2)
    u, nu = spread_of(kinds[:KINDS], kinds[KINDS], factors)
    safe = np.where(u > 0.0, u, 1.0)
    lines_freedom = effective_freedom(terms, scaled, u, lasting.budgets.catalogue)
    # What the budgets' own sizes are known with adds to what the factors are known with (Welch and Satterthwaite).
    unsure = 1.0 / nu + 1.0 / lines_freedom + (spoken / safe**2) ** 2 / stated_freedom
    with np.errstate(divide="ignore"):
        return tuple((coverage_factor(1.0 / unsure) * u).tolist())
