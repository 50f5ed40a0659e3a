"""Budgets of typical declared components are as large as the trade expects, and large where it says so.

Orders of magnitude, each common practice, no source: a portable two-pressure reference is good to a few tenths of %RH
over its range; dry points are as good as the pressure is known, humid ones as the chamber is even; air saturated at
150 psi gauge and expanded to the room gives a lowest point near 9 %RH.
"""

from __future__ import annotations

import pytest

from asfound.humidity import two_pressure_rh
from asfound.measurement.cell_sources import Part
from tests import builders as b

TYPICAL = b.two_pressure(
    "GEN-01",
    {
        # 0.075 % of a span of 0.35 MPa, above that of 1.2 MPa; 0.1 kPa for the chamber, thermometers to 0.03 K
        "saturation_pressure": b.quantity(
            b.calibration(
                *(
                    b.point(f"{at} kPa", "0 kPa", f"{U} kPa")
                    for at, U in ((0, 0.26), (350, 0.26), (400, 0.9), (1500, 0.9))
                )
            ),
            resolution="0.01 kPa",
        ),
        "saturation_temperature": b.flat(-20, 60, "degC", 0.03, resolution="0.01 degC"),
        "chamber_pressure": b.flat(0, 150, "kPa", 0.1, resolution="0.01 kPa"),
        "chamber_temperature": b.flat(-20, 60, "degC", 0.03, resolution="0.01 degC"),
    },
    saturator_gradient="0.03 degC",
    chamber_gradient="0.05 degC",
    lowest_efficiency="99.9 %",
)
POINTS = (10.0, 20.0, 50.0, 80.0)
PSI = 6894.757


@pytest.fixture(scope="module")
def budgets() -> dict[float, tuple[float, dict[str, float]]]:
    """By target: U of the error of a sensor with a good display, and the share of each kind of source."""
    rows = [b.plateau(target, [target] * 3, b.generated(target, 23.0, 23.0)) for target in POINTS]
    assessment = b.assessed(b.records(b.sensor(), TYPICAL, b.visit("2026-03-16-lab", *rows)))
    measured = assessment.measurement.whole()
    found = {}
    for result in assessment.results:
        assert result.part is Part.SENSOR and result.line is not None
        shares: dict[str, float] = {}
        for line in measured.lines(result.line):
            shares[_kind(line.source.identity)] = shares.get(_kind(line.source.identity), 0.0) + line.share
        found[result.target] = (result.U, shares)
    return found


def _kind(identity: str) -> str:
    if "pressure" in identity and "formula" not in identity:
        return "pressure"
    return "temperature" if "temperature" in identity or "gradient" in identity else "other"


def test_a_portable_generator_is_good_to_a_few_tenths_of_percent_humidity(budgets):
    assert all(0.05 < U < 0.5 for U, _ in budgets.values())
    assert all(0.2 < budgets[target][0] < 0.5 for target in (50.0, 80.0))


def test_U_grows_with_the_humidity(budgets):
    assert [U for U, _ in budgets.values()] == sorted(U for U, _ in budgets.values())


def test_humid_points_are_as_good_as_temperatures_agree(budgets):
    _, shares = budgets[80.0]
    assert shares["temperature"] > 0.5 > shares["pressure"]


def test_one_error_of_the_saturator_s_pressure_counts_the_more_the_more_humid_the_point():
    """0.9 kPa are a thousandth of 1,000 kPa at a dry point, and seven of them of 127 kPa at a humid one."""
    dry, humid = (
        two_pressure_rh(saturation * 1e3 + 900.0, 23.0, b.ROOM_PA, 23.0)
        / two_pressure_rh(saturation * 1e3, 23.0, b.ROOM_PA, 23.0)
        - 1.0
        for saturation in (1000.0, 127.0)
    )
    assert dry == pytest.approx(-0.9 / 1000, rel=0.05) and humid == pytest.approx(-0.9 / 127, rel=0.05)


def test_150_psi_gauge_expanded_to_the_room_gives_about_9_percent():
    lowest = float(two_pressure_rh(150.0 * PSI + b.ROOM_PA, 23.0, b.ROOM_PA, 23.0))
    assert lowest == pytest.approx(9.0, abs=0.5)


@pytest.mark.parametrize("target", POINTS)
def test_a_tenth_of_a_kelvin_between_saturator_and_chamber_is_0_6_percent_of_reading(target: float):
    """Computed from d ln e/dT at 25 °C (Hardy 1998)."""
    row = b.generated(target)
    pressure = row["saturation_pressure [kPa absolute]"] * 1e3
    warm = float(two_pressure_rh(pressure, 25.1, b.ROOM_PA, 25.0))
    assert warm / target - 1.0 == pytest.approx(0.006, abs=0.0002)
