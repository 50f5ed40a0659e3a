"""Histories of one invented instrument without records: days, errors and named sources are given straight away."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from asfound.assessment.history.epochs import Epoch, VisitHistory, epochs_of, lasting_of
from asfound.assessment.history.lasting import KINDS
from asfound.assessment.history.scales import Scales, nothing_seen
from asfound.assessment.results.table import Result, blank_result
from asfound.records.models import Channel
from asfound.statistics.scale_factors import exactly
from asfound.uncertainty.budgets import Budgets, make_budgets
from asfound.uncertainty.sources import Catalogue, Source
from asfound.uncertainty.terms import Terms

Sources = Mapping[str, float]
"""By identity, the signed contribution c·u; a source has the same u wherever it stands."""


class Instrument:
    """Collects results, each with its sources, and gives them as a history with budgets."""

    def __init__(self) -> None:
        self._sources: list[Sources] = []

    def result(self, day: date, target: float, error: float, sources: Sources, **keys: object) -> Result:
        """A measured result: u is the root sum of its sources, U = 2·u."""
        self._sources.append(sources)
        u = math.hypot(*sources.values())
        common = {
            "visit": f"{day}-lab", "revision": 1, "day": day, "sensor": "RH-1", "serial": "A", "model": "rush",
            "plateau": 1, "phase": "as_found", "target": target, "point": target, "reach": 3.0,
            "direction": "rising", "medium": "chamber",
            "reference": "GEN-01", "time_utc": 0, "note": "", "rule": "",
        }  # fmt: skip
        numbers = {"temperature_c": 23.0, "reference_value": target, "error": error, "u": u, "nu_eff": math.inf}
        numbers |= {"U": 2.0 * u, "line": len(self._sources) - 1}
        given = {key: keys[key] for key in common.keys() & keys.keys()}
        others = {key: value for key, value in keys.items() if key not in common}
        return blank_result(common | given, Channel.HUMIDITY, **({"status": "done"} | numbers | others))

    def budgets(self) -> Budgets:
        """The budgets of all results so far."""
        catalogue = Catalogue()
        terms = [
            (row, catalogue.add(Source(identity=identity, label="", u=1.0, unit="%RH")), contribution)
            for row, sources in enumerate(self._sources)
            for identity, contribution in sources.items()
        ]
        rows, sources, weights = (np.array(column) for column in zip(*terms, strict=True))
        return make_budgets(catalogue, Terms(rows, sources, weights), len(self._sources))

    def epoch(self, visits: Sequence[VisitHistory]) -> Epoch:
        """The epoch of the present element."""
        found = epochs_of(visits, lasting_of(visits, self.budgets()))[-1]
        assert found is not None
        return found


def certain(shift: float = 0.0, **keys: object) -> Scales:
    """Everything varies exactly as declared, and visits shift by this."""
    return replace(nothing_seen(shift), factors=exactly(KINDS), **({"instruments": 3} | keys))


def visit(day: date, found: Sequence[Result], left: Sequence[Result] | None = None, **keys: object) -> VisitHistory:
    """A visit that found, and where it left results was an adjustment."""
    changed = {"adjusted": left is not None} | keys
    return VisitHistory(day=day, as_found=tuple(found), as_left=tuple(left or ()), **changed)  # type: ignore[arg-type]
