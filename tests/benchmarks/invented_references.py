"""References of invented facilities, wrong by what their records declare, and the worlds that say for how long.

A two-pressure generator, a chilled mirror and cells with salts, calibrated every second year as found = as left:
nothing is adjusted, so that an error goes on where it was, and each certificate is wrong by what its U allows. Air is
CoolProp's, as in the demo's world; only what the technician dials is computed by the program.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from asfound.humidity import saturation_pressure_for_rh
from tests import builders as b
from tests.demo.world import Air, air_of, salt_humidity, saturated

FIRST_YEAR, LAST_YEAR = 2018, 2025
"""of the visits that are assessed; one more a year later is there to be predicted"""
EPOCH = date(FIRST_YEAR, 1, 1)

U_PRESSURE, U_SPAN, DRIFT_PA = 200.0, 200.0, 150.0
U_TEMPERATURE, U_BATH, DRIFT_C = 0.01, 0.015, 0.01
GRADIENT_C, LOWEST_EFFICIENCY, LOST_PA, HEATING_C = 0.05, 0.996, 200.0, 0.04
SALT_CONDITION, SALT_GRADIENT_C = 0.2, 0.05
GRADIENTS = {"GEN-01": GRADIENT_C, "MIR-01": GRADIENT_C, "SALT-01": SALT_GRADIENT_C}
SALTS = {"LiCl": 11.0, "MgCl2": 33.0, "NaCl": 75.0}
SALT_UNCERTAINTY = {"LiCl": (0.31, 0.27), "MgCl2": (0.18, 0.16), "NaCl": (0.14, 0.12)}
"""Published at 20 and 25 °C, %RH: Greenspan 1977, J. Res. NBS 81A, 89–96, Table 2 (from memory)."""


@dataclass(frozen=True, kw_only=True)
class World:
    """How long the effects keep their values that records give limits for."""

    name: str
    constant: bool = False
    """whether loops have one width and sign for each instrument, and chambers one gradient"""


A, B = World(name="A"), World(name="B", constant=True)
WORLDS = (A, B)


class Transducer:
    """One quantity of a reference: its error through the years, and what each calibration says of it.

    An error of zero that drifts within the allowance and one of span that stays; a certificate is wrong by what its U
    allows.
    """

    def __init__(
        self,
        rng: np.random.Generator,
        world: World,
        table: tuple[float, float, str],
        u: float,
        drift: float,
        resolution: float,
        *,
        u_span: float = 0.0,
        bath: np.ndarray | None = None,
    ) -> None:
        """`table`: lowest, highest, unit; `bath`: what a calibration's bath was off by, of each calibration."""
        self.table, self.u, self.u_span, self.drift, self.resolution = table, u, u_span, drift, resolution
        self.days = [date(year, 1, 12) for year in range(FIRST_YEAR, LAST_YEAR + 2, 2)]
        n = len(self.days)
        self.starts = np.array([years_of(day) for day in self.days])
        rates = rng.uniform(-drift, drift, n)
        self.rates = np.full(n, rates[0]) if world.constant else rates
        self.zero = 2.0 * u * rng.standard_normal() + np.append(0.0, np.cumsum(self.rates[:-1] * np.diff(self.starts)))
        self.span = 2.0 * u_span * rng.standard_normal()
        self.wrong_zero = u * rng.standard_normal(n) + (0.0 if bath is None else bath)
        self.wrong_span = u_span * rng.standard_normal(n)

    def shown(self, true: float, years: float) -> float:
        """What it displays."""
        k = int(np.searchsorted(self.starts, years, side="right")) - 1
        error = self.zero[k] + self.rates[k] * (years - self.starts[k]) + self.span * self._along(true)
        return rounded(true + float(error), self.resolution)

    def record(self) -> b.Keys:
        """What its certificates say."""
        lowest, highest, unit = self.table
        calibrations = []
        for k, day in enumerate(self.days):
            points = [
                b.point(
                    f"{at:g} {unit}",
                    f"{self.zero[k] - self.wrong_zero[k] + share * (self.span - self.wrong_span[k]):.9f} {unit}",
                    f"{2.0 * float(np.hypot(self.u, share * self.u_span)):.9f} {unit}",
                )
                for at, share in ((lowest, 0.0), (highest, 1.0))
            ]
            hang = {"correlation": "zero_span"} if self.u_span else {}
            calibrations.append(b.calibration(*points, on=str(day), drift=f"{self.drift} {unit}/year", **hang))
        return b.quantity(*calibrations, resolution=f"{self.resolution:g} {unit}")

    def _along(self, value: float) -> float:
        lowest, highest, _ = self.table
        return (value - lowest) / (highest - lowest)


