"""Derivatives pass through every forward function: complex steps, and objects that carry a slope."""

from __future__ import annotations

import numpy as np
import pytest

from asfound import humidity
from tests.humidity.published_checks import table

STEP = 1e-30

FORWARD = {
    "e water": (lambda t: humidity.saturation_vapour_pressure(t), (25.0,)),
    "e supercooled": (lambda t: humidity.saturation_vapour_pressure(t), (-10.0,)),
    "e ice": (lambda t: humidity.saturation_vapour_pressure(t, over="ice"), (-10.0,)),
    "f water": (lambda t, p: humidity.enhancement_factor(t, p), (25.0, 1e6)),
    "f supercooled": (lambda t, p: humidity.enhancement_factor(t, p), (-10.0, 1e6)),
    "f ice": (lambda t, p: humidity.enhancement_factor(t, p, over="ice"), (-10.0, 1e6)),
    "two-pressure": (humidity.two_pressure_rh, (5e5, 25.0, 1e5, 25.1, 0.999)),
    "frozen saturator": (
        lambda *x: humidity.two_pressure_rh(*x, saturator_over="ice"),
        (3e5, -10.0, 1e5, 5.0, 0.999),
    ),
    "dew": (lambda m, c, p, q: humidity.rh_from_mirror(m, c, "dew", p, q), (10.0, 23.0, 1e5, 1.01e5)),
    "frost": (lambda m, c, p, q: humidity.rh_from_mirror(m, c, "frost", p, q), (-10.0, 23.0, 1e5, 1.01e5)),
    "in air": (humidity.rh_at_sensor, (45.0, 20.0, 21.0, 1e5)),
    "NaCl": (lambda t: humidity.salt_rh("NaCl", t), (25.0,)),
    "K2SO4": (lambda t: humidity.salt_rh("K2SO4", t), (25.0,)),
    "over ice": (humidity.rh_over_ice, (50.0, -10.0, 1e5)),
    "over water": (humidity.rh_over_water, (50.0, -10.0, 1e5)),
    "mole fraction": (humidity.mole_fraction, (50.0, 25.0, 1e5)),
    "mixing ratio": (humidity.mixing_ratio, (50.0, 25.0, 1e5)),
    "absolute humidity": (humidity.absolute_humidity_g_m3, (50.0, 25.0, 1e5)),
}


def complex_slope(function, point, index):
    """Imaginary part over the step: exact to rounding (Squire and Trapp 1998)."""
    shifted = [value + 1j * STEP if i == index else value for i, value in enumerate(point)]
    return function(*shifted).imag / STEP


def central_slope(function, point, index):
    width = 1e-4 * max(abs(point[index]), 1.0)
    above, below = (
        [value + sign * width if i == index else value for i, value in enumerate(point)] for sign in (1, -1)
    )
    return (function(*above) - function(*below)) / (2 * width)


class Sloped:
    """A number with a slope: the least that a derivative carried through `__array_ufunc__` needs."""

    def __init__(self, value, slope):
        self.real, self.slope = value, slope

    @classmethod
    def of(cls, operand):
        return operand if isinstance(operand, cls) else cls(operand, 0.0)

    def __array_ufunc__(self, ufunc, method, *inputs, **kwargs):
        assert method == "__call__" and not kwargs
        rules = {
            np.add: lambda a, b: Sloped(a.real + b.real, a.slope + b.slope),
            np.subtract: lambda a, b: Sloped(a.real - b.real, a.slope - b.slope),
            np.multiply: lambda a, b: Sloped(a.real * b.real, a.slope * b.real + a.real * b.slope),
            np.divide: lambda a, b: Sloped(a.real / b.real, (a.slope * b.real - a.real * b.slope) / b.real**2),
            np.exp: lambda a: Sloped(np.exp(a.real), np.exp(a.real) * a.slope),
            np.log: lambda a: Sloped(np.log(a.real), a.slope / a.real),
        }
        return rules[ufunc](*map(Sloped.of, inputs))

    def __add__(self, other):
        return np.add(self, other)

    def __radd__(self, other):
        return np.add(other, self)

    def __sub__(self, other):
        return np.subtract(self, other)

    def __rsub__(self, other):
        return np.subtract(other, self)

    def __mul__(self, other):
        return np.multiply(self, other)

    def __rmul__(self, other):
        return np.multiply(other, self)

    def __truediv__(self, other):
        return np.divide(self, other)

    def __rtruediv__(self, other):
        return np.divide(other, self)


