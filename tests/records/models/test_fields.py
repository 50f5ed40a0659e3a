"""Amounts as they are written: a size that no instrument of the trade has is a slip, and is refused where it stands."""

from __future__ import annotations

import pytest

from asfound.records.checking import check
from asfound.records.models.fields import LARGEST
from tests.repositories import laid_over, minimal


def told(path: str, before: str, after: str) -> list[str]:
    text = minimal()[path].decode()
    assert before in text
    return [fault.text() for fault in check(laid_over({path: text.replace(before, after, 1)}))[1]]


SENSELESS = [
    ("references/MIR-01.yml", "chamber_gradient: 0 degC", "chamber_gradient: 20 degC", "10 degC"),
    ("references/GEN-01.yml", "drift: 0 degC/year", "drift: 50 degC/year", "5 degC/year"),
    ("references/GEN-01.yml", "drift: 0 kPa/year", "drift: 60 kPa/year", "50000 Pa/year"),
    ("references/GEN-01.yml", "U: 0.1 kPa", "U: 0.1 MPa", ""),
    ("references/GEN-01.yml", "U: 0.1 kPa", "U: 1 MPa", "200000 Pa"),
    ("references/GEN-01.yml", "value: 0.01 degC", "value: -11 degC", "10 degC"),
    ("references/PRB-01.yml", "hysteresis: 0 %RH", "hysteresis: 101 %RH", "100 %RH"),
    ("references/PRB-01.yml", "response_lag: 0 min", "response_lag: 1e300 min", "20160 min"),
    ("families/TX-5.yml", "repeatability: 0.2 %RH", "repeatability: 1222996 %RH", "100 %RH"),
    ("families/HX-2.yml", "reads_high: 100 %RH", "reads_high: 1e308 %RH", "1000 %RH"),
    ("families/HX-2.yml", "{absolute: 2 %RH}", "{of_reading: 300 %}", "1 (100 %)"),
    ("families/HX-2.yml", "model: HX-2", "model: HX-2\ntemperature_coefficient: 6 %RH/degC", "5 %RH/degC"),
]


@pytest.mark.parametrize(("path", "before", "after", "most"), SENSELESS)
def test_an_amount_ten_times_beyond_the_worst_real_one_is_refused_with_place_and_cure(path, before, after, most):
    found = told(path, before, after)
    if not most:
        assert found == []
        return
    assert len(found) == 1 and "error[bad-amount]" in found[0] and "is more than can be" in found[0]
    assert f"the most that makes sense here is {most}" in found[0]


def test_each_kind_of_amount_has_its_largest_size():
    for of_quantity in LARGEST.values():
        assert all(size > 0.0 for size in of_quantity.values())
    assert LARGEST["year"].keys() == LARGEST["difference"].keys() - {"fraction"} < LARGEST["level"].keys()