@dataclass
class Standards:
    """The references of one facility, and what of them lasts."""

    rng: np.random.Generator
    world: World
    transducers: dict[tuple[str, str], Transducer] = field(default_factory=dict)
    baths: dict[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """All draws that a facility makes once."""
        rng = self.rng
        calibrations = len(range(FIRST_YEAR, LAST_YEAR + 2, 2))
        self.baths["GEN-01"] = U_BATH * rng.standard_normal(calibrations)
        bath = self.baths["GEN-01"]
        pascals, temperature, room = (0.0, 1.5e6, "Pa"), (0.0, 50.0, "degC"), (5e4, 1.5e5, "Pa")
        wanted: dict[tuple[str, str], tuple[Any, ...]] = {
            ("GEN-01", "saturation_pressure"): (pascals, U_PRESSURE, DRIFT_PA, 10.0),
            ("GEN-01", "saturation_temperature"): (temperature, U_TEMPERATURE, DRIFT_C, 0.001),
            ("GEN-01", "chamber_temperature"): (temperature, U_TEMPERATURE, DRIFT_C, 0.001),
            ("GEN-01", "chamber_pressure"): (room, 30.0, 20.0, 10.0),
            ("MIR-01", "mirror_temperature"): ((-40.0, 60.0, "degC"), 0.04, 0.02, 0.01),
            ("MIR-01", "chamber_temperature"): (temperature, 0.02, DRIFT_C, 0.01),
            ("MIR-01", "chamber_pressure"): (room, 50.0, 30.0, 10.0),
            ("SALT-01", "chamber_temperature"): (temperature, 0.05, 0.02, 0.01),
        }
        for (name, quantity), known in wanted.items():
            more: dict[str, Any] = {}
            if quantity == "saturation_pressure":
                more["u_span"] = U_SPAN
            if name == "GEN-01" and quantity.endswith("temperature"):
                more["bath"] = bath
            self.transducers[name, quantity] = Transducer(rng, self.world, *known, **more)
        self.efficiency = rng.uniform(LOWEST_EFFICIENCY, 1.0)
        self.saturator_warmer = self._limits(GRADIENT_C)
        self.lost_pa = rng.uniform(0.0, LOST_PA)
        self.warmer = {name: self._limits(half) for name, half in GRADIENTS.items()}
        self.published = {salt: rng.uniform(-1.0, 1.0) for salt in SALTS}
        self.condition = {salt: self._limits(SALT_CONDITION) for salt in SALTS}

    def _limits(self, half: float) -> float:
        return float(self.rng.uniform(-half, half))

    def warmer_at(self, name: str) -> float:
        """By how much the place of a sensor's probe is warmer than the thermometer, in one visit."""
        return self.warmer[name] if self.world.constant else self._limits(GRADIENTS[name])

    def conditions(self) -> dict[str, float]:
        """By how much the salts are off in one visit."""
        return self.condition

    def files(self) -> b.Files:
        """Their records."""

        def quantities(name: str) -> b.Keys:
            return {quantity: t.record() for (of, quantity), t in self.transducers.items() if of == name}

        days = [str(day) for day in self.transducers["GEN-01", "chamber_pressure"].days]
        both = ["saturation_temperature", "chamber_temperature"]
        common = [{"name": "bath", "u": f"{U_BATH} degC", "date": day, "quantities": both} for day in days]
        gradient = f"{GRADIENT_C} degC"
        generator = {
            "common": common,
            "chamber_gradient": gradient,
            "saturator_gradient": gradient,
            "lowest_efficiency": f"{100 * LOWEST_EFFICIENCY} %",
            "pressure_drop": f"{LOST_PA} Pa",
        }
        salts = {
            "salts": list(SALTS),
            "salt_condition": f"{SALT_CONDITION} %RH",
            "chamber_gradient": f"{SALT_GRADIENT_C} degC",
        }
        return (
            b.two_pressure(quantities=quantities("GEN-01"), **generator)
            | b.reference("MIR-01", "chilled_mirror", quantities("MIR-01"), chamber_gradient=gradient)
            | b.reference("SALT-01", "saturated_salt", quantities("SALT-01"), **salts)
        )

    def air(self, name: str, target: float, years: float, conditions: dict[str, float]) -> tuple[Air, b.Row]:
        """The air at the reference's thermometer, and what the reference shows of it."""
        rng = self.rng
        chamber_c, room_pa = 23.0 + rng.uniform(-0.5, 0.5), rng.uniform(99e3, 103e3)
        if name == "SALT-01":
            salt = next(salt for salt, at in SALTS.items() if at == target)
            published = float(np.interp(chamber_c, (20.0, 25.0), SALT_UNCERTAINTY[salt]))
            humidity = salt_humidity(salt, chamber_c) + published * self.published[salt] + conditions[salt]
            row = {"reference": name, "salt": salt, "medium": "salt cell"}
            return air_of(humidity, chamber_c, room_pa), row | self._shown(name, years, chamber_temperature=chamber_c)
        known: dict[str, float] = {"chamber_temperature": chamber_c, "chamber_pressure": room_pa}
        if name == "MIR-01":
            air = air_of(target + rng.uniform(-0.3, 0.3), chamber_c, room_pa)
            known["mirror_temperature"] = air.condensation_point_c()
            return air, {"reference": name, "condensate": "frost"} | self._shown(name, years, **known)
        # Dry air comes from a cold saturator, for its pressure has an end.
        saturator_c = (chamber_c if target >= 20.0 else 5.0) + rng.uniform(-0.1, 0.1)
        aim_pa = float(saturation_pressure_for_rh(target, saturator_c, room_pa, chamber_c)) * rng.uniform(0.998, 1.002)
        water = saturated(saturator_c + self.saturator_warmer, aim_pa + self.lost_pa, self.efficiency)
        known |= {"saturation_pressure": aim_pa, "saturation_temperature": saturator_c}
        air = Air(water=water, temperature_c=chamber_c, pressure_pa=room_pa)
        return air, {"reference": name} | self._shown(name, years, **known)

    def _shown(self, name: str, years: float, **true: float) -> b.Row:
        shown = {quantity: self.transducers[name, quantity].shown(value, years) for quantity, value in true.items()}
        return {
            f"{quantity} [{'Pa absolute' if quantity.endswith('pressure') else 'degC'}]": f"{value:.6f}"
            for quantity, value in shown.items()
        }


def years_of(day: date) -> float:
    """Since the epoch of all histories."""
    return (day - EPOCH).days / 365.25


def rounded(value: float, step: float) -> float:
    return float(np.round(value / step) * step)
