"""Every trip with the cart, October 2022 to November 2026: who went where, with what, and what happened there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, kw_only=True)
class Route:
    """How a place is usually done."""

    reference: str
    method: str
    """two_pressure, mirror, salt, probe, in_air"""
    temperature_c: float
    points: tuple[float, ...]
    """the working humidity first"""
    sessions: tuple[tuple[str, ...], ...]
    """sensors that share a chamber, one session after another"""
    room_humidity: int
    phase: str = "as_found"


@dataclass(frozen=True, kw_only=True)
class Adjustment:
    """What was done to a sensor between as found and as left."""

    kind: str
    before: str
    after: str
    note: str


@dataclass(frozen=True, kw_only=True)
class Slip:
    """A typing error in the first file of a visit, and the second revision that puts it right."""

    sensor: str
    target: float
    column: str
    typed: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class Withdrawal:
    """A later revision that voids a sensor's rows of this visit."""

    sensor: str
    time: str
    technician: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class Stated:
    """What another laboratory's certificate says of a sensor at one point."""

    target: float
    reference: float
    error: float
    expanded: float


@dataclass(frozen=True, kw_only=True)
class Trip:
    """One visit; what it leaves out is as its route says."""

    day: str
    route: str
    technician: str
    words: str = ""
    """end of the file's name, where it is not the route's"""
    points: tuple[float, ...] = ()
    sessions: tuple[tuple[str, ...], ...] = ()
    adjusted: Mapping[str, Adjustment] = field(default_factory=dict)
    soaks: Mapping[tuple[str, float], int] = field(default_factory=dict)
    """minutes of a sensor at a point, where they are not the usual ones"""
    slow: Mapping[str, float] = field(default_factory=dict)
    """minutes of a sensor's time constant that day"""
    conditions: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
    not_done: Mapping[str, str] = field(default_factory=dict)
    stated: Mapping[str, tuple[Stated, ...]] = field(default_factory=dict)
    slip: Slip | None = None
    withdrawal: Withdrawal | None = None
    log: str = ""
    """name of the log that the rows take their readings from, where nobody wrote them down"""
    spreadsheet: bool = False
    """saved by a spreadsheet: byte-order mark, CRLF, semicolons, decimal commas, empty columns behind"""

    @property
    def id(self) -> str:
        return f"{self.day}-{self.words or self.route}"

    @property
    def date(self) -> date:
        return date.fromisoformat(self.day)


DRYING, HERBARIUM, HALL, FROST_ICE, FROST_WATER = (
    (15, 10, 40), (45, 20, 70), (80, 50, 90), (60, 40, 75), (40, 25, 60),
)  # fmt: skip
PROBE_LOOP = (50, 10, 30, 50, 70, 90, 70, 50, 30, 10)

