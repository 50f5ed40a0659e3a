"""Visits whose rows name a log, for tests: a sensor that approaches each point with known lag, noise and error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asfound.humidity import saturation_pressure_for_rh
from tests.builders import ROOM_PA, Files, Row, visit

STARTS_S, GAP_S = 8 * 3600, 180
"""Second of the day of the first target, and the seconds between targets."""

MAPPING = """time: {columns: [Time]}
columns:
  Sensor: output [%RH]
  Saturation: saturation_pressure [kPa absolute]
  Saturator: saturation_temperature [degC]
  Chamber: chamber_pressure [kPa absolute]
  Air: chamber_temperature [degC]
sensor: RH-1
reference: GEN-01
"""


@dataclass(frozen=True, kw_only=True)
class Run:
    """A sensor in the chamber: one target after another, each stood for some minutes."""

    targets: Sequence[float] = (20.0, 50.0, 80.0)
    error: float = 0.4
    """of the settled sensor, %RH"""
    tau_min: float = 3.0
    slow_share: float = 0.0
    """of the approach that is ten times as slow"""
    noise: float = 0.02
    correlation_s: float = 30.0
    minutes: float = 25.0
    """at each target"""
    window_min: float = 5.0
    step_s: float = 10.0
    started_at: float = 40.0
    """%RH that the probe came from"""
    pressure_noise_pa: float = 20.0
    seed: int = 1


def run_files(run: Run, day: str = "2026-03-16", *, soak: bool = True) -> Files:
    """The visit, its log and the mapping; the window is the last minutes at each target."""
    rng = np.random.default_rng(run.seed)
    per_target = round(run.minutes * 60 / run.step_s)
    t = np.arange(per_target + 1) * run.step_s
    before, lines = run.started_at + run.error, ["Time,Sensor,Saturation,Saturator,Chamber,Air"]
    start = STARTS_S
    for target in run.targets:
        gap = before - (target + run.error)
        tau = 60 * run.tau_min
        shape = (1 - run.slow_share) * np.exp(-t / tau) + run.slow_share * np.exp(-t / (10 * tau))
        shown = target + run.error + gap * shape
        before = float(shown[-1])
        shown = shown + run.noise * _noise(rng, len(t), run.step_s / run.correlation_s)
        pressure = float(saturation_pressure_for_rh(target, 25.0, ROOM_PA, 25.0))
        pressures = pressure + run.pressure_noise_pa * rng.standard_normal(len(t))
        for second, value, pascal in zip(t, shown, pressures, strict=True):
            clock = _clock(start + second)
            lines.append(f"{day} {clock},{value:.2f},{pascal / 1e3:.3f},25.00,{ROOM_PA / 1e3:.3f},25.00")
        start += run.minutes * 60 + GAP_S
    log = "\n".join(lines) + "\n"
    return {
        **visit(f"{day}-lab", log_rows(run, day, soak=soak)),
        f"logs/{day}-lab.csv": log.encode(),
        f"logs/{day}-lab.yml": MAPPING.encode(),
    }


def log_rows(run: Run, day: str = "2026-03-16", *, soak: bool = True) -> list[Row]:
    """The visit's rows, which name the log."""
    rows: list[Row] = []
    for number, target in enumerate(run.targets):
        ends = STARTS_S + number * (60 * run.minutes + GAP_S) + 60 * run.minutes
        rows.append(
            {
                "sensor": "RH-1",
                "time": f"{day} {_clock(ends)}",
                "phase": "as_found",
                "target [%RH]": target,
                "technician": "ann",
                "reference": "GEN-01",
                "soak [min]": run.minutes - run.window_min if soak else None,
                "log": f"{day}-lab",
                "log_from": f"{day} {_clock(ends - run.window_min * 60)}",
                "log_until": f"{day} {_clock(ends)}",
            }
        )
    return rows


def _noise(rng: np.random.Generator, n: int, step: float) -> np.ndarray:
    """Noise of unit variance whose correlation falls to 1/e over 1/step samples."""
    rho, value = float(np.exp(-step)), rng.standard_normal()
    found = []
    for white in rng.standard_normal(n):
        value = rho * value + np.sqrt(1 - rho**2) * white
        found.append(value)
    return np.array(found)


def _clock(second: float) -> str:
    whole = round(second)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
