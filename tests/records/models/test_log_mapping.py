"""The mapping of a raw log as a record."""

from __future__ import annotations

import pytest

from asfound.records.models.log_mapping import read_log_mapping

GOOD = """time: { columns: [Time] }
columns:
  RH: output [mA]
  P: saturation_pressure [psi gauge]
sensor: DRY-11
"""


def told(text: str) -> str:
    read, faults = read_log_mapping("logs/a.yml", text.encode())
    assert read is None
    return "\n".join(fault.text() for fault in faults)


def test_columns_know_their_quantity_and_whose_they_are():
    read, faults = read_log_mapping("logs/a.yml", GOOD.encode())
    assert faults == []
    assert [(c.heading, c.name, c.unit.quantity, c.unit.gauge, c.sensor) for c in read.all_columns] == [
        ("RH", "output", "current", None, None),
        ("P", "saturation_pressure", "pressure", True, None),
    ]
    assert read.of_sensors == ("DRY-11",)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("output [mA]", "output", "logs/a.yml:3:7: error[missing-unit] RH: output has no unit"),
        ("output [mA]", "output [psi]", "logs/a.yml:3:7: error[bad-unit]"),
        ("output [mA]", "outptu [mA]", "did you mean 'output'?"),
        ("[psi gauge]", "[psi]", "does not say gauge or absolute"),
        (
            "output [mA]",
            "technician",
            "logs/a.yml:3:7: error[unknown-column] RH: 'technician' is no column of readings",
        ),
        ("saturation_pressure [psi gauge]", "output [V]", "logs/a.yml:4:6: error[repeated-column]"),
        ("sensor: DRY-11", "sensors: { DRY-11: { X: 'output [V]' } }", "X: two columns are output"),
        ("sensor: DRY-11", "sensor: DRY-11\nsensors: { DRY-12: { X: 'far_end [%RH]' } }", "are both given"),
        ("sensor: DRY-11", "delimiter: ab", "logs/a.yml:5:12: error[wrong-value] delimiter: 'ab' is no delimiter"),
        ("[Time] }", "[Time], zone: Europe/Olso }", "zone: 'Europe/Olso' is no time zone"),
        ("[Time] }", "[A, B, C] }", "logs/a.yml:1:"),
        ("sensor:", "sensr:", "logs/a.yml:5:1: error[unknown-key]"),
        ("time: { columns: [Time] }\n", "", "error[missing-key] the key 'time' is missing"),
    ],
)
def test_what_a_mapping_cannot_mean_is_told_with_its_place(old, new, said):
    assert old in GOOD
    assert said in told(GOOD.replace(old, new, 1))


def test_a_mapping_without_columns_maps_nothing():
    assert "add `columns:`" in told("time: { columns: [Time] }\n")
