"""Readings that physics can doubt: a humidity far from its target that another unit would explain."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from generator.assessment.results import FAR_RH, FAR_SHARE
from generator.faults import Fault, error
from generator.humidity import two_pressure_rh
from generator.uncertainty.measured import Measurement
from generator.uncertainty.reference_values import MethodGroup
from generator.uncertainty.table import ReadingTable
from generator.units import UNITS

UNIT_MIX_UP = error("unit-mix-up", "a saturation pressure misses its target, and would meet it in another unit")

NEAR_RH, NEAR_SHARE = 0.5, 0.03
"""A suspected mix-up must meet the target within this (our choice)."""

_Pressure = Callable[[float, float], float]
_PSI = UNITS["psi"].scale / UNITS["kPa"].scale
_MIX_UPS: tuple[tuple[str, str, _Pressure], ...] = (
    ("a gauge pressure stands under an absolute unit", "write [… gauge] in the header", lambda p, ambient: p + ambient),
    ("an absolute pressure stands under a gauge unit", "write [… absolute] in the header", lambda p, a: p - a),
    ("psi gauge stands under a kPa unit", "write [psi gauge] in the header", lambda p, a: p * _PSI + a),
    ("psi stands under a kPa unit", "write [psi absolute] in the header", lambda p, a: p * _PSI),
    ("kPa stands under a psi unit", "write [kPa absolute] in the header", lambda p, a: p / _PSI),
    ("bar stands under a kPa unit", "write [bar absolute] in the header", lambda p, a: p * 100.0),
    ("hPa stands under a kPa unit", "write [hPa absolute] in the header", lambda p, a: p / 10.0),
)


def mix_ups(measurement: Measurement) -> list[Fault]:
    """Plateaus whose saturation pressure was taken in another unit than its header says, once each."""
    faults = []
    for _, table, reference in measurement.stages:
        for group in reference.groups:
            if group.method == "two_pressure":
                faults += _of_group(table, group, reference.humidity.value)
    return faults


def _of_group(table: ReadingTable, group: MethodGroup, humidity: np.ndarray) -> list[Fault]:
    target = table.number["target"][group.rows]
    found = humidity[group.rows]
    read = np.all([np.isfinite(m.value) for m in group.measured], axis=0)
    far = read & ~(np.abs(found - target) <= FAR_RH + FAR_SHARE * target)
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
    saturation_pa, saturation_c, chamber_pa, chamber_c = (float(m.value[i]) for m in group.measured[:4])
    best: tuple[float, str, str] | None = None
    for what, cure, as_meant in _MIX_UPS:
        try:
            rh = float(two_pressure_rh(as_meant(saturation_pa, chamber_pa), saturation_c, chamber_pa, chamber_c))
        except ValueError:
            continue
        miss = abs(rh - target)
        if miss <= NEAR_RH + NEAR_SHARE * target and (best is None or miss < best[0]):
            best = (miss, what, cure)
    if best is None:
        return None
    gives = f"gives {found:.1f} %RH" if np.isfinite(found) else "gives no humidity"
    return Fault(
        rule=UNIT_MIX_UP,
        place=table.place(row, "saturation_pressure"),
        message=f"saturation_pressure {gives} where {target:g} %RH was aimed at; it fits if {best[1]}",
        cure=f"{best[2]}, or correct the reading or the target",
    )
