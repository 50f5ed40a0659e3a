"""Every plateau measured: its errors (at the sensor, of the loop, in all) and their budgets over one catalogue.

References that a visit here calibrated come first: their results' sources are inherited by what they calibrate.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from itertools import repeat

import numpy as np

from asfound.faults import Fault, Place, Rule, Severity, error, reservation
from asfound.measurement.calibrations import Calibrations
from asfound.measurement.cell_sources import CellSources, Left, Part, Surroundings
from asfound.measurement.indications import indications
from asfound.measurement.lines import Growing, Line, LineKey, Measurement
from asfound.measurement.log_errors import Logged, logged_cells
from asfound.measurement.reading_table import reading_table
from asfound.measurement.reference_values import ReferenceValues, reference_values
from asfound.measurement.repeatability import (
    Repeatability,
    Scatter,
    declared_repeatabilities,
    repeatabilities,
    scatter,
)
from asfound.measurement.shifts import Shift
from asfound.measurement.visit_curves import add_curves, in_stages
from asfound.records.load import Records
from asfound.records.models import Channel, Policy, Settling
from asfound.records.settings_in_force import SettingsOn, shows_ice
from asfound.records.visits.rows import SensorVisit
from asfound.soak.waiting import enough, expanded
from asfound.uncertainty.budgets import make_budgets
from asfound.uncertainty.sources import Catalogue
from asfound.uncertainty.terms import Measured, Terms

UNSETTLED = reservation(
    "unsettled-plateau",
    "a plateau does not meet the policy's soak, rows or slope, or what a log says was left of its approach",
    verdict=False,
    certificate=False,
)
NO_REPEATABILITY = error("no-repeatability", "nothing says how far single readings scatter")


def measure(
    records: Records,
    sensor_visits: Sequence[SensorVisit],
    *,
    shifts: Sequence[Shift] = (),
    known: Mapping[LineKey, Repeatability] | None = None,
    approved: Collection[tuple[str, str]] | None = None,
) -> Measurement:
    """Measure all plateaus of the sensor visits; faults and reservations as values.

    `shifts`: errors that references are held to have had beyond their calibrations; `known`: repeatabilities of a
    measurement before, which hold, so that some visits may be measured again without the rest of their pools;
    `approved`: what alone may enter a pool, by path of the visit and sensor (None: everything).
    """
    catalogue = Catalogue()
    calibrations = Calibrations(records, catalogue, shifts=shifts)
    found = Growing()
    terms: list[Terms] = []
    for stage in in_stages(records, sensor_visits):
        _Stage(records, stage, calibrations, found, terms, known, approved).run()
        add_curves(records, found, calibrations, Terms.joined(terms))
    budgets = make_budgets(catalogue, Terms.joined(terms), len(found.lines))
    return found.whole(budgets, calibrations.curves)


class _Stage:
    """One stage: a table of readings, measured against references that are already known."""

    def __init__(
        self,
        records: Records,
        sensor_visits: Sequence[SensorVisit],
        calibrations: Calibrations,
        whole: Growing,
        terms: list[Terms],
        known: Mapping[LineKey, Repeatability] | None,
        approved: Collection[tuple[str, str]] | None,
    ) -> None:
        self.records, self.calibrations, self.whole, self.terms = records, calibrations, whole, terms
        self.known, self.approved = known, approved
        self.table = reading_table(sensor_visits)
        self.first = len(whole.cells)
        self.firsts = np.searchsorted(self.table.cell, np.arange(len(self.table.cells) + 1))
        settings: dict[tuple[str, date], SettingsOn | None] = {}
        policies: dict[date, Policy] = {}
        for cell in self.table.cells:
            sensor, day = cell.sensor_visit.sensor, cell.sensor_visit.visit.day
            if (sensor, day) not in settings:
                known_sensor = records.sensors.get(sensor)
                settings[sensor, day] = SettingsOn(records, known_sensor, day) if known_sensor else None
                policies[day] = records.facility.policy_on(day)
        self.days = days = [cell.sensor_visit.visit.day for cell in self.table.cells]
        self.settings = [settings[c.sensor_visit.sensor, day] for c, day in zip(self.table.cells, days, strict=True)]
        self.policies = [policies[day] for day in days]
        self.soak, self.room = self._first_soaks(), self._means(self.table.number["room_humidity"]).tolist()
        self.pools = self._pools()
        self.logged = logged_cells(records, self.table, self.settings, calibrations, self._previous_target)
        whole.logged |= {self.first + cell: found for cell, found in self.logged.items()}
        left = {
            (cell, part): Left(value=one.left, u=one.u_left, nu=one.nu)
            for cell, found in self.logged.items()
            for part, one in found.approaches.items()
            if math.isfinite(one.left)
        }
        self.declared: list[Repeatability | None] = []
        self.own = CellSources(self.table.cells, self.settings, calibrations.catalogue, left)
        calibrations.used = {}

    def report(self, rule: Rule, row: int, place: Place, message: str, cure: str) -> None:
        """A fault of a row: an error for all, a reservation for the row's plateau."""
        fault = Fault(rule=rule, place=place, message=message, cure=cure)
        if rule.severity is Severity.ERROR:
            self.whole.faults.append(fault)
            return
        found = self.whole.reservations.setdefault(self.first + int(self.table.cell[row]), [])
        if not any(f.rule is rule and f.message == message for f in found):
            found.append(fault)

    def run(self) -> None:
        table, whole = self.table, self.whole
        whole.cells += table.cells
        if not table.n:
            return
        checked = (self.records.references.get(cell.sensor_visit.sensor) for cell in table.cells)
        over_ice = np.array([shows_ice(on or one) for on, one in zip(self.settings, checked, strict=True)], bool)
        reference = reference_values(table, self.calibrations, over_ice[table.cell], self.report)
        numbers = range(self.first, self.first + len(table.cells))
        whole.method |= zip(numbers, reference.method[self.firsts[:-1]].tolist(), strict=True)
        whole.temperature_c |= zip(numbers, self._means(reference.temperature.value).tolist(), strict=True)
        whole.pressure_pa |= zip(numbers, self._means(reference.pressure).tolist(), strict=True)
        for channel in Channel:
            self._channel(channel, reference)
        for cell, leaned in self.calibrations.used.items():
            whole.used[self.first + cell] = leaned
        whole.stages.append((self.first, table, reference))

    def _channel(self, channel: Channel, reference: ReferenceValues) -> None:
        shown = indications(self.table, self.calibrations, self.settings, channel, self.report)
        value = reference.of(channel)
        far_end = Measured(shown.far_end, Terms.none())
        self.declared = self._declared(channel, reference)
        minus = np.full(self.table.n, -1.0)
        against = value.terms.scaled(minus)
        errors = {
            Part.TOTAL: (far_end.value - value.value, against, shown.far_end),
            Part.SENSOR: (
                shown.sensor.value - value.value,
                Terms.joined([shown.sensor.terms, against]),
                shown.sensor.value,
            ),
            Part.LOOP: (
                far_end.value - shown.sensor.value,
                shown.sensor.terms.scaled(minus),
                shown.far_end,
            ),
        }
        for part, (row_error, row_terms, shown_value) in errors.items():
            if np.isfinite(row_error).any():
                rounding = self._rounding(channel, part, shown.meter)
                self._part(channel, part, row_error, row_terms, shown_value, value.value, reference, rounding)

    def _declared(self, channel: Channel, reference: ReferenceValues) -> list[Repeatability | None]:
        """The repeatability that is declared of each cell: by its target, where none was aimed at by the reference."""
        target = np.array([cell.plateau.target for cell in self.table.cells], float)
        humidity = np.where(np.isnan(target), self._means(reference.humidity.value), target)
        instruments = [on for _, on in self.own.instruments]
        temperature_c = self._means(reference.temperature.value)
        return declared_repeatabilities(instruments, self.own.instrument, channel, humidity, temperature_c)

    def _rounding(self, channel: Channel, part: Part, meter: np.ndarray) -> np.ndarray:
        """How far displays may have rounded a reading of each cell, shape (cells,)."""
        rounding = self.own.rounding(channel, part, self._steps(channel))
        if part is not Part.TOTAL and len(meter):
            rounding += np.maximum.reduceat(meter, self.firsts[:-1])
        return rounding

    def _part(
        self,
        channel: Channel,
        part: Part,
        row_error: np.ndarray,
        row_terms: Terms,
        shown: np.ndarray,
        reference_value: np.ndarray,
        reference: ReferenceValues,
        rounding: np.ndarray,
    ) -> None:
        table, cells = self.table, len(self.table.cells)
        spread = scatter(row_error, table.time, table.cell, cells, rounding)
        if part is not Part.LOOP:
            self._settling(channel, spread)
        known = self._repeatabilities(channel, part, spread)
        good = np.isfinite(row_error)

        def mean(values: np.ndarray) -> np.ndarray:
            """Means over the readings of each cell."""
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.bincount(table.cell[good], values[good], cells) / spread.n

        measured: list[int] = []
        used: list[Repeatability] = []
        for cell in np.flatnonzero(spread.n > 0).tolist():
            if (repeatability := known[cell]) is None:
                self._no_repeatability(cell, channel)
                continue
            measured.append(cell)
            used.append(repeatability)
        at = np.array(measured, np.int64)
        around = Surroundings(
            humidity=mean(reference.humidity.value),
            slope=mean(reference.slope),
            temperature_c=mean(reference.temperature.value),
            waited_min=self._waited,
            previous_target=self._previous_target,
        )
        own, correction = self.own.of(channel, part, at, used, spread.n, self._steps(channel), around)
        new_line = np.full(cells, -1, np.int64)
        new_line[at] = len(self.whole.lines) + np.arange(len(at))
        columns = (
            (self.first + at).tolist(),
            repeat(channel),
            repeat(part),
            (spread.mean + correction)[at].tolist(),
            repeat(math.nan) if part is Part.LOOP else mean(reference_value)[at].tolist(),
            mean(shown)[at].tolist(),
            spread.n[at].tolist(),
            spread.s[at].tolist(),
            correction[at].tolist(),
            used,
        )
        self.whole.lines += map(Line._make, zip(*columns, strict=False))
        self.terms.append(Terms(new_line[own.row], own.source, own.weight))
        new_row = np.where(good, new_line[table.cell], -1)
        self.terms.append(row_terms.moved(new_row, 1.0 / np.maximum(spread.n, 1)[table.cell]))

    def _steps(self, channel: Channel) -> dict[str, np.ndarray]:
        """By column, the resolution of each cell's display where none is declared; nan where it was not read.

        It is the finest digit that the visit has of it: a spreadsheet drops trailing zeros.
        """
        output, far_end = channel.declaration.columns
        parts = {id(cell.sensor_visit): None for cell in self.table.cells}
        number = {part: i for i, part in enumerate(parts)}
        part_of = np.array([number[id(cell.sensor_visit)] for cell in self.table.cells])
        steps = {}
        for name, column in (("output", output), ("far_end", far_end)):
            direct = self.table.quantity[column] == channel.value
            by_cell = np.fmin.reduceat(np.where(direct, self.table.step[column], np.nan), self.firsts[:-1])
            finest = np.full(len(parts), np.nan)
            np.fmin.at(finest, part_of, by_cell)
            steps[name] = np.where(np.isnan(by_cell), np.nan, finest[part_of])
        return steps

    def _means(self, values: np.ndarray) -> np.ndarray:
        """Means of what was read in each cell, shape (cells,); nan where nothing was."""
        good = np.isfinite(values)
        cell, cells = self.table.cell[good], len(self.table.cells)
        with np.errstate(invalid="ignore"):
            return np.bincount(cell, values[good], cells) / np.bincount(cell, minlength=cells)

    def _first_soaks(self) -> np.ndarray:
        """The first soak that is written in each cell; nan where none is."""
        written = np.flatnonzero(np.isfinite(self.table.number["soak"]))
        first = np.full(len(self.table.cells), np.nan)
        first[self.table.cell[written[::-1]]] = self.table.number["soak"][written[::-1]]
        return first

    def _waited(self, cell: int) -> list[float]:
        """Minutes at the point at each reading of a cell; none where no soak is written."""
        if math.isnan(soak := float(self.soak[cell])):
            return []
        times = self.table.time[self.firsts[cell] : self.firsts[cell + 1]]
        return [soak + seconds / 60.0 for seconds in (times - times[0]).tolist()]

    def _previous_target(self, cell: int) -> float:
        """Humidity that the probe came from: the plateau before, whatever its phase; at first the room's."""
        here = self.table.cells[cell]
        if here.plateau.number == 1:
            return self.room[cell]
        before = here.sensor_visit.plateaus[here.plateau.number - 2]
        return before.target if before.status == "read" else math.nan

    def _settling(self, channel: Channel, spread: Scatter) -> None:
        if channel is not Channel.HUMIDITY:
            return
        first, slopes, minutes = self.firsts.tolist(), spread.slope.tolist(), spread.minutes.tolist()
        for cell in np.flatnonzero(spread.n > 0).tolist():
            row = first[cell]
            problem = self._unsettled(cell, first[cell + 1] - row, slopes[cell], minutes[cell])
            if problem:
                place = self.table.place(row, "soak")
                cure = "wait longer and repeat the point; the result is shown without a verdict"
                self.report(UNSETTLED, row, place, problem, cure)

    def _unsettled(self, cell: int, rows: int, slope: float, minutes: float) -> str:
        rule = self.policies[cell].settling
        soak = float(self.soak[cell])
        if (logged := self.logged.get(cell)) is not None:
            return _unsettled_log(rule, soak, logged)
        if rule.least_soak is not None and not soak >= rule.least_soak:
            had = "no soak is written" if math.isnan(soak) else f"soak {soak:g} min"
            return f"{had}, the policy asks for {rule.least_soak:g} min"
        if rule.least_rows is not None and rows < rule.least_rows:
            return f"{rows} reading{'' if rows == 1 else 's'}, the policy asks for {rule.least_rows}"
        if rule.largest_slope is None or not math.isfinite(slope):
            return ""
        declared = self.declared[cell]
        noise = 2.0 * (declared.s if declared else 0.0) / minutes if minutes > 0 else 0.0
        if abs(slope) > rule.largest_slope + noise:
            beyond = f" and its own uncertainty {noise:.2f}" if noise else ""
            return f"readings still move by {slope:+.2f} %RH/min, the policy allows {rule.largest_slope:g}{beyond}"
        return ""

    def _repeatabilities(self, channel: Channel, part: Part, spread: Scatter) -> list[Repeatability | None]:
        if self.known is not None:
            return [self.known.get((*cell.key, channel, part)) for cell in self.table.cells]
        held_apart = [
            cell - self.first
            for cell, found in self.whole.reservations.items()
            if cell >= self.first and any(f.rule is UNSETTLED for f in found)
        ]
        usable = spread.n > 0
        usable[held_apart] = False
        if self.approved is not None:
            parts = (cell.sensor_visit for cell in self.table.cells)
            usable &= np.array([(part.visit.path, part.sensor) in self.approved for part in parts], bool)
        named: dict[tuple[str, ...], tuple[str, ...]]
        named = {pool: (pool[0], channel.value, part.value, *pool[1:]) for pool in dict.fromkeys(self.pools)}
        keys = [named[pool] for pool in self.pools]
        of_instruments = [on.declared(channel).repeatability for _, on in self.own.instruments]
        by_bands = np.array([*(bool(one and one.bands) for one in of_instruments), False])[self.own.instrument]
        for cell in np.flatnonzero(by_bands).tolist():  # what is said to scatter otherwise is not pooled
            if (one := self.declared[cell]) is not None:
                keys[cell] = (*keys[cell], f"declared {one.s:g}")
        least = [policy.least_pool for policy in self.policies]
        found = repeatabilities(keys, self.days, spread, usable.tolist(), self.declared, least)
        for cell, logged in self.logged.items():
            found[cell] = logged.scatter.get((channel, part), found[cell])
        return found

    def _pools(self) -> list[tuple[str, str, str]]:
        """By cell what scatter is pooled by: model, kind of reference, medium.

        Scatter in a room's air is not scatter in a chamber: like is pooled with like.
        """
        first = self.firsts[:-1]
        words = (self.table.word[name][first].tolist() for name in ("reference", "medium"))
        kinds = {name: reference.kind for name, reference in self.records.references.items()}
        return [
            (on.model if on else cell.sensor_visit.sensor, kinds.get(reference, ""), medium)
            for cell, on, reference, medium in zip(self.table.cells, self.settings, *words, strict=True)
        ]

    def _no_repeatability(self, cell: int, channel: Channel) -> None:
        row = int(self.firsts[cell])
        message = f"one reading of {channel.value}, and no repeatability is declared"
        cure = f"declare {channel.value}: {{repeatability: …}} in the family, or read the point at least twice"
        self.report(NO_REPEATABILITY, row, self.table.place(row, "output"), message, cure)


