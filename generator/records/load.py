"""All records of a snapshot, read and validated one by one; rules across records come after (rules.py)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError

from generator.faults import RULES, Fault, Place, did_you_mean, error
from generator.records.models import Facility, Family, Finding, People, Person, Sensor
from generator.records.references import Reference
from generator.records.snapshot import Snapshot
from generator.records.visits import Visit, read_visit
from generator.records.yaml_text import Document, Loc, parse

MISSING_RECORD = error("missing-record", "facility.yml or people.yml is not there")
STRAY_FILE = error("stray-file", "a file lies where no record is looked for")
FILE_NAME = error("file-name", "a record's id is not its file's name")
MISSING_KEY = error("missing-key", "a key that the record needs is not there")
UNKNOWN_KEY = error("unknown-key", "a key is not one of the record's")
WRONG_VALUE = error("wrong-value", "a value is not of the kind that its key needs")
BAD_DATE = error("bad-date", "a day is not written YYYY-MM-DD")
BAD_AMOUNT = error("bad-amount", "an amount has no number, or no unit, or a unit of another quantity")
DATES_OUT_OF_ORDER = error(
    "dates-out-of-order", "dated entries are not in order, or an end lies before its start"
)
EMPTY_TOLERANCE = error("empty-tolerance", "a tolerance gives no limit")
BAD_SCALING = error("bad-scaling", "a scaling's two ends do not make a line")
BAD_RANGE = error("bad-range", "a range's lower end is not below its upper end")
DEFERRAL_WITHOUT_REASON = error(
    "deferral-without-reason", "a calibration is deferred without a reason or a day"
)
FINDING_HALF_CLOSED = error(
    "finding-half-closed", "a finding is closed without who, when or what was decided"
)
MIXED_QUANTITIES = error("mixed-quantities", "amounts of different quantities stand where one is needed")
CALIBRATION_INCOMPLETE = error(
    "calibration-incomplete", "a reference's calibration lacks what its certificate states"
)
TABLE_OUT_OF_ORDER = error("table-out-of-order", "a calibration table's points do not rise")
QUANTITY_MISSING = error("quantity-missing", "a reference lacks a quantity (or salt) that its kind measures")
UNKNOWN_QUANTITY = error("unknown-quantity", "a reference names a quantity that no method uses")
UNKNOWN_TIME_ZONE = error("unknown-time-zone", "facility.yml's time zone is not in the IANA list")
FINDING_PATH = error(
    "finding-path", "a finding's file is not findings/SENSOR/VISIT.yml of its own sensor and visit"
)

_FOLDERS: dict[str, type[BaseModel]] = {
    "families": Family,
    "sensors": Sensor,
    "references": Reference,
    "findings": Finding,
}
_SINGLE: dict[str, type[BaseModel]] = {"facility.yml": Facility, "people.yml": People}
RECORD_MODELS: dict[str, type[BaseModel]] = {
    "facility": Facility,
    "people": People,
    "family": Family,
    "sensor": Sensor,
    "reference": Reference,
    "finding": Finding,
}
_EVIDENCE = ("attachments/", "logs/", "trends/", "issued/")


@dataclass(frozen=True, kw_only=True)
class Records:
    """All records of one snapshot, each valid by itself."""

    facility: Facility
    people: Mapping[str, Person]
    families: Mapping[str, Family]
    sensors: Mapping[str, Sensor]
    references: Mapping[str, Reference]
    findings: tuple[Finding, ...]
    visits: tuple[Visit, ...]
    """sorted by day, id and revision"""
    documents: Mapping[str, Document] = field(repr=False)
    files: Snapshot = field(repr=False)

    @property
    def zone(self) -> ZoneInfo:
        """The facility's time zone."""
        return ZoneInfo(self.facility.time_zone)

    def place(self, path: str, *loc: str | int) -> Place:
        """Place of a value in a YAML record."""
        return self.documents[path].place(*loc)


@dataclass
class _Loaded:
    faults: list[Fault] = field(default_factory=list)
    models: dict[str, Any] = field(default_factory=dict)
    documents: dict[str, Document] = field(default_factory=dict)


