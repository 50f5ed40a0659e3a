"""Sources that belong to one plateau of the sensor under test: scatter, resolution, settling, probe.

Its hysteresis is none: the error is that of the point as it was approached, and what the other side of the loop would
have shown belongs to the error in use.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import assert_never

import numpy as np

from asfound.measurement.further_sources import of_sensor
from asfound.measurement.reading_table import Cell
from asfound.measurement.repeatability import Repeatability
from asfound.measurement.settling import share_left
from asfound.records.models import Channel, TimeConstant
from asfound.records.settings_in_force import SettingsOn
from asfound.uncertainty.sources import Catalogue, Distribution, Scope, Series, Source
from asfound.uncertainty.terms import Terms

SAME_TEMPERATURE_K = 2.0
"""Within this of the working temperature a calibration is at the working temperature (our choice)."""
_SCATTER = {
    "pooled": "repeatability, pooled over earlier visits of the family",
    "declared": "repeatability, declared for the family",
    "own": "repeatability of this plateau's readings",
    "own, beyond pooled": "repeatability of this plateau's readings, more than that of the family's earlier visits",
    "own, beyond declared": "repeatability of this plateau's readings, more than is declared",
    "log": "scatter of the log's mean over its window",
}
_DISPLAYS = {
    "output": ("resolution", "resolution of the sensor's reading"),
    "far_end": ("far_end_resolution", "resolution at the far end"),
}
"""by display: the key that declares its step, and the source's label"""


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
    waited_min: Callable[[int], Sequence[float]]
    """of a cell: minutes at its point when each of its readings was taken; none where no soak is written"""
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
    of_instrument: str = ""
    """key of a property: one source at all plateaus of an instrument, until another value of it is in force"""
    scope: Scope = Scope.LONGER
    rounding: bool = False


