"""What a raw log says about a visit: its plateaus, what was left at each, what could have been saved, and the rows."""

from __future__ import annotations

import csv
import io
from collections import ChainMap
from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import cast
from zoneinfo import ZoneInfo

import numpy as np

from asfound.assessment.results.conformity import tolerance_at
from asfound.faults import Fault, FilesRefused, RecordsRefused, did_you_mean
from asfound.measurement.calibrations import Calibrations
from asfound.measurement.cell_sources import Part
from asfound.measurement.log_errors import Samples, samples_of
from asfound.measurement.points import SetPoints
from asfound.measurement.reading_table import Cell
from asfound.records.load import Records, load
from asfound.records.methods import NEEDED
from asfound.records.models import Channel
from asfound.records.models.log_mapping import LogMapping, read_log_mapping
from asfound.records.settings_in_force import SettingsOn
from asfound.records.snapshot import LOGS, Snapshot
from asfound.records.visits.local_time import TimeRefused, clock_seconds
from asfound.records.visits.rows import sensor_visits
from asfound.records.visits.visit_files import read_visit
from asfound.refusals import Refusal
from asfound.soak.log_rows import log_window, with_logs
from asfound.soak.plateaus import find_plateaus
from asfound.soak.raw_log import Log, read_log
from asfound.soak.waiting import SHARE_OF_TOLERANCE, WINDOW_MIN, Wait, wait_at
from asfound.uncertainty.sources import Catalogue

LEAST_ROWS = 30


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the user says about a log."""

    log: Path
    folder: Path
    """of the records"""
    mapping: Path | None = None
    """None: beside the log, or mapping.yml in its folder"""
    sensors: tuple[str, ...] = ()
    """none: those that the mapping names"""
    reference: str | None = None
    """None: the one that the mapping names"""
    phase: str = "as_found"
    window_min: float = WINDOW_MIN
    share: float | None = None
    """of the tolerance that may be left, with its U; None: what the day's policy allows, else a tenth"""
    given: Mapping[str, str] | None = None
    """fields that every row has, by heading of a visit, e.g. condensate"""

    @property
    def is_record(self) -> bool:
        """Whether the log lies where rows can name it."""
        return (self.folder / LOGS).resolve() in self.log.resolve().parents

    @property
    def name(self) -> str:
        """As rows name the log: its path below logs/."""
        if not self.is_record:
            return self.log.name
        return self.log.resolve().relative_to((self.folder / LOGS).resolve()).as_posix()


@dataclass(frozen=True, kw_only=True)
class Point:
    """One plateau of one sensor."""

    target: float
    wait: Wait


@dataclass(frozen=True, kw_only=True)
class SensorSoak:
    """One sensor's plateaus, by time."""

    sensor: str
    reference: str
    points: tuple[Point, ...]


@dataclass(frozen=True, kw_only=True)
class Soaked:
    """What a log says."""

    asked: Asked
    log: Log
    zone: ZoneInfo
    sensors: tuple[SensorSoak, ...]

    @property
    def day(self) -> date:
        """On which the log begins, where the facility is."""
        return datetime.fromtimestamp(float(self.log.time_utc[0]), self.zone).date()

    @property
    def saved_min(self) -> float:
        """Minutes that the visit could have saved: sensors in one chamber wait for the slowest."""
        by_plateau: dict[float, list[float]] = {}
        for one in self.sensors:
            for point in one.points:
                by_plateau.setdefault(point.wait.plateau.start_utc, []).append(point.wait.saved_min)
        return sum(min(saved) for saved in by_plateau.values())

    @property
    def all_long_enough(self) -> bool:
        """Whether every sensor was ready at every plateau."""
        return all(point.wait.long_enough for one in self.sensors for point in one.points)


