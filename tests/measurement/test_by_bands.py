"""Amounts that are otherwise at other humidities or temperatures, one effect all the same."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from asfound.measurement.by_bands import value_at
from asfound.records.models.spreads import ByBands
from tests import builders as b
from tests.measurement.lab import Lab, measured

VISIT = "2026-03-16-lab"
LOW = {"lowest": "0 %RH", "highest": "30 %RH"}
HIGH = {"lowest": "70 %RH", "highest": "100 %RH"}


def lab(*targets: float, files: b.Files | None = None, sensor: b.Files | None = None, **keys: Any) -> Lab:
    rows = [b.plateau(at, [at] * 2, b.generated(at, 23.0, 23.0)) for at in targets]
    reference = b.two_pressure(**keys) if files is None else files
    return measured(b.records(b.sensor(), sensor or {}, reference, b.visit(VISIT, *rows)))


def test_where_bands_meet_the_upper_one_rules_however_they_are_listed():
    amount = ByBands[float](
        value=1.0,
        bands=[
            {"lowest": "50 %RH", "highest": "80 %RH", "value": 3.0},
            {"lowest": "20 %RH", "highest": "50 %RH", "value": 2.0},
        ],
    )
    humidity = np.array([10.0, 20.0, 50.0, 80.0, 81.0, math.nan])
    found = value_at([amount], np.zeros(6, np.int64), humidity, np.full(6, math.nan))
    assert found.tolist() == [1.0, 2.0, 3.0, 3.0, 1.0, 1.0]


def test_where_nothing_is_declared_nothing_is_taken():
    found = value_at([None, ByBands[float](value=2.0)], np.array([-1, 0, 1]), np.zeros(3), np.zeros(3))
    assert np.array_equal(found, [math.nan, math.nan, 2.0], equal_nan=True)


def test_a_saturator_that_reaches_less_at_high_humidity_is_corrected_by_half_of_it_there():
    declared = {"value": "99.8 %", "bands": [{**HIGH, "value": "99 %"}]}
    found, complete = (lab(20, 50, 80, lowest_efficiency=one) for one in (declared, "100 %"))
    for at, missing in ((20, 0.002), (50, 0.002), (80, 0.01)):
        # One-sided: the humidity is lower by half of what may be missing, and as uncertain (JCGM 100:2008, 4.3.7).
        ratio = found.line(at).reference_value / complete.line(at).reference_value
        assert ratio == pytest.approx(1.0 - missing / 2.0, rel=1e-6)
        u = abs(found.source("/efficiency", at).contribution) / complete.line(at).reference_value
        assert u == pytest.approx(missing / 2.0 / math.sqrt(3.0), rel=1e-3)
    assert found.source("/efficiency", 20).source == found.source("/efficiency", 80).source


def test_a_saturator_s_efficiency_may_change_with_temperature_and_with_the_day():
    declared = [
        {"value": "99 %"},
        {
            "from": "2026-03-01",
            "value": "99 %",
            "bands": [{"lowest": "22 degC", "highest": "24 degC", "value": "98 %"}],
        },
    ]
    found, before = lab(50, lowest_efficiency=declared), lab(50, lowest_efficiency="99 %")
    assert found.line(50).reference_value / before.line(50).reference_value == pytest.approx(0.99 / 0.995, rel=1e-6)
