"""A model's complaints → faults with a place and a cure."""

from __future__ import annotations

from functools import cache
from typing import Any

from pydantic import BaseModel, ValidationError

from asfound.faults import Fault, did_you_mean
from asfound.records.models.model_rules import MISSING_KEY, UNKNOWN_KEY, WRONG_VALUE
from asfound.records.models.yaml_text import Document, Loc


def validation_faults(document: Document, model: type[BaseModel], problem: ValidationError) -> list[Fault]:
    """Faults of one record; a complaint about a whole is dropped where a part of it has one."""
    details = problem.errors(include_url=False)
    locs = [_loc(detail) for detail in details]
    faults = []
    for detail, loc in zip(details, locs, strict=True):
        part_complains = any(len(other) > len(loc) and other[: len(loc)] == loc for other in locs)
        if not (detail["type"] == "too_short" and part_complains):
            faults.append(_fault(document, model, detail, document.written(loc)))
    return faults


def _loc(detail: Any) -> Loc:
    return (*detail["loc"], *(detail.get("ctx") or {}).get("at", ()))


def _fault(document: Document, model: type[BaseModel], detail: Any, loc: Loc) -> Fault:
    kind, context = detail["type"], detail.get("ctx") or {}
    if "rule" in context:
        message = f"{_named(loc)}{context['message']}"
        return Fault(rule=context["rule"], place=document.place(*loc), message=message, cure=context["cure"])
    if kind == "missing":
        key = str(loc[-1])
        place = document.key_place(*loc[:-1])
        return Fault(rule=MISSING_KEY, place=place, message=f"the key {key!r} is missing", cure=f"add `{key}:`")
    if kind == "extra_forbidden":
        key, known = str(loc[-1]), keys_at(model, loc[:-1])
        guess = did_you_mean(key, known) or f"; known are {', '.join(known)}"
        place = document.key_place(*loc)
        cure = f"remove it or correct it{guess}"
        return Fault(rule=UNKNOWN_KEY, place=place, message=f"unknown key {key!r}", cure=cure)
    keys = keys_at(model, loc) if kind.startswith(("model_", "dict_", "tuple_")) and _is_scalar(detail["input"]) else []
    if keys:
        message = f"{_named(loc)}{detail['input']!r} stands where keys with values belong"
        cure = f"write {{ key: value, … }} with the keys {', '.join(keys)}"
        return Fault(rule=WRONG_VALUE, place=document.place(*loc), message=message, cure=cure)
    message = f"{_named(loc)}{_plain(detail)}"
    return Fault(rule=WRONG_VALUE, place=document.place(*loc), message=message, cure=_cure(detail))


def _is_scalar(value: object) -> bool:
    return value is not None and not isinstance(value, (dict, list, tuple))


def _named(loc: Loc) -> str:
    names = [part for part in loc if isinstance(part, str)]
    return f"{names[-1]}: " if names else ""


def _plain(detail: Any) -> str:
    kind, value = detail["type"], detail["input"]
    if value is None:
        return "nothing is given"
    shown = repr(value) if isinstance(value, str) else "the value"
    if kind in ("literal_error", "enum"):
        return f"{shown} is not one of {detail['ctx']['expected']}"
    if kind in ("too_short", "string_too_short"):
        return "nothing is given"
    is_not = next((words for start, words in _IS_NOT.items() if kind.startswith(start)), None)
    if is_not:
        return f"{shown} is {is_not}"
    return f"{shown} {detail['msg'].removeprefix('Input ').removeprefix('String ')}"


_IS_NOT = {
    "string_pattern": "no id",
    "string_type": "no text",
    "tuple_": "no list",
    "list_": "no list",
    "model_": "no keys with values",
    "dict_": "no keys with values",
    "int_": "no whole number",
    "float_": "no number",
    "finite_": "no number",
    "bool_": "neither true nor false",
}
_CURES: tuple[tuple[tuple[str, ...], str], ...] = (
    (("string_pattern",), "write letters, digits and single hyphens, beginning with a letter, e.g. RH-101"),
    (("model_", "dict_"), "write keys and values below it, indented"),
    (("tuple_", "list_"), "write a list: items behind `- `, or in [brackets]"),
    (("int_", "float_", "finite_"), "write a number in digits"),
    (("greater_", "less_"), "write a number in that range"),
    (("bool_",), "write true or false"),
    (("too_short",), "write at least one item"),
    (("string_too_long",), "shorten it"),
    (("string_",), "write a text on this line; quote it if it holds `: ` or ` #`"),
)


def _cure(detail: Any) -> str:
    kind = detail["type"]
    if kind in ("literal_error", "enum"):
        expected = detail["ctx"]["expected"]
        words = [word.strip("'") for word in expected.replace(" or ", ", ").split(", ")]
        guess = did_you_mean(detail["input"], words) if isinstance(detail["input"], str) else ""
        return f"write {expected}{guess}"
    fitting = (cure for starts, cure in _CURES if kind.startswith(starts))
    return next(fitting, "write what the key's description asks for")


@cache
def _schema(model: type[BaseModel]) -> Any:
    """A model's schema, made once: with many unknown keys it would be most of the work."""
    return model.model_json_schema()


def keys_at(model: type[BaseModel], loc: Loc) -> list[str]:
    """Keys of the record that stands at `loc` inside a record of `model`."""
    schema = _schema(model)
    definitions = schema.get("$defs", {})

    def options(node: Any) -> list[Any]:
        """A node, its alternatives and what they refer to; a dated setting may stand without its list."""
        found, waiting = [], [node]
        while waiting:
            option = waiting.pop(0)
            if "$ref" in option:
                option = definitions[option["$ref"].rpartition("/")[2]]
            found.append(option)
            waiting += option.get("anyOf", []) + option.get("allOf", [])
        return found

    def inside(node: Any, step: str | int) -> Any:
        for option in options(node):
            if isinstance(step, int) and "items" in option:
                return option["items"]
            if isinstance(step, str) and step in option.get("properties", {}):
                return option["properties"][step]
            if isinstance(step, str) and isinstance(option.get("additionalProperties"), dict):
                return option["additionalProperties"]
        return {}

    for part in loc:
        schema = inside(schema, part)
    return sorted({key for option in options(schema) for key in option.get("properties", {})})
