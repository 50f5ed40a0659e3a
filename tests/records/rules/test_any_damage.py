"""No damage to a record raises."""

from __future__ import annotations

import re

from hypothesis import given

from asfound.records.checking import check
from tests.examples import examples
from tests.records.rules.written import (
    SENSOR,
    VISIT,
)
from tests.records.visits.test_visit_files import damaged
from tests.repositories import laid_over, minimal

# Damage of any kind.


@examples(40)
@given(damaged(minimal()[VISIT]))
def test_no_damage_to_a_visit_raises(content: bytes):
    _, faults = check(laid_over({VISIT: content}))
    for fault in faults:
        assert re.fullmatch(r"\S.*", fault.message) and re.fullmatch(r"\S.*", fault.cure)
        assert fault.place.path == VISIT


@examples(15)
@given(damaged(minimal()[SENSOR]))
def test_no_damage_to_a_sensor_raises(content: bytes):
    check(laid_over({SENSOR: content}))


@examples(15)
@given(damaged(minimal()["references/PRB-01.yml"]))
def test_no_damage_to_a_reference_raises(content: bytes):
    check(laid_over({"references/PRB-01.yml": content}))
