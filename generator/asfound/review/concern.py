"""What a change bears on: the visits whose results may be other now, and all that these are computed with.

Assessed is only that, on both sides, so that one new visit costs little however long the history is.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from asfound.records.load import Reading, Records
from asfound.records.models import Facility, Sensor
from asfound.records.visits.joined import Joined, whole_visits
from asfound.records.visits.visit_files import NAME, Visit

_LEANS_ON = ("reference", "loop_meter", "barometer")


@dataclass(frozen=True, kw_only=True)
class Concern:
    """What has to be assessed on both sides of a change."""

    positions: frozenset[str]
    """sensors whose results or state may be other: their whole histories count"""
    by_pools: frozenset[str]
    """further sensors that the change can reach only through the pools of their families"""
    models: frozenset[str]
    """families whose visits make the pools that the affected ones lean on"""
    visits: frozenset[str]
    """ids of all visits that have to be read"""
    own: frozenset[str]
    """ids of those in which one of the positions or a reference stands; the others are the same on both sides"""
    named: frozenset[str]
    """sensors that stand in these own ones"""

    def holds(self, records: Records, visit: Visit, sensor: str) -> bool:
        """Whether a sensor's part of a visit is among what has to be assessed."""
        if sensor in self.positions or sensor in records.references:
            return True
        found = records.sensors.get(sensor)
        return found is not None and _installed(found, visit.day) in self.models


@dataclass(kw_only=True)
class _Part:
    """One sensor (or reference) in one visit file, and the references that its rows name."""

    visit: Visit
    sensor: str
    leans_on: frozenset[str]
    models: frozenset[str]
    """of its instrument, at the head and at the base"""

    @property
    def key(self) -> tuple[str, str]:
        return self.visit.id, self.sensor


@dataclass(kw_only=True)
class _Touched:
    """What is known to be other, as it grows."""

    everything: bool
    visits: set[str]
    sensors: set[str]
    families: set[str]
    references: set[str]
    pools: dict[str, date] = field(default_factory=dict)
    """by family, the first day of a pooled visit that may be other"""
    parts: set[tuple[str, str]] = field(default_factory=set)

    def reaches(self, part: _Part) -> bool:
        return (
            self.everything
            or part.visit.id in self.visits
            or part.sensor in self.sensors
            or not self.references.isdisjoint(part.leans_on)
            or not self.families.isdisjoint(part.models)
        )

    def pooled_with(self, part: _Part) -> bool:
        """Whether something that is other may count in the pool that a part leans on."""
        return any(part.visit.day > self.pools.get(model, date.max) for model in part.models)


def concern_of(
    head: Records, base: Reading, changed: Iterable[str], known: Collection[str], also: Collection[str] = ()
) -> Concern:
    """What the change of these paths bears on; `base`: those of them that the base has, as it has them.

    `known`: ids of the visits that the base has (nobody can have approved others, so they count in no pool);
    `also`: sensors that are looked at whether or not anything of theirs is other.
    """
    paths = frozenset(changed)
    touched = _Touched(
        everything=_judged_otherwise(head.facility, base.models.get("facility.yml"), paths),
        visits={name[2] for name in map(NAME.fullmatch, paths) if name},
        sensors=_stems("sensors/", paths),
        families=_stems("families/", paths),
        references=_stems("references/", paths),
    )
    logs = {path.rpartition(".")[0] for path in paths if path.startswith("logs/")}
    sensors_before = {m.id: m for path, m in base.models.items() if path.startswith("sensors/")}
    parts = [*_parts(head, head.visits, sensors_before), *_parts(head, base.visits, sensors_before)]
    if logs:
        touched.visits |= {part.visit.id for part in parts if _names_a_log(part.visit, logs)}
    waiting: list[_Part] = parts
    while reached := [part for part in waiting if touched.reaches(part)]:
        for part in reached:
            touched.parts.add(part.key)
            if part.sensor in head.references:  # it calibrates or checks a reference: what leans on that may be other
                touched.references.add(part.sensor)
            if part.visit.id in known:
                for model in part.models:
                    touched.pools[model] = min(part.visit.day, touched.pools.get(model, date.max))
        waiting = [part for part in waiting if part.key not in touched.parts]
    positions = ({sensor for _, sensor in touched.parts} | touched.sensors | set(also)) - head.references.keys()
    models = {model for part in parts if part.sensor in positions for model in part.models}
    by_pools = {part.sensor for part in waiting if touched.pooled_with(part)} - head.references.keys() - positions
    own = {part.visit.id for part in parts if part.sensor in positions or part.sensor in head.references}
    pooled = {part.visit.id for part in parts if not part.models.isdisjoint(models)}
    return Concern(
        positions=frozenset(positions),
        by_pools=frozenset(by_pools),
        models=frozenset(models),
        visits=frozenset(own | pooled),
        own=frozenset(own),
        named=frozenset(part.sensor for part in parts if part.visit.id in own) | frozenset(positions),
    )


def _judged_otherwise(now: Facility, before: Facility | None, paths: Collection[str]) -> bool:
    """Whether facility.yml judges or dates every visit otherwise; names and wording do not."""
    if "facility.yml" not in paths:
        return False
    return before is None or (now.policies, now.time_zone) != (before.policies, before.time_zone)


def _stems(folder: str, paths: Iterable[str]) -> set[str]:
    return {path.removeprefix(folder).removesuffix(".yml") for path in paths if path.startswith(folder)}


def _parts(records: Records, visits: Sequence[Visit], sensors_before: Mapping[str, Sensor]) -> Iterator[_Part]:
    """Every sensor's rows of every visit file; columns are cut once, not visit by visit."""
    visit, row = whole_visits(visits)
    rows = Joined(visits, visit, row)
    sensor = rows.words("text", "sensor")
    key = visit * len(sensor.values) + sensor.code
    leaning: dict[int, set[str]] = {number: set() for number in np.unique(key).tolist()}
    for name in _LEANS_ON:
        word = rows.words("text", name)
        both = np.unique(np.array([key, word.code])[:, word.filled], axis=1)
        for number, code in both.T.tolist():
            leaning[number].add(word.values[code])
    families = _Families(records.sensors, sensors_before)
    for number, references in leaning.items():
        at, code = divmod(number, len(sensor.values))
        name, held = sensor.values[code], visits[at]
        yield _Part(visit=held, sensor=name, leans_on=frozenset(references), models=families.of(name, held.day))


class _Families:
    """The families of the instruments at a position, at the head and at the base."""

    def __init__(self, *sides: Mapping[str, Sensor]) -> None:
        self.sides = sides
        self.known: dict[tuple[str, date], frozenset[str]] = {}

    def of(self, sensor: str, day: date) -> frozenset[str]:
        key = (sensor, day)
        if key not in self.known:
            held = [side[sensor] for side in self.sides if sensor in side]
            self.known[key] = frozenset(_installed(one, day) for one in held)
        return self.known[key]


def _installed(sensor: Sensor, day: date) -> str:
    return next((i.family for i in reversed(sensor.installed) if i.from_ <= day), sensor.installed[0].family)


def _names_a_log(visit: Visit, logs: Collection[str]) -> bool:
    named = {f"logs/{name.removeprefix('logs/')}" for name in visit.text["log"] if name}
    return any(name in logs or name.rpartition(".")[0] in logs for name in named)
