"""Further sources (records' `further`): how large at each row or plateau, for how long, with corrections."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from asfound.measurement.reading_table import Cell, ReadingTable
from asfound.records.methods import METHODS
from asfound.records.models.further import Further, SensorFurther, Sized
from asfound.records.models.references import Reference
from asfound.uncertainty.sources import Catalogue, Distribution, Scope, Size, Source, size_of
from asfound.uncertainty.terms import Terms
from asfound.units import CANONICAL

DAYS_A_MONTH = 365.25 / 12.0
_SCOPES = {
    "reading": Scope.READING,
    "plateau": Scope.PLATEAU,
    "visit": Scope.VISIT,
    "calibration": Scope.CALIBRATION,
    "longer": Scope.LONGER,
}


def further_sources(
    catalogue: Catalogue,
    table: ReadingTable,
    rows: np.ndarray,
    at: np.ndarray,
    reference: Reference,
    of: str,
    value: np.ndarray,
    calibrated: np.datetime64 | None = None,
) -> tuple[np.ndarray, list[Terms]]:
    """What a reference's further sources do to the quantity `of` at positions `at` of `rows`.

    Gives corrections to be added, shape (at,), and terms by position in `rows`. `value`: of the quantity, shape (at,),
    canonical unit; `calibrated`: day of the calibration in force, where the quantity has one.
    """
    correction = np.zeros(len(at))
    parts: list[Terms] = []
    for source in reference.further:
        if source.of != of:
            continue
        acts = source.acts_on(table.day[rows[at]]) & _within(source, table.number["target"][rows[at]])
        if not acts.any():
            continue
        factor = np.where(acts, _factor(source, table, rows[at], reference, value, calibrated), 0.0)
        if source.correction is not None:
            correction += source.correction.value * factor
        parts.append(_terms(catalogue, table, rows, at[acts], reference, source, factor[acts], calibrated))
    return correction, parts


def _within(source: Further, target: np.ndarray) -> np.ndarray:
    """Whether it acts at each of these targets, %RH, shape as theirs; both ends belong to it."""
    lowest = -np.inf if source.lowest is None else source.lowest
    highest = np.inf if source.highest is None else source.highest
    return (lowest <= target) & (target <= highest)


def _factor(
    source: Further,
    table: ReadingTable,
    rows: np.ndarray,
    reference: Reference,
    value: np.ndarray,
    calibrated: np.datetime64 | None,
) -> np.ndarray:
    """By what size and correction are multiplied at each row; 0 where nothing tells."""
    match source.per:
        case None:
            return np.ones(len(rows))
        case "value":
            return np.nan_to_num(value)
        case "month":
            days = np.zeros(len(rows)) if calibrated is None else (table.day[rows] - calibrated).astype(float)
            return np.maximum(days, 0.0) / DAYS_A_MONTH
        case "degC":
            method = METHODS.get(reference.kind)
            room = table.number["room_temperature"][rows]
            own = room if method is None else table.number[method.probe_temperature][rows]
            # A probe is as warm as the air that it reads; transducers and meters stand in the room.
            first, second = (own, room) if method is not None and method.reads_humidity else (room, own)
            warm = np.where(np.isnan(first), second, first)
            assert source.calibration_temperature is not None
            return np.nan_to_num(warm - source.calibration_temperature.value)


def _terms(
    catalogue: Catalogue,
    table: ReadingTable,
    rows: np.ndarray,
    at: np.ndarray,
    reference: Reference,
    source: Further,
    factor: np.ndarray,
    calibrated: np.datetime64 | None,
) -> Terms:
    """One column for each time that the effect takes another value."""
    unit = CANONICAL[next(iter(source.amounts.values())).quantity]
    u, nu, distribution = _size(source)
    which, identity = _episodes(source, table, rows[at], reference, calibrated)
    _, first, inverse = np.unique(which, return_index=True, return_inverse=True)
    numbers = [
        catalogue.add(
            Source(
                identity=f"{identity(i)}/{source.of}/further/{source.name}",
                label=f"{source.label} ({reference.id})",
                u=u,
                unit=unit if source.per in (None, "value") else f"{unit}/{source.per}",
                distribution=distribution,
                nu=nu,
                scope=_SCOPES[source.lasts],
            )
        )
        for i in first.tolist()
    ]
    return Terms.of(at, np.array(numbers, np.int64)[inverse.ravel()], factor)


def _size(source: Sized) -> Size:
    means = next(name for name in ("limit", "u", "U") if getattr(source, name) is not None)
    return size_of(source.amounts[means].value, means, source.distribution, source.nu, source.k)


def _episodes(
    source: Further, table: ReadingTable, rows: np.ndarray, reference: Reference, calibrated: np.datetime64 | None
) -> tuple[np.ndarray, Callable[[int], str]]:
    """By row, in which time of an unchanging effect it lies, and what names that time, by position.

    Sensors that were read at one time share the reference's reading, its plateau and its visit.
    """
    visit = table.visit[rows]

    def of_visit(i: int) -> str:
        return f"{reference.id}/{table.visits[int(visit[i])].name}"

    match source.lasts:
        case "reading" | "plateau":
            time = table.time[rows]
            if source.lasts == "plateau":
                _, first, cell = np.unique(table.cell[rows], return_index=True, return_inverse=True)
                time = time[first][cell]
            moments = visit * (np.ptp(time) + 1) + (time - time.min())
            return moments, lambda i: f"{of_visit(i)}/{int(time[i])}"
        case "visit":
            return visit, of_visit
        case "calibration" if calibrated is not None:
            return np.zeros(len(rows), np.int64), lambda i: f"{reference.id}/{calibrated}"
        case _:
            return np.zeros(len(rows), np.int64), lambda i: reference.id


def of_sensor(
    catalogue: Catalogue,
    cells: Sequence[Cell],
    at: np.ndarray,
    instrument: str,
    source: SensorFurther,
    n: np.ndarray,
) -> Terms:
    """A further source of one instrument at its cells `at`, terms by cell; `n`: readings, shape (cells,).

    Readings of one plateau that are disturbed each by itself leave their mean with u/√n.
    """
    u, nu, distribution = _size(source)
    at = at[source.acts_on(np.array([cells[cell].sensor_visit.visit.day for cell in at.tolist()], "datetime64[D]"))]
    numbers = []
    for cell in at.tolist():
        sv = cells[cell].sensor_visit
        place = {"visit": f"{sv.visit.name}/{sv.sensor}", "longer": instrument}.get(source.lasts, cells[cell].name)
        alone = source.lasts == "reading" and n[cell] > 1
        made = Source(
            identity=f"{place}/{source.channel}/{source.of}/further/{source.name}",
            label=source.label,
            u=u / math.sqrt(n[cell]) if alone else u,
            unit=source.channel.unit,
            # The mean of several is nearly normal, whatever each is.
            distribution=Distribution.NORMAL if alone else distribution,
            nu=nu,
            scope=_SCOPES[source.lasts],
        )
        numbers.append(catalogue.add(made))
    return Terms.of(at, np.array(numbers, np.int64), 1.0)
