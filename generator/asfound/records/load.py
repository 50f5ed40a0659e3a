"""All records of a snapshot, read and validated one by one; rules across records come after (rules/)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel, ValidationError

from asfound.faults import Fault, Place, Rule, did_you_mean, error
from asfound.records.issued import Issued, read_issued
from asfound.records.models import (
    Facility,
    Family,
    Finding,
    People,
    Person,
    Record,
    Reference,
    Sensor,
)
from asfound.records.models.validation import validation_faults
from asfound.records.models.yaml_text import Document, parse
from asfound.records.snapshot import EVIDENCE, ISSUED, Snapshot
from asfound.records.visits.visit_files import Visit, read_visits

MISSING_RECORD = error("missing-record", "facility.yml or people.yml is not there")
STRAY_FILE = error("stray-file", "a file lies where no record is looked for")
FILE_NAME = error("file-name", "a record's id is not its file's name")
UNKNOWN_TIME_ZONE = error("unknown-time-zone", "facility.yml's time zone is not in the IANA list")
FINDING_PATH = error("finding-path", "a finding's file is not findings/SENSOR/VISIT.yml of its own sensor and visit")

_FOLDERS: dict[str, type[Record]] = {
    "families": Family,
    "sensors": Sensor,
    "references": Reference,
    "findings": Finding,
}
_SINGLE: dict[str, type[Record]] = {"facility.yml": Facility, "people.yml": People}


@dataclass(frozen=True, kw_only=True)
class Records:
    """The records of one snapshot that could be read, each valid by itself."""

    facility: Facility
    people: Mapping[str, Person]
    families: Mapping[str, Family]
    sensors: Mapping[str, Sensor]
    references: Mapping[str, Reference]
    findings: tuple[Finding, ...]
    visits: tuple[Visit, ...]
    """sorted by day, id and revision"""
    issued: tuple[Issued, ...]
    """certificates, sorted by sensor, visit and revision"""
    documents: Mapping[str, Document] = field(repr=False)
    files: Snapshot = field(repr=False)

    @property
    def zone(self) -> ZoneInfo:
        """The facility's time zone."""
        return ZoneInfo(self.facility.time_zone)

    def place(self, path: str, *loc: str | int) -> Place:
        """Place of a value in a YAML record."""
        return self.documents[path].place(*loc)


@dataclass(kw_only=True)
class Reading:
    """What could be read of a snapshot, and the faults met on the way."""

    models: dict[str, Any] = field(default_factory=dict)
    """by path"""
    documents: dict[str, Document] = field(default_factory=dict)
    visits: list[Visit] = field(default_factory=list)
    issued: list[Issued] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def records(self, files: Snapshot, facility: Facility, people: Iterable[Person]) -> Records:
        """The records that were read, with this facility and these people."""
        return Records(
            facility=facility,
            people={person.id: person for person in people},
            families=self._by_id("families/"),
            sensors=self._by_id("sensors/"),
            references=self._by_id("references/"),
            findings=tuple(m for path, m in self.models.items() if path.startswith("findings/")),
            visits=tuple(sorted(self.visits, key=lambda v: (v.day, v.id, v.revision))),
            issued=tuple(sorted(self.issued, key=lambda c: (c.sensor, c.visit, c.revision))),
            documents=self.documents,
            files=files,
        )

    def _by_id(self, folder: str) -> dict[str, Any]:
        return {_stem(path): model for path, model in self.models.items() if path.startswith(folder)}

    def fault(self, rule: Rule, place: Place, message: str, cure: str) -> None:
        """Add a fault."""
        self.faults.append(Fault(rule=rule, place=place, message=message, cure=cure))


def load(files: Snapshot) -> tuple[Records | None, list[Fault]]:
    """Read every record; all faults at once.

    A record with faults is left out; without facility.yml and people.yml there are no `Records`.
    """
    reading = read(files)
    facility, people = reading.models.get("facility.yml"), reading.models.get("people.yml")
    if facility is None or people is None:
        return None, reading.faults
    return reading.records(files, facility, people.people), reading.faults


