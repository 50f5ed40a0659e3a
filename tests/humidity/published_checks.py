"""The published values that the humidity functions must meet, as data: what was computed beside what was
printed.

Each function takes the humidity functions as a namespace (the package, or a mutant of it) and yields
checks; the tables with their sources stand in tests/published/. Test modules, mutation tests and the table
of deviations share them.
"""

from __future__ import annotations

import csv
import functools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PUBLISHED = Path(__file__).parents[1] / "published"


@dataclass(frozen=True, kw_only=True)
class Check:
    id: str
    source: str
    computed: float
    expected: float
    tolerance: float
    """Absolute, in the unit of the value."""

    @property
    def deviation(self) -> float:
        return float(self.computed - self.expected)

    @property
    def holds(self) -> bool:
        return abs(self.deviation) <= self.tolerance  # NaN does not

    def __str__(self) -> str:
        return (
            f"{self.id} ({self.source}): computed {self.computed:.10g}, published {self.expected:.10g}, "
            f"tolerance {self.tolerance:.2g}"
        )


@functools.cache
def table(name: str) -> tuple[dict[str, str], ...]:
    with (PUBLISHED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def _check(row: dict[str, str], computed: Any) -> Check:
    expected, tolerance = float(row["expected"]), float(row["tolerance"])
    if row["tolerance_kind"] == "relative":
        tolerance *= abs(expected)
    return Check(id=row["id"], source=row["source"], computed=computed, expected=expected, tolerance=tolerance)


def _column(
    row: dict[str, str], column: str, source: str, computed: Any, relative: float = 0.0, absolute: float = 0.0
) -> Iterator[Check]:
    """A check against another column of the row, where it is filled."""
    if row[column]:
        expected = float(row[column])
        tolerance = relative * abs(expected) + absolute
        yield Check(
            id=f"{row['id']}/{column}",
            source=source,
            computed=computed,
            expected=expected,
            tolerance=tolerance,
        )


def half_last_digit(printed: str) -> float:
    """Half the last printed digit of a number: "11.21387" gives 5e-6."""
    mantissa, _, exponent = printed.lower().partition("e")
    return 0.5 * 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))


HARDY = "Hardy 1998, evaluated apart from this program"


def vapour_pressure(humidity: Any) -> Iterator[Check]:
    for row in table("saturation_vapour_pressure"):
        computed = humidity.saturation_vapour_pressure(float(row["t_C"]), over=row["phase"])
        yield _check(row, computed)
        if printed := row["hardy_1998_pa"]:
            rounding = half_last_digit(printed)
            yield from _column(row, "hardy_1998_pa", HARDY, computed, relative=1e-7, absolute=rounding)


def enhancement_factor(humidity: Any) -> Iterator[Check]:
    for row in table("enhancement_factor"):
        celsius, pressure_pa = float(row["t_C"]), 1e3 * float(row["P_kPa"])
        computed = humidity.enhancement_factor(celsius, pressure_pa, over=row["phase"])
        yield _check(row, computed)
        yield from _column(row, "hardy_1998", HARDY, computed, absolute=1e-6)
        tolerance = 2e-4 + 1e-9 * pressure_pa  # as in the table: the distance of the two models
        yield from _column(row, "iapws_g9_12", "IAPWS G9-12 virial equation", computed, relative=tolerance)
        # CIPM-2007: Picard et al. 2008, f = α + β p + γ t², for metrology of air near one atmosphere
        yield from _column(row, "cipm_2007", "CIPM-2007", computed, absolute=7e-5)
        if row["hardy_1998_supercooled"]:
            supercooled = humidity.enhancement_factor(celsius, pressure_pa, over="water")
            yield from _column(row, "hardy_1998_supercooled", HARDY, supercooled, absolute=1e-6)


def two_pressure(humidity: Any) -> Iterator[Check]:
    for row in table("two_pressure"):
        ps, ts, pc, tc = (float(row[name]) for name in ("Ps_kPa", "Ts_C", "Pc_kPa", "Tc_C"))
        computed = humidity.two_pressure_rh(1e3 * ps, ts, 1e3 * pc, tc)
        yield _check(row, computed)
        # 1e-4 %RH: the column has five decimals, its pressures four, in kPa
        yield from _column(row, "hardy_1998", HARDY, computed, absolute=1e-4)
        yield from _column(row, "iapws_g9_12", "IAPWS G9-12 virial equation", computed, absolute=0.01)
        # A mirror at the saturator's temperature and pressure sees the same mole fraction.
        mirror = humidity.rh_from_mirror(ts, tc, "dew", 1e3 * pc, mirror_pa=1e3 * ps)
        yield from _column(row, "hardy_1998", f"{HARDY}, as a mirror", mirror, absolute=1e-4)
        dialled = humidity.saturation_pressure_for_rh(float(row["hardy_1998"]), ts, 1e3 * pc, tc)
        yield from _column(row, "Ps_kPa", f"{HARDY}, inverted", dialled / 1e3, relative=2e-5)


