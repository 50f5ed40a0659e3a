"""Amounts that are otherwise at other humidities or temperatures, one effect all the same."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from asfound.measurement.by_bands import value_at
from asfound.records.checking import check
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


def family(**declared: Any) -> b.Files:
    return b.family(humidity={"resolution": "0.01 %RH", **declared})


def test_readings_scatter_as_is_declared_of_their_humidity():
    found = lab(20, 50, 80, sensor=family(repeatability={"value": "0.05 %RH", "bands": [{**HIGH, "value": "0.2 %RH"}]}))
    assert [found.line(at).repeatability.s for at in (20, 50, 80)] == [0.05, 0.05, 0.2]
    assert [found.line(at).repeatability.nu for at in (20, 80)] == [math.inf, math.inf]
    assert found.source("/repeatability", 80).contribution == pytest.approx(0.2 / math.sqrt(2))


def test_a_temperature_s_scatter_is_declared_by_what_the_reference_reads():
    warm = {"lowest": "22 degC", "highest": "24 degC", "value": "0.3 degC"}
    said = b.family(
        channels=["humidity", "temperature"],
        humidity={"resolution": "0.01 %RH", "repeatability": "0.05 %RH"},
        temperature={"resolution": "0.01 degC", "repeatability": {"value": "0.02 degC", "bands": [warm]}},
        temperature_tolerance={"absolute": "2 degC"},
    )
    found = {}
    for chamber_c in (20.0, 23.0):
        rows = b.plateau(50, [50] * 2, b.generated(50, chamber_c, chamber_c), output_temperature=chamber_c)
        files = b.records(b.sensor(), said, b.two_pressure(), b.visit(VISIT, rows))
        found[chamber_c] = measured(files).line(50, channel="temperature").repeatability.s
    assert found == {20.0: 0.02, 23.0: 0.3}


def test_what_is_declared_from_ten_readings_is_no_infinite_knowledge():
    # ν = 9: 0.1 %RH for the mean of two, and nearly nothing else: k = 2.32 (JCGM 100:2008, table G.2)
    known = {"value": "1 %RH", "nu": "9"}
    found, sure = lab(50, sensor=family(repeatability=known)), lab(50, sensor=family(repeatability="1 %RH"))
    assert found.source("/repeatability", 50).source.nu == 9.0
    assert found.U(50) / sure.U(50) == pytest.approx(2.32 / 2.00, rel=0.02)


def test_one_estimate_of_the_scatter_counts_once_for_all_that_share_it():
    known = {"value": "0.1 %RH", "nu": "9", "bands": [{**HIGH, "value": "0.4 %RH"}]}
    found = lab(20, 50, 80, sensor=family(repeatability=known))
    groups = [found.source("/repeatability", at).source.group for at in (20, 50, 80)]
    assert groups[0] == groups[1] != groups[2]
    assert lab(50, sensor=family(repeatability="0.1 %RH")).source("/repeatability", 50).source.group == ""


def test_what_is_said_to_scatter_otherwise_is_not_pooled():
    said = family(repeatability={"value": "0.05 %RH", "bands": [{**HIGH, "value": "0.4 %RH"}]})
    visits = [
        b.visit(
            f"2026-03-{day}-lab",
            b.plateau(50, [50, 50.05, 49.95, 50.0], b.generated(50)),
            b.plateau(80, [80, 80.4, 79.6, 80.0], b.generated(80)),
        )
        for day in range(10, 20)
    ]
    policy = b.facility(policies={"rule": "guard_band", "least_pool": "10"})
    found = measured(b.records(b.sensor(), said, b.two_pressure(), *visits) | policy)
    low, high = (found.line(at, visit="2026-03-19-lab").repeatability for at in (50, 80))
    assert (low.basis, high.basis) == ("pooled", "pooled")
    assert (low.s, high.s) == (pytest.approx(0.0408, abs=1e-3), pytest.approx(0.327, abs=2e-3))


def test_a_drift_within_the_scatter_of_its_humidity_is_no_unrest():
    settling = b.facility(policies={"rule": "guard_band", "settling": {"largest_slope": "0.05 %RH/min"}})
    said = family(repeatability={"value": "0.05 %RH", "bands": [{**HIGH, "value": "1 %RH"}]})
    rows = [b.plateau(at, [at, at + 0.4], b.generated(at)) for at in (50, 80)]
    found = measured(b.records(b.sensor(), said, b.two_pressure(), b.visit(VISIT, *rows)) | settling)
    assert found.reservations(80) == [] and found.reservations(50) == ["unsettled-plateau"]


def test_half_of_a_loop_is_that_of_its_point():
    said = family(repeatability="0.05 %RH", hysteresis={"value": "0.4 %RH", "bands": [{**HIGH, "value": "1.2 %RH"}]})
    rows = [b.plateau(at, [at] * 2, b.generated(at)) for at in (20, 50, 80)]
    results = b.assessed(b.records(b.sensor(), said, b.two_pressure(), b.visit(VISIT, *rows))).results
    assert [result.loop for result in results] == pytest.approx([0.2, 0.2, 0.6])


def test_a_loop_is_far_wider_than_is_declared_of_its_point_alone():
    said = family(repeatability="0.05 %RH", hysteresis={"value": "0.4 %RH", "bands": [{**HIGH, "value": "1.6 %RH"}]})
    shown = ((20, 20), (50, 49.2), (80, 79.2), (95, 95), (80, 80.8), (50, 50.8))
    rows = [b.plateau(at, [out] * 2, b.generated(at, 23.0, 23.0)) for at, out in shown]
    results = b.assessed(b.records(b.sensor(), said, b.two_pressure(), b.visit(VISIT, *rows))).results
    wider = {r.target for r in results for fault in r.reservations if fault.rule.name == "wider-than-declared"}
    assert wider == {50.0}


def test_a_temperature_s_loop_is_that_of_what_the_reference_reads():
    warm = {"lowest": "22 degC", "highest": "24 degC", "value": "0.6 degC"}
    said = b.family(
        channels=["humidity", "temperature"],
        humidity={"resolution": "0.01 %RH", "repeatability": "0.05 %RH"},
        temperature={"repeatability": "0.02 degC", "hysteresis": {"value": "0.2 degC", "bands": [warm]}},
        temperature_tolerance={"absolute": "2 degC"},
    )
    rows = b.plateau(50, [50] * 2, b.generated(50, 23.0, 23.0), output_temperature=23.0)
    results = b.assessed(b.records(b.sensor(), said, b.two_pressure(), b.visit(VISIT, rows))).results
    assert [r.loop for r in results if r.channel == "temperature"] == [pytest.approx(0.3)]


def test_a_probe_s_loop_is_as_wide_as_it_is_declared_at_the_humidity_of_its_use():
    declared = {"value": "0.4 %RH", "bands": [{**HIGH, "value": "1.2 %RH"}]}
    rows = [b.plateau(at, [at] * 2, b.by_probe(at)) for at in (20, 50, 80)]
    files = b.records(b.sensor(), b.transfer_probe(hysteresis=declared), b.visit(VISIT, *rows))
    found = measured(files)
    halves = [found.source("/hysteresis", at).contribution * math.sqrt(3.0) for at in (20, 50, 80)]
    assert [abs(half) for half in halves] == pytest.approx([0.2, 0.2, 0.6])
    assert len({found.source("/hysteresis", at).source for at in (20, 50, 80)}) == 1


@pytest.mark.parametrize(
    ("declared", "complaint"),
    [
        ({"value": "0.1 %RH", "nu": "0"}, "nu"),
        ({"value": "0.1 %RH", "bands": [{"lowest": "20 degC", "highest": "30 degC", "value": "1 %RH"}]}, "temperature"),
        ({"value": "0.1 %RH", "bands": [{**HIGH, "value": "1 degC"}]}, "temperature"),
        ({"value": "0.1 %RH", "bands": [{**HIGH}]}, "value"),
        ({"bands": [{**HIGH, "value": "1 %RH"}]}, "value"),
        (["0.1 %RH"], ""),
        ("0.1 bar", "bar"),
        ("", "not a number"),
    ],
)
def test_a_scatter_that_cannot_be_meant_is_refused(declared: Any, complaint: str):
    _, faults = check(b.records(b.sensor(), family(repeatability=declared)))
    assert faults and all(fault.place.line for fault in faults)
    assert any(complaint in fault.text() for fault in faults), [fault.text() for fault in faults]
