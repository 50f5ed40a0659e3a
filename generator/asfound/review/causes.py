"""Why a number of an old visit is another now: which changed record it leans on, told by exchanging them by kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from typing import Any

from asfound.assessment.results.table import Result
from asfound.records.settings_in_force import SettingsOn
from asfound.records.visits.rows import SensorVisit
from asfound.records.visits.visit_files import NAME
from asfound.review.assessed_side import Key, Side
from asfound.review.changes import Change
from asfound.review.meaning import Pair, differs

POOL = "pool (what earlier visits of its family say of the scatter of readings)"
_LEANS_ON = ("reference", "loop_meter", "barometer")

Exchanged = Callable[[frozenset[str]], Mapping[Key, Result]]
"""The results of the base with some files as they are at the head."""


def causes_of(
    change: Change, before: Side, after: Side, moved: Iterable[Pair], exchanged: Exchanged
) -> list[tuple[str, ...]]:
    """Of each result that moved, its causes in words: record, reference, policy or pool, and the file."""
    ask = cache(exchanged)
    leaning = _Leaning(change, before, after)
    by_group: dict[str, frozenset[str]] = {
        group: frozenset(path for path in change.paths if _group(path) == group) for group in map(_group, change.paths)
    }
    found = []
    for pair in moved:
        files = leaning.files(pair.either)
        groups = {_group(path) for path in files}
        if len(groups) > 1:
            old = before.results.get(pair.either.key)
            alone = {g for g in groups if differs(old, ask(by_group[g]).get(pair.either.key))}
            groups = alone or groups
        words = [f"{_KINDS[_group(path)]} ({path})" for path in sorted(files) if _group(path) in groups]
        found.append(tuple(words) or (POOL,))
    return found


_KINDS = {"facility.yml": "policy", "sensors": "record", "families": "record", "references": "reference"}
_MOVES_NOTHING = frozenset(
    {
        *("id", "model", "name", "note", "place", "criticality", "controls", "process_limits", "working_humidity"),
        *("points", "interval", "adjustment_limit", "deferred_until", "deferred_reason", "out_of_service"),
    }
)
"""Keys of sensors and families by which no number of a result is computed or judged."""


def _group(path: str) -> str:
    """What is exchanged together; visits that a result leans on calibrated or checked a reference."""
    folder = path.partition("/")[0]
    return "references" if folder in ("visits", "logs") else folder if folder in _KINDS else "sensors"


def _moves_numbers(before: Any, after: Any) -> bool:
    """Whether two versions of a sensor or family differ in more than what moves nothing."""
    if before is None or after is None:
        return True
    keys = type(after).model_fields.keys() - _MOVES_NOTHING
    return any(getattr(before, key) != getattr(after, key) for key in keys)


def _of(side: Side) -> tuple[tuple[str, Mapping[str, Any]], ...]:
    return (("sensors", side.records.sensors), ("families", side.records.families))


class _Leaning:
    """The changed files that a result leans on, through references that visits here calibrated."""

    def __init__(self, change: Change, before: Side, after: Side) -> None:
        self.change, self.sides = change, (before, after)
        held = [
            {f"{folder}/{name}.yml": record for folder, found in _of(side) for name, record in found.items()}
            for side in self.sides
        ]
        self.moving = {
            path
            for path in change.paths
            if not path.startswith(("sensors/", "families/"))
            or _moves_numbers(*(records.get(path) for records in held))
        }
        self.parts: dict[tuple[str, str], list[SensorVisit]] = {}
        for side in self.sides:
            for part in side.judged.measured.parts:
                self.parts.setdefault((part.visit.id, part.sensor), []).append(part)
        self.visits: dict[str, set[str]] = {}
        for name in map(NAME.fullmatch, change.paths):
            if name:
                self.visits.setdefault(name[2], set()).add(name[0])
        self.of_reference: dict[str, frozenset[str]] = {}
        self.of_part: dict[tuple[str, str], frozenset[str]] = {}
        self.judged = before.records.facility.policies != after.records.facility.policies

    def files(self, result: Result) -> frozenset[str]:
        key = (result.visit, result.sensor)
        if key not in self.of_part:
            self.of_part[key] = self._files(result)
        return self.of_part[key]

    def _files(self, result: Result) -> frozenset[str]:
        paths = {f"sensors/{result.sensor}.yml"}
        for side in self.sides:
            sensor = side.records.sensors.get(result.sensor)
            if sensor is not None:
                paths.add(f"families/{SettingsOn(side.records, sensor, result.day).model}.yml")
        if self.judged:
            paths.add("facility.yml")
        found = paths & self.moving
        for reference in self._named(result.visit, result.sensor):
            found |= self._reference(reference)
        return frozenset(found)

    def _named(self, visit: str, sensor: str) -> set[str]:
        parts = self.parts.get((visit, sensor), ())
        return {word for part in parts for name in _LEANS_ON for word in part.words(name)}

    def _reference(self, name: str) -> frozenset[str]:
        """Of one reference: its record, the visits that calibrated or checked it, and what these lean on."""
        if name not in self.of_reference:
            self.of_reference[name] = frozenset()  # a reference that leans on itself ends here
            found = {f"references/{name}.yml"} & self.change.paths
            for visit, sensor in self.parts:
                if sensor == name:
                    found |= self.visits.get(visit, set())
                    for other in self._named(visit, sensor):
                        found |= self._reference(other)
            self.of_reference[name] = frozenset(found)
        return self.of_reference[name]