KNOWN = (*(channel.value for channel in Channel), "self_heating", "temperature_coefficient", "time_constant")
"""Keys of what is known of an instrument's errors, each from a day on."""


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
        """name and settings of each instrument, once for the days on which the same is known of it"""
        numbers: dict[tuple[object, ...], int] = {}
        of_settings: dict[tuple[str, int], int] = {}
        instrument = []
        for cell, on in zip(cells, settings, strict=True):
            if on is None:
                instrument.append(-1)
                continue
            sensor = cell.sensor_visit.sensor
            if (sensor, id(on)) not in of_settings:
                key = (sensor, on.serial, on.model, *map(on.since, KNOWN))
                number = of_settings[sensor, id(on)] = numbers.setdefault(key, len(self.instruments))
                if number == len(self.instruments):
                    self.instruments.append((f"{sensor}/{on.serial}", on))
            instrument.append(of_settings[sensor, id(on)])
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
            settling, cells, value = self._settling(channel, part, at, around)
            correction[cells] = value
            kinds += settling
            if self.left and channel is Channel.HUMIDITY:
                logged, cells, value = self._left(part, at)
                correction[cells] = value
                own.append((logged, cells))
        if part is not Part.SENSOR:
            kinds.append(self._dead_band(channel, at))
        return Terms.joined([*self._numbered(own, kinds), *self._further(channel, part, at, n)]), correction

    def _further(self, channel: Channel, part: Part, at: np.ndarray, n: np.ndarray) -> Iterator[Terms]:
        """What is known beyond the usual: of the sensor in its own error, of the far end in the loop's."""
        without = {"sensor": Part.LOOP, "far_end": Part.SENSOR}
        for number, (name, on) in enumerate(self.instruments):
            for source in on.whole("further") or ():
                if source.channel is channel and part is not without[source.of]:
                    mine = at[self.instrument[at] == number]
                    yield of_sensor(self.catalogue, self.cells, mine, name, source, n)

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
        for name, step in self._steps(channel, part, steps).items():
            # A checked reference's display counts with its calibration.
            cells = at[~np.isnan(step[at]) & ~self.checked[at]]
            opposite = name == "output" and part is Part.LOOP
            yield _Kind(
                name=f"{channel.value}/{name}_resolution",
                cells=cells,
                half_width=step[cells] / 2.0,
                unit=channel.unit,
                label=_DISPLAYS[name][1],
                weight=np.full(len(cells), -1.0 if opposite else 1.0),
                scope=Scope.PLATEAU,
                rounding=True,
            )

    def _steps(self, channel: Channel, part: Part, seen: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
        """By display that a part is read from, its step: declared, else as seen; nan where it was not read.

        A loop signal has no step: the meter's own resolution counts.
        """
        without = {Part.TOTAL: "output", Part.SENSOR: "far_end"}.get(part)
        steps = {}
        for name, (key, _) in _DISPLAYS.items():
            if name != without:
                given = self.amount(channel, key)
                steps[name] = np.where(np.isnan(given) | np.isnan(seen[name]), seen[name], given)
        return steps

    def rounding(self, channel: Channel, part: Part, seen: Mapping[str, np.ndarray]) -> np.ndarray:
        """By how much displays may have rounded each reading of a cell, shape (cells,); 0 where none was read."""
        halves = [np.nan_to_num(step) / 2.0 for step in self._steps(channel, part, seen).values()]
        return np.asarray(sum(halves, np.zeros(len(self.cells))))

    def _probe(self, channel: Channel, at: np.ndarray, around: Surroundings) -> Iterator[_Kind]:
        """Probe against chamber air, and use at another temperature than the calibration's."""
        heating = self.declared(lambda on: on.known("self_heating") or None)
        cells = at[~np.isnan(heating[at])]
        sensitivity = self._to_probe_temperature(channel, around)
        yield _Kind(
            name="self_heating",
            cells=cells,
            half_width=heating[cells],
            unit="degC",
            label="probe temperature against chamber air",
            weight=sensitivity[cells],
            of_instrument="self_heating",
        )
        if channel is not Channel.HUMIDITY:
            return
        coefficient = self.declared(lambda on: on.known("temperature_coefficient") or None)
        away = temperature_away(self.declared(lambda on: on.sensor.working_temperature), around.temperature_c)
        cells = at[~np.isnan(coefficient[at]) & (away[at] != 0.0)]
        yield _Kind(
            name="temperature_coefficient",
            cells=cells,
            half_width=coefficient[cells],
            unit="%RH/degC",
            label="use at the working temperature",
            weight=away[cells],
            of_instrument="temperature_coefficient",
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

    def _settling(
        self, channel: Channel, part: Part, at: np.ndarray, around: Surroundings
    ) -> tuple[list[_Kind], np.ndarray, np.ndarray]:
        """What should be left of a first-order approach: its sources, at which cells, and signed corrections there.

        A nominal constant is one and the same at all plateaus of an instrument, and so is what it is off by.
        """
        constants: list[TimeConstant | None] = [*(on.dated("time_constant") for _, on in self.instruments), None]
        nominal, longest = list[tuple[float, ...]](), list[tuple[float, ...]]()
        declared = channel is Channel.HUMIDITY and any(constants)
        for cell in at.tolist() if declared else ():
            constant, waited = constants[int(self.instrument[cell])], around.waited_min(cell)
            if constant is None or not waited or (cell, part) in self.left:
                continue
            share, half = share_left(waited, constant)
            step = self.cells[cell].plateau.target - around.previous_target(cell)
            if abs(step * share) >= 1e-6:  # not where nan
                row = (cell, step * share, step * half, constant.spread or 0.0)
                (longest if constant.nominal is None else nominal).append(row)
        known, limited = (np.array(rows, float).reshape(-1, 4) for rows in (nominal, longest))
        spread = known[known[:, 3] > 0.0]
        kinds = [
            _Kind(
                name="time_constant",
                cells=spread[:, 0].astype(np.int64),
                half_width=spread[:, 3],
                unit="min",
                label="time constant of the approach",
                weight=spread[:, 2] / spread[:, 3],
                of_instrument="time_constant",
            ),
            _Kind(
                name=f"{channel.value}/settling",
                cells=limited[:, 0].astype(np.int64),
                half_width=limited[:, 2],
                unit=channel.unit,
                label="what is left of settling",
                weight=np.ones(len(limited)),
            ),
        ]
        corrected = np.concatenate([known, limited])
        return kinds, corrected[:, 0].astype(np.int64), corrected[:, 1]

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
            of_instrument=channel.value,
        )

    def _numbered(self, own: Sequence[tuple[Series, np.ndarray]], kinds: Sequence[_Kind]) -> list[Terms]:
        """The terms of each part's `own` sources, by cell, and of all kinds.

        What has no number yet is numbered plateau by plateau.
        """
        series, places, waiting = [one for one, _ in own], [cells for _, cells in own], []
        for kind in kinds:
            owner = self._owners(kind.of_instrument)[self.instrument[kind.cells]] if kind.of_instrument else kind.cells
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
            if not kind.of_instrument:
                return f"{self.cells[cell].name}/{kind.name}"
            return f"{self._place(int(self.instrument[cell]), kind.of_instrument)}/{kind.name}"

        half_width = kind.half_width[positions]
        return Series.rectangular(
            half_width,
            identity,
            kind.label,
            kind.unit,
            scope=kind.scope,
            rounding=kind.rounding,
            named=bool(kind.of_instrument),
        )

    def _place(self, instrument: int, key: str) -> str:
        """What a source of an instrument is named after: what was found anew is another error from that day on."""
        name, on = self.instruments[instrument]
        since = on.since(key)
        return name if since in (None, date.min) else f"{name}/{since}"

    def _owners(self, key: str) -> np.ndarray:
        """Of each instrument the first one of which the same is known under a key, shape (instruments,)."""
        first: dict[str, int] = {}
        return np.array([first.setdefault(self._place(i, key), i) for i in range(len(self.instruments))], np.int64)


def temperature_away(working_c: np.ndarray, temperature_c: np.ndarray) -> np.ndarray:
    """Working minus calibration temperature; 0 where the calibration was at the working temperature or none is set."""
    away = working_c - temperature_c
    return np.where(np.abs(away) > SAME_TEMPERATURE_K, away, 0.0)
