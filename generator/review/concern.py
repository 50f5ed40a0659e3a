"""What a change bears on: the visits whose results may be other now, and all that these are computed with.

Assessed is only that, on both sides, so that one new visit costs little however long the history is.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date

from generator.records.load import Reading, Records
from generator.records.models import Facility, Sensor
from generator.records.settings import SettingsOn
from generator.records.visits import NAME, Visit

_LEANS_ON = ("reference", "loop_meter", "barometer")


@dataclass(frozen=True, kw_only=True)
class Concern:
    """What has to be assessed on both sides of a change."""

    affected: frozenset[tuple[str, str]]
    """(visit id, sensor or reference) whose results may be other"""
    positions: frozenset[str]
    """sensors whose state may be other: their whole histories count"""
    models: frozenset[str]
    """families whose visits make the pools that the affected ones lean on"""
    visits: frozenset[str]
    """ids of all visits that have to be read"""

    def holds(self, records: Records, visit: Visit, sensor: str) -> bool:
        """Whether a sensor's part of a visit is among what has to be assessed."""
        if sensor in self.positions or sensor in records.references or (visit.id, sensor) in self.affected:
            return True
        return _model(records, sensor, visit.day) in self.models


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
            or any(part.visit.day > self.pools.get(model, date.max) for model in part.models)
        )


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
    positions = {sensor for _, sensor in touched.parts if sensor not in head.references} | touched.sensors
    positions |= set(also) - head.references.keys()
    mine = (part for part in parts if part.key in touched.parts or part.sensor in also)
    models = {model for part in mine for model in part.models}
    return Concern(
        affected=frozenset(touched.parts),
        positions=frozenset(positions),
        models=frozenset(models),
        visits=frozenset(
            part.visit.id
            for part in parts
            if part.key in touched.parts
            or part.sensor in positions
            or part.sensor in head.references
            or not part.models.isdisjoint(models)
        ),
    )


def _judged_otherwise(now: Facility, before: Facility | None, paths: Collection[str]) -> bool:
    """Whether facility.yml judges or dates every visit otherwise; names and wording do not."""
    if "facility.yml" not in paths:
        return False
    return before is None or (now.policies, now.time_zone) != (before.policies, before.time_zone)


def _stems(folder: str, paths: Iterable[str]) -> set[str]:
    return {path.removeprefix(folder).removesuffix(".yml") for path in paths if path.startswith(folder)}


def _parts(records: Records, visits: Iterable[Visit], sensors_before: dict[str, Sensor]) -> Iterator[_Part]:
    for visit in visits:
        leaning: dict[str, set[str]] = {}
        for sensor, *names in zip(visit.text["sensor"], *(visit.text[name] for name in _LEANS_ON), strict=True):
            leaning.setdefault(sensor, set()).update(names)
        for sensor, references in leaning.items():
            families = {_model(records, sensor, visit.day), _installed(sensors_before.get(sensor), visit.day)}
            yield _Part(
                visit=visit,
                sensor=sensor,
                leans_on=frozenset(references) - {""},
                models=frozenset(families - {""}),
            )


def _model(records: Records, sensor: str, day: date) -> str:
    found = records.sensors.get(sensor)
    return SettingsOn(records, found, day).model if found else ""


def _installed(sensor: Sensor | None, day: date) -> str:
    """The model of a sensor as the base has it."""
    if sensor is None:
        return ""
    return next((i.family for i in reversed(sensor.installed) if i.from_ <= day), sensor.installed[0].family)


def _names_a_log(visit: Visit, logs: Collection[str]) -> bool:
    named = {f"logs/{name.removeprefix('logs/')}" for name in visit.text["log"] if name}
    return any(name in logs or name.rpartition(".")[0] in logs for name in named)