def load(files: Snapshot) -> tuple[Records | None, list[Fault]]:
    """Read every record; all faults at once. `Records` only where each file could be read."""
    loaded = _Loaded()
    visit_paths: list[str] = []
    for path, content in files.items():
        model = _model_of(path)
        if model is not None:
            _load_yaml(loaded, path, content, model)
        elif path.startswith("visits/"):
            visit_paths.append(path)
        elif not path.startswith(_EVIDENCE):
            cure = "move it to attachments/, or to the folder of its kind (README: the records)"
            loaded.faults.append(
                Fault(
                    rule=STRAY_FILE, place=Place(path=path), message="no record is looked for here", cure=cure
                )
            )
    for path in _SINGLE:
        if path not in files:
            message, cure = f"{path} is not there", f"add {path} to the records folder"
            loaded.faults.append(
                Fault(rule=MISSING_RECORD, place=Place(path=path), message=message, cure=cure)
            )
    zone = _zone(loaded)
    visits: list[Visit] = []
    for path in visit_paths:
        visit, faults = read_visit(path, files[path], zone)
        loaded.faults += faults
        if visit is not None:
            visits.append(visit)
    whole = {path: m for path, m in loaded.models.items()}
    if "facility.yml" not in whole or "people.yml" not in whole:
        return None, loaded.faults
    records = Records(
        facility=whole["facility.yml"],
        people={p.id: p for p in whole["people.yml"].people},
        families=_by_id(whole, "families/"),
        sensors=_by_id(whole, "sensors/"),
        references=_by_id(whole, "references/"),
        findings=tuple(m for path, m in whole.items() if path.startswith("findings/")),
        visits=tuple(sorted(visits, key=lambda v: (v.day, v.id, v.revision))),
        documents=loaded.documents,
        files=files,
    )
    return records, loaded.faults


def _by_id(models: Mapping[str, Any], folder: str) -> dict[str, Any]:
    return {_stem(path): model for path, model in models.items() if path.startswith(folder)}


def _stem(path: str) -> str:
    return path.rpartition("/")[2].removesuffix(".yml")


def _model_of(path: str) -> type[BaseModel] | None:
    if path in _SINGLE:
        return _SINGLE[path]
    folder, _, name = path.partition("/")
    model = _FOLDERS.get(folder)
    deep = name.count("/")
    return model if model and name.endswith(".yml") and deep == (1 if folder == "findings" else 0) else None


def _zone(loaded: _Loaded) -> ZoneInfo:
    facility = loaded.models.get("facility.yml")
    if facility is not None:
        try:
            return ZoneInfo(facility.time_zone)
        except (ValueError, OSError, KeyError):
            loaded.faults.append(
                Fault(
                    rule=UNKNOWN_TIME_ZONE,
                    place=loaded.documents["facility.yml"].place("time_zone"),
                    message=f"unknown time zone {facility.time_zone!r}",
                    cure="write an IANA name, e.g. Europe/Oslo or America/Denver",
                )
            )
    return ZoneInfo("UTC")


def _load_yaml(loaded: _Loaded, path: str, content: bytes, model: type[BaseModel]) -> None:
    document, faults = parse(path, content)
    loaded.faults += faults
    if document is None:
        return
    loaded.documents[path] = document
    try:
        record = model.model_validate(document.data if document.data is not None else {})
    except ValidationError as problem:
        loaded.faults += validation_faults(document, model, problem)
        return
    wrong = _name_fault(document, record)
    if wrong:
        loaded.faults.append(wrong)
    loaded.models[path] = record


def _name_fault(document: Document, record: BaseModel) -> Fault | None:
    path = document.path
    if isinstance(record, Finding):
        if path != f"findings/{record.sensor}/{record.visit}.yml":
            message = f"the file holds the finding of {record.sensor} at {record.visit}"
            cure = f"move it to findings/{record.sensor}/{record.visit}.yml, or correct sensor and visit"
            return Fault(rule=FINDING_PATH, place=document.place("sensor"), message=message, cure=cure)
        return None
    key = "model" if isinstance(record, Family) else "id"
    name = getattr(record, key, None)
    if name is None or name == _stem(path):
        return None
    message = f"{key} {name!r} is not the file's name"
    cure = f"write {_stem(path)!r}, or rename the file to {name}.yml"
    return Fault(rule=FILE_NAME, place=document.place(key), message=message, cure=cure)


_Model = TypeVar("_Model", bound=BaseModel)


