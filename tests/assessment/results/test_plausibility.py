"""A saturation pressure in another unit than the header says: the unit that fits is named, whatever the header's."""

from __future__ import annotations

import itertools

import pytest

from asfound.assessment.assess import check
from asfound.faults import Severity
from asfound.humidity import saturation_pressure_for_rh
from asfound.units import UNITS
from tests import builders as b

SYMBOLS = ("kPa", "psi", "bar", "hPa")
KINDS = tuple(f"{symbol} {kind}" for symbol, kind in itertools.product(SYMBOLS, ("absolute", "gauge")))
ROOM_PA = 101_325.0


def typed(rh: float, unit: str) -> str:
    """The pressure for a humidity at 25 °C as a display in this unit shows it."""
    pressure_pa = float(saturation_pressure_for_rh(rh, 25.0, ROOM_PA, 25.0))
    symbol, kind = unit.split()
    return f"{UNITS[symbol].from_canonical(pressure_pa - (ROOM_PA if kind == 'gauge' else 0.0)):.4f}"


def refused(read_in: str, header: str) -> tuple[set[str], set[str]]:
    """Rules whose errors stop it, and the units that are named, where pressures are read in one unit under another."""
    room = {"chamber_pressure [Pa absolute]": ROOM_PA, "ambient_pressure [Pa absolute]": ROOM_PA, "barometer": "BAR-01"}
    room |= {"chamber_temperature [degC]": 25.0, "saturation_temperature [degC]": 25.0, "reference": "GEN-01"}
    plateaus = [
        b.plateau(at, [at, at], room | {f"saturation_pressure [{header}]": typed(at, read_in)}) for at in (20.0, 50.0)
    ]
    files = b.records(b.sensor(), b.two_pressure(), b.barometer(), b.visit("2026-03-16-lab", *plateaus))
    errors = [fault for fault in check(files) if fault.rule.severity is Severity.ERROR]
    named = {fault.cure.partition("[")[2].partition("]")[0] for fault in errors if fault.rule.name == "unit-mix-up"}
    return {fault.rule.name for fault in errors}, named


@pytest.mark.parametrize(("read_in", "header"), list(itertools.permutations(KINDS, 2)))
def test_a_pressure_in_another_unit_than_the_headers_never_passes(read_in: str, header: str):
    rules, named = refused(read_in, header)
    assert rules and named <= {read_in}


@pytest.mark.parametrize("unit", KINDS)
def test_a_pressure_in_the_headers_own_unit_passes(unit: str):
    assert refused(unit, unit) == (set(), set())