ROUTES: dict[str, Route] = {
    "drying-a": Route(
        reference="GEN-01", method="two_pressure", temperature_c=15.0, room_humidity=15,
        points=DRYING, sessions=(("DRY-11", "DRY-12", "DRY-13"),),
    ),
    "drying-b": Route(
        reference="GEN-02", method="two_pressure", temperature_c=15.0, room_humidity=15,
        points=DRYING, sessions=(("DRY-21",), ("DRY-22", "DRY-23")),
    ),
    "vault-1": Route(
        reference="MIR-01", method="mirror", temperature_c=-20.0, room_humidity=50,
        points=FROST_ICE, sessions=(("VLT-11",), ("VLT-12",)),
    ),
    "vault-2": Route(
        reference="MIR-01", method="mirror", temperature_c=-20.0, room_humidity=40,
        points=FROST_WATER, sessions=(("VLT-21",), ("VLT-22",)),
    ),
    "vault-probe-in-lab": Route(
        reference="GEN-01", method="two_pressure", temperature_c=23.0, room_humidity=46,
        points=FROST_WATER, sessions=(("VLT-22",),),
    ),
    "herbarium-north": Route(
        reference="GEN-01", method="two_pressure", temperature_c=18.0, room_humidity=45,
        points=HERBARIUM, sessions=(("HRB-11", "HRB-12"), ("HRB-13",)),
    ),
    "herbarium-south": Route(
        reference="GEN-02", method="two_pressure", temperature_c=18.0, room_humidity=45,
        points=HERBARIUM, sessions=(("HRB-21", "HRB-22"), ("HRB-23",)),
    ),
    "herbarium-air": Route(
        reference="PROBE-01", method="in_air", temperature_c=18.0, room_humidity=45,
        points=(45,), sessions=(("HRB-12",), ("HRB-21",)),
    ),
    "hall-1": Route(
        reference="GEN-01", method="two_pressure", temperature_c=22.0, room_humidity=79,
        points=HALL, sessions=(("GER-11", "GER-12"),),
    ),
    "hall-2": Route(
        reference="GEN-02", method="two_pressure", temperature_c=22.0, room_humidity=80,
        points=HALL, sessions=(("GER-21", "GER-22"),),
    ),
    "lab-display": Route(
        reference="SALT-01", method="salt", temperature_c=23.0, room_humidity=46,
        points=(33, 11, 75), sessions=(("LAB-11",),),
    ),
    "lab-probe": Route(
        reference="MIR-01", method="mirror", temperature_c=23.0, room_humidity=46,
        points=(50, 35, 75), sessions=(("LAB-12",),),
    ),
    "receiving": Route(
        reference="GEN-02", method="two_pressure", temperature_c=18.0, room_humidity=48,
        points=HERBARIUM, sessions=(("REC-11", "REC-12"),),
    ),
    "packing": Route(
        reference="PROBE-01", method="probe", temperature_c=20.0, room_humidity=31,
        points=(30, 15, 50), sessions=(("PAK-11",),),
    ),
    "probe": Route(
        reference="GEN-01", method="two_pressure", temperature_c=23.0, room_humidity=46,
        points=PROBE_LOOP, sessions=(("PROBE-01",),),
    ),
    "probe-check": Route(
        reference="GEN-01", method="two_pressure", temperature_c=23.0, room_humidity=46,
        points=(50, 20, 80), sessions=(("PROBE-01",),), phase="check",
    ),
    "probe-salts": Route(
        reference="SALT-01", method="salt", temperature_c=23.0, room_humidity=46,
        points=(33, 75), sessions=(("PROBE-01",),), phase="check",
    ),
}  # fmt: skip


def _as_usual(route: str, technician: str, *days: str) -> tuple[Trip, ...]:
    """Trips on which nothing happened that the route does not say."""
    return tuple(Trip(day=day, route=route, technician=technician) for day in days)