def validation_faults(document: Document, model: type[BaseModel], problem: ValidationError) -> list[Fault]:
    """A model's complaints → faults with places and cures; a complaint about a whole is dropped where a part has one."""
    details = problem.errors(include_url=False)
    locs = [tuple(d["loc"]) for d in details]
    faults = []
    for detail, loc in zip(details, locs, strict=True):
        inner_fault = any(other[: len(loc)] == loc and len(other) > len(loc) for other in locs)
        if detail["type"] == "too_short" and inner_fault:
            continue
        faults.append(_validation_fault(document, model, detail, _written_loc(document, loc)))
    return faults


def _written_loc(document: Document, loc: Loc) -> Loc:
    """The path as written: a single dated entry stands where the model has a list."""
    written: list[str | int] = []
    data = document.data
    for part in loc:
        if isinstance(part, int) and not isinstance(data, list):
            continue
        written.append(part)
        data = (
            data[part]
            if isinstance(data, list) and isinstance(part, int) and part < len(data)
            else (data.get(part) if isinstance(data, dict) else None)
        )
    return tuple(written)


def _validation_fault(document: Document, model: type[BaseModel], detail: Any, loc: Loc) -> Fault:
    kind, context = detail["type"], detail.get("ctx") or {}
    key = str(loc[-1]) if loc else "the record"
    if kind in RULES:
        return Fault(
            rule=RULES[kind],
            place=document.place(*loc),
            message=f"{_named(loc)}{context['message']}",
            cure=context["cure"],
        )
    if kind == "missing":
        return Fault(
            rule=MISSING_KEY,
            place=document.key_place(*loc[:-1]),
            message=f"the key {key!r} is missing",
            cure=f"add `{key}:`",
        )
    if kind == "extra_forbidden":
        known = _keys(model, loc[:-1])
        return Fault(
            rule=UNKNOWN_KEY,
            place=document.key_place(*loc),
            message=f"unknown key {key!r}",
            cure=f"remove it or correct it{did_you_mean(key, known) or '; known are ' + ', '.join(known)}",
        )
    return Fault(
        rule=WRONG_VALUE,
        place=document.place(*loc),
        message=f"{_named(loc)}{_plain(detail)}",
        cure=_cure(detail),
    )


def _named(loc: Loc) -> str:
    names = [str(part) for part in loc if isinstance(part, str)]
    return f"{names[-1]}: " if names else ""


def _plain(detail: Any) -> str:
    value = detail["input"]
    shown = repr(value) if isinstance(value, str) else "the value" if value is not None else "nothing"
    kind = detail["type"]
    if kind == "string_pattern_mismatch":
        return f"{shown} is not an id"
    if kind == "literal_error" or kind == "enum":
        return f"{shown} is not one of {detail['ctx']['expected']}"
    if kind in ("too_short", "string_too_short"):
        return "nothing is given"
    text = str(detail["msg"]).removeprefix("Input ")
    return f"{shown} {text}" if text.startswith("should") else f"{shown}: {text}"


def _cure(detail: Any) -> str:
    kind = detail["type"]
    if kind == "string_pattern_mismatch":
        return "write letters, digits and single hyphens, beginning with a letter, e.g. RH-101"
    if kind in ("literal_error", "enum"):
        return f"write {detail['ctx']['expected']}"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return "write keys and values below it, indented"
    if kind in ("tuple_type", "list_type"):
        return "write a list: items behind `- `, or in [brackets]"
    if kind.startswith(("int", "float")):
        return "write a number"
    if kind.startswith("bool"):
        return "write true or false"
    return "see the record's keys in the README"


def _keys(model: type[BaseModel], loc: Loc) -> list[str]:
    """Keys of the model at `loc` inside `model`, by its schema."""
    schema: Any = model.model_json_schema()
    definitions = schema.get("$defs", {})

    def resolve(node: Any, step: str | int | None) -> Any:
        options = [node, *node.get("anyOf", [])] if isinstance(node, dict) else []
        for option in options:
            option = definitions.get(option.get("$ref", "").rpartition("/")[2], option)
            if step is None and "properties" in option:
                return option
            if isinstance(step, str) and step in option.get("properties", {}):
                return option["properties"][step]
            if isinstance(step, str) and isinstance(option.get("additionalProperties"), dict):
                return option["additionalProperties"]
            if isinstance(step, int) and "items" in option:
                return option["items"]
            if "items" in option:  # one dated entry stands without its list
                found = resolve(option["items"], step)
                if found:
                    return found
        return {}

    for part in loc:
        schema = resolve(schema, part)
    return sorted(resolve(schema, None).get("properties", {}))
