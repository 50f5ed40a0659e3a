"""Readings that contradict each other or that no instrument would show."""

from __future__ import annotations

import pytest

from asfound.records.checking import check
from tests.records.rules.written import (
    FIRST,
    HEADER,
    PROBE,
    SECOND,
    row,
    table,
    told,
    visit,
)
from tests.repositories import laid_over, minimal

# Several sensors in one chamber.


def test_rows_of_one_moment_share_the_reference_readings():
    header = HEADER.replace("output [mA]", "output [mA],far_end [%RH]")
    shared = "RH-102,2026-03-14 09:40,as_found,20,B7001,,20.4,,GEN-01,ada,,,,"
    assert told(visit(FIRST.replace("7.251,", "7.251,20.3,"), shared, header=header)) == []
    alone = shared.replace("09:40", "09:41")
    assert told(visit(FIRST.replace("7.251,", "7.251,20.3,"), alone, header=header)) == ["3 missing-reading"]


def test_two_sensors_beside_one_probe_have_their_own_air_temperature():
    air = PROBE | {"medium": "in air", "air_temperature [degC]": 22.8}
    second = air | {"sensor": "RH-101", "air_temperature [degC]": 23.4, "output [%RH]": "", "far_end [%RH]": 50.9}
    assert told(table(air | {"far_end [%RH]": ""}, second)) == []
    other = second | {"reference_humidity [%RH]": 50.2}
    assert told(table(air | {"far_end [%RH]": ""}, other)) == ["3 contradictory-readings"]


# Implausible readings: the edges are inside, and the cure names the unit that was meant.


@pytest.mark.parametrize(
    ("header", "field", "cure"),
    [
        ("ambient_pressure [kPa absolute]", 50, None),
        ("ambient_pressure [kPa absolute]", 115, None),
        ("ambient_pressure [kPa absolute]", 29.92, "if it was read in inHg, write [inHg absolute] in the header"),
        ("ambient_pressure [kPa absolute]", 1013.2, "if it was read in hPa, write [hPa absolute] in the header"),
        ("ambient_pressure [kPa absolute]", 14.69, "if it was read in psi, write [psi absolute] in the header"),
        ("ambient_pressure [hPa absolute]", 101.3, "if it was read in kPa, write [kPa absolute] in the header"),
        ("room_temperature [degC]", 73.4, "if it was read in degF, write [degF] in the header"),
        ("room_humidity [%RH]", 106, "check the number and the unit in the header"),
        ("room_humidity [%RH]", 105, None),
        ("soak [min]", 30000, "check the number and the unit in the header"),
    ],
)
def test_an_implausible_reading_names_the_unit_that_was_meant(header: str, field: float, cure: str | None):
    barometer = ",BAR-01" if header.startswith("ambient") else ","
    files = visit(f"{FIRST},{field}{barometer}", header=f"{HEADER},{header},barometer")
    found = check(laid_over(files))[1]
    assert [fault.rule.name for fault in found] == (["implausible-reading"] if cure else [])
    assert all(fault.cure.endswith(str(cure)) for fault in found)


def test_psi_typed_under_kpa_puts_the_saturator_below_its_chamber():
    (fault,) = check(laid_over(visit(row(saturation_pressure=73.26))))[1]
    assert fault.rule.name == "saturation-below-chamber"
    assert "kPa or psi, gauge or absolute" in fault.cure


def test_gauge_pressures_count_from_the_room():
    header = HEADER.replace("[kPa absolute]", "[kPa gauge]") + ",ambient_pressure [hPa absolute],barometer"
    gauge = row(saturation_pressure=403.8, chamber_pressure=0.0)
    assert told(visit(f"{gauge},1013.2,BAR-01", header=header)) == []
    assert told(visit(f"{gauge},,", header=header)) == ["2 gauge-without-ambient"] * 2
    assert told(visit(f"{row(saturation_pressure=-5, chamber_pressure=0)},1013.2,BAR-01", header=header)) == [
        "2 saturation-below-chamber"
    ]


def test_repeats_at_one_target_lean_on_one_reference():
    second = {"references/GEN-02.yml": minimal()["references/GEN-01.yml"].decode().replace("GEN-01", "GEN-02")}
    repeat = row(time="2026-03-14 09:42", reference="GEN-02")
    assert told(second | visit(FIRST, repeat)) == ["3 plateau-of-two-references"]
    assert told(second | visit(FIRST, row(SECOND, reference="GEN-02"))) == []
