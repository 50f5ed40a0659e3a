"""The package's front door is stable: its names, their signatures and documentation, and that numpy is
enough.
"""

from __future__ import annotations

import doctest
import inspect
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import asfound
from asfound import humidity

SIGNATURES = {
    "absolute_humidity_g_m3": "(rh_percent, temperature_c, pressure_pa)",
    "dew_point_c": "(rh_percent, temperature_c, *, pressure_pa=None)",
    "enhancement_factor": "(temperature_c, pressure_pa, over='water')",
    "frost_point_c": "(rh_percent, temperature_c, *, pressure_pa=None)",
    "mixing_ratio": "(rh_percent, temperature_c, pressure_pa)",
    "mole_fraction": "(rh_percent, temperature_c, pressure_pa)",
    "rh_at_sensor": "(reference_rh, reference_c, air_c, pressure_pa)",
    "rh_from_mirror": "(mirror_c, chamber_c, condensate, chamber_pa, mirror_pa=None)",
    "rh_over_ice": "(rh_over_water, temperature_c, pressure_pa)",
    "rh_over_water": "(rh_over_ice, temperature_c, pressure_pa)",
    "salt_range_c": "(salt)",
    "salt_rh": "(salt, temperature_c)",
    "salt_uncertainty": "(salt, temperature_c)",
    "saturated_partial_pressure": "(temperature_c, pressure_pa, over='water', *, place='')",
    "saturation_pressure_for_rh": (
        "(target_rh, saturation_c, chamber_pa, chamber_c, efficiency=1.0, *, saturator_over='water')"
    ),
    "saturation_temperature_c": "(partial_pressure_pa, pressure_pa=None, over='water')",
    "saturation_vapour_pressure": "(temperature_c, over='water')",
    "settled_saturation_rh": "(temperature_c, pressure_pa)",
    "two_pressure_rh": (
        "(saturation_pa, saturation_c, chamber_pa, chamber_c, efficiency=1.0, *, saturator_over='water')"
    ),
    "water_to_ice_ratio": "(temperature_c, pressure_pa)",
}


def test_the_front_door_holds_what_it_promises():
    assert sorted(humidity.__all__) == sorted([*SIGNATURES, "SALTS"])


@pytest.mark.parametrize("name", SIGNATURES)
def test_signatures_are_stable_and_documented(name):
    function = getattr(humidity, name)
    signature = inspect.signature(function)
    bare = signature.replace(
        parameters=[p.replace(annotation=p.empty) for p in signature.parameters.values()],
        return_annotation=signature.empty,
    )
    assert str(bare) == SIGNATURES[name]
    assert "Raises ValueError" in function.__doc__ or "errors" in function.__doc__


def test_the_example_in_the_documentation_is_true():
    assert doctest.testmod(humidity).failed == 0


def test_numpy_is_all_that_it_brings_along():
    """In a fresh interpreter: importing the front door loads no other library of ours or of others."""
    program = """
import sys
import asfound.humidity
print(*sorted({name.split(".")[0] for name in sys.modules} - set(sys.stdlib_module_names) - {"__main__"}))
"""
    command = [sys.executable, "-S", "-c", program]  # without site, which may load what others installed
    found = os.pathsep.join(str(Path(module.__file__).parents[1]) for module in (asfound, np))
    environment = os.environ | {"PYTHONPATH": found}
    loaded = subprocess.run(command, capture_output=True, text=True, check=True, env=environment)
    assert loaded.stdout.split() == ["asfound", "numpy"]
