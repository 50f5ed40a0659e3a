"""What is declared against what is seen to vary: where a facility learns that its limits are wide or narrow."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from asfound.assessment.history.lasting import Kind
from asfound.assessment.history.scales import Scales
from asfound.records.methods import METHODS
from asfound.records.models import Channel
from asfound.rounding import significant
from asfound.site.lookup.lookup import Lookup
from asfound.wording import words

LESS, MORE = "varies less than declared", "varies more than declared"
TOLD = 4.0
"""Bounds whose ratio is larger say little more than was supposed before any data (a ratio of 6; our choice)."""
KINDS_IN_WORDS = {
    Kind.OWN: "of each result alone",
    Kind.VISIT: "shared by a visit’s results",
    Kind.SHIFT: "shift of whole visits",
    Kind.PERIOD: "from one calibration of a reference to the next",
}


@dataclass(frozen=True, kw_only=True)
class EffectRow:
    """One kind of effect of one family."""

    effect: str
    most: str
    """what most of it is"""
    seen: str
    """in % of what is declared"""
    bounds: str
    word: str
    """whether it varies less or more than declared, agrees, or too little is known"""


@dataclass(frozen=True, kw_only=True)
class FamilyRow:
    """One family, channel and method."""

    family: str
    read_by: str
    basis: str
    whole: str
    """χ² with everything as declared"""
    effects: tuple[EffectRow, ...]

    @property
    def differing(self) -> tuple[EffectRow, ...]:
        """What is seen otherwise than declared, as surely as its bounds say."""
        return tuple(row for row in self.effects if row.word in (LESS, MORE))


def declared_and_seen(lookup: Lookup) -> tuple[FamilyRow, ...]:
    """Every family with instruments that tell, by model, channel and method."""
    scales = lookup.assessment.instruments.scales
    return tuple(_family(*of, scales[of]) for of in sorted(scales) if scales[of].instruments)


def _family(model: str, channel: Channel, method: str, found: Scales) -> FamilyRow:
    read_by = METHODS[method].name if method in METHODS else "another laboratory"
    basis = f"{words.counted(found.instruments, 'instrument')}, {words.counted(found.visits, 'visit')}"
    if found.left_out:
        basis += f"; {words.counted(found.left_out, 'instrument')} left out"
    size = significant(found.chi_squared, 2) if found.chi_squared < 10.0 else f"{found.chi_squared:.0f}"
    return FamilyRow(
        family=f"{model}, {channel}",
        read_by=read_by,
        basis=basis,
        whole=f"χ² {size} for {words.counted(found.freedom, 'degree')} of freedom",
        effects=tuple(_effects(found, channel)),
    )


def _effects(found: Scales, channel: Channel) -> Iterator[EffectRow]:
    """Standard deviations, not variances: what limits are written as."""
    seen = np.sqrt(found.factors.theta)
    low, high = (np.sqrt(bound) for bound in found.factors.bounds)
    for kind, effect in KINDS_IN_WORDS.items():
        if kind is Kind.SHIFT:
            start = "declared" if found.declared else "supposed, none is declared"
            most = f"{words.digits(found.shift, 2)} {words.unit(channel.unit)} {start}"
        elif kind in found.labels:
            most = found.labels[kind]
        else:
            continue  # nothing of the kind is declared, or none of it has varied yet
        yield EffectRow(
            effect=effect,
            most=words.shown(most),
            seen=f"{_percent(seen[kind])} %",
            bounds=f"{_percent(low[kind])} % to {_percent(high[kind])} %",
            word=_word(float(low[kind]), float(high[kind])),
        )


def _word(low: float, high: float) -> str:
    if high < 1.0:
        return LESS
    if low > 1.0:
        return MORE
    return "agrees with what is declared" if high / low < TOLD else "too few visits to tell"


def _percent(share: float) -> str:
    return significant(100.0 * float(share), 2)