def soak(files: Snapshot, asked: Asked) -> Soaked:
    """What a log says, with the facility's records. Raises Refusal, FilesRefused or RecordsRefused."""
    records, faults = load(files)
    if records is None:
        raise RecordsRefused(faults)
    mapping, log, together = _read(records, asked)
    sensors = asked.sensors or mapping.of_sensors
    if not sensors:
        raise Refusal("no sensor is named", "give --sensor ID, or `sensor:` in the log's mapping")
    reference = asked.reference or mapping.reference
    if reference is None:
        raise Refusal("no reference is named", "give --reference ID, or `reference:` in the log's mapping")
    for kind, names, known in (("sensor", sensors, records.sensors), ("reference", (reference,), records.references)):
        for name in names:
            if name not in known:
                guess = did_you_mean(name, known)
                raise Refusal(f"{kind} {name!r} has no record", f"correct the id, or add its record{guess}")
    here = replace(records, files=together)
    chosen = _whole_log(here, asked, log, sensors, reference)
    found = []
    for (cell, on, samples), name in zip(chosen, sensors, strict=True):
        allowed = records.facility.policy_on(on.day).settling.largest_left if asked.share is None else None
        points = _points(cell, on, samples, log, asked, allowed)
        if not points:
            held = "none of its readings give a humidity" if not np.isfinite(samples.reference).any() else ""
            needed = ", ".join(_needed(here, reference))
            why = held or "it never stood within the band for five minutes"
            cure = f"check the mapping's columns of the reference ({needed}), and --with for what every row shares"
            raise Refusal(f"{asked.log}: no plateau of {reference} is found: {why}", cure)
        found.append(SensorSoak(sensor=name, reference=reference, points=points))
    return Soaked(asked=asked, log=log, zone=records.zone, sensors=tuple(found))


def _needed(records: Records, reference: str) -> tuple[str, ...]:
    return tuple(NEEDED.get(records.references[reference].kind, ()))


def _read(records: Records, asked: Asked) -> tuple[LogMapping, Log, Snapshot]:
    """Mapping and log by their own paths, and the records with both among them."""
    beside = (asked.log.with_suffix(".yml"), asked.log.parent / "mapping.yml")
    by = asked.mapping or next((path for path in beside if path.is_file()), None)
    if by is None:
        cure = f"write {beside[0].name} beside it, or give it with --mapping FILE"
        raise Refusal(f"{asked.log}: no mapping says what its columns hold", cure)
    try:
        content, mapped = asked.log.read_bytes(), by.read_bytes()
    except OSError as problem:
        raise Refusal(f"{problem.filename}: {problem.strerror}", "check the file's name") from None
    mapping, faults = read_log_mapping(by.as_posix(), mapped)
    if mapping is None:
        raise FilesRefused(faults)
    log, faults = read_log(asked.log.as_posix(), content, mapping, records.zone)
    if log is None:
        raise FilesRefused(faults)
    if len(log.time_utc) < LEAST_ROWS:
        cure = "log from before the first point until after the last, at least once a minute"
        raise Refusal(f"{asked.log}: {len(log.time_utc)} rows are too few", cure)
    path = LOGS + asked.name
    added = {path: content, f"{path.removesuffix(asked.log.suffix)}.yml": mapped}
    return mapping, log, ChainMap(added, cast(MutableMapping[str, bytes], records.files))


def _whole_log(
    records: Records, asked: Asked, log: Log, sensors: Sequence[str], reference: str
) -> list[tuple[Cell, SettingsOn, Samples]]:
    """Every sensor's errors over the whole log, by the models that rows of a visit go through."""
    zone = records.zone
    start, end = int(np.ceil(log.time_utc[0])), int(log.time_utc[-1])
    day = datetime.fromtimestamp(start, zone).date()
    rows = [_fields(asked, sensor, reference, start, end, zone, target="50", soak="0") for sensor in sensors]
    path = f"visits/{day:%Y}/{day}-soak.csv"
    visit, faults = read_visit(path, as_csv(rows), zone)
    if visit is None or faults:
        raise _first(faults)
    filled, faults = with_logs(replace(records, visits=(visit,)))
    if faults:
        raise _first(faults)
    visit = filled.visits[0]
    cells = {sv.sensor: Cell(sv, sv.plateaus[0]) for sv in sensor_visits(filled) if sv.plateaus}
    calibrations = Calibrations(filled, Catalogue())
    chosen = []
    for row, sensor in enumerate(sensors):
        window = log_window(filled, visit, row)
        if window is None or sensor not in cells:
            raise Refusal(f"{sensor}: its rows of the log cannot be read", "check --phase and --with")
        chosen.append((cells[sensor], SettingsOn(filled, filled.sensors[sensor], day), window, log.time_utc[0]))
    samples = samples_of(chosen, calibrations)
    return [(cell, on, one) for (cell, on, _, _), one in zip(chosen, samples, strict=True)]


