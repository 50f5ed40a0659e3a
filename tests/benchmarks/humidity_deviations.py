"""The largest deviation of the humidity functions from each outside source, measured and printed as a table.

    python -m tests.benchmarks.humidity_deviations

Published tables come first, with their tolerance; then grids computed with independent libraries; then the
distances between formulations at single temperatures, from which their uncertainty is chosen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import product

import CoolProp.CoolProp as coolprop
import numpy as np
import psychrolib
from iapws import iapws97
from iapws._iapws import _Sublimation_Pressure

from asfound import humidity
from tests.humidity import published_checks
from tests.humidity.test_vapour import murphy_koop_supercooled_pa

ATMOSPHERE_PA = 101325.0
ABSOLUTE, RELATIVE = "absolute", "relative"

psychrolib.SetUnitSystem(psychrolib.SI)


def kelvin(celsius: float) -> float:
    return celsius + 273.15


def largest(
    title: str,
    kind: str,
    ours: Callable[..., float],
    theirs: Callable[..., float],
    points: Iterable[tuple[float, ...]],
) -> None:
    """Print the point at which two functions differ most, with its sign."""
    found = []
    for point in points:
        difference = float(ours(*point)) - float(theirs(*point))
        found.append((difference / float(theirs(*point)) if kind == RELATIVE else difference, point))
    worst, where = max(found, key=lambda pair: abs(pair[0]))
    at = ", ".join(f"{value:g}" for value in where)
    print(f"{title:78} {len(found):5} {worst:+10.2e} {kind}  at {at}")


def iapws_95_pa(celsius: float) -> float:
    return coolprop.PropsSI("P", "T", kelvin(celsius), "Q", 0, "Water")


def r14_08_pa(celsius: float) -> float:
    return 1e6 * _Sublimation_Pressure(kelvin(celsius))


def over_ice_pa(celsius: float) -> float:
    return humidity.saturation_vapour_pressure(celsius, over="ice")


def rp_1485_factor(celsius: float, pressure_pa: float) -> float:
    return coolprop.HAProps_Aux("f", kelvin(celsius), pressure_pa, 0.0)[0]


def rp_1485_two_pressure(ps: float, ts: float, pc: float, tc: float) -> float:
    mole_fraction = coolprop.HAPropsSI("Y", "T", kelvin(ts), "P", ps, "R", 1.0)
    return 100 * coolprop.HAPropsSI("R", "T", kelvin(tc), "P", pc, "Y", mole_fraction)


def rp_1485_mirror(mirror_c: float, air_c: float) -> float:
    return 100 * coolprop.HAPropsSI("R", "T", kelvin(air_c), "P", ATMOSPHERE_PA, "D", kelvin(mirror_c))


def rp_1485(output: str, rh: float, celsius: float) -> float:
    return coolprop.HAPropsSI(output, "T", kelvin(celsius), "P", ATMOSPHERE_PA, "R", rh / 100)


def published_tables() -> None:
    print("Published tables (share: largest deviation in units of its tolerance)")
    for checks in published_checks.ALL:
        by_source: dict[str, list[published_checks.Check]] = {}
        for check in checks(humidity):
            by_source.setdefault(check.source, []).append(check)
        for source, made in by_source.items():
            worst = max(made, key=lambda check: abs(check.deviation) / check.tolerance)
            relative = worst.deviation / worst.expected
            print(
                f"{checks.__name__ + ': ' + source:.78}".ljust(78),
                f"{len(made):5} {worst.deviation:+10.2e} ({relative:+.2e} relative)",
                f" share {abs(worst.deviation) / worst.tolerance:4.2f}  at {worst.id}",
            )


def grids() -> None:
    print("\nGrids against independent libraries")
    water_c = [(t,) for t in np.linspace(0.02, 100.0, 501)]
    e = humidity.saturation_vapour_pressure
    largest("e over water 0 to 100 °C, IAPWS-95 (CoolProp)", RELATIVE, e, iapws_95_pa, water_c)
    largest(
        "e over water 0 to 100 °C, IAPWS-IF97 (iapws)",
        RELATIVE,
        e,
        lambda t: 1e6 * iapws97._PSat_T(kelvin(t)),
        water_c,
    )
    largest(
        "e over water 1 to 100 °C, ASHRAE 2017 Hyland–Wexler (psychrolib)",
        RELATIVE,
        e,
        psychrolib.GetSatVapPres,
        [(t,) for t in np.linspace(1.0, 100.0, 100)],
    )
    ice_c = [(t,) for t in np.linspace(-60.0, 0.0, 121)]
    largest("e over ice −60 to 0 °C, IAPWS R14-08 (iapws)", RELATIVE, over_ice_pa, r14_08_pa, ice_c)
    largest(
        "e over ice −60 to 0 °C, ASHRAE 2017 Hyland–Wexler (psychrolib)",
        RELATIVE,
        over_ice_pa,
        psychrolib.GetSatVapPres,
        ice_c,
    )
    for top in (1.1e5, 5e5, 1.2e6, 2.5e6):
        points = [*product(np.linspace(1.0, 60.0, 30), np.linspace(1e5, top, 6))]
        title = f"f over water 1 to 60 °C, to {top:g} Pa, ASHRAE RP-1485 (CoolProp)"
        largest(title, RELATIVE, humidity.enhancement_factor, rp_1485_factor, points)
    for top in (1.1e5, 1.2e6):
        points = [*product(np.linspace(-50.0, -0.5, 34), np.linspace(1e5, top, 6))]
        largest(
            f"f over ice −50 to 0 °C, to {top:g} Pa, ASHRAE RP-1485 (CoolProp)",
            RELATIVE,
            lambda t, p: humidity.enhancement_factor(t, p, over="ice"),
            rp_1485_factor,
            points,
        )
    states = [
        (ps, t, ATMOSPHERE_PA, t + warmer)
        for ps, t, warmer in product(np.linspace(1.1e5, 1.2e6, 12), (5.0, 15.0, 25.0, 35.0, 50.0), (0, 0.2))
    ]
    for kind in (ABSOLUTE, RELATIVE):
        largest(
            "two-pressure RH 5 to 50 °C, to 1.2 MPa, mole fraction (CoolProp)",
            kind,
            humidity.two_pressure_rh,
            rp_1485_two_pressure,
            states,
        )
    largest(
        "dew on a mirror 1 to 23 °C in air at 23 °C (CoolProp)",
        RELATIVE,
        lambda m, t: humidity.rh_from_mirror(m, t, "dew", ATMOSPHERE_PA),
        rp_1485_mirror,
        [(m, 23.0) for m in np.linspace(1.0, 22.0, 22)],
    )
    largest(
        "frost on a mirror −50 to −1 °C in air at 23 °C (CoolProp)",
        RELATIVE,
        lambda m, t: humidity.rh_from_mirror(m, t, "frost", ATMOSPHERE_PA),
        rp_1485_mirror,
        [(m, 23.0) for m in np.linspace(-50.0, -1.0, 50)],
    )
    moist = [*product((50.0, 70.0, 90.0), (15.0, 25.0, 40.0, 50.0))]
    at_pressure = {"pressure_pa": ATMOSPHERE_PA}
    largest(
        "dew point with the pressure, one atmosphere, K (CoolProp)",
        ABSOLUTE,
        lambda rh, t: humidity.dew_point_c(rh, t, **at_pressure),
        lambda rh, t: rp_1485("D", rh, t) - 273.15,
        moist,
    )
    largest(
        "dew point without the pressure, one atmosphere, K (CoolProp)",
        ABSOLUTE,
        humidity.dew_point_c,
        lambda rh, t: rp_1485("D", rh, t) - 273.15,
        [*product((20.0, 50.0, 90.0), (30.0, 40.0, 50.0))],
    )
    largest(
        "dew point without the pressure, K (psychrolib)",
        ABSOLUTE,
        humidity.dew_point_c,
        lambda rh, t: psychrolib.GetTDewPointFromRelHum(t, rh / 100),
        moist,
    )
    largest(
        "mixing ratio, one atmosphere (CoolProp)",
        RELATIVE,
        lambda rh, t: humidity.mixing_ratio(rh, t, ATMOSPHERE_PA),
        lambda rh, t: rp_1485("W", rh, t),
        moist,
    )
    largest(
        "absolute humidity as ideal gas, one atmosphere (CoolProp)",
        RELATIVE,
        lambda rh, t: humidity.absolute_humidity_g_m3(rh, t, ATMOSPHERE_PA),
        lambda rh, t: 1000 * rp_1485("W", rh, t) / rp_1485("Vda", rh, t),
        moist,
    )


def formulations() -> None:
    print("\nHardy 1998 less another formulation, relative, at one temperature")
    for celsius in (-10.0, -20.0, -30.0, -40.0, -50.0):
        supercooled = humidity.saturation_vapour_pressure(celsius) / murphy_koop_supercooled_pa(kelvin(celsius))
        ice = over_ice_pa(celsius) / r14_08_pa(celsius)
        print(
            f"  {celsius:5g} °C  supercooled water, Murphy and Koop 2005 eq. (10): {supercooled - 1:+.2e}"
            f"  ice, IAPWS R14-08 eq. (6): {ice - 1:+.2e}"
        )


if __name__ == "__main__":
    published_tables()
    grids()
    formulations()
