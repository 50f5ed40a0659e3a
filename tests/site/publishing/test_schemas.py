"""Editors get a JSON Schema of every record, and every key of every record is documented."""

from __future__ import annotations

import inspect
import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any, get_args

import pytest
from jsonschema import Draft202012Validator
from pydantic import BaseModel
from ruamel.yaml import YAML

from asfound.records.models import RECORD_MODELS
from asfound.records.visits.columns import COLUMNS
from asfound.site.publishing.schemas import schemas
from tests.repositories import minimal

RECORDS = Path(__file__).parents[3] / "records"
_FOLDERS = {"families": "family", "sensors": "sensor", "references": "reference", "findings": "finding", "logs": "log"}


def kind_of(path: str) -> str | None:
    """Kind of the record that a path holds."""
    if not path.endswith(".yml"):
        return None
    return path.removesuffix(".yml") if "/" not in path else _FOLDERS.get(path.split("/")[0])


def plain(value: Any) -> Any:
    """YAML as an editor hands it to a schema: days are texts."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [plain(item) for item in value]
    return value.isoformat() if isinstance(value, date) else value


def as_an_editor_reads(content: bytes) -> Any:
    return plain(YAML(typ="safe").load(content.decode("utf-8-sig")))


def validator(kind: str) -> Draft202012Validator:
    schema = json.loads(schemas()[kind])
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def good_records() -> dict[str, bytes]:
    """The minimal repository's records and the demo facility's."""
    demo = {path.relative_to(RECORDS).as_posix(): path.read_bytes() for path in sorted(RECORDS.rglob("*.yml"))}
    return {f"minimal/{path}": content for path, content in minimal().items()} | {
        f"demo/{path}": content for path, content in demo.items()
    }


@pytest.mark.parametrize("kind", sorted(RECORD_MODELS))
def test_good_records_satisfy_the_schema_of_their_kind(kind: str):
    check, seen = validator(kind), 0
    for path, content in good_records().items():
        if kind_of(path.partition("/")[2]) == kind:
            errors = [
                f"{path}: {error.json_path}: {error.message}"
                for error in check.iter_errors(as_an_editor_reads(content))
            ]
            assert errors == []
            seen += 1
    assert seen or kind == "finding"


@pytest.mark.parametrize(
    ("kind", "path", "before", "after"),
    [
        ("sensor", "sensors/RH-101.yml", "id: RH-101", "id: RH 101"),
        ("sensor", "sensors/RH-101.yml", "name:", "nam:"),
        ("sensor", "sensors/RH-101.yml", "from: 2024-01-01", "from: []"),
        ("family", "families/HX-2.yml", "absolute: 2 %RH", "absolute: 2"),
        ("family", "families/HX-2.yml", "absolute: 2 %RH", "absolute: 2 kPa"),
        ("family", "families/HX-2.yml", "months: 12", "months: 1000"),
        ("reference", "references/GEN-01.yml", "kind: two_pressure", "kind: steam"),
        ("people", "people.yml", "may: [calibrate]", "may: [everything]"),
        ("facility", "facility.yml", "rule: guard_band", "rule: lenient"),
    ],
)
def test_a_schema_refuses_what_the_model_refuses(kind: str, path: str, before: str, after: str):
    text = minimal()[path].decode()
    assert before in text
    assert validator(kind).is_valid(as_an_editor_reads(text.encode()))
    assert not validator(kind).is_valid(as_an_editor_reads(text.replace(before, after, 1).encode()))


def test_a_dated_setting_may_stand_alone_or_in_a_list():
    text = minimal()["sensors/RH-101.yml"].decode()
    listed = text.replace("place: {place: drying}", "place: [{place: drying}, {from: 2025-01-01, place: vault}]")
    assert validator("sensor").is_valid(as_an_editor_reads(listed.encode()))


def test_the_same_models_give_the_same_bytes():
    assert schemas() == schemas()
    assert sorted(schemas()) == ["facility", "family", "finding", "log", "people", "reference", "sensor"]
    assert all(text.endswith(b"}\n") for text in schemas().values())


def models(root: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """A model and all that stand inside it."""

    def inside(annotation: Any) -> Iterator[type[BaseModel]]:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            yield from models(annotation)
        for argument in get_args(annotation):
            yield from inside(argument)

    yield root
    for field in root.model_fields.values():
        yield from inside(field.annotation)


@pytest.mark.parametrize("kind", sorted(RECORD_MODELS))
def test_every_key_of_every_record_is_described(kind: str):
    for model in models(RECORD_MODELS[kind]):
        assert inspect.getdoc(model), model
        for name, field in model.model_fields.items():
            assert field.description, f"{model.__name__}.{name}"


def test_every_column_of_a_visit_is_described():
    for name, column in COLUMNS.items():
        assert column.meaning, name
