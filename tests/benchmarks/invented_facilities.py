"""Whole invented facilities: records as bytes, and what is true behind them, which no record says.

A facility has the references of `invented_references.py` and three families of four instruments: one read both ways
with a temperature channel, one with a display of whole percent read rising only, one in dry air. All that records
declare is drawn from what they declare; how long a draw lasts is the world's.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np

from tests import builders as b
from tests.benchmarks.invented_references import (
    HEATING_C,
    LAST_YEAR,
    SALTS,
    Standards,
    World,
    rounded,
    years_of,
)
from tests.demo.world import Air

BEFORE_DUE = date(LAST_YEAR, 12, 31)
VISITS = 5, 8
"""fewest and most to an instrument"""
READINGS = 3

RATE, RATE_C = 0.2, 0.02
"""standard deviations of the true rates, a year"""
SHIFT, SHIFT_C = 0.1, 0.01
"""of what a visit shifts an instrument by, as the policy declares"""
TEMPERATURE_REPEATABILITY, TEMPERATURE_DISPLAY = 0.01, 0.01
NARROWEST_LOOP = 0.4
"""Smallest true width of a loop for a declared one of 1, where loops are constant."""


@dataclass(frozen=True, kw_only=True)
class Model:
    """A family, and how its instruments are read."""

    name: str
    display: float
    repeatability: float
    loop: float
    """declared full width"""
    points: tuple[tuple[float, str], ...]
    temperature: bool = False

    def files(self) -> b.Files:
        """Its record."""
        humidity = {
            "resolution": f"{self.display} %RH",
            "repeatability": f"{self.repeatability} %RH",
            "hysteresis": f"{self.loop} %RH",
        }
        channels: b.Keys = {"channels": ["humidity"]}
        if self.temperature:
            channels = {
                "channels": ["humidity", "temperature"],
                "temperature": {
                    "resolution": f"{TEMPERATURE_DISPLAY} degC",
                    "repeatability": f"{TEMPERATURE_REPEATABILITY} degC",
                },
                "temperature_tolerance": {"absolute": "2 degC"},
                "self_heating": f"{HEATING_C} degC",
            }
        # Wide tolerances: whether an error is allowed is no question here, and findings cost time.
        limits = {"tolerance": {"absolute": "9 %RH"}, "points": {"humidity": _humidities(self.points)}}
        return b.family(self.name, humidity=humidity, **channels, **limits)


RUSH = Model(
    name="rush",
    display=0.1,
    repeatability=0.1,
    loop=0.7,
    points=((20.0, "start"), (50.0, "rising"), (80.0, "rising"), (50.0, "falling")),
    temperature=True,
)
SEDGE = Model(
    name="sedge",
    display=1.0,
    repeatability=0.1,
    loop=0.7,
    points=((20.0, "start"), (50.0, "rising"), (80.0, "rising")),
)
FESCUE = Model(
    name="fescue",
    display=0.01,
    repeatability=0.03,
    loop=0.3,
    points=((5.0, "start"), (10.0, "rising"), (15.0, "rising")),
)
MODELS = (RUSH, SEDGE, FESCUE)
OF_SALTS = tuple(zip(SALTS.values(), ("start", "rising", "rising"), strict=True))


@dataclass(frozen=True, kw_only=True)
class Group:
    """Instruments of one family that one reference serves: they stand in its chamber together."""

    model: Model
    reference: str
    sensors: tuple[str, ...]
    month: int
    """in which it is visited"""

    @property
    def points(self) -> tuple[tuple[float, str], ...]:
        """Targets and directions, in order of time."""
        return OF_SALTS if self.reference == "SALT-01" else self.model.points


@dataclass(frozen=True, kw_only=True)
class Facility:
    """What the program is given, and what it is not."""

    files: b.Files
    groups: tuple[Group, ...]
    errors: dict[tuple[str, str, str, int], float]
    """visit, sensor, channel, plateau → the instrument's true error there, as it was approached on that day"""
    rates: dict[tuple[str, str], float]
    """sensor, channel → its true rate a year"""


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """One sensor's true behaviour."""

    rate: float
    rate_c: float
    shape: np.ndarray
    """error at 50 %RH, and what is added by the distance from there and its square"""
    level_c: float
    heating_c: float
    """by how much the probe is warmer than the air"""
    loops: dict[tuple[float, str], float]

    def error(self, humidity: float, point: tuple[float, str], years: float) -> float:
        """At a humidity, as the point was approached."""
        along = (humidity - 50.0) / 50.0
        return float(self.shape @ (1.0, along, along**2)) + self.rate * years + self.loops[point]


def facility(world: World, rng: np.random.Generator, visits: tuple[int, int] = VISITS) -> Facility:
    """One facility with its history, in a world; `visits`: fewest and most to an instrument before the due day."""
    standards = Standards(rng, world)
    groups = tuple(_groups(rng))
    files, errors, rates = _people_and_rules() | standards.files(), {}, {}
    for model in MODELS:
        files |= model.files()
    for group in groups:
        own = {}
        for name in group.sensors:
            own[name] = instrument = _instrument(group, world, rng)
            rates[name, "humidity"], rates[name, "temperature"] = instrument.rate, instrument.rate_c
            installed = [{"serial": f"{name}-A", "family": group.model.name, "from": "2000-01-01"}]
            files |= b.sensor(name, installed=installed, points={"humidity": _humidities(group.points)})
        for day in _days(group, visits, rng):
            visit, rows = f"{day}-{group.model.name}-{group.reference.lower()}", _Rows(standards, group, own, day)
            files |= b.visit(visit, rows.drawn())
            errors |= {(visit, *key): error for key, error in rows.errors.items()}
    return Facility(files=files, groups=groups, errors=errors, rates=rates)


