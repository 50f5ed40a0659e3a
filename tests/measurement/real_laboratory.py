"""A laboratory that writes down what real budgets hold: five references and two sensors. All of it is invented.

`CLAIMS` says of each source how it is written and, worked out by hand, how large it is where.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from asfound.uncertainty.sources import Scope
from tests import builders as b

Place = tuple[str, float, str]
"""Day's work, target in %RH, part of the result."""

ROOM_C, CALIBRATED_C = 23.0, 20.0
AWAY = ROOM_C - CALIBRATED_C
BY_GENERATOR = {("generator", 50.0, "sensor"), ("generator", 0.5, "sensor"), ("loop", 50.0, "sensor")}
BY_GENERATOR |= {("loop", 50.0, "total")}
DRY = {("generator", 0.5, "sensor")}
BY_MIRROR, BY_CELL = {("mirror", 9.0, "sensor")}, {("salt", 33.0, "sensor")}
BY_PROBE = {("probe", 50.0, "sensor"), ("air", 50.0, "sensor")}
AT_LOOP = {("loop", 50.0, "sensor"), ("loop", 50.0, "loop")}
AT_SENSOR = {("loop", 50.0, "sensor"), ("loop", 50.0, "total")}
FAR_END = {("loop", 50.0, "total"), ("loop", 50.0, "loop")}
RECTANGLE, TRIANGLE, U_SHAPE = math.sqrt(3.0), math.sqrt(6.0), math.sqrt(2.0)


@dataclass(frozen=True)
class Claim:
    """One source: how its record says it, and what must stand in which budgets."""

    owner: str
    """id of the reference, or of the sensor"""
    name: str
    label: str
    of: str
    keys: Mapping[str, Any]
    u: float
    """standard uncertainty of what it acts on, canonical unit"""
    scope: Scope
    where: set[Place]
    factor: float = 1.0
    """degrees or value that the size is multiplied by"""
    nu: float = math.inf
    reading: str = ""
    """column with its unit that it acts on as the reading itself does; blank where it acts on the error one to one"""
    correction: float = 0.0
    """canonical unit"""

    @property
    def written(self) -> dict[str, Any]:
        """As it stands in the record."""
        return {"name": self.name, "label": self.label, "of": self.of, **self.keys}


PRESSURE, SATURATED = "saturation_pressure [kPa absolute]", "saturation_temperature [degC]"
CHAMBER, MIRROR = "chamber_temperature [degC]", "mirror_temperature [degC]"
PROBE, CURRENT = "reference_humidity [%RH]", "output [mA]"
PER_DEGREE = {"per": "degC", "calibration_temperature": f"{CALIBRATED_C:g} degC"}

