"""Sources that belong to one plateau of the sensor under test: scatter, resolution, settling, probe.

Its hysteresis is none: the error is that of the point as it was approached, and what the other side of the loop would
have shown belongs to the error in use.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import assert_never

import numpy as np

from asfound.measurement.reading_table import Cell
from asfound.measurement.repeatability import Repeatability
from asfound.records.models import Channel
from asfound.records.settings_in_force import SettingsOn
from asfound.uncertainty.sources import Catalogue, Distribution, Scope, Series, Source
from asfound.uncertainty.terms import Terms

SAME_TEMPERATURE_K = 2.0
"""Within this of the working temperature a calibration is at the working temperature (our choice)."""
_SCATTER = {
    "pooled": "repeatability, pooled over earlier visits of the family",
    "declared": "repeatability, declared for the family",
    "own": "repeatability of this plateau's readings",
    "log": "scatter of the log's mean over its window",
}


class Part(StrEnum):
    """Which error: far end − reference, sensor − reference, far end − sensor."""

    TOTAL = "total"
    SENSOR = "sensor"
    LOOP = "loop"


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What plateaus' own sources depend on, shape (cells,); nan where not known."""

    humidity: np.ndarray
    """reference humidity, %RH"""
    slope: np.ndarray
    """relative change of saturation vapour pressure with temperature, 1/K"""
    temperature_c: np.ndarray
    soak_min: np.ndarray
    previous_target: Callable[[int], float]
    """of a cell: target of the plateau before, %RH"""


@dataclass(frozen=True, kw_only=True)
class Left:
    """What a log says was left of an approach when its window was read, signed, %RH."""

    value: float
    u: float
    nu: float


@dataclass(frozen=True, kw_only=True)
class _Kind:
    """One kind of rectangular source, at the cells that have it."""

    name: str
    cells: np.ndarray
    half_width: np.ndarray
    """shape (cells.shape)"""
    unit: str
    label: str
    weight: np.ndarray
    of_instrument: bool = False
    """one source at all plateaus of an instrument"""
    scope: Scope = Scope.LONGER
    rounding: bool = False


