"""A reference method is declared once, and stands in everything that is made of its declaration."""

from __future__ import annotations

import pytest
from pydantic import TypeAdapter

from asfound.certificates.wording import KINDS, principles
from asfound.measurement.methods.registry import MODELS
from asfound.planning.targets import _Aim
from asfound.records.methods import METHODS, NEEDED, QUANTITIES, reference_readings
from asfound.records.models.references import Kind, Reference
from asfound.records.visits.columns import COLUMNS, MEDIA


def test_a_file_may_name_exactly_the_kinds_that_are_declared() -> None:
    assert TypeAdapter(Kind).json_schema()["enum"] == [*NEEDED] == [*KINDS]


@pytest.mark.parametrize("kind", METHODS)
def test_a_method_names_columns_quantities_media_and_keys_that_exist(kind: str) -> None:
    method = METHODS[kind]
    assert {*method.columns} <= {*COLUMNS}
    assert {*method.optional, *method.alternatives, *method.in_air_only, *method.not_read} <= {*method.columns}
    assert {*method.alternatives.values()} <= {*COLUMNS}
    assert {*method.needed} <= {*QUANTITIES} & {*method.columns}
    assert {*method.media} <= {*MEDIA}
    assert method.probe_temperature in method.needed
    assert {*method.usual_sources, *method.in_air_sources, *method.goes_with.values()} <= {*Reference.model_fields}
    assert {*method.goes_with, *method.read_instead} <= {*method.usual_sources}
    assert {*method.read_instead.values()} <= {*QUANTITIES}
    assert bool(method.in_air_sources) == ("in air" in method.media)


@pytest.mark.parametrize("kind", METHODS)
def test_a_method_stands_in_every_table(kind: str) -> None:
    numbers = {column for column in METHODS[kind].columns if COLUMNS[column].is_number}
    assert numbers <= {*reference_readings()}
    assert principles([f"{kind} (NaCl)"])
    assert kind in MODELS, "no model"
    assert hasattr(_Aim, f"_{kind}") is METHODS[kind].gives_targets