def zone_at(folder: Path) -> ZoneInfo | None:
    """The time zone of the facility whose records lie in a folder; None where that cannot be told."""
    try:
        facility = read({"facility.yml": (folder / "facility.yml").read_bytes()}).models.get("facility.yml")
    except OSError:
        return None
    return ZoneInfo(facility.time_zone) if facility is not None else None


def read(files: Snapshot) -> Reading:
    """Read every file; a file with faults gives faults in place of its record."""
    reading = Reading()
    visits: dict[str, bytes] = {}
    for path in files:
        model = _model_of(path)
        if model is not None:
            _read_yaml(reading, path, files[path], model)
        elif path.startswith("visits/"):
            visits[path] = files[path]
        elif path.startswith(ISSUED):
            certificate, faults = read_issued(files, path)
            reading.issued += [certificate] if certificate is not None else []
            reading.faults += faults
        elif not path.startswith(EVIDENCE):
            cure = "move it to attachments/, or to the folder of its kind (manual: Records)"
            if path.endswith(".yaml") and _model_of(path.removesuffix("yaml") + "yml"):
                cure = f"rename it to {path.removesuffix('yaml')}yml"
            reading.fault(STRAY_FILE, Place(path=path), "no record is looked for here", cure)
    for path in _SINGLE:
        if path not in files:
            cure = f"add {path} to the records folder"
            reading.fault(MISSING_RECORD, Place(path=path), f"{path} is not there", cure)
    reading.visits, faults = read_visits(visits, _zone(reading))
    reading.faults += faults
    return reading


def _stem(path: str) -> str:
    return path.rpartition("/")[2].removesuffix(".yml")


def _model_of(path: str) -> type[Record] | None:
    if path in _SINGLE:
        return _SINGLE[path]
    folder, _, name = path.partition("/")
    deep = name.count("/")
    fits = name.endswith(".yml") and deep == (1 if folder == "findings" else 0)
    return _FOLDERS.get(folder) if fits else None


def _zone(reading: Reading) -> ZoneInfo:
    facility = reading.models.get("facility.yml")
    if facility is not None:
        try:
            return ZoneInfo(facility.time_zone)
        except (ValueError, OSError, KeyError):
            place = reading.documents["facility.yml"].place("time_zone")
            guess = did_you_mean(facility.time_zone, available_timezones())
            cure = f"write an IANA name, e.g. Europe/Oslo or America/Denver{guess}"
            reading.fault(UNKNOWN_TIME_ZONE, place, f"unknown time zone {facility.time_zone!r}", cure)
            del reading.models["facility.yml"]
    return ZoneInfo("UTC")


def _read_yaml(reading: Reading, path: str, content: bytes, model: type[Record]) -> None:
    document, faults = parse(path, content)
    reading.faults += faults
    if document is None:
        return
    reading.documents[path] = document
    try:
        record = model.model_validate(document.data if document.data is not None else {})
    except ValidationError as problem:
        reading.faults += validation_faults(document, model, problem)
        return
    _check_name(reading, document, record)
    reading.models[path] = record


def _check_name(reading: Reading, document: Document, record: BaseModel) -> None:
    path = document.path
    if isinstance(record, Finding):
        own = f"findings/{record.sensor}/{record.visit}.yml"
        if path != own:
            message = f"the file holds the finding of {record.sensor} at {record.visit}"
            cure = f"move it to {own}, or correct sensor and visit"
            reading.fault(FINDING_PATH, document.place("sensor"), message, cure)
        return
    key = "model" if isinstance(record, Family) else "id"
    name = getattr(record, key, None)
    if name is not None and name != _stem(path):
        cure = f"write {_stem(path)!r}, or rename the file to {name}.yml"
        reading.fault(FILE_NAME, document.place(key), f"{key} {name!r} is not the file's name", cure)
