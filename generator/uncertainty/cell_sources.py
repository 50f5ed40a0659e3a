"""Sources that belong to one plateau of the sensor under test: scatter, resolution, hysteresis, settling, probe."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from generator.records.models import Channel, ChannelDefaults
from generator.records.settings import SettingsOn
from generator.uncertainty.repeatability import Repeatability
from generator.uncertainty.sources import Catalogue, Source, rectangular
from generator.uncertainty.table import Cell

Weighted = tuple[int, float]
"""(number of the source, sensitivity)"""

SAME_TEMPERATURE_K = 2.0
"""Within this of the working temperature a calibration is at the working temperature (our choice)."""


class Part(StrEnum):
    """Which error: far end − reference, sensor − reference, far end − sensor."""

    TOTAL = "total"
    SENSOR = "sensor"
    LOOP = "loop"


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What a plateau's own sources depend on; nan where not known."""

    humidity: float
    """reference humidity, %RH"""
    slope: float
    """relative change of saturation vapour pressure with temperature, 1/K"""
    temperature_c: float
    soak_min: float
    previous_target: float
    """target of the plateau before, %RH"""


def cell_terms(
    cell: Cell,
    settings: SettingsOn | None,
    channel: Channel,
    part: Part,
    catalogue: Catalogue,
    repeatability: Repeatability,
    n: int,
    steps: dict[str, float],
    around: Surroundings,
) -> tuple[list[Weighted], float]:
    """Sources of one plateau's error, and the signed correction to add to it for what is left of settling."""
    visit, sensor, number = cell.sensor_visit.visit.name, cell.sensor_visit.sensor, cell.plateau.number
    place, unit = f"{visit}/{sensor}/{number}/{channel.value}", channel.unit
    known = settings.declared(channel) if settings else None
    terms = [_scatter(f"{place}/{part.value}", unit, repeatability, n, catalogue)]
    if cell.plateau.phase != "check":  # a checked reference's display counts with its calibration
        terms += _resolutions(place, channel, part, known, steps, catalogue)
    correction = 0.0
    if settings is None or known is None:
        return terms, correction
    instrument = settings.serial
    if part is not Part.LOOP:
        terms += _hysteresis(cell, place, channel, known, catalogue)
        terms += _probe(f"{sensor}/{instrument}", channel, settings, around, catalogue)
        correction, left = _settling(place, channel, settings, cell, around, catalogue)
        terms += left
    dead_band = known.far_end_dead_band
    if dead_band and part is not Part.SENSOR:
        source = rectangular(
            f"{sensor}/{instrument}/far_end_dead_band/{channel.value}",
            "filter and dead band at the far end",
            dead_band.value,
            unit,
        )
        terms.append((catalogue.add(source), 1.0))
    return terms, correction


def _scatter(place: str, unit: str, known: Repeatability, n: int, catalogue: Catalogue) -> Weighted:
    """The mean of n readings: s/√n, one column a plateau, one variance group for all that share the estimate."""
    label = {
        "pooled": "repeatability, pooled over earlier visits of the family",
        "declared": "repeatability, declared for the family",
        "own": "repeatability of this plateau's readings",
    }[known.basis]
    source = Source(
        identity=f"{place}/repeatability",
        label=label,
        u=known.s / math.sqrt(n),
        unit=unit,
        nu=known.nu,
        group=known.group,
    )
    return catalogue.add(source), 1.0


def _resolutions(
    place: str,
    channel: Channel,
    part: Part,
    known: ChannelDefaults | None,
    steps: dict[str, float],
    catalogue: Catalogue,
) -> list[Weighted]:
    """Half a step of each display read, once a plateau, never divided by √n."""
    terms: list[Weighted] = []
    for name, given, label, sign in (
        ("output", known and known.resolution, "resolution of the sensor's reading", 1.0),
        ("far_end", known and known.far_end_resolution, "resolution at the far end", 1.0),
    ):
        if (name == "output" and part is Part.TOTAL) or (name == "far_end" and part is Part.SENSOR):
            continue
        step = steps[name]
        if math.isnan(step):  # a loop signal: the meter's own resolution counts
            continue
        step = given.value if given else step
        source = rectangular(f"{place}/{name}_resolution", label, step / 2.0, channel.unit)
        terms.append((catalogue.add(source), -sign if name == "output" and part is Part.LOOP else sign))
    return terms


def _hysteresis(
    cell: Cell, place: str, channel: Channel, known: ChannelDefaults, catalogue: Catalogue
) -> list[Weighted]:
    """Half of the declared width; a rising or falling plateau of a visit that went both ways shows it itself."""
    declared = known.hysteresis
    if declared is None:
        return []
    here = cell.plateau
    ways = {
        p.direction
        for p in cell.sensor_visit.plateaus
        if p.phase == here.phase and p.target == here.target and p.status == "read"
    }
    if here.direction in ways - {"start"} and {"rising", "falling"} <= ways:
        return []
    source = rectangular(f"{place}/hysteresis", "hysteresis, half of its width", declared.value / 2.0, channel.unit)
    return [(catalogue.add(source), 1.0)]


def _probe(
    instrument: str,
    channel: Channel,
    settings: SettingsOn,
    around: Surroundings,
    catalogue: Catalogue,
) -> list[Weighted]:
    """Probe against chamber air, and use at another temperature than the calibration's."""
    terms: list[Weighted] = []
    heating = settings.whole("self_heating")
    if heating:
        source = rectangular(f"{instrument}/self_heating", "probe temperature against chamber air", heating, "degC")
        sensitivity = around.humidity * around.slope if channel is Channel.HUMIDITY else -1.0
        terms.append((catalogue.add(source), sensitivity))
    away = temperature_away(settings, around.temperature_c)
    coefficient = settings.whole("temperature_coefficient")
    if channel is Channel.HUMIDITY and coefficient and away:
        source = rectangular(
            f"{instrument}/temperature_coefficient", "use at the working temperature", coefficient, "%RH/degC"
        )
        terms.append((catalogue.add(source), away))
    return terms


def temperature_away(settings: SettingsOn, temperature_c: float) -> float:
    """Working minus calibration temperature, 0 where the calibration was at the working temperature or none is set."""
    working = settings.sensor.working_temperature
    if working is None or math.isnan(temperature_c) or abs(working - temperature_c) <= SAME_TEMPERATURE_K:
        return 0.0
    return float(working - temperature_c)


def _settling(
    place: str,
    channel: Channel,
    settings: SettingsOn,
    cell: Cell,
    around: Surroundings,
    catalogue: Catalogue,
) -> tuple[float, list[Weighted]]:
    """What is left of a first-order approach lies between 0 and step·exp(−t/τ): half of it is corrected."""
    tau = settings.whole("time_constant")
    if channel is not Channel.HUMIDITY or not tau or math.isnan(around.soak_min + around.previous_target):
        return 0.0, []
    left = (cell.plateau.target - around.previous_target) * math.exp(-around.soak_min / tau)
    if abs(left) < 1e-6:
        return 0.0, []
    source = rectangular(f"{place}/settling", "what is left of settling", left / 2.0, channel.unit)
    return left / 2.0, [(catalogue.add(source), 1.0)]
