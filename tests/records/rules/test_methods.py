"""What the rows of each reference method must hold."""

from __future__ import annotations

import pytest

from tests.records.rules.written import (
    COLUMNS,
    FIRST,
    HEADER,
    MIRROR,
    PROBE,
    SECOND,
    table,
    told,
    visit,
)

# Methods.


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        ({"chamber_pressure [kPa absolute]": 101.3}, []),
        ({"ambient_pressure [hPa absolute]": 1013, "barometer": "BAR-01"}, []),
        ({"ambient_pressure [hPa absolute]": 1013}, ["2 no-barometer"]),
        ({}, ["2 missing-reading"]),
        ({"chamber_pressure [kPa absolute]": 101.3, "condensate": ""}, ["2 dew-or-frost"]),
        (
            {"chamber_pressure [kPa absolute]": 101.3, "ambient_pressure [hPa absolute]": 1013, "barometer": "MIR-01"},
            ["2 wrong-kind-of-reference"],
        ),
        ({"chamber_pressure [kPa absolute]": 101.3, "medium": "in air"}, ["2 medium-mismatch"]),
        ({"chamber_pressure [kPa absolute]": 101.3, "salt": "NaCl"}, ["2 method-mixture"]),
    ],
)
def test_what_a_chilled_mirror_needs(changed: dict[str, object], rules: list[str]):
    assert told(table(MIRROR | changed)) == rules


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        ({}, []),
        ({"medium": "in air", "air_temperature [degC]": 22.8}, []),
        ({"medium": "in air"}, ["2 missing-reading"]),
        ({"air_temperature [degC]": 22.8}, ["2 medium-mismatch"]),
        ({"medium": "salt cell"}, ["2 medium-mismatch"]),
        ({"reference_temperature [degC]": ""}, ["2 missing-reading"]),
        ({"output [%RH]": ""}, ["2 missing-indication"]),
    ],
)
def test_what_a_transfer_probe_needs(changed: dict[str, object], rules: list[str]):
    assert told(table(PROBE | changed)) == rules


def test_a_frosted_mirror_is_below_freezing_within_its_thermometer():
    warm = MIRROR | {"chamber_pressure [kPa absolute]": 101.3, "mirror_temperature [degC]": 0.1}
    assert told(table(warm)) == []
    assert told(table(warm | {"mirror_temperature [degC]": 0.6})) == ["2 frost-above-freezing"]


def test_a_point_that_was_not_done_needs_only_its_reason():
    blank = ",".join(SECOND.split(",")[:5]) + "," * (len(COLUMNS) - 5)
    assert told(visit(f"{FIRST},", f"{blank},door locked", header=f"{HEADER},note")) == []


def test_another_laboratory_s_result_needs_no_reference_technician_or_target():
    stated = {
        "sensor": "RH-102",
        "time": "2026-03-14 09:40",
        "phase": "as_left",
        "stated_reference [%RH]": 50.1,
        "stated_error [%RH]": 0.6,
        "stated_U [%RH]": 1.2,
        "stated_k": 2,
    }
    assert told(table(stated)) == []
    assert told(table(stated | {"stated_k": 0.5})) == ["2 implausible-reading"]