def _first(faults: Sequence[Fault]) -> Refusal:
    return Refusal(faults[0].message, faults[0].cure) if faults else Refusal("the log's rows cannot be read")


def _points(
    cell: Cell, on: SettingsOn, samples: Samples, log: Log, asked: Asked, allowed: float | None
) -> tuple[Point, ...]:
    """The plateaus of one sensor. `allowed`: what may be left, with its U, in %RH; None: a share of the tolerance."""
    share = SHARE_OF_TOLERANCE if asked.share is None else asked.share
    errors = samples.errors
    if not np.isfinite(samples.reference).any():
        return ()  # no error either, whatever the sensor showed: the reference is what lacks
    judged = next((p for p in (Part.TOTAL, Part.SENSOR) if (Channel.HUMIDITY, p) in errors), None)
    if judged is None:
        message = f"{cell.sensor_visit.sensor}: no humidity reading of it was logged"
        raise Refusal(f"{message}", "give its column in the mapping, e.g. `RH probe: output [mA]`")
    read = log.of(cell.sensor_visit.sensor).get(Channel.HUMIDITY.declaration.columns[judged is Part.TOTAL])
    resolution = read.step if read is not None and read.unit.quantity == "humidity" else 0.0
    tolerance = on.tolerance(Channel.HUMIDITY, asked.phase)
    planned = on.dated("points")
    points = []
    for plateau in find_plateaus(samples.time_utc, samples.reference):
        limit = tolerance_at(tolerance, plateau.level, on.range(Channel.HUMIDITY)) if tolerance else float("nan")
        wait = wait_at(
            plateau,
            samples.time_utc,
            errors[Channel.HUMIDITY, judged],
            largest_left=share * limit if allowed is None else allowed,
            window_min=asked.window_min,
            resolution=resolution,
        )
        points.append(Point(target=_target(plateau.level, planned.humidity if planned else ()), wait=wait))
    return tuple(points)


def _target(level: float, planned: Sequence[float]) -> float:
    """The point that was meant: the one of the sensor's at which the level counts, else the level in two digits."""
    counted = float(SetPoints(tuple(planned)).within_reach(np.array(level)))
    return float(f"{level:.2g}") if np.isnan(counted) else counted


def visit_rows(soaked: Soaked) -> bytes:
    """The visit's CSV: one row a plateau and sensor; the readings are computed from the log at every build."""
    rows = []
    points = [(point.wait.window_utc[0], one, point) for one in soaked.sensors for point in one.points]
    for _, one, point in sorted(points, key=lambda item: item[0]):
        wait = point.wait
        start, end = int(np.ceil(wait.window_utc[0])), int(np.floor(wait.window_utc[1]))
        waited = f"{(start - wait.plateau.start_utc) / 60.0:.2f}"
        rows.append(
            _fields(
                soaked.asked,
                one.sensor,
                one.reference,
                start,
                end,
                soaked.zone,
                target=f"{point.target:g}",
                soak=waited,
            )
        )
    return as_csv(rows)


def _fields(
    asked: Asked, sensor: str, reference: str, start: int, end: int, zone: ZoneInfo, *, target: str, soak: str
) -> dict[str, str]:
    """One row of a visit that names the log and a window."""
    return {
        "sensor": sensor,
        "time": local_text(start, zone),
        "phase": asked.phase,
        "target [%RH]": target,
        "reference": reference,
        **(asked.given or {}),
        "soak [min]": soak,
        "log": asked.name,
        "log_from": local_text(start, zone),
        "log_until": local_text(end, zone),
    }


def as_csv(rows: Sequence[Mapping[str, str]]) -> bytes:
    """Rows under one header."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def local_text(instant: int, zone: ZoneInfo) -> str:
    """An instant as visits write it: the facility's clock, with an offset only in the hour that occurs twice."""
    local = datetime.fromtimestamp(instant, UTC).astimezone(zone)
    plain = local.strftime("%Y-%m-%d %H:%M:%S")
    try:
        clock_seconds(plain, zone)
    except TimeRefused:
        offset = local.strftime("%z")
        return f"{plain}{offset[:3]}:{offset[3:]}"
    return plain
