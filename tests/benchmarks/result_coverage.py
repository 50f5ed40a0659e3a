"""Does the stated U cover? Many calibrations with hidden errors, in air as CoolProp knows it, measured by the program.

    python -m tests.benchmarks.result_coverage [trials]

Every trial has its own reference with its own hidden errors, drawn from what its record declares, and a sensor whose
true error is known. What the program finds must lie within its U of that in about 95.45 % of the trials.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
from CoolProp.HumidAirProp import HAPropsSI

from asfound.humidity import saturation_pressure_for_rh
from asfound.measurement.measure import measure
from asfound.measurement.monte_carlo import monte_carlo, needs_monte_carlo
from asfound.records.visits.rows import sensor_visits
from tests import builders as b

ZERO_C = 273.15
YEARS = 63 / 365.25
"""from the calibrations on 2026-01-12 to the visit on 2026-03-16"""
U_PRESSURE, U_TEMPERATURE, U_BATH = 200.0, 0.01, 0.015
DRIFT_PA, DRIFT_C = 2000.0, 0.1
GRADIENT_C, HEATING_C, LOWEST_EFFICIENCY, LOST_PA = 0.05, 0.04, 0.996, 200.0
REPEATABILITY, HYSTERESIS = 0.10, 0.30


def declared_generator():
    """What the record says: each of these is drawn in a trial."""
    bath = {"name": "bath", "u": f"{U_BATH} degC", "date": b.CALIBRATED}
    thermometer = {"drift": f"{DRIFT_C} degC/year", "resolution": "0.001 degC"}
    ends = [b.point("0 kPa", "0 kPa", f"{2 * U_PRESSURE} Pa"), b.point("1500 kPa", "0 kPa", f"{4 * U_PRESSURE} Pa")]
    return b.two_pressure(
        quantities={
            "saturation_pressure": b.quantity(
                b.calibration(*ends, correlation="zero_span", drift=f"{DRIFT_PA} Pa/year"), resolution="0.01 kPa"
            ),
            "saturation_temperature": b.flat(0, 50, "degC", 2 * U_TEMPERATURE, **thermometer),
            "chamber_temperature": b.flat(0, 50, "degC", 2 * U_TEMPERATURE, **thermometer),
            "chamber_pressure": b.flat(50, 150, "kPa", 0.06, resolution="0.01 kPa"),
        },
        common=[bath | {"quantities": ["saturation_temperature", "chamber_temperature"]}],
        chamber_gradient=f"{GRADIENT_C} degC",
        saturator_gradient=f"{GRADIENT_C} degC",
        lowest_efficiency=f"{100 * LOWEST_EFFICIENCY} %",
        pressure_drop=f"{LOST_PA} Pa",
    )


@dataclass(frozen=True)
class Trial:
    """Readings of one calibration, and the error that its sensor truly has."""

    rows: list[b.Row]
    true_error: float


@dataclass(frozen=True)
class Aim:
    """What the technician dials."""

    target: float
    temperature_c: float
    room_pa: float
    saturation_pa: float


def aims(rng: np.random.Generator, targets: np.ndarray) -> list[Aim]:
    """One for each target: what gives it in the weather of the day."""
    temperature, room_pa = rng.uniform(20.0, 26.0, len(targets)), rng.uniform(99e3, 103e3, len(targets))
    saturation_pa = saturation_pressure_for_rh(targets, temperature, room_pa, temperature)
    return [Aim(*map(float, values)) for values in zip(targets, temperature, room_pa, saturation_pa)]


def trial(rng: np.random.Generator, number: int, aim: Aim, display: float, rows: int) -> Trial:
    """One calibration as it truly happens."""
    temperature, room_pa, aim_pa = aim.temperature_c, aim.room_pa, aim.saturation_pa

    def limits(half: float) -> float:
        return rng.uniform(-half, half)

    bath = U_BATH * rng.standard_normal()
    thermometers = [bath + U_TEMPERATURE * rng.standard_normal() + limits(DRIFT_C * YEARS) for _ in range(2)]
    zero, span = U_PRESSURE * rng.standard_normal(), np.sqrt(3.0) * U_PRESSURE * rng.standard_normal()
    pressure_error = zero + span * aim_pa / 1.5e6 + limits(DRIFT_PA * YEARS)
    saturator_pa = aim_pa + rng.uniform(0.0, LOST_PA)  # the transducer sits behind the loss
    water = rng.uniform(LOWEST_EFFICIENCY, 1.0) * HAPropsSI(
        "Y", "T", temperature + limits(GRADIENT_C) + ZERO_C, "P", saturator_pa, "R", 1.0
    )
    probe_c = temperature + limits(GRADIENT_C) + limits(HEATING_C)
    humidity = 100.0 * HAPropsSI("R", "T", probe_c + ZERO_C, "P", room_pa, "Y", water)
    error = rng.uniform(-2.0, 2.0) + limits(HYSTERESIS / 2.0)  # as approached
    shown = humidity + error + REPEATABILITY * rng.standard_normal(rows)
    reading = {
        "reference": f"GEN-{number}",
        "saturation_pressure [kPa absolute]": f"{(aim_pa + pressure_error) / 1e3:.2f}",
        "saturation_temperature [degC]": f"{temperature + thermometers[0]:.3f}",
        "chamber_pressure [kPa absolute]": f"{(room_pa + 30.0 * rng.standard_normal()) / 1e3:.2f}",
        "chamber_temperature [degC]": f"{temperature + thermometers[1]:.3f}",
    }
    digits = np.round(shown / display) * display
    return Trial(b.plateau(round(aim.target), [f"{x:.6g}" for x in digits], reading, sensor=f"RH-{number}"), error)


def deviations(n: int, *, humidity, display: float = 0.01, target: float | None = None, rows: int = 3, seed: int = 1):
    """(found − true error, U) of n trials, each with its own reference and sensor."""
    rng = np.random.default_rng(seed)
    family = b.family(humidity=humidity, self_heating=f"{HEATING_C} degC")
    targets = rng.uniform(10.0, 95.0, n) if target is None else np.full(n, target)
    trials = [trial(rng, i, aim, display, rows) for i, aim in enumerate(aims(rng, targets))]
    visit = b.visit("2026-03-16-lab", [row | {"time": "2026-03-16 09:00"} for t in trials for row in t.rows])
    records = b.loaded(b.records(family, b.sensor(), declared_generator(), visit))
    records = replace(
        records,
        references={f"GEN-{i}": records.references["GEN-01"].model_copy(update={"id": f"GEN-{i}"}) for i in range(n)},
        sensors={f"RH-{i}": records.sensors["RH-1"].model_copy(update={"id": f"RH-{i}"}) for i in range(n)},
    )
    measurement = measure(records, sensor_visits(records))
    assert not measurement.faults and not measurement.reservations and len(measurement.lines) == n
    U = measurement.whole().U.copy()
    for number in needs_monte_carlo(measurement, range(n)):
        U[number] = monte_carlo(measurement, number, trials=20_000, most_trials=20_000).U
    found = {measurement.cells[line.cell].sensor_visit.sensor: line.error for line in measurement.lines}
    return np.array([found[f"RH-{i}"] - t.true_error for i, t in enumerate(trials)]), U


DECLARED = {"resolution": "0.01 %RH", "repeatability": f"{REPEATABILITY} %RH", "hysteresis": f"{HYSTERESIS} %RH"}
OWN = {"resolution": "0.01 %RH", "hysteresis": f"{HYSTERESIS} %RH"}
WHOLE_PERCENT = DECLARED | {"resolution": "1 %RH"}


def covered(deviation: np.ndarray, U: np.ndarray) -> float:
    """Share of trials within their U, with what else is worth a look printed."""
    share = float(np.mean(np.abs(deviation) <= U))
    spread = np.std(deviation / (U / 2.0))
    print(f"covered {share:.2%} of {len(U)}, mean {np.mean(deviation):+.4f}, rms/u {spread:.3f}, U {np.mean(U):.3f}")
    return share


def main(trials: int) -> None:
    """Every case, with as many trials as asked for."""
    for name, known, more in (
        ("s declared", DECLARED, {}),
        ("s of three readings", OWN, {}),
        (
            "a display of whole percent, one reading at 15.3 %RH",
            WHOLE_PERCENT,
            {"display": 1.0, "target": 15.3, "rows": 1},
        ),
    ):
        print(f"{name}: ", end="", flush=True)
        parts = [deviations(500, humidity=known, seed=100 + i, **more) for i in range(max(1, trials // 500))]
        covered(*(np.concatenate(x) for x in zip(*parts)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
