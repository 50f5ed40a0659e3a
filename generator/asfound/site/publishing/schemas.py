"""JSON Schemas of the YAML records, for editors: made from the models, so that they cannot differ from them."""

from __future__ import annotations

import json
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from asfound.records.models import RECORD_MODELS

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schemas() -> dict[str, bytes]:
    """`{kind of record: JSON Schema}`, e.g. `sensor`; the same bytes from the same models."""
    return {kind: _schema(kind) for kind in RECORD_MODELS}


def _schema(kind: str) -> bytes:
    schema = RECORD_MODELS[kind].model_json_schema(mode="validation", schema_generator=_WithoutTitles)
    whole = {"$schema": DIALECT, **_without_null_defaults(schema), "title": kind}
    return (json.dumps(whole, indent=2, ensure_ascii=False) + "\n").encode()


class _WithoutTitles(GenerateJsonSchema):
    """A key's own name is its title: `Of Reading` for `of_reading` helps nobody."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        """Never."""
        return False


def _without_null_defaults(node: Any) -> Any:
    """A key that is left out is no `null` that an editor should write."""
    if isinstance(node, dict):
        return {
            key: _without_null_defaults(value)
            for key, value in node.items()
            if not (key == "default" and value is None)
        }
    return [_without_null_defaults(item) for item in node] if isinstance(node, list) else node
