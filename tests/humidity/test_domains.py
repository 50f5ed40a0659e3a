"""What the functions refuse, and that the refusal names quantity, value, range, unit and cure."""

from __future__ import annotations

import re

import numpy as np
import pytest

from asfound import humidity
from asfound.humidity.domains import OutsideRange


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: humidity.saturation_vapour_pressure(100.1),
            "temperature over water 100.1 °C is outside -50 to 100 °C",
        ),
        (
            lambda: humidity.saturation_vapour_pressure(np.array([20.0, -60.0, 300.0])),
            "temperature over water -60 °C is outside -50 to 100 °C",
        ),
        (
            lambda: humidity.saturation_vapour_pressure(0.02, over="ice"),
            "temperature over ice 0.02 °C is outside -100 to 0.01 °C",
        ),
        (
            lambda: humidity.saturation_vapour_pressure(float("nan")),
            "temperature over water nan °C is outside",
        ),
        (
            lambda: humidity.saturation_vapour_pressure(20.0, over="steam"),
            "over must be 'water' or 'ice', not steam",
        ),
        (
            lambda: humidity.enhancement_factor(80.0, 3e4),
            "pressure 30000 Pa is below the vapour pressure 47414.8 Pa at that temperature: water boils",
        ),
        (
            lambda: humidity.two_pressure_rh(3e6, 25.0, 1e5, 25.0),
            "absolute saturation pressure 3000000 Pa is outside 10000 to 2.5e+06 Pa",
        ),
        (
            lambda: humidity.two_pressure_rh(3e5, 25.0, 1e5, 250.0),
            "chamber temperature over water 250 °C is outside",
        ),
        (
            lambda: humidity.two_pressure_rh(3e5, 25.0, 1e5, 25.0, 99.5),
            "saturation efficiency 99.5 of 1 is outside 0.5 to 1.1 of 1; it is no percentage",
        ),
        (
            lambda: humidity.two_pressure_rh(1e5, 25.0, 5e5, 25.0),
            "%RH; are saturation and chamber swapped, or is one pressure gauge",
        ),
        (
            lambda: humidity.two_pressure_rh(3e5, 5.0, 1e5, 25.0, saturator_over="ice"),
            "saturation temperature over ice 5 °C is outside",
        ),
        (
            lambda: humidity.rh_from_mirror(30.0, 20.0, "dew", 1e5),
            "%RH; are mirror and air swapped",
        ),
        (
            lambda: humidity.rh_from_mirror(5.0, 20.0, "frost", 1e5),
            "mirror temperature over ice 5 °C is outside",
        ),
        (
            lambda: humidity.rh_at_sensor(450.0, 20.0, 20.0, 1e5),
            "reference humidity 450 %RH is outside -10 to 110",
        ),
        (
            lambda: humidity.rh_at_sensor(80.0, 30.0, 20.0, 1e5),
            "%RH; are the temperatures of reference and air",
        ),
        (
            lambda: humidity.rh_at_sensor(45.0, 20.0, 20.0, 1013.0),
            "absolute reference pressure 1013 Pa is outside",
        ),
        (lambda: humidity.dew_point_c(0.0, 20.0), "relative humidity must be above 0 %RH"),
        (
            lambda: humidity.dew_point_c(0.5, 0.0),
            "where a dew point exists; below −50 °C ask for the frost point",
        ),
        (
            lambda: humidity.frost_point_c(90.0, 20.0),
            "where a frost point exists; above 0 °C ask for the dew point",
        ),
        (
            lambda: humidity.saturation_pressure_for_rh(0.0, 25.0, 1e5, 25.0),
            "target humidity must be above 0 %RH",
        ),
        (
            lambda: humidity.saturation_pressure_for_rh(2.0, 25.0, 1e5, 25.0),
            "saturation pressure for the target humidity",
        ),
        (
            lambda: humidity.saturation_pressure_for_rh(99.0, 20.0, 1e5, 25.0),
            "needs a saturation pressure below the chamber pressure",
        ),
        (lambda: humidity.saturation_temperature_c(2e5, 101325.0), "vapour pressure 200000 Pa is outside"),
    ],
)
def test_a_value_out_of_range_is_refused_in_words(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()


@pytest.mark.parametrize("nonsense", ["25", None, [None], {"a": 1}])
def test_what_is_no_number_is_refused(nonsense):
    with pytest.raises(TypeError, match="a number or an array of numbers is needed"):
        humidity.saturation_vapour_pressure(nonsense)


def test_the_ends_of_the_ranges_belong_to_them():
    assert np.all(np.isfinite(humidity.saturation_vapour_pressure([-50.0, 100.0])))
    assert np.all(np.isfinite(humidity.saturation_vapour_pressure([-100.0, 0.01], over="ice")))
    assert humidity.enhancement_factor(100.0, 101325.0) == pytest.approx(1.0, abs=1e-3)
    assert np.all(np.isfinite(humidity.enhancement_factor(20.0, [1e4, 2.5e6])))
    assert humidity.dew_point_c(100.0, 100.0) == pytest.approx(100.0, abs=1e-9)
    assert humidity.frost_point_c(100.0, 0.0) == pytest.approx(0.0, abs=2e-3)


def test_empty_columns_give_empty_columns():
    empty = np.array([])
    assert humidity.two_pressure_rh(empty, empty, empty, empty).shape == (0,)
    assert humidity.rh_from_mirror(empty, empty, np.array([], dtype=str), empty).shape == (0,)
    assert humidity.rh_over_ice(empty, empty, empty).shape == (0,)
    assert humidity.dew_point_c(empty, empty).shape == (0,)


def alone(function, arguments):
    try:
        function(*arguments)
    except ValueError as problem:
        return str(problem)
    return None


@pytest.mark.parametrize(
    ("function", "columns"),
    [
        (
            humidity.two_pressure_rh,
            (
                [3e5, 3e5, 3e6, 1e5, 3e5, 2e4, float("nan"), 3e5],
                [25.0, 25.0, 25.0, 25.0, 120.0, 90.0, 25.0, 25.0],
                [1e5, 1e5, 1e5, 5e5, 1e5, 1e5, 1e5, 100.0],
                [25.0, 250.0, 250.0, 25.0, 25.0, 25.0, 25.0, 25.0],
            ),
        ),
        (
            lambda mirror_c, air_c, air_pa: humidity.rh_from_mirror(mirror_c, air_c, "frost", air_pa),
            ([-10.0, 5.0, -120.0, -1.0, -10.0], [20.0, 20.0, 20.0, -30.0, 20.0], [1e5, 1e5, 1e5, 1e5, 101.0]),
        ),
        (humidity.rh_at_sensor, ([50.0, 150.0, 90.0], [23.0, 23.0, 30.0], [23.0, 23.0, 10.0], [1e5, 1e5, 1e5])),
        (lambda t: humidity.salt_rh("NaCl", t), ([25.0, 95.0, -3.0],)),
        (humidity.rh_over_ice, ([50.0, 99.0, 98.0, 50.0], [-10.0, -10.0, -9.0, 5.0], [1e5, 1e5, 1e5, 1e5])),
        (humidity.mixing_ratio, ([50.0, 100.0, 100.0], [20.0, 99.7, 99.8], [1e5, 1e5, 1e5])),
        (humidity.dew_point_c, ([50.0, 0.0, -2.0, 120.0, 0.001], [20.0, 20.0, 20.0, 20.0, 20.0])),
    ],
    ids=["two_pressure", "mirror", "transfer_probe", "salt", "over_ice", "mixing_ratio", "dew_point"],
)
def test_of_many_values_each_is_refused_as_it_is_alone(function, columns):
    columns = [np.array(column) for column in columns]
    expected = {i: alone(function, arguments) for i, arguments in enumerate(zip(*columns, strict=True))}
    left, told = np.arange(len(columns[0])), {}
    while True:
        try:
            function(*(column[left] for column in columns))
            break
        except OutsideRange as problem:
            assert str(problem) == next(problem.messages())
            told |= zip(left[problem.where].tolist(), problem.messages(), strict=True)
            left = left[~problem.where]
    assert None in expected.values() and len(told) > 1
    assert told == {i: message for i, message in expected.items() if message}