def salts(humidity: Any) -> Iterator[Check]:
    for row in table("saturated_salts"):
        computed = humidity.salt_rh(row["salt"], float(row["t_C"]))
        yield _check(row, computed)
        stated = humidity.salt_uncertainty(row["salt"], float(row["t_C"]))
        yield from _column(row, "stated_uncertainty", row["source"], stated, absolute=1e-9)


def conversions(humidity: Any) -> Iterator[Check]:
    for row in table("humidity_conversions"):
        if row["quantity"] != "mirror":
            yield from _conversion(humidity, row)


def _conversion(humidity: Any, row: dict[str, str]) -> Iterator[Check]:
    air = float(row["rh"]), float(row["t_C"]), float(row["P_Pa"])
    rh, celsius, pressure_pa = air
    dew = humidity.dew_point_c(rh, celsius, pressure_pa=pressure_pa)
    # 6e-5 K: half the last digit, and the published fit of the inverse that made the column is good to that
    yield from _column(row, "hardy_1998_dew_point_c", HARDY, dew, absolute=6e-5)
    if row["quantity"] == "frost point":
        frost = humidity.frost_point_c(rh, celsius, pressure_pa=pressure_pa)
        yield _check(row, frost)
        yield from _column(row, "hardy_1998_frost_point_c", HARDY, frost, absolute=6e-5)
    else:
        yield _check(row, dew)
    for name, function, distance in (
        ("mole_fraction", humidity.mole_fraction, 3.5e-4),
        ("mixing_ratio", humidity.mixing_ratio, 3.5e-4),
    ):
        computed = function(*air)
        yield from _column(row, name, row["source"], computed, relative=distance)
        yield from _column(row, f"hardy_1998_{name}", HARDY, computed, relative=1e-6)
    density = humidity.absolute_humidity_g_m3(*air)
    # 1e-3: the column's vapour is no ideal gas
    yield from _column(row, "absolute_humidity_g_m3", row["source"], density, relative=1e-3)
    yield from _column(row, "ideal_gas_g_m3", f"{HARDY}, ideal gas", density, relative=4e-6)


def mirror(humidity: Any) -> Iterator[Check]:
    for row in table("humidity_conversions"):
        if row["quantity"] == "mirror":
            computed = humidity.rh_from_mirror(
                float(row["mirror_C"]), float(row["t_C"]), row["condensate"], float(row["P_Pa"])
            )
            yield from _column(row, "hardy_1998_rh", HARDY, computed, absolute=1e-5)
            if row["expected"]:
                yield _check(row, computed)


def in_air(humidity: Any) -> Iterator[Check]:
    """Warming or cooling at constant vapour pressure, from published vapour pressures alone."""
    published = {
        float(row["t_C"]): float(row["expected"])
        for row in table("saturation_vapour_pressure")
        if row["source"] == "IAPWS-95 (R6-95)"
    }
    for reference_c, air_c in ((25.0, 30.0), (30.0, 25.0), (5.0, 25.0), (45.0, 60.0)):
        expected = 30.0 * published[reference_c] / published[air_c]
        yield Check(
            id=f"in air {reference_c:g} to {air_c:g} °C",
            source="IAPWS-95 (R6-95), ratio of vapour pressures",
            computed=humidity.rh_at_sensor(30.0, reference_c, air_c, 101325.0),
            expected=expected,
            tolerance=2e-3 * expected,  # f at the two temperatures differs by up to 2e-3
        )


def over_ice(humidity: Any) -> Iterator[Check]:
    """The ratio of saturation over supercooled water and over ice, from published vapour pressures alone."""
    published = {
        (row["source"], float(row["t_C"])): float(row["expected"]) for row in table("saturation_vapour_pressure")
    }
    supercooled, ice = "Murphy & Koop 2005 eq (10), QJRMS 131:1539", "IAPWS R14-08(2011) eq (6)"
    for celsius in (-25.0, -20.0, -15.0, -5.0):
        ratio = published[supercooled, celsius] / published[ice, celsius]
        for name, computed, expected in (
            ("over ice", humidity.rh_over_ice(50.0, celsius, 101325.0), 50.0 * ratio),
            ("over water", humidity.rh_over_water(50.0, celsius, 101325.0), 50.0 / ratio),
        ):
            yield Check(
                id=f"{name} at {celsius:g} °C",
                source=f"{supercooled}; {ice}",
                computed=computed,
                expected=expected,
                tolerance=3e-3 * expected,  # formulations over supercooled water differ by that
            )


ALL = (
    vapour_pressure,
    enhancement_factor,
    two_pressure,
    salts,
    conversions,
    mirror,
    in_air,
    over_ice,
)


def failures(humidity: Any) -> list[str]:
    """What of the published values is not met, in words; a function that raises meets none."""
    failed = []
    for checks in ALL:
        try:
            failed += [str(check) for check in checks(humidity) if not check.holds]
        except (ArithmeticError, TypeError, ValueError, Warning) as refusal:
            failed.append(f"{checks.__name__}: {refusal!r}")
    return failed
