"""No damage to a record raises."""

from __future__ import annotations

import re

from hypothesis import given, settings

from asfound.records.checking import check
from tests.records.rules.written import (
    SENSOR,
    VISIT,
)
from tests.records.visits.test_visit_files import damaged
from tests.repositories import laid_over, minimal

# Damage of any kind.


@settings(max_examples=150)
@given(damaged(minimal()[VISIT]))
def test_no_damage_to_a_visit_raises(content: bytes):
    _, faults = check(laid_over({VISIT: content}))
    for fault in faults:
        assert re.fullmatch(r"\S.*", fault.message) and re.fullmatch(r"\S.*", fault.cure)
        assert fault.place.path == VISIT


@settings(max_examples=60)
@given(damaged(minimal()[SENSOR]))
def test_no_damage_to_a_sensor_raises(content: bytes):
    check(laid_over({SENSOR: content}))


@settings(max_examples=60)
@given(damaged(minimal()["references/PRB-01.yml"]))
def test_no_damage_to_a_reference_raises(content: bytes):
    check(laid_over({"references/PRB-01.yml": content}))
