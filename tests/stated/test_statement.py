"""What a certificate states has one shape: every issued file is read by it and written again byte for byte."""

from __future__ import annotations

import copy
import json
import math
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from asfound.records.models.stated import as_float
from asfound.stated.evidence import FrozenRecord
from asfound.stated.statement import NotAStatement, Statement, document, read_statement, statement_bytes

ISSUED = sorted((Path(__file__).parents[2] / "records" / "issued").rglob("*.json"))
ONE = json.loads(next(path for path in ISSUED if b'"monte carlo"' in path.read_bytes()).read_bytes())


def read(stated: Any) -> Statement:
    return read_statement(json.dumps(stated).encode())


def altered(path: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    stated: dict[str, Any] = copy.deepcopy(ONE)
    at: Any = stated
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return stated


def test_every_issued_certificate_is_read_and_written_again_to_the_same_bytes():
    assert len(ISSUED) >= 160
    for path in ISSUED:
        content = path.read_bytes()
        assert statement_bytes(read_statement(content)) == content, path


def test_the_file_of_a_statement_is_named_by_it():
    for path in ISSUED[::20]:
        assert path.as_posix().endswith(read_statement(path.read_bytes()).issued_path)


def test_a_statement_cannot_be_altered_once_it_is_made():
    statement = read(ONE)
    with pytest.raises(ValidationError, match="frozen"):
        statement.customer = "another"  # type: ignore[misc]


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("colour",), "grey", "colour: "),
        (("schema",), "asfound certificate 9", "schema: "),
        (("customer",), None, "customer: input should be a valid string"),
        (("issued",), "1 April", "issued: '1 April' is not a day"),
        (("results", 0, "rows", 0, "error"), "0.5", "results.0.rows.0.error: "),
        (("results", 0, "rows", 0, "error"), True, "results.0.rows.0.error: "),
        (("results", 0, "rows", 0, "error"), math.nan, "results.0.rows.0.error: "),
        (("results", 0, "rows", 0, "readings"), 2.5, "results.0.rows.0.readings: "),
        (("results", 0, "rows", 0, "answer"), {"kind": "a guess"}, "results.0.rows.0.answer: "),
        (("results", 0, "tolerance"), {"words": "±2 %RH", "from_": None}, "results.0.tolerance.from: field required"),
        (("results",), {}, "results: input should be a valid array"),
        (("evidence", "records", 0, "base64"), "=", "evidence.records.0.base64: "),
        (("evidence", "pools", 0), [], "evidence.pools.0: "),
        (("evidence", "pools", 0, "s"), -0.1, "evidence.pools.0.s: "),
        (("evidence", "pools", 0, "s"), 1e308, "evidence.pools.0.s: "),
        (("results", 0, "rows"), [], "results.0.rows: "),
    ],
)
def test_what_does_not_fit_is_told_with_its_place(path: tuple[str | int, ...], value: Any, told: str):
    with pytest.raises(NotAStatement) as refused:
        read(altered(path, value))
    assert str(refused.value).startswith(told)


@pytest.mark.parametrize("key", ONE)
def test_a_statement_without_one_of_its_keys_is_none(key: str):
    with pytest.raises(NotAStatement, match=f"^{key}: field required"):
        read({name: value for name, value in ONE.items() if name != key})


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff", b'"x"', b"[" * 100_000])
def test_what_is_no_json_is_no_statement(content: bytes):
    with pytest.raises(NotAStatement, match=r"^the whole: "):
        read_statement(content)


def test_a_record_is_frozen_by_its_text_or_by_letters_that_stand_for_its_bytes_or_by_its_hash_alone():
    known = {"path": "logs/a.csv", "sha256": "00"}
    assert FrozenRecord(**known, text="Fühler").content == "Fühler".encode()
    assert FrozenRecord(**known, base64="Rvxo").content == b"F\xfch"  # RFC 4648, section 4
    assert FrozenRecord(**known).content is None
    assert document(FrozenRecord(**known)) == known, "what is not stated is not written"


def test_a_number_is_null_where_there_is_none_and_a_word_where_it_is_infinite():
    assert math.isnan(as_float(None))
    assert (as_float("inf"), as_float("-inf"), as_float(0.25)) == (math.inf, -math.inf, 0.25)


def test_every_field_says_what_it_is():
    schema = Statement.model_json_schema()
    models = {"Statement": schema, **schema["$defs"]}
    assert len(models) > 25
    for name, model in models.items():
        assert model.get("description"), name
        for key, field in model.get("properties", {}).items():
            assert field.get("description"), f"{name}.{key}"