@dataclass
class _Rows:
    """The rows of one visit, and the true errors in it."""

    standards: Standards
    group: Group
    instruments: dict[str, Instrument]
    day: date
    errors: dict[tuple[str, str, int], float] = field(default_factory=dict)

    def drawn(self) -> list[b.Row]:
        """One reading a minute, an hour apart from point to point."""
        rng, group = self.standards.rng, self.group
        years, conditions = years_of(self.day), self.standards.conditions()
        shifts = {name: (SHIFT * rng.standard_normal(), SHIFT_C * rng.standard_normal()) for name in group.sensors}
        warmer = {name: self.standards.warmer_at(group.reference) for name in group.sensors}
        rows: list[b.Row] = []
        for number, point in enumerate(group.points, start=1):
            air, reading = self.standards.air(group.reference, point[0], years, conditions)
            humidity_at = _warmed(air)
            for name in group.sensors:
                sensor = self.instruments[name]
                at_probe = warmer[name] + sensor.heating_c
                humidity = humidity_at(at_probe)
                error = sensor.error(humidity, point, years) + shifts[name][0]
                self.errors[name, "humidity", number] = error
                shown = humidity + error + group.model.repeatability * rng.standard_normal(READINGS)
                columns: dict[str, Any] = {
                    "time": [f"{self.day} {7 + number:02d}:{minute:02d}" for minute in range(READINGS)]
                }
                if group.model.temperature:
                    error_c = sensor.level_c + sensor.rate_c * years + shifts[name][1]
                    self.errors[name, "temperature", number] = error_c
                    degrees = air.temperature_c + at_probe + error_c
                    degrees = degrees + TEMPERATURE_REPEATABILITY * rng.standard_normal(READINGS)
                    columns["output_temperature"] = [f"{rounded(c, TEMPERATURE_DISPLAY):.2f}" for c in degrees]
                outputs = [f"{rounded(rh, group.model.display):.2f}" for rh in shown]
                rows += b.plateau(point[0], outputs, reading, sensor=name, **columns)
        return rows


def one_way(points: Sequence[tuple[float, str]], point: tuple[float, str]) -> bool:
    """Whether a point is approached from one side only."""
    ways = {way for target, way in points if target == point[0]}
    return not {"rising", "falling"} <= ways


def _people_and_rules() -> b.Files:
    policy = {
        "rule": "guard_band",
        "visit_to_visit": f"{SHIFT} %RH",
        "visit_to_visit_temperature": f"{SHIFT_C} degC",
    }
    return b.facility(policies=policy) | b.people()


def _groups(rng: np.random.Generator) -> Iterator[Group]:
    """Four instruments a family; salts and mirror serve one or three of theirs."""
    yield Group(model=RUSH, reference="GEN-01", sensors=_names("RU", range(4)), month=3)
    for model, prefix, other, month in ((SEDGE, "SE", "SALT-01", 5), (FESCUE, "RE", "MIR-01", 9)):
        own = 4 - int(rng.choice([1, 3]))
        yield Group(model=model, reference="GEN-01", sensors=_names(prefix, range(own)), month=month)
        yield Group(model=model, reference=other, sensors=_names(prefix, range(own, 4)), month=month + 1)


def _names(prefix: str, numbers: range) -> tuple[str, ...]:
    return tuple(f"{prefix}-{number + 1}" for number in numbers)


def _instrument(group: Group, world: World, rng: np.random.Generator) -> Instrument:
    width, loops = group.model.loop, {}
    true_width = width * rng.uniform(NARROWEST_LOOP, 1.0)
    for point in group.points:
        # The first point is reached from the room's air, which is more humid.
        side = -0.5 if point[1] == "rising" else 0.5
        loops[point] = side * true_width if world.constant else rng.uniform(-0.5, 0.5) * width
    return Instrument(
        rate=RATE * rng.standard_normal(),
        rate_c=RATE_C * rng.standard_normal(),
        shape=np.array([0.5, 0.5, 0.2]) * rng.standard_normal(3),
        level_c=0.1 * rng.standard_normal(),
        heating_c=rng.uniform(-HEATING_C, HEATING_C) if group.model.temperature else 0.0,
        loops=loops,
    )


def _days(group: Group, visits: tuple[int, int], rng: np.random.Generator) -> list[date]:
    """About a year apart; the last is the day on which it is due."""
    count = int(rng.integers(visits[0], visits[1] + 1))
    first = LAST_YEAR + 1 - count
    days = [date(first + i, group.month, 5) + timedelta(days=int(rng.integers(0, 23))) for i in range(count)]
    return [*days, days[-1].replace(year=LAST_YEAR + 1)]


def _humidities(points: Sequence[tuple[float, str]]) -> list[str]:
    return [f"{target:g} %RH" for target in dict.fromkeys(target for target, _ in points)]


def _warmed(air: Air) -> Any:
    """Humidity by how much warmer the air gets: ln RH is straight over a tenth of a kelvin, and CoolProp is slow."""
    here, there = air.humidity(), air.warmed(0.1).humidity()
    return lambda kelvin: here * (there / here) ** (kelvin / 0.1)
