"""What is left out is said, source by source: a small U must not come of silence.

The sources of each method and of the sensor under test are those of the budget; what a certificate states beside its
table is copied with it.
"""

from __future__ import annotations

import pytest

from asfound.records.checking import check
from tests.records.rules.written import PROBE, Files, edited, table
from tests.repositories import laid_over, minimal


def said(files: Files) -> list[str]:
    """`file: message` of what is not declared."""
    faults = [fault for fault in check(laid_over(files))[1] if fault.rule.name == "not-declared"]
    return [
        f"{fault.place.path.rpartition('/')[2]}: {fault.message.removeprefix('not declared, so ')}" for fault in faults
    ]


def without(path: str, line: str) -> Files:
    return edited(path, f"{line}\n", "")


IN_AIR = table(PROBE | {"medium": "in air", "air_temperature [degC]": 23.0})
SILENT = [
    ("references/GEN-01.yml", "saturator_gradient: 0 degC", {}, "saturator_gradient"),
    ("references/GEN-01.yml", "chamber_gradient: 0 degC", {}, "chamber_gradient"),
    ("references/GEN-01.yml", "lowest_efficiency: 100 %", {}, "lowest_efficiency"),
    ("references/GEN-01.yml", "pressure_drop: 0 Pa", {}, "pressure_drop"),
    ("references/MIR-01.yml", "chamber_gradient: 0 degC", {}, "chamber_gradient"),
    ("references/MIR-01.yml", "mirror_pressure_difference: 0 Pa", {}, "mirror_pressure_difference"),
    ("references/SALT-01.yml", "salt_condition: 0 %RH", {}, "salt_condition"),
    ("references/PRB-01.yml", "hysteresis: 0 %RH", {}, "hysteresis"),
    ("references/PRB-01.yml", "temperature_coefficient: 0 %RH/degC", {}, "temperature_coefficient"),
    ("references/PRB-01.yml", "chamber_gradient: 0 degC", {}, "chamber_gradient"),
    ("references/PRB-01.yml", "instability: 0 %RH", IN_AIR, "instability"),
    ("references/PRB-01.yml", "vapour_gradient: 0 %RH", IN_AIR, "vapour_gradient"),
    ("references/PRB-01.yml", "response_lag: 0 min", IN_AIR, "response_lag"),
    ("references/PRB-01.yml", "instability: 0 %RH", {}, ""),  # not used in air
    ("families/HX-2.yml", "self_heating: 0 degC", {}, "self_heating"),
    ("families/HX-2.yml", "time_constant: {longest: 0 min}", {}, "time_constant"),
]


@pytest.mark.parametrize(("path", "line", "used", "key"), SILENT)
def test_a_source_that_is_left_out_is_said(path: str, line: str, used: Files, key: str):
    name = path.rpartition("/")[2]
    assert said(used | without(path, line)) == ([f"{name}: counted as none: {key}"] if key else [])


def test_the_minimal_records_declare_everything():
    assert said({}) == [] == said(IN_AIR)


@pytest.mark.parametrize("key", ["hysteresis", "far_end_dead_band"])
def test_a_family_declares_its_loop_and_what_the_far_end_holds_back(key: str):
    silent = edited("families/TX-5.yml", f"{key}: 0 %RH, " if key == "hysteresis" else f", {key}: 0 %RH", "")
    far = table({**PROBE, "far_end [%RH]": 50.3})
    assert said(far | silent) == [f"TX-5.yml: counted as none: humidity.{key}"]
    assert said(silent) == ([f"TX-5.yml: counted as none: humidity.{key}"] if key == "hysteresis" else [])


def test_what_a_sensor_declares_its_family_need_not():
    silent = without("families/HX-2.yml", "self_heating: 0 degC")
    own = {"sensors/RH-101.yml": minimal()["sensors/RH-101.yml"].decode() + "self_heating: 0.1 degC\n"}
    assert said(silent | own) == []


def test_a_policy_that_asks_for_settling_speaks_for_the_time_constant():
    silent = without("families/HX-2.yml", "time_constant: {longest: 0 min}")
    settled = edited("facility.yml", "{rule: guard_band}", "{rule: guard_band, settling: {largest_slope: 0.1 %RH/min}}")
    assert said(silent | settled) == []


def test_a_coefficient_without_the_temperature_of_its_calibration_says_nothing():
    path = "references/PRB-01.yml"
    coefficient = edited(path, "temperature_coefficient: 0 %RH/degC", "temperature_coefficient: 0.1 %RH/degC")
    (found,) = said(coefficient)
    assert found.endswith("temperature_coefficient, which says nothing without calibration_temperature")
    text = str(coefficient[path]) + "calibration_temperature: 23 degC\n"
    assert said({path: text}) == []


def test_a_mirror_that_reads_its_own_pressure_needs_no_difference():
    path = "references/MIR-01.yml"
    text = minimal()[path].decode().replace("mirror_pressure_difference: 0 Pa\n", "")
    start, end = text.index("  chamber_pressure:\n"), text.index("chamber_gradient")
    own = text[start:end].replace("chamber_pressure", "mirror_pressure")
    assert said({path: text[:end] + own + text[end:]}) == []


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ("        k: 2\n", "", "k = 2 of saturation_pressure"),
        ("        correlation: common\n", "", "that the points' errors are common of saturation_pressure"),
        (" absolute", "", ""),
        ("U: 0.1 kPa}", "U: 0.1 kPa, k: 2.1}", ""),
    ],
)
def test_what_the_certificate_states_beside_its_table_is_copied_or_said(before: str, after: str, message: str):
    """One point that says absolute speaks for its table."""
    found = said(edited("references/GEN-01.yml", before, after))
    assert found == ([f"GEN-01.yml: assumed: {message}"] if message else [])


def test_a_table_of_pressures_that_is_neither_gauge_nor_absolute_is_said():
    silent = {"references/GEN-01.yml": minimal()["references/GEN-01.yml"].decode().replace(" absolute", "")}
    (found,) = said(silent)
    assert found.endswith(
        "that tables are of what is read, gauge or absolute, of saturation_pressure, chamber_pressure"
    )
    unit = "    unit: psi absolute\n    calibrations:"
    unit = str(silent["references/GEN-01.yml"]).replace("    calibrations:", unit, 1)
    (found,) = said({"references/GEN-01.yml": unit})
    assert found.endswith("of chamber_pressure")


def test_the_k_of_a_calibration_is_that_of_its_points_unless_they_have_their_own():
    text = minimal()["references/GEN-01.yml"].decode()
    text = text.replace("k: 2\n", "k: 2.1\n", 1).replace("U: 0.2 kPa}", "U: 0.2 kPa, k: 2.3}", 1)
    records, faults = check(laid_over({"references/GEN-01.yml": text}))
    assert records is not None and faults == []
    first = records.references["GEN-01"].quantities["saturation_pressure"].calibrations[0]
    assert [first.k_of(point) for point in first.points] == [2.1, 2.3]
