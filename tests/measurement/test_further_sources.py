"""What a laboratory knows beyond the usual: further sources of a reference, and what calibrations share."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from asfound.assessment.assess import Assessment
from asfound.humidity import two_pressure_rh
from asfound.measurement.monte_carlo import draw
from asfound.records.load import load
from asfound.uncertainty.covariance import covariance
from asfound.uncertainty.sources import Distribution, Source
from tests import builders as b

Further = dict[str, Any]


def further(of: str, lasts: str = "longer", **keys: Any) -> Further:
    return {"name": "more", "label": "more", "of": of, "lasts": lasts, **keys}


def generator(*sources: Further) -> Mapping[str, bytes]:
    return b.two_pressure("GEN-01", further=list(sources))


def probe(name: str, *sources: Further, **calibration: Any) -> Mapping[str, bytes]:
    table = b.calibration(b.point("5 %RH", "0 %RH", "0.9 %RH"), b.point("95 %RH", "0 %RH", "0.9 %RH"), **calibration)
    quantities = {"reference_humidity": b.quantity(table, resolution="0.01 %RH")}
    return b.transfer_probe(name, quantities, further=list(sources))


def at_50(*references: Mapping[str, bytes], **columns: Any) -> Assessment:
    rows = b.plateau(50, [50.3, 50.3, 50.3], b.generated(50.0, 23.0, 23.0), **columns)
    return b.assessed(b.records(b.sensor(), *references, b.visit("2026-03-16-lab", rows)))


def mine(assessment: Assessment, number: int = 0) -> dict[str, float]:
    """Contributions of the further sources of a result, by their identity."""
    line = assessment.results[number].line
    assert line is not None
    lines = assessment.measurement.whole().lines(line)
    return {one.source.identity: one.contribution for one in lines if one.source.identity.endswith("/more")}


PRESSURE = float(b.generated(50.0, 23.0, 23.0)["saturation_pressure [kPa absolute]"]) * 1e3


def slope(step: float = 10.0) -> float:
    """Change of the humidity with the saturator's pressure, %RH/Pa."""
    low, high = (two_pressure_rh(PRESSURE + by, 23.0, b.ROOM_PA, 23.0) for by in (-step, step))
    return float(high - low) / (2.0 * step)


def test_a_known_loss_of_pressure_is_corrected_and_what_is_left_of_it_is_in_the_budget():
    plain = at_50(generator()).results[0]
    assessment = at_50(generator(further("saturation_pressure", u="50 Pa", nu="9", correction="200 Pa")))
    found = assessment.results[0]
    expected = two_pressure_rh(PRESSURE + 200.0, 23.0, b.ROOM_PA, 23.0)
    assert found.reference_value == pytest.approx(float(expected), rel=1e-9)
    (contribution,) = mine(assessment).values()
    assert abs(contribution) == pytest.approx(abs(slope()) * 50.0, rel=3e-3)
    assert found.u**2 == pytest.approx(plain.u**2 + contribution**2, rel=5e-3)
    assert found.nu_eff < plain.nu_eff


@pytest.mark.parametrize(
    ("size", "u"),
    [
        ({"limit": "0.3 %RH"}, 0.3 / math.sqrt(3.0)),
        ({"limit": "0.3 %RH", "distribution": "triangular"}, 0.3 / math.sqrt(6.0)),
        ({"limit": "0.3 %RH", "distribution": "u_shaped"}, 0.3 / math.sqrt(2.0)),
        ({"u": "0.2 %RH"}, 0.2),
        ({"U": "0.5 %RH", "k": "2.5"}, 0.2),
    ],
)
def test_a_size_is_a_limit_with_its_distribution_or_a_standard_or_an_expanded_uncertainty(size: Further, u: float):
    """JCGM 100:2008, 4.3.7 and 4.3.9; arcsine: JCGM 101:2008, 6.4.6 (clause from memory)."""
    (contribution,) = mine(at_50(generator(further("humidity", **size)))).values()
    assert abs(contribution) == pytest.approx(u, rel=1e-12)


@pytest.mark.parametrize("distribution", [d for d in Distribution if d is not Distribution.NORMAL])
def test_draws_have_the_u_of_their_source_and_stay_within_its_limits(distribution: Distribution):
    source = Source("x", "x", 0.2, "%RH", distribution)
    draws = draw(source, np.random.default_rng(1), 200_000)
    limit = (
        0.2 * {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0), "u_shaped": math.sqrt(2.0)}[distribution]
    )
    assert np.std(draws) == pytest.approx(0.2, rel=0.01) and np.mean(draws) == pytest.approx(0.0, abs=0.002)
    assert 0.95 * limit < np.max(np.abs(draws)) <= limit