class CellSources:
    """The own sources of a table's plateaus. What channels, parts or plateaus share is numbered once."""

    def __init__(
        self,
        cells: Sequence[Cell],
        settings: Sequence[SettingsOn | None],
        catalogue: Catalogue,
        left: Mapping[tuple[int, Part], Left],
    ) -> None:
        """`left`: by number of the cell and part, what a log says was left of the approach."""
        self.cells, self.catalogue, self.left = cells, catalogue, left
        self.instruments: list[tuple[str, SettingsOn]] = []
        """name and settings of each instrument; what is not dated is the same on all its days"""
        numbers: dict[tuple[str, str, str], int] = {}
        instrument = []
        for cell, on in zip(cells, settings, strict=True):
            if on is None:
                instrument.append(-1)
                continue
            key = (cell.sensor_visit.sensor, on.serial, on.model)
            number = numbers.setdefault(key, len(self.instruments))
            if number == len(self.instruments):
                self.instruments.append((f"{key[0]}/{key[1]}", on))
            instrument.append(number)
        self.instrument = np.array(instrument, np.int64)
        self.checked = np.array([cell.plateau.phase == "check" for cell in cells], bool)
        self._numbers: dict[str, np.ndarray] = {}

    def declared(self, value: Callable[[SettingsOn], float | None]) -> np.ndarray:
        """A number that is declared of each cell's instrument, shape (cells,); nan where none is."""
        found = [value(on) for _, on in self.instruments]
        return np.array([*(math.nan if number is None else number for number in found), math.nan])[self.instrument]

    def of(
        self,
        channel: Channel,
        part: Part,
        at: np.ndarray,
        repeatability: Sequence[Repeatability],
        n: np.ndarray,
        steps: Mapping[str, np.ndarray],
        around: Surroundings,
    ) -> tuple[Terms, np.ndarray]:
        """Sources of the errors of the cells `at` (terms by cell), and signed corrections for what is left of settling.

        The corrections, shape (cells,), are to be added.

        `repeatability` by position in `at`; `n` (readings) and `steps` (resolutions as read) have shape (cells,).
        """
        correction = np.zeros(len(self.cells))
        own = [(self._scatter(channel, part, at, repeatability, n), at)]
        kinds = [*self._resolutions(channel, part, at, steps)]
        if part is not Part.LOOP:
            kinds += self._probe(channel, at, around)
            left = self._settling(channel, part, at, around)
            correction[left.cells] = left.half_width
            kinds.append(left)
            if self.left and channel is Channel.HUMIDITY:
                logged, cells, value = self._left(part, at)
                correction[cells] = value
                own.append((logged, cells))
        if part is not Part.SENSOR:
            kinds.append(self._dead_band(channel, at))
        return Terms.joined(self._numbered(own, kinds)), correction

    def amount(self, channel: Channel, name: str) -> np.ndarray:
        """An amount that is declared of a channel, shape (cells,); nan where none is."""

        def value(on: SettingsOn) -> float | None:
            amount = getattr(on.declared(channel), name)
            return amount.value if amount else None

        return self.declared(value)

    def _scatter(
        self, channel: Channel, part: Part, at: np.ndarray, known: Sequence[Repeatability], n: np.ndarray
    ) -> Series:
        """The mean of n readings: s/√n, one column a plateau, one variance group for all that share the estimate."""
        u = np.array([one.s for one in known], float) / np.sqrt(n[at])

        def source(i: int) -> Source:
            return Source(
                identity=f"{self.cells[int(at[i])].name}/{channel.value}/{part.value}/repeatability",
                label=_SCATTER[known[i].basis],
                u=float(u[i]),
                unit=channel.unit,
                nu=known[i].nu,
                group=known[i].group,
                scope=Scope.READING,
            )

        return Series(
            source=source,
            u=u,
            nu=np.array([one.nu for one in known], float),
            groups=[one.group for one in known],
            distribution=Distribution.NORMAL,
            scope=Scope.READING,
        )

    def _resolutions(
        self, channel: Channel, part: Part, at: np.ndarray, steps: Mapping[str, np.ndarray]
    ) -> Iterator[_Kind]:
        """Half a step of each display read, once a plateau, never divided by √n."""
        for name, key, label, sign in (
            ("output", "resolution", "resolution of the sensor's reading", -1.0 if part is Part.LOOP else 1.0),
            ("far_end", "far_end_resolution", "resolution at the far end", 1.0),
        ):
            if (name == "output" and part is Part.TOTAL) or (name == "far_end" and part is Part.SENSOR):
                continue
            # A loop signal has no step: the meter's own resolution counts. A checked reference's display counts
            # with its calibration.
            cells = at[~np.isnan(steps[name][at]) & ~self.checked[at]]
            given = self.amount(channel, key)[cells]
            step = np.where(np.isnan(given), steps[name][cells], given)
            yield _Kind(
                name=f"{channel.value}/{name}_resolution",
                cells=cells,
                half_width=step / 2.0,
                unit=channel.unit,
                label=label,
                weight=np.full(len(cells), sign),
                scope=Scope.PLATEAU,
                rounding=True,
            )

    def _probe(self, channel: Channel, at: np.ndarray, around: Surroundings) -> Iterator[_Kind]:
        """Probe against chamber air, and use at another temperature than the calibration's."""
        heating = self.declared(lambda on: on.whole("self_heating") or None)
        cells = at[~np.isnan(heating[at])]
        sensitivity = self._to_probe_temperature(channel, around)
        yield _Kind(
            name="self_heating",
            cells=cells,
            half_width=heating[cells],
            unit="degC",
            label="probe temperature against chamber air",
            weight=sensitivity[cells],
            of_instrument=True,
        )
        if channel is not Channel.HUMIDITY:
            return
        coefficient = self.declared(lambda on: on.whole("temperature_coefficient") or None)
        away = temperature_away(self.declared(lambda on: on.sensor.working_temperature), around.temperature_c)
        cells = at[~np.isnan(coefficient[at]) & (away[at] != 0.0)]
        yield _Kind(
            name="temperature_coefficient",
            cells=cells,
            half_width=coefficient[cells],
            unit="%RH/degC",
            label="use at the working temperature",
            weight=away[cells],
            of_instrument=True,
        )

    def _to_probe_temperature(self, channel: Channel, around: Surroundings) -> np.ndarray:
        """By how much an error changes with the probe's own temperature, per K, shape (cells,)."""
        match channel:
            case Channel.HUMIDITY:
                return around.humidity * around.slope
            case Channel.TEMPERATURE:
                return np.full(len(self.cells), -1.0)
            case _:
                assert_never(channel)

    def _settling(self, channel: Channel, part: Part, at: np.ndarray, around: Surroundings) -> _Kind:
        """What is left of a first-order approach lies between 0 and step·exp(−t/τ): half of it is corrected."""
        tau = self.declared(lambda on: on.whole("time_constant") or None)
        if self.left:
            at = at[[(cell, part) not in self.left for cell in at.tolist()]]
        follows = ~np.isnan(tau[at]) & ~np.isnan(around.soak_min[at])
        cells = at[follows & (channel is Channel.HUMIDITY)]
        step = [self.cells[cell].plateau.target - around.previous_target(cell) for cell in cells.tolist()]
        # math.exp is the same on every machine, numpy's vector loops are not to the last digit.
        share = [math.exp(x) for x in (-around.soak_min[cells] / tau[cells]).tolist()]
        left = np.array(step, float) * np.array(share, float)
        kept = np.abs(left) >= 1e-6  # not where nan
        return _Kind(
            name=f"{channel.value}/settling",
            cells=cells[kept],
            half_width=left[kept] / 2.0,
            unit=channel.unit,
            label="what is left of settling",
            weight=np.ones(int(kept.sum())),
        )

    def _left(self, part: Part, at: np.ndarray) -> tuple[Series, np.ndarray, np.ndarray]:
        """What a log says was left of the approach: its sources, at which cells, and the signed corrections there."""
        cells = at[[(cell, part) in self.left for cell in at.tolist()]]
        known = [self.left[cell, part] for cell in cells.tolist()]

        def source(i: int) -> Source:
            return Source(
                identity=f"{self.cells[int(cells[i])].name}/{Channel.HUMIDITY.value}/{part.value}/settling",
                label="what was left of the approach, from the log",
                u=known[i].u,
                unit=Channel.HUMIDITY.unit,
                nu=known[i].nu,
                scope=Scope.PLATEAU,
            )

        series = Series(
            source=source,
            u=np.array([one.u for one in known], float),
            nu=np.array([one.nu for one in known], float),
            distribution=Distribution.NORMAL,
            scope=Scope.PLATEAU,
        )
        return series, cells, np.array([one.value for one in known], float)

    def _dead_band(self, channel: Channel, at: np.ndarray) -> _Kind:
        dead_band = self.amount(channel, "far_end_dead_band")
        cells = at[dead_band[at] > 0.0]
        return _Kind(
            name=f"far_end_dead_band/{channel.value}",
            cells=cells,
            half_width=dead_band[cells],
            unit=channel.unit,
            label="filter and dead band at the far end",
            weight=np.ones(len(cells)),
            of_instrument=True,
        )

    def _numbered(self, own: Sequence[tuple[Series, np.ndarray]], kinds: Sequence[_Kind]) -> list[Terms]:
        """The terms of each part's `own` sources, by cell, and of all kinds.

        What has no number yet is numbered plateau by plateau.
        """
        series, places, waiting = [one for one, _ in own], [cells for _, cells in own], []
        for kind in kinds:
            owner = self.instrument[kind.cells] if kind.of_instrument else kind.cells
            known = self._numbers.setdefault(kind.name, np.full(len(self.cells), -1))
            _, first = np.unique(owner, return_index=True)
            first = np.sort(first[known[owner[first]] < 0])
            if kind.of_instrument:  # another stage may have met the instrument before
                met = self._series(kind, first).source
                found = [self.catalogue.find(met(i)) for i in range(len(first))]
                known[owner[first]] = [-1 if number is None else number for number in found]
                first = first[known[owner[first]] < 0]
            series.append(self._series(kind, first))
            places.append(kind.cells[first])
            waiting.append((known, owner, first))
        numbers = self.catalogue.extend(series, places)
        for (known, owner, first), new in zip(waiting, numbers[len(own) :], strict=True):
            known[owner[first]] = new
        return [
            *(Terms.of(cells, new, 1.0) for (_, cells), new in zip(own, numbers, strict=False)),
            *(
                Terms.of(kind.cells, known[owner], kind.weight)
                for kind, (known, owner, _) in zip(kinds, waiting, strict=True)
            ),
        ]

    def _series(self, kind: _Kind, positions: np.ndarray) -> Series:
        """The sources at some positions of a kind's cells."""

        def identity(i: int) -> str:
            cell = int(kind.cells[positions[i]])
            place = self.instruments[self.instrument[cell]][0] if kind.of_instrument else self.cells[cell].name
            return f"{place}/{kind.name}"

        half_width = kind.half_width[positions]
        return Series.rectangular(
            half_width,
            identity,
            kind.label,
            kind.unit,
            scope=kind.scope,
            rounding=kind.rounding,
            named=kind.of_instrument,
        )


def temperature_away(working_c: np.ndarray, temperature_c: np.ndarray) -> np.ndarray:
    """Working minus calibration temperature; 0 where the calibration was at the working temperature or none is set."""
    away = working_c - temperature_c
    return np.where(np.abs(away) > SAME_TEMPERATURE_K, away, 0.0)