def _unsettled_log(rule: Settling, soak: float, logged: Logged) -> str:
    """What a plateau that was read from a log lacks; nothing where it is settled.

    A minute of the window counts for a reading. A policy that says how much of the approach may be left asks for that,
    and for neither soak nor slope: what is left is corrected, with its uncertainty.
    """
    if logged.minutes < (rule.least_rows or 0):
        return f"the log's window is {logged.minutes:g} min, the policy asks for {rule.least_rows} readings or minutes"
    if rule.largest_left is not None:
        one = logged.judged
        if one is None or not math.isfinite(one.left):
            return f"what was left of the approach is not known{f': {one.reason}' if one else ''}"
        if not enough(one, rule.largest_left):
            left = f"{one.left:+.2f} ± {expanded(one):.2g} %RH"
            return f"{left} of the approach was left, the policy allows {rule.largest_left:g}"
        return ""
    if math.isnan(soak) and logged.begin < logged.start:
        soak = (logged.start - logged.begin) / 60.0
    if rule.least_soak is not None and not soak >= rule.least_soak:
        had = "no soak is written" if math.isnan(soak) else f"soak {soak:.3g} min"
        return f"{had}, the policy asks for {rule.least_soak:g} min"
    if rule.largest_slope is not None and abs(logged.slope) > rule.largest_slope + 2.0 * logged.u_slope:
        beyond = f"{rule.largest_slope:g} and its own uncertainty {2.0 * logged.u_slope:.2f}"
        return f"the log still moves by {logged.slope:+.2f} %RH/min, the policy allows {beyond}"
    return ""