def test_a_cycling_control_that_makes_most_of_a_budget_is_decided_by_its_own_distribution():
    """Of an arcsine k is near √2, not 2."""
    result = at_50(generator(further("humidity", limit="3 %RH", distribution="u_shaped"))).results[0]
    assert result.answer == "monte carlo" and result.k == pytest.approx(math.sqrt(2.0), rel=0.02)


@pytest.mark.parametrize(
    ("keys", "columns", "factor"),
    [
        ({"per": "degC", "calibration_temperature": "20 degC"}, {"room_temperature": 26.0}, 6.0),
        ({"per": "degC", "calibration_temperature": "20 degC"}, {}, 3.0),
        ({"per": "month"}, {}, 63.0 / (365.25 / 12.0)),
    ],
)
def test_a_size_may_grow_with_the_temperature_or_since_the_calibration(
    keys: Further, columns: dict[str, Any], factor: float
):
    """Calibrated on 2026-01-12, read on 2026-03-16; the chamber at 23 °C where the room was not read."""
    assessment = at_50(generator(further("saturation_pressure", u="10 Pa", correction="-5 Pa", **keys)), **columns)
    (contribution,) = mine(assessment).values()
    assert abs(contribution) == pytest.approx(abs(slope()) * 10.0 * factor, rel=1e-3)
    moved = assessment.results[0].reference_value - at_50(generator()).results[0].reference_value
    assert moved == pytest.approx(-5.0 * factor * slope(), rel=1e-2)


def test_a_probe_is_as_warm_as_the_air_that_it_reads_and_not_as_the_room():
    """At 23 °C in a chamber, in a room at 26 °C: three degrees from its calibration at 20 °C."""
    keys = {"per": "degC", "calibration_temperature": "20 degC", "u": "0.1 %RH", "correction": "0.02 %RH"}
    files = b.transfer_probe(further=[further("reference_humidity", **keys)])
    rows = b.plateau(50, [50.3] * 3, b.by_probe(50.0, 23.0), room_temperature=26.0)
    assessment = b.assessed(b.records(b.sensor(), files, b.visit("2026-03-16-lab", rows)))
    (contribution,) = mine(assessment).values()
    assert abs(contribution) == pytest.approx(0.3)
    assert assessment.results[0].reference_value == pytest.approx(50.06)


def test_a_share_of_the_value_grows_with_it():
    (contribution,) = mine(at_50(generator(further("humidity", u="0.4 %", per="value")))).values()
    assert abs(contribution) == pytest.approx(0.004 * 50.0, rel=1e-3)


def twice(lasts: str, of: str = "saturation_pressure") -> list[set[str]]:
    """Identities at two plateaus of a visit of two sensors, and at one of a later visit."""

    def rows(*targets: float) -> list[list[b.Row]]:
        return [
            b.plateau(target, [target] * 2, b.generated(target, 23.0, 23.0), sensor=sensor)
            for target in targets
            for sensor in ("RH-1", "RH-2")
        ]

    first, later = b.visit("2026-03-16-lab", *rows(50, 20)), b.visit("2026-04-16-lab", *rows(50))
    sensors = b.sensor("RH-1") | b.sensor("RH-2")
    assessment = b.assessed(
        b.records(sensors, generator(further(of, lasts, u="1 Pa" if of != "humidity" else "0.1 %RH")), first, later)
    )
    return [set(mine(assessment, number)) for number in range(len(assessment.results))]


@pytest.mark.parametrize(
    ("lasts", "columns"), [("reading", 12), ("plateau", 6), ("visit", 2), ("calibration", 1), ("longer", 1)]
)
def test_results_share_a_source_exactly_while_it_keeps_its_value(lasts: str, columns: int):
    found = twice(lasts)
    assert len(set().union(*found)) == columns
    assert all(len(one) == (2 if lasts == "reading" else 1) for one in found)


