"""Units are converted once, on reading, as the published factors say."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asfound.units import CANONICAL, UNITS, UnitError, amount, amount_of, header_unit, symbols
from tests.examples import CHARACTERS

# NIST SP 811 (2008), appendix B.8, pressure: factor to pascals and half of its last printed digit (digits from
# memory; the two tests below compute psi and the columns of mercury again from their definitions).
PUBLISHED_PRESSURES = {
    "bar": (1.0e5, 0.0),
    "mbar": (1.0e2, 0.0),
    "psi": (6.894_757e3, 0.0005),
    "inHg": (3.386_389e3, 0.0005),
    "mmHg": (1.333_224e2, 0.00005),
}


@pytest.mark.parametrize("symbol", PUBLISHED_PRESSURES)
def test_a_pressure_unit_is_that_of_nist_sp_811(symbol: str):
    published, tolerance = PUBLISHED_PRESSURES[symbol]
    assert abs(UNITS[symbol].canonical(1.0) - published) <= tolerance


def test_psi_is_a_pound_force_on_a_square_inch():
    # NIST SP 811 (2008), B.8: pound 0.453 592 37 kg, standard gravity 9.806 65 m/s², inch 2.54 cm, all exact.
    assert UNITS["psi"].canonical(1.0) == pytest.approx(0.45359237 * 9.80665 / 0.0254**2, rel=1e-15)


@pytest.mark.parametrize(("symbol", "height_m"), [("inHg", 0.0254), ("mmHg", 0.001)])
def test_a_conventional_column_of_mercury(symbol: str, height_m: float):
    # Conventional mercury: 13 595.1 kg/m³ under standard gravity (NIST SP 811 (2008), B.8 note, from memory).
    assert UNITS[symbol].canonical(1.0) == pytest.approx(13595.1 * 9.80665 * height_m, rel=2e-7)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0), (68.0, 20.0)])
def test_degrees_fahrenheit(fahrenheit: float, celsius: float):
    # NIST SP 811 (2008), B.8: t/°C = (t/°F − 32)/1.8, exact.
    assert UNITS["degF"].canonical(fahrenheit) == pytest.approx(celsius, abs=1e-12)


def test_kelvin_and_degrees_celsius():
    # SI Brochure, 9th edition, 2.3.1: t/°C = T/K − 273.15, exact.
    assert UNITS["K"].canonical(273.15) == 0.0


def test_a_difference_of_temperatures_knows_no_zero():
    assert amount("1.8 degF", "temperature", difference=True) == pytest.approx(1.0)
    assert amount("0.04 K", "temperature", difference=True) == 0.04
    assert amount("33.8 degF", "temperature") == pytest.approx(1.0)


def test_every_quantity_has_its_canonical_unit():
    for quantity, symbol in CANONICAL.items():
        if symbol != "1":
            unit = UNITS[symbol]
            assert (unit.quantity, unit.canonical(3.7)) == (quantity, 3.7)


@given(symbol=st.sampled_from(sorted(UNITS)), value=st.floats(-1e6, 1e6))
def test_a_value_survives_the_way_there_and_back(symbol: str, value: float):
    unit = UNITS[symbol]
    assert unit.from_canonical(unit.canonical(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "quantity", "value"),
    [
        ("0.05 kPa", "pressure", 50.0),
        ("14.7psi", "pressure", 14.7 * 6894.757293168361),
        ("-2 degC", "temperature", -2.0),
        ("1e3 hPa", "pressure", 1e5),
        (".5 %RH", "humidity", 0.5),
        ("2 h", "duration", 120.0),
        ("90 s", "duration", 1.5),
        ("3 %", "fraction", 0.03),
        ("5 mV", "voltage", 0.005),
    ],
)
def test_an_amount_carries_its_unit(text: str, quantity: str, value: float):
    assert amount(text, quantity) == pytest.approx(value, rel=1e-14)


def test_a_rate_says_per_what():
    assert amount("0.2 degC/year", "temperature", difference=True, per="year") == 0.2
    assert amount("0.05 %RH/K", "humidity", per="degC") == amount("0.05 %RH/degC", "humidity", per="degC")


def test_an_amount_of_one_of_several_quantities_says_which():
    assert amount_of("4 mA", ("current", "voltage")) == (4.0, "current")
    assert amount_of("10 V", ("current", "voltage")) == (10.0, "voltage")


@pytest.mark.parametrize(
    ("text", "keys", "message", "cure"),
    [
        ("2", {}, "'2' has no unit", "write a number and its unit, e.g. '0.1 %RH'"),
        ("two %RH", {}, "'two %RH' is not a number with a unit", "e.g. '0.1 %RH'"),
        ("2,5 %RH", {}, "'2,5 %RH' is not a number with a unit", "e.g. '0.1 %RH'"),
        ("2 degC", {}, "'2 degC': 'degC' is no unit of humidity", "use one of %RH"),
        ("2 %rh", {}, "'2 %rh': '%rh' is no unit of humidity", "use one of %RH"),
        ("2 %RH/year", {}, "'2 %RH/year' must be a plain amount", "write e.g. '0.1 %RH'"),
        ("2 %RH", {"per": "year"}, "'2 %RH' must be an amount per year", "write e.g. '0.1 %RH/year'"),
        ("1e999 %RH", {}, "'1e999 %RH' is too large", "check the digits and the exponent"),
        ("1 %RH 2 %RH", {}, "'1 %RH 2 %RH' is not a number with a unit", "e.g. '0.1 %RH'"),
    ],
)
def test_a_wrong_amount_is_refused_with_its_cure(text: str, keys: dict, message: str, cure: str):
    with pytest.raises(UnitError) as refused:
        amount(text, "humidity", **keys)
    assert str(refused.value) == message
    assert refused.value.cure.endswith(cure)


@given(st.text(CHARACTERS, max_size=20))
def test_no_text_breaks_the_reading_of_an_amount(text: str):
    try:
        value, quantity = amount_of(text, ("humidity", "pressure", "temperature"))
    except UnitError as refused:
        assert str(refused) and refused.cure
    else:
        assert math.isfinite(value) and quantity in CANONICAL


def test_a_header_pressure_says_gauge_or_absolute():
    assert header_unit("psi gauge", ("pressure",)).gauge is True
    absolute = header_unit("kPa  absolute", ("pressure",))
    assert (absolute.gauge, absolute.symbol, absolute.canonical(101.325)) == (False, "kPa absolute", 101325.0)
    assert header_unit("degF", ("temperature",)).gauge is None


@pytest.mark.parametrize(
    ("text", "quantities", "message", "cure"),
    [
        ("kPa", ("pressure",), "[kPa] does not say gauge or absolute", "write [kPa gauge] or [kPa absolute]; "),
        ("kPa gage", ("pressure",), "[kPa gage] does not say gauge or absolute", "write [kPa gauge] or "),
        ("psig", ("pressure",), "unknown unit [psig]", "write [psi gauge]"),
        ("°F", ("temperature",), "unknown unit [°F]", "write [degF]"),
        ("°C", ("pressure",), "unknown unit [°C]", "write [UNIT gauge] or [UNIT absolute], the unit one of Pa, "),
        ("%", ("humidity", "current"), "[%] is a unit of fraction", "write [%RH]"),
        ("mA", ("temperature",), "[mA] is a unit of current", "write one of [degC], [degF], [K]"),
        ("degC gauge", ("temperature",), "unknown unit [degC gauge]", "write [degC]"),
        ("", ("temperature",), "unknown unit []", "write one of [degC], [degF], [K]"),
    ],
)
def test_a_wrong_header_unit_is_refused_with_its_cure(text: str, quantities: tuple, message: str, cure: str):
    with pytest.raises(UnitError) as refused:
        header_unit(text, quantities)
    assert str(refused.value) == message
    assert refused.value.cure.startswith(cure)


def test_the_units_that_a_user_may_write():
    assert symbols("temperature") == ("degC", "degF", "K")
    assert symbols("current", "voltage") == ("mA", "V", "mV")
