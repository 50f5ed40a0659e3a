"""Rows of the results: what was measured, how sure, judged how, approved by then, and on which certificate."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from asfound.assessment.assess import Assessment
from asfound.assessment.results.conformity import SMALLEST_P
from asfound.assessment.results.table import NAMES, Result
from asfound.provenance import ApprovalState, Provenance
from asfound.records.settings_in_force import SettingsOn
from asfound.tables.columns import RESULTS

_OF_THE_RESULT = tuple(name for name in RESULTS.names if name in NAMES and name != "p_outside")
_OTHERWISE_NAMED = {
    "time": "time_utc",
    "standard_uncertainty": "u",
    "expanded_uncertainty": "U",
    "expanded_uncertainty_sensor": "U_sensor",
    "expanded_uncertainty_loop": "U_loop",
}


def result_rows(
    assessment: Assessment, provenance: Provenance, results: Iterable[Result] | None = None
) -> Iterator[dict[str, Any]]:
    """One row a result (None: of all), by column of RESULTS."""
    places = _Places(assessment)
    approvals = _approvals(assessment, provenance)
    certificates = _certificates(assessment)
    for result in assessment.results if results is None else results:
        part = (result.visit, result.sensor)
        yield {
            **{name: getattr(result, name) for name in _OF_THE_RESULT},
            **{name: getattr(result, own) for name, own in _OTHERWISE_NAMED.items()},
            **_probability(result.p_outside),
            "unit": result.unit,
            "part": result.part if result.line is not None else None,
            "reservations": [fault.rule.name for fault in result.reservations],
            "place": places.of(result),
            "approval": approvals[part],
            "certificate": certificates.get(part),
        }


def _probability(p: float) -> dict[str, float]:
    """Below what is known of the tails no number is told, only that it is below."""
    return {"p_outside_below": SMALLEST_P} if p < SMALLEST_P else {"p_outside": p}


class _Places:
    """Where sensors served on the days of their visits."""

    def __init__(self, assessment: Assessment) -> None:
        self._records = assessment.records
        self._known: dict[tuple[str, str], str | None] = {}

    def of(self, result: Result) -> str | None:
        """The id of the place; None of a reference."""
        key = (result.visit, result.sensor)
        if key not in self._known:
            sensor = self._records.sensors.get(result.sensor)
            self._known[key] = SettingsOn(self._records, sensor, result.day).place.place if sensor else None
        return self._known[key]


def _approvals(assessment: Assessment, provenance: Provenance) -> dict[tuple[str, str], ApprovalState]:
    """By visit and sensor, how far what stands of the visit has come."""
    parts = (summary.sensor_visit for summary in assessment.summaries)
    return {(sv.visit.id, sv.sensor): provenance.visits[sv.visit.path].state_for(sv.sensor) for sv in parts}


def _certificates(assessment: Assessment) -> Mapping[tuple[str, str], str]:
    """By visit and sensor, the number of the newest certificate that was issued up to the day."""
    issued = sorted(assessment.records.issued, key=lambda one: one.revision)
    return {(one.visit, one.sensor): one.number for one in issued if one.day <= assessment.day}