TRIPS: tuple[Trip, ...] = (
    *_as_usual(
        "drying-a", "varlund",
        "2022-10-11", "2023-04-12", "2023-10-10", "2024-04-10", "2025-04-09", "2026-10-14",
    ),
    *_as_usual("drying-a", "oskwin", "2025-10-08"),
    Trip(
        day="2024-10-09", route="drying-a", technician="varlund",
        conditions={"DRY-13": "dirty"},
        notes={"DRY-13": "smells of solvent; filter of the duct changed last summer"},
        adjusted={"DRY-13": Adjustment(
            kind="zero", before="zero 0.0 %RH", after="zero -2.3 %RH", note="zero trimmed at 15 %RH")},
    ),
    Trip(day="2026-04-15", route="drying-a", technician="varlund", spreadsheet=True),
    Trip(
        day="2026-11-24", route="drying-a", technician="oskwin", words="drying-a-log", sessions=(("DRY-12",),),
        soaks={("DRY-12", 15): 10, ("DRY-12", 10): 12, ("DRY-12", 40): 16}, log="2026-11-24-dry-12",
        notes={"DRY-12": "read again because it creeps; first time from the logger"},
    ),
    *_as_usual("drying-b", "haskarl", "2022-10-18", "2023-04-18"),
    *_as_usual("drying-b", "oskwin", "2024-10-15", "2025-04-15", "2025-10-14", "2026-04-21"),
    Trip(
        day="2023-10-17", route="drying-b", technician="haskarl",
        conditions={"DRY-21": "wet"},
        notes={"DRY-21": "water in the grille from the coil above"},
        adjusted={"DRY-21": Adjustment(
            kind="element", before="element lot 7K", after="element lot 9M",
            note="element renewed, zero and span at factory setting")},
    ),
    Trip(
        day="2024-04-16", route="drying-b", technician="haskarl",
        slip=Slip(
            sensor="DRY-21", target=40, column="output [mA]", typed="14.006",
            reason="digits swapped when the sheet was typed: 14.0 mA for 10.4 mA at 40 %RH; paper sheet checked"),
    ),
    Trip(
        day="2026-10-20", route="drying-b", technician="oskwin",
        notes={"DRY-22": "out of tolerance; no trim left, element ordered, not adjusted"},
    ),
    *_as_usual("vault-1", "varlund", "2023-02-07", "2024-02-06", "2025-02-11"),
    *_as_usual("vault-1", "oskwin", "2026-02-10"),
    *_as_usual("vault-2", "varlund", "2023-06-06", "2024-06-04", "2025-06-03"),
    Trip(
        day="2026-06-09", route="vault-2", technician="varlund",
        not_done={"VLT-21": "door interlocked for defrosting, no access", "VLT-22": "door interlocked, no access"},
    ),
    Trip(
        day="2026-07-07", route="vault-probe-in-lab", technician="varlund",
        notes={"VLT-22": "unplugged and taken to the laboratory while the vault was closed"},
    ),
    *_as_usual("herbarium-north", "varlund", "2022-11-15", "2023-05-16", "2024-05-14"),
    Trip(
        day="2024-06-20", route="herbarium-north", technician="varlund", words="new-display",
        sessions=(("HRB-13",),),
        notes={"HRB-13": "new display SD-1377 in place of SD-1140, whose screen had gone dark"},
    ),
    Trip(
        day="2025-05-13", route="herbarium-north", technician="varlund",
        sessions=(("HRB-11",), ("HRB-12",), ("HRB-13",)),
        notes={"HRB-11": "first time under ±2 %RH", "HRB-12": "first time at its new place in the reading room"},
        adjusted={"HRB-11": Adjustment(
            kind="zero", before="zero 0.0 %RH", after="zero -3.3 %RH", note="zero trimmed at 45 %RH")},
    ),
    Trip(
        day="2026-05-12", route="herbarium-north", technician="oskwin",
        sessions=(("HRB-11",), ("HRB-12",), ("HRB-13",)),
    ),
    *_as_usual("herbarium-south", "haskarl", "2022-10-25", "2023-10-24"),
    *_as_usual("herbarium-south", "oskwin", "2024-10-22"),
    Trip(
        day="2025-10-21", route="herbarium-south", technician="oskwin", sessions=(("HRB-21",), ("HRB-23",)),
    ),
    Trip(
        day="2025-10-28", route="herbarium-south", technician="oskwin", words="display-returned",
        stated={"HRB-22": (
            Stated(target=20, reference=20.1, error=0.7, expanded=0.9),
            Stated(target=45, reference=45.2, error=0.9, expanded=0.9),
            Stated(target=70, reference=69.8, error=1.3, expanded=1.0))},
        notes={"HRB-22": "calibrated by Aldervane Humidity Laboratory, certificate AHL-2025-0377"},
    ),
    Trip(
        day="2026-10-27", route="herbarium-south", technician="oskwin", sessions=(("HRB-21",), ("HRB-22",)),
    ),
    *_as_usual("herbarium-air", "varlund", "2024-04-23", "2026-04-28"),
    *_as_usual("herbarium-air", "oskwin", "2025-04-22"),
    *_as_usual("hall-1", "varlund", "2022-12-06", "2023-03-14", "2023-09-26", "2024-03-12", "2025-09-24"),
    Trip(
        day="2024-09-24", route="hall-1", technician="varlund", points=(80, 50, 80, 90, 80, 50),
        notes={"GER-11": "loop for hysteresis"},
    ),
    Trip(
        day="2025-03-18", route="hall-1", technician="varlund",
        notes={"GER-11": "in tolerance, above its adjustment limit"},
        adjusted={"GER-11": Adjustment(
            kind="span", before="span 1.000, zero 0.0 %RH", after="span 1.014, zero +0.3 %RH",
            note="two-point trim at 50 and 90 %RH")},
    ),
    Trip(
        day="2026-03-17", route="hall-1", technician="varlund", points=(80, 50, 80, 90, 80, 50),
        notes={"GER-11": "loop for hysteresis"},
    ),
    Trip(
        day="2026-09-29", route="hall-1", technician="varlund",
        notes={"GER-12": "temperature reads high, humidity in order"},
    ),
    *_as_usual("hall-2", "haskarl", "2022-11-29", "2023-05-23", "2023-11-21", "2024-05-21"),
    *_as_usual("hall-2", "oskwin", "2024-11-19", "2025-05-20", "2026-05-19", "2026-11-17"),
    Trip(
        day="2025-11-18", route="hall-2", technician="oskwin", sessions=(("GER-21",), ("GER-22",)),
        soaks={("GER-22", 50): 16, ("GER-22", 90): 12}, slow={"GER-22": 6.0},
        conditions={"GER-22": "wet"},
        notes={"GER-22": "filter wet and slow; called away before it had settled"},
    ),
    Trip(
        day="2025-12-02", route="hall-2", technician="oskwin", words="hall-2-again", sessions=(("GER-22",),),
        conditions={"GER-22": "cap changed"},
        notes={"GER-22": "new filter cap; repeat of 18 November"},
    ),
    *_as_usual("lab-display", "varlund", "2023-01-17", "2024-01-16"),
    *_as_usual("lab-display", "oskwin", "2025-01-14", "2026-01-13"),
    *_as_usual("lab-probe", "varlund", "2023-01-24", "2024-01-23", "2026-01-20"),
    *_as_usual("lab-probe", "oskwin", "2025-01-21"),
    *_as_usual("receiving", "haskarl", "2022-12-13", "2023-07-11"),
    *_as_usual("receiving", "oskwin", "2025-07-15"),
    Trip(
        day="2024-06-19", route="receiving", technician="haskarl",
        notes={"REC-11": "cart goes to its laboratories next Monday; its calibration ended on the 13th"},
    ),
    Trip(day="2024-07-16", route="receiving", technician="haskarl", words="receiving-again"),
    Trip(day="2026-07-14", route="receiving", technician="oskwin", sessions=(("REC-11",),)),
    *_as_usual("packing", "varlund", "2022-12-14", "2023-12-20", "2025-12-10"),
    *_as_usual("packing", "oskwin", "2024-12-11"),
    Trip(
        day="2023-12-13", route="packing", technician="varlund",
        withdrawal=Withdrawal(
            sensor="PAK-11", time="2023-12-18 09:10", technician="varlund",
            reason="the chamber's door seal was found split on 18 December; readings void, repeated on the 20th"),
    ),
    *_as_usual("probe-salts", "varlund", "2023-03-21", "2024-03-19", "2026-03-10"),
    *_as_usual("probe-salts", "oskwin", "2025-03-11"),
    *_as_usual("probe-check", "varlund", "2024-12-03"),
    *_as_usual("probe-check", "oskwin", "2026-06-16"),
    Trip(
        day="2025-09-23", route="probe", technician="varlund",
        adjusted={"PROBE-01": Adjustment(
            kind="none", before="", after="", note="nothing changed; the loop as left is its calibration")},
    ),
    Trip(
        day="2026-09-22", route="probe", technician="varlund",
        adjusted={"PROBE-01": Adjustment(
            kind="table", before="table of 2022", after="table of 2026-09-22", note="table renewed at five points")},
    ),
)  # fmt: skip
"""In order of place, then of day."""
