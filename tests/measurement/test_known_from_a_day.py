"""What is known of an instrument's errors holds from its day on: what is found anew moves no result of before."""

from __future__ import annotations

import math

import pytest

from asfound.records.load import load
from tests import builders as b
from tests.measurement.lab import measured

OLD, NEW = "2026-02-16-lab", "2026-09-16-lab"
RECTANGLE = math.sqrt(3.0)


def twice(*parts: b.Files, **reading) -> b.Files:
    """RH-1 at 50 %RH before and after the day from which something else is known."""
    rows = b.plateau(50, [50.3, 50.4], b.generated(50), **reading)
    return b.records(b.sensor(), b.two_pressure(), *parts, b.visit(OLD, rows), b.visit(NEW, rows))


def known(before: str, after: str) -> list[dict[str, str]]:
    return [{"value": before}, {"from": "2026-09-16", "value": after}]


@pytest.mark.parametrize(
    ("key", "before", "after", "ending"),
    [
        ("saturator_gradient", "0.03 degC", "0.06 degC", "saturator_gradient"),
        ("chamber_gradient", "0.05 degC", "0.1 degC", "chamber_gradient"),
        ("lowest_efficiency", "99.8 %", "99.6 %", "efficiency"),
        ("pressure_drop", "0.2 kPa", "0.4 kPa", "pressure_drop"),
    ],
)
def test_a_generators_new_characterisation_moves_no_result_of_before(key, before, after, ending):
    undated, dated, later = (
        measured(twice(b.two_pressure(**{key: value}))) for value in (before, known(before, after), after)
    )
    for visit, like in ((OLD, undated), (NEW, later)):
        assert dated.U(50, visit=visit) == like.U(50, visit=visit)
        assert dated.line(50, visit=visit).error == like.line(50, visit=visit).error
        (one,) = [v for name, v in dated.budget(50, visit=visit).items() if name.endswith(ending)]
        (other,) = [v for name, v in like.budget(50, visit=visit).items() if name.endswith(ending)]
        assert one.contribution == other.contribution != 0.0
    assert dated.U(50, visit=OLD) != later.U(50, visit=OLD)


def test_what_was_found_anew_is_another_error_and_what_was_not_stays_the_same():
    lab = measured(
        twice(b.two_pressure(saturator_gradient=known("0.03 degC", "0.06 degC"), lowest_efficiency="99.8 %"))
    )
    old, new = (set(lab.budget(50, visit=visit)) for visit in (OLD, NEW))
    assert "GEN-01/saturator_gradient" in old - new and "GEN-01/2026-09-16/saturator_gradient" in new - old
    assert "GEN-01/efficiency" in old & new


@pytest.mark.parametrize(
    ("key", "before", "after", "identity"),
    [
        ("self_heating", "0.03 degC", "0.06 degC", "self_heating"),
        ("temperature_coefficient", "0.02 %RH/degC", "0.04 %RH/degC", "temperature_coefficient"),
    ],
)
def test_a_sensors_new_characterisation_moves_no_result_of_before(key, before, after, identity):
    sensor = b.sensor(working_temperature="35 degC")
    undated, dated, later = (
        measured(twice(sensor, b.family(**{key: value}))) for value in (before, known(before, after), after)
    )
    assert dated.U(50, visit=OLD) == undated.U(50, visit=OLD) < dated.U(50, visit=NEW) == later.U(50, visit=NEW)
    old, new = (set(dated.budget(50, visit=visit)) for visit in (OLD, NEW))
    assert {name for name in old - new if "RH-1-A/" in name} == {f"RH-1/RH-1-A/{identity}"}
    assert {name for name in new - old if "RH-1-A/" in name} == {f"RH-1/RH-1-A/2026-09-16/{identity}"}


def test_what_is_declared_of_a_channel_carries_dates():
    before = {"resolution": "0.01 %RH", "repeatability": "0.05 %RH"}
    after = {"from": "2026-09-16", "resolution": "0.01 %RH", "repeatability": "0.2 %RH"}
    plain, dated = (measured(twice(b.family(humidity=value))) for value in (before, [before, after]))
    assert dated.U(50, visit=OLD) == plain.U(50, visit=OLD)
    assert dated.line(50, visit=NEW).repeatability.s == 0.2


def test_a_value_alone_is_an_entry_that_always_holds():
    alone, entry, listed = (
        measured(twice(b.two_pressure(chamber_gradient=value)))
        for value in ("0.05 degC", {"value": "0.05 degC"}, [{"value": "0.05 degC"}])
    )
    assert alone.budget(50, visit=OLD).keys() == entry.budget(50, visit=OLD).keys()
    assert alone.U(50, visit=OLD) == entry.U(50, visit=OLD) == listed.U(50, visit=OLD)


def reservations(files: b.Files, visit: str) -> list[str]:
    return [f.message for r in b.results(files) if r.visit == visit for f in r.reservations if "known" in f.rule.name]


def test_before_it_was_known_it_counts_as_none_and_the_result_says_so():
    late = {"from": "2026-09-16", "value": "0.06 degC"}
    for part, name in ((b.two_pressure(saturator_gradient=late), "GEN-01"), (b.family(self_heating=late), "RH-1")):
        key = next(key for key in ("saturator_gradient", "self_heating") if key.encode() in b"".join(part.values()))
        (message,) = reservations(twice(part), OLD)
        assert message == f"of {name} is known {key} from 2026-09-16, so counted as none on 2026-02-16"
        assert reservations(twice(part), NEW) == []
        assert measured(twice(part)).U(50, visit=OLD) == measured(twice()).U(50, visit=OLD)


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("0.05 kPa", "chamber_gradient: '0.05 kPa': 'kPa' is no unit of temperature"),
        ({"value": "0.05"}, "value: '0.05' has no unit"),
        ([{"value": "0.1 degC"}, {"value": "0.2 degC"}], "an undated entry stands behind another undated one"),
        ([], "nothing is given"),
        ({"from": "2026-09-16"}, "the key 'value' is missing"),
        ({"vlaue": "0.1 degC"}, "unknown key 'vlaue'"),
    ],
)
def test_what_is_no_property_is_refused_at_its_place(value, message):
    _, faults = load(twice(b.two_pressure(chamber_gradient=value)))
    said = [fault.message for fault in faults]
    assert any(message in one for one in said), said
    assert all(fault.place.path == "references/GEN-01.yml" and fault.place.line > 1 for fault in faults)