@pytest.mark.parametrize("name", FORWARD)
def test_the_complex_step_agrees_with_central_differences(name):
    function, point = FORWARD[name]
    for index in range(len(point)):
        exact = complex_slope(function, point, index)
        assert exact == pytest.approx(central_slope(function, point, index), rel=1e-5)
        assert exact != 0.0


@pytest.mark.parametrize("name", FORWARD)
def test_an_object_that_carries_its_slope_passes_through(name):
    function, point = FORWARD[name]
    for index in range(len(point)):
        carried = function(*(Sloped(v, 1.0) if i == index else v for i, v in enumerate(point)))
        assert carried.real == pytest.approx(function(*point), rel=1e-14)
        assert carried.slope == pytest.approx(complex_slope(function, point, index), rel=1e-12)


@pytest.mark.parametrize("name", FORWARD)
def test_slopes_come_in_arrays_like_values(name):
    function, point = FORWARD[name]
    columns = [np.full(3, value) for value in point]
    for index in range(len(point)):
        slopes = complex_slope(function, columns, index)
        assert slopes == pytest.approx(np.full(3, complex_slope(function, point, index)), rel=1e-14)


def test_slopes_pass_where_sets_of_coefficients_and_phases_are_mixed():
    """Three rows on either side of 0 °C and on ice: each row's slope is its own."""
    celsius, over = np.array([-5.0, 5.0, -5.0]), np.array(["water", "water", "ice"])
    mixed = humidity.enhancement_factor(celsius + 1j * STEP, 1e6, over).imag / STEP
    alone = [humidity.enhancement_factor(t + 1j * STEP, 1e6, str(phase)).imag / STEP for t, phase in zip(celsius, over)]
    assert mixed == pytest.approx(alone, rel=1e-14)
    carried = humidity.enhancement_factor(Sloped(celsius, np.ones(3)), 1e6, over)
    assert carried.slope == pytest.approx(alone, rel=1e-12)


@pytest.mark.parametrize("variable", [50.0 + 1j * STEP, Sloped(50.0, 1.0)])
def test_the_inverses_refuse_a_derivative_rather_than_drop_it(variable):
    for inverse in (
        lambda x: humidity.dew_point_c(x, 25.0),
        lambda x: humidity.frost_point_c(x, -10.0, pressure_pa=1e5),
        lambda x: humidity.saturation_temperature_c(10 * x),
        lambda x: humidity.saturation_pressure_for_rh(x, 25.0, 1e5, 25.0),
        lambda x: humidity.saturation_pressure_for_rh(50.0, x, 1e5, 50.0),
    ):
        with pytest.raises(TypeError):
            inverse(variable)


@pytest.mark.parametrize("row", table("two_pressure"), ids=lambda row: row["id"])
def test_sensitivities_are_those_of_the_published_table(row):
    """By an independent evaluation of Hardy 1998; the table prints four or five decimals."""
    point = (
        1e3 * float(row["Ps_kPa"]),
        float(row["Ts_C"]),
        1e3 * float(row["Pc_kPa"]),
        float(row["Tc_C"]),
    )
    for index, (column, per_unit) in enumerate(
        (("dRH_dPs_per_kPa", 1e3), ("dRH_dTs_per_K", 1.0), ("dRH_dPc_per_kPa", 1e3), ("dRH_dTc_per_K", 1.0))
    ):
        slope = per_unit * complex_slope(humidity.two_pressure_rh, point, index)
        assert slope == pytest.approx(float(row[column]), abs=2e-4)
