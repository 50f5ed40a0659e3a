"""What the sensor under test showed: at the sensor, through its loop's scaling, and at the far end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asfound.faults import reservation
from asfound.measurement.calibrations import Calibrations, Report
from asfound.measurement.reading_table import ReadingTable
from asfound.records.models import Channel
from asfound.records.settings_in_force import SettingsOn
from asfound.uncertainty.terms import Measured, Terms

LOOP_LIMITS_MA = (3.8, 20.5)
"""Outside these a 4–20 mA loop signals a fault or saturation (NAMUR NE 43, from memory): there is no result."""

LOOP_OUT_OF_RANGE = reservation(
    "loop-out-of-range",
    "a loop current outside 3.8 to 20.5 mA is no reading",
    verdict=False,
    certificate=False,
)


@dataclass(frozen=True, kw_only=True)
class Indications:
    """A channel's readings over all n rows, in its unit; nan where not read."""

    sensor: Measured
    far_end: np.ndarray
    meter: np.ndarray
    """by row, how far the loop meter's display may have rounded the sensor's reading; 0 where none was read"""


def indications(
    table: ReadingTable,
    calibrations: Calibrations,
    settings: Sequence[SettingsOn | None],
    channel: Channel,
    report: Report,
) -> Indications:
    """Readings of one channel; `settings` by cell (None where a reference is the one calibrated)."""
    output, far_end = channel.declaration.columns
    reading, quantity = table.number[output], table.quantity[output]
    value = np.where(quantity == channel.value, reading, np.nan)
    parts: list[Terms] = []
    rounded = np.zeros(table.n)
    for signal in ("current", "voltage"):
        rows = np.flatnonzero(quantity == signal)
        if not len(rows):
            continue
        rows = _inside_loop(table, rows, output, report) if signal == "current" else rows
        meter = calibrations.applied(
            table,
            rows,
            signal,
            table.word["loop_meter"][rows],
            reading[rows],
            table.step[output][rows],
            report,
        )
        offset, gain = _lines(table, rows, settings, channel)
        value[rows] = offset + gain * meter.value
        rounded[rows] = np.nan_to_num(np.abs(gain) * table.step[output][rows]) / 2.0
        scaled = meter.terms.scaled(np.nan_to_num(gain))
        parts.append(Terms(rows[scaled.row], scaled.source, scaled.weight))
    parts.append(_corrected_checks(table, calibrations, channel, value, report))
    return Indications(sensor=Measured(value, Terms.joined(parts)), far_end=table.number[far_end], meter=rounded)


def _corrected_checks(
    table: ReadingTable, calibrations: Calibrations, channel: Channel, value: np.ndarray, report: Report
) -> Terms:
    """A check between calibrations asks whether a reference still is what its calibration says.

    Its reading is corrected by the calibration in force, whose sources come along, so that what the check shares with
    it cancels.
    """
    quantity = channel.declaration.reference
    known = calibrations.records.references
    checked = np.array(
        [
            cell.plateau.phase == "check" and quantity in getattr(known.get(cell.sensor_visit.sensor), "quantities", ())
            for cell in table.cells
        ],
        bool,
    )
    rows = np.flatnonzero(checked[table.cell] & np.isfinite(value)) if len(table.cells) else np.zeros(0, np.int64)
    if not len(rows):
        return Terms.none()
    instruments = np.array([table.cells[cell].sensor_visit.sensor for cell in table.cell[rows]], object)
    step = table.step[channel.declaration.output][rows]
    corrected = calibrations.applied(table, rows, quantity, instruments, value[rows], step, report)
    value[rows] = corrected.value
    return Terms(rows[corrected.terms.row], corrected.terms.source, corrected.terms.weight)


def _inside_loop(table: ReadingTable, rows: np.ndarray, column: str, report: Report) -> np.ndarray:
    low, high = LOOP_LIMITS_MA
    current = table.number[column][rows]
    inside = (current >= low) & (current <= high)
    for row in rows[~inside]:
        message = f"{column}: {table.number[column][row]:g} mA is outside {low} to {high} mA"
        cure = "find the loop's fault (broken wire, no supply, saturated transmitter) and repeat the point"
        report(LOOP_OUT_OF_RANGE, int(row), table.place(int(row), column), message, cure)
    return rows[inside]


def _lines(
    table: ReadingTable, rows: np.ndarray, settings: Sequence[SettingsOn | None], channel: Channel
) -> tuple[np.ndarray, np.ndarray]:
    """Offset and gain of value = offset + gain·signal by row; nan where no scaling is in force."""
    cells, which = np.unique(table.cell[rows], return_inverse=True)
    offset, gain = np.full(len(cells), np.nan), np.full(len(cells), np.nan)
    for number, cell in enumerate(cells.tolist()):
        on = settings[cell]
        scaling = on.scaling(channel) if on else None
        if scaling is None:
            continue
        slope = (scaling.reads_high.value - scaling.reads_low.value) / (scaling.high.value - scaling.low.value)
        gain[number] = slope
        offset[number] = scaling.reads_low.value - slope * scaling.low.value
    return offset[which], gain[which]
