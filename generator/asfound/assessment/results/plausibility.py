"""Readings that physics can doubt: a humidity far from its target that another unit would explain."""

from __future__ import annotations

import itertools

import numpy as np

from asfound.assessment.results.judging import far_from_target
from asfound.faults import Fault, error
from asfound.humidity import two_pressure_rh
from asfound.measurement.evaluation import MethodGroup
from asfound.measurement.lines import Measurement
from asfound.measurement.reading_table import ReadingTable
from asfound.records.visits.header import read_header
from asfound.units import UNITS, Unit

UNIT_MIX_UP = error("unit-mix-up", "a saturation pressure misses its target, and would meet it in another unit")

NEAR_RH, NEAR_SHARE = 0.5, 0.03
"""A suspected mix-up must meet the target within this (our choice)."""

_MEANT = ("kPa", "psi", "bar", "hPa")
"""Units in which a saturation pressure may have been read, the likeliest first."""


def mix_ups(measurement: Measurement) -> list[Fault]:
    """Plateaus whose saturation pressure was taken in another unit than its header says, once each.

    A row that physics refuses already is not guessed at.
    """
    faults = []
    for _, table, reference in measurement.stages:
        for group in reference.groups:
            if group.method == "two_pressure":
                faults += _of_group(table, group, reference.humidity.value)
    refused = {(fault.place.path, fault.place.line) for fault in measurement.faults}
    return [fault for fault in faults if (fault.place.path, fault.place.line) not in refused]


def _of_group(table: ReadingTable, group: MethodGroup, humidity: np.ndarray) -> list[Fault]:
    target = table.number["target"][group.rows]
    found = humidity[group.rows]
    read = np.all([np.isfinite(m.value) for m in group.measured], axis=0)
    far = read & (np.isnan(found) | far_from_target(found, target))
    faults: list[Fault] = []
    seen: set[int] = set()
    for i in np.flatnonzero(far):
        row = int(group.rows[i])
        if int(table.cell[row]) in seen:
            continue
        fault = _explained(table, group, int(i), row, float(target[i]), float(found[i]))
        if fault is not None:
            seen.add(int(table.cell[row]))
            faults.append(fault)
    return faults


def _explained(table: ReadingTable, group: MethodGroup, i: int, row: int, target: float, found: float) -> Fault | None:
    _, saturation_c, chamber_pa, chamber_c = (float(m.value[i]) for m in group.measured[:4])
    written = _unit(table, row)
    typed = written.from_canonical(float(table.number["saturation_pressure"][row]))
    best: tuple[float, str] | None = None
    for symbol, gauge in itertools.product(_MEANT, (True, False)):
        if (symbol, gauge) == (written.symbol, written.gauge):
            continue
        # The room's pressure is the chamber's to within what a mix-up shows.
        pressure_pa = UNITS[symbol].canonical(typed) + (chamber_pa if gauge else 0.0)
        try:
            rh = float(two_pressure_rh(pressure_pa, saturation_c, chamber_pa, chamber_c))
        except ValueError:
            continue
        miss = abs(rh - target)
        if miss <= NEAR_RH + NEAR_SHARE * target and (best is None or miss < best[0]):
            best = (miss, f"{symbol} {'gauge' if gauge else 'absolute'}")
    if best is None:
        return None
    gives = f"gives {found:.1f} %RH" if np.isfinite(found) else "gives no humidity"
    return Fault(
        rule=UNIT_MIX_UP,
        place=table.place(row, "saturation_pressure"),
        message=f"saturation_pressure {gives} where {target:g} %RH was aimed at; it fits if it was read in {best[1]}",
        cure=f"write [{best[1]}] in the header, or correct the reading or the target",
    )


def _unit(table: ReadingTable, row: int) -> Unit:
    """The unit in which the header says that a saturation pressure was read."""
    visit = table.cells[int(table.cell[row])].sensor_visit.visit
    units = [field.unit for field in read_header(visit.header).of("saturation_pressure") if field.unit is not None]
    gauge = bool(table.gauge["saturation_pressure"][row])
    return next(unit for unit in units if unit.gauge == gauge)