@pytest.mark.parametrize(
    ("days", "acts"),
    [({"from": "2026-03-17"}, False), ({"from": "2026-03-16"}, True), ({"until": "2026-03-15"}, False)],
)
def test_a_source_acts_from_its_first_day_to_its_last(days: Further, acts: bool):
    of_reference = further("saturation_pressure", u="50 Pa", correction="200 Pa", **days)
    assessment = at_50(generator(of_reference))
    assert bool(mine(assessment)) is acts
    assert (assessment.results[0].reference_value != at_50(generator()).results[0].reference_value) is acts
    rows = b.plateau(50, [50.3], b.generated(50.0, 23.0, 23.0))
    files = b.family(further=[sensor_further("sensor", "plateau", **days)]) | b.sensor()
    assert bool(mine(b.assessed(b.records(files, generator(), b.visit("2026-03-16-lab", rows))))) is acts


@pytest.mark.parametrize(
    ("range_", "acts"),
    [
        ({"highest": "50 %RH"}, True),
        ({"highest": "49.9 %RH"}, False),
        ({"lowest": "50 %RH"}, True),
        ({"lowest": "50.1 %RH"}, False),
        ({"lowest": "40 %RH", "highest": "60 %RH"}, True),
    ],
)
def test_a_source_may_act_in_a_range_of_targets_alone_both_ends_inside(range_: Further, acts: bool):
    assessment = at_50(generator(further("humidity", u="0.2 %RH", correction="0.3 %RH", **range_)))
    assert bool(mine(assessment)) is acts
    moved = assessment.results[0].reference_value - at_50(generator()).results[0].reference_value
    assert moved == pytest.approx(0.3 if acts else 0.0)


@pytest.mark.parametrize("lasts", ["reading", "plateau", "visit", "calibration", "longer"])
@pytest.mark.parametrize("never", [{"from": "2026-03-17"}, {"lowest": "90 %RH"}])
def test_a_source_that_acts_at_no_reading_leaves_the_result_as_it_is(lasts: str, never: Further):
    assessment = at_50(generator(further("saturation_pressure", lasts, u="50 Pa", correction="200 Pa", **never)))
    assert not mine(assessment) and assessment.results[0].U == at_50(generator()).results[0].U


def test_what_a_laboratory_s_calibrations_share_cancels_between_its_references():
    """u = 0.45 %RH each, of which 0.30 is the laboratory's standard; 0.15 of each probe's own beside."""
    own = further("reference_humidity", u="0.15 %RH")
    shared = [{"name": "birch-standard", "u": "0.30 %RH"}]
    files = probe("PROBE-01", own, shared=shared) | probe("PROBE-02", own, shared=shared, on="2026-02-02")
    rows = [
        b.plateau(50, [50.0] * 2, b.by_probe(50.0) | {"reference": name}, sensor=sensor)
        for name, sensor in (("PROBE-01", "RH-1"), ("PROBE-02", "RH-2"))
    ]
    assessment = b.assessed(b.records(b.sensor(), b.sensor("RH-2"), files, b.visit("2026-03-16-lab", *rows)))
    budgets = assessment.measurement.whole()
    lines = [result.line for result in assessment.results]
    of_probes = [
        {
            one.source.identity: one.contribution
            for one in budgets.lines(line)
            if one.source.identity.startswith(("PROBE", "shared")) and "resolution" not in one.source.identity
        }
        for line in lines
    ]
    difference = {
        name: of_probes[0].get(name, 0.0) - of_probes[1].get(name, 0.0) for name in of_probes[0] | of_probes[1]
    }
    assert math.hypot(*difference.values()) == pytest.approx(0.519615, abs=5e-7)
    assert covariance(budgets, lines)[0, 1] == pytest.approx(0.09, rel=1e-9)
    assert [math.hypot(*one.values()) for one in of_probes] == [pytest.approx(math.hypot(0.45, 0.15))] * 2


def sensor_further(of: str, lasts: str, **keys: Any) -> Further:
    return {"name": "more", "label": "more", "of": of, "lasts": lasts, "u": "0.4 %RH", **keys}


def through_a_loop(source: Further) -> tuple[Assessment, list[dict[str, float]]]:
    """Two plateaus and a later one, read at the sensor and the far end; the further contributions of each result."""
    first = [
        b.plateau(target, [target] * 4, b.generated(target, 23.0, 23.0), far_end=target) for target in (50.0, 20.0)
    ]
    later = b.plateau(50.0, [50.0] * 4, b.generated(50.0, 23.0, 23.0), far_end=50.0)
    visits = b.visit("2026-03-16-lab", *first) | b.visit("2026-04-16-lab", later)
    assessment = b.assessed(b.records(b.family(further=[source]), b.sensor(), generator(), visits))
    return assessment, [mine(assessment, number) for number in range(3)]