CLAIMS = (
    # ---- A two-pressure humidity generator
    Claim(
        "GEN-01", "coefficient", "transducer away from its calibration temperature", "saturation_pressure",
        {"limit": "20 Pa", "lasts": "longer", **PER_DEGREE},
        20.0 / RECTANGLE, Scope.LONGER, BY_GENERATOR, AWAY, reading=PRESSURE,
    ),
    Claim(
        "GEN-01", "head", "column of air between outlet and transducer", "saturation_pressure",
        {"correction": "-12 Pa", "u": "3 Pa", "lasts": "longer"},
        3.0, Scope.LONGER, BY_GENERATOR, reading=PRESSURE, correction=-12.0,
    ),
    Claim(
        "GEN-01", "port", "pressure lost at the transducer's port", "saturation_pressure",
        {"correction": "120 Pa", "u": "40 Pa", "nu": "12", "lasts": "longer"},
        40.0, Scope.LONGER, BY_GENERATOR, nu=12.0, reading=PRESSURE, correction=120.0,
    ),
    Claim(
        "GEN-01", "control", "cycling of the pressure control", "saturation_pressure",
        {"limit": "60 Pa", "distribution": "u_shaped", "lasts": "plateau"},
        60.0 / U_SHAPE, Scope.PLATEAU, BY_GENERATOR, reading=PRESSURE,
    ),
    Claim(
        "GEN-01", "between-points", "what straight lines between the table's points leave", "saturation_pressure",
        {"limit": "50 Pa", "distribution": "triangular", "lasts": "calibration"},
        50.0 / TRIANGLE, Scope.CALIBRATION, BY_GENERATOR, reading=PRESSURE,
    ),
    Claim(
        "GEN-01", "leak", "room air into the chamber", "humidity",
        {"limit": "0.02 %RH", "highest": "2 %RH", "lasts": "longer"},
        0.02 / RECTANGLE, Scope.LONGER, DRY,
    ),
    Claim(
        "GEN-01", "desorption", "water that walls give off", "humidity",
        {"correction": "0.01 %RH", "u": "0.006 %RH", "nu": "4", "highest": "2 %RH", "lasts": "visit"},
        0.006, Scope.VISIT, DRY, nu=4.0, correction=0.01,
    ),
    Claim(
        "GEN-01", "self-heating", "chamber thermometer warmed by its current", "chamber_temperature",
        {"correction": "-0.008 degC", "limit": "0.004 degC", "lasts": "longer"},
        0.004 / RECTANGLE, Scope.LONGER, BY_GENERATOR, reading=CHAMBER, correction=-0.008,
    ),
    Claim(
        "GEN-01", "immersion", "stem of the saturator's thermometer", "saturation_temperature",
        {"limit": "0.01 degC", "lasts": "longer"},
        0.01 / RECTANGLE, Scope.LONGER, BY_GENERATOR, reading=SATURATED,
    ),
    # ---- A chilled mirror
    Claim(
        "MIR-01", "contamination", "what has settled on the mirror since it was cleaned", "mirror_temperature",
        {"limit": "0.03 degC", "lasts": "visit"},
        0.03 / RECTANGLE, Scope.VISIT, BY_MIRROR, reading=MIRROR,
    ),
    Claim(
        "MIR-01", "kelvin", "curvature of the droplets", "mirror_temperature",
        {"correction": "0.004 degC", "u": "0.001 degC", "lasts": "longer"},
        0.001, Scope.LONGER, BY_MIRROR, reading=MIRROR, correction=0.004,
    ),
    Claim(
        "MIR-01", "layer", "thickness of film or frost, found anew each time", "mirror_temperature",
        {"u": "0.02 degC", "nu": "9", "lasts": "plateau"},
        0.02, Scope.PLATEAU, BY_MIRROR, nu=9.0, reading=MIRROR,
    ),
    Claim(
        "MIR-01", "line-leak", "room air into the sampling line", "humidity",
        {"limit": "0.03 %RH", "highest": "10 %RH", "lasts": "longer"},
        0.03 / RECTANGLE, Scope.LONGER, BY_MIRROR,
    ),
    # ---- Certified cells: what their certificate cannot say
    Claim(
        "SALT-01", "handling", "solution opened and closed", "cell_SOLUTION-33",
        {"limit": "0.1 %RH", "lasts": "visit"},
        0.1 / RECTANGLE, Scope.VISIT, BY_CELL,
    ),
    # ---- A transfer probe, in chamber and in air
    Claim(
        "PROBE-01", "coefficient", "probe away from its calibration temperature", "reference_humidity",
        {"correction": "0.02 %RH", "limit": "0.01 %RH", "lasts": "longer", **PER_DEGREE},
        0.01 / RECTANGLE, Scope.LONGER, BY_PROBE, AWAY, reading=PROBE, correction=0.02,
    ),
    Claim(
        "PROBE-01", "linearity", "between the points of its certificate", "reference_humidity",
        {"limit": "0.4 %", "per": "value", "lasts": "calibration"},
        # A share of what the certificate made of the reading, before any further correction.
        0.004 / RECTANGLE, Scope.CALIBRATION, BY_PROBE, 50.0, reading=PROBE,
    ),
    Claim(
        "PROBE-01", "recovery", "what damp air before has left", "reference_humidity",
        {"limit": "0.15 %RH", "lasts": "visit"},
        0.15 / RECTANGLE, Scope.VISIT, BY_PROBE, reading=PROBE,
    ),
    # ---- A sensor on a loop, with its meter
    Claim(
        "RH-2", "re-insertion", "taken out and put back", "sensor",
        {"u": "0.08 %RH", "nu": "9", "lasts": "visit"},
        0.08, Scope.VISIT, AT_SENSOR, nu=9.0,
    ),
    Claim(
        "RH-2", "supply", "supply voltage and burden", "sensor",
        {"limit": "0.05 %RH", "lasts": "longer"},
        0.05 / RECTANGLE, Scope.LONGER, AT_SENSOR,
    ),
    Claim(
        "RH-2", "skew", "far end read at another moment", "far_end",
        {"limit": "0.12 %RH", "lasts": "reading"},
        0.12 / RECTANGLE / math.sqrt(3.0), Scope.READING, FAR_END,
    ),
    Claim(
        "METER-01", "coefficient", "meter away from its calibration temperature", "current",
        {"limit": "0.0005 mA", "lasts": "longer", **PER_DEGREE},
        0.0005 / RECTANGLE, Scope.LONGER, AT_LOOP, AWAY, reading=CURRENT,
    ),
)  # fmt: skip