@pytest.mark.parametrize(("lasts", "columns", "u"), [("reading", 3, 0.2), ("plateau", 3, 0.4), ("visit", 2, 0.4)])
def test_what_disturbs_a_sensor_is_another_one_as_soon_as_it_no_longer_lasts(lasts: str, columns: int, u: float):
    """Four readings that are disturbed each by itself leave half of it to their mean."""
    _, found = through_a_loop(sensor_further("sensor", lasts))
    assert len(set().union(*found)) == columns
    assert all(list(one.values()) == [pytest.approx(u)] for one in found)


@pytest.mark.parametrize(("of", "in_sensor", "in_loop"), [("sensor", True, False), ("far_end", False, True)])
def test_what_is_added_at_the_far_end_is_no_error_of_the_sensor_nor_the_other_way(
    of: str, in_sensor: bool, in_loop: bool
):
    assessment, found = through_a_loop(sensor_further(of, "visit"))
    plain, _ = through_a_loop(sensor_further(of, "visit", u="1e-9 %RH"))
    assert all(found), "either is in the error of the whole"
    for one, without in zip(assessment.results, plain.results, strict=True):
        assert (one.U_sensor > without.U_sensor + 0.01) is in_sensor
        assert (one.U_loop > without.U_loop + 0.01) is in_loop


@pytest.mark.parametrize(
    ("source", "complaint"),
    [
        (further("saturation_pressure"), "no size is given"),
        (further("saturation_pressure", u="1 Pa", limit="1 Pa"), "limit and u are given"),
        (further("saturation_pressure", U="1 Pa"), "U and k belong together"),
        (further("saturation_pressure", limit="1 Pa", nu="4"), "nu belongs to u"),
        (further("saturation_pressure", u="1 Pa", distribution="triangular"), "a distribution belongs to a limit"),
        (further("saturation_pressure", u="1 Pa", per="degC"), "degrees are counted from a temperature"),
        (further("saturation_pressure", u="1 %RH"), "more has an amount of humidity"),
        (further("saturation_pressure", u="1 Pa", per="value"), "more has an amount of pressure"),
        (further("saturation_pressure", limit="0 Pa"), "limit is zero"),
        (further("mirror_temperature", u="1 degC"), "more acts on 'mirror_temperature', which is not measured here"),
        (further("humidity", u="1 %RH", lowest="50 %RH", highest="50 %RH"), "the range is empty"),
        (further("humidity", u="1 %RH", per="month"), "the calibration is one of a quantity, not of the result"),
    ],
)
def test_a_source_that_cannot_be_meant_is_refused(source: Further, complaint: str):
    _, faults = load(b.records(b.sensor(), generator(source)))
    assert [complaint in fault.message for fault in faults] == [True], [fault.text() for fault in faults]


def test_two_sources_of_one_record_have_two_names():
    twice = [further("saturation_pressure", u="1 Pa"), further("humidity", u="1 %RH")]
    both = [sensor_further("sensor", "visit"), sensor_further("sensor", "visit", u="0.2 %RH")]
    for files, line in ((generator(*twice), "references/GEN-01.yml"), (b.family(further=both), "families/rush.yml")):
        _, faults = load(b.records(b.sensor(), generator(), files))
        assert [(fault.rule.name, fault.place.path) for fault in faults] == [("duplicate-id", line)]
        assert faults[0].place.line > 1, "it is the second one that is told"


def test_a_source_may_be_named_as_usual_ones_are():
    own = [further("saturation_pressure", "calibration", u="9 Pa", name=name) for name in ("calibration", "drift")]
    sensors = [sensor_further("sensor", "plateau", name=name) for name in ("repeatability", "settling")]
    rows = b.plateau(50, [50.3], b.generated(50.0, 23.0, 23.0))
    files = b.family(further=sensors) | b.sensor()
    (result,) = b.results(b.records(files, generator(*own), b.visit("2026-03-16-lab", rows)))
    assert result.u > math.hypot(0.4, 0.4)


def test_what_is_shared_cannot_be_more_than_the_certificate_says():
    _, faults = load(b.records(probe("PROBE-01", shared=[{"name": "birch-standard", "u": "0.46 %RH"}])))
    assert [fault.rule.name for fault in faults] == ["shared-too-large"]