SCALING = {"low": "4 mA", "high": "20 mA", "reads_low": "0 %RH", "reads_high": "100 %RH"}
CERTIFICATE = {
    "date": b.CALIBRATED, "laboratory": "Birch metrology", "certificate": "CELL-7", "valid_until": "2027-01-12",
    "value": "33.1 %RH", "at": "25 degC", "change": "0.04 %RH/degC", "U": "0.4 %RH", "k": "2", "drift": "0.2 %RH/year",
}  # fmt: skip


def _by_day(moved: Mapping[str, float]) -> dict[str, list[list[b.Row]]]:
    """Plateaus of each day's work; `moved`: by column, what each of its readings is moved by."""

    def plateau(target: float, outputs: list[float], reading: b.Row, **columns: Any) -> list[b.Row]:
        rows = b.plateau(target, outputs, reading, room_temperature=ROOM_C, **columns)
        return [{name: value + moved[name] if name in moved else value for name, value in row.items()} for row in rows]

    loop = {"sensor": "RH-2", "unit": "mA", "far_end": [50.0] * 3, "loop_meter": "METER-01"}
    return {
        "generator": [
            plateau(50.0, [50.3] * 3, b.generated(50.0, 23.0, 23.0)),
            plateau(0.5, [0.6] * 3, b.generated(0.5, 1.0, 60.0)),
        ],
        "mirror": [plateau(9.0, [9.3] * 3, b.mirrored(-10.0, 23.0, "frost"))],
        "salt": [plateau(33.0, [33.2] * 3, b.over_salt("SOLUTION-33"))],
        "probe": [plateau(50.0, [50.1] * 3, b.by_probe(50.0, ROOM_C))],
        "air": [plateau(50.0, [50.1] * 3, b.by_probe(50.0, ROOM_C, ROOM_C))],
        "loop": [plateau(50.0, [12.01] * 3, b.generated(50.0, 23.0, 23.0), **loop)],
    }


def laboratory(without: Claim | None = None, moved: Mapping[str, float] | None = None) -> b.Files:
    """Its records, without one of the claims' sources, or with readings moved."""

    def further(owner: str) -> list[dict[str, Any]]:
        return [claim.written for claim in CLAIMS if claim.owner == owner and claim is not without]

    loop = {"repeatability": "0.05 %RH", "far_end_resolution": "0.01 %RH"}
    visits = [
        b.visit(f"2026-03-{16 + day}-{name}", *plateaus)
        for day, (name, plateaus) in enumerate(_by_day(moved or {}).items())
    ]
    return b.records(
        b.sensor(),
        b.sensor("RH-2", signal="current", scaling=SCALING, humidity=loop, further=further("RH-2")),
        b.two_pressure(further=further("GEN-01")),
        b.chilled_mirror(further=further("MIR-01")),
        b.saturated_salt(cells=[{"name": "SOLUTION-33", "calibrations": [CERTIFICATE]}], further=further("SALT-01")),
        b.transfer_probe(further=further("PROBE-01")),
        b.loop_meter(further=further("METER-01")),
        b.barometer(),
        *visits,
    )
