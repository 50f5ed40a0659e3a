"""How often left ± U holds what was really left, on simulated logs of known constants; also when the model is wrong.

    python tests/benchmarks/soak_coverage.py [LOGS OF EACH KIND [SEED]]

Each log: a step of 2 to 60 %RH, first time constant 0.5 to 30 min, readings 1 s to 1 min apart until 1 to 6 time
constants (and 6 to 12: what a careful technician waits), white noise of 0.005 to 0.2 %RH, correlated noise of 0.005 to
0.1 %RH with correlation times up to an eighth of the log, resolution 0.01 to 1 %RH. Kinds: the two models that are
fitted, and laws that are not.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter
from scipy.special import erfcx

from asfound.soak.approach import Approach, approach
from asfound.soak.waiting import expanded

Remaining = Callable[[np.ndarray], np.ndarray]
"""Times in time constants → the share of the step that remains."""
RIGHT = ("first order", "slow second term")
TUNED_ON = 20261125
"""The priors of soak/shapes.py and soak/approach.py were chosen by looking at logs of this seed: count on another."""
QUIET = 0.003
"""A log whose single readings scatter by less than this share of the step is quiet."""
WRONG = (
    "slower than supposed",
    "stretched exponential",
    "diffusion into a film",
    "diffusion into the depth",
    "ramped reference",
)
BINS = ((1.0, 2.0), (2.0, 3.0), (3.0, 4.5), (4.5, 6.0), (6.0, 12.0))


def law_of(kind: str, rng: np.random.Generator) -> Remaining:
    """A law of the kind, its constants drawn."""
    if kind == "slow second term":
        share, slower = rng.uniform(0.0, 0.2), rng.uniform(5.0, 20.0)
        return lambda x: (1.0 - share) * np.exp(-x) + share * np.exp(-x / slower)
    if kind == "slower than supposed":  # beyond what the fit holds possible (soak/shapes.py)
        share, slower = rng.uniform(0.0, 0.3), rng.uniform(25.0, 60.0)
        return lambda x: (1.0 - share) * np.exp(-x) + share * np.exp(-x / slower)
    if kind == "stretched exponential":
        power = rng.uniform(0.6, 1.0)
        return lambda x: np.exp(-(x**power))
    if kind == "diffusion into a film":  # Crank, The Mathematics of Diffusion, 1975, eq. 4.18, from memory
        odd = 2.0 * np.arange(40) + 1.0
        return lambda x: (8.0 / (odd * np.pi) ** 2) @ np.exp(-np.outer(odd**2, x))
    if kind == "diffusion into the depth":  # the same, surface evaporation of a half-space: no end ever
        share = rng.uniform(0.0, 0.1)
        return lambda x: (1.0 - share) * np.exp(-x) + share * erfcx(np.sqrt(x))
    return lambda x: np.exp(-x)


@dataclass(frozen=True)
class Simulated:
    """One log and what was really left in its window."""

    t: np.ndarray
    y: np.ndarray
    window: tuple[float, float]
    step: float
    resolution: float
    drift: float
    left: float
    multiples: float
    """time constants that were seen"""
    scatter: float
    """of single readings, noise and resolution, as a share of the step"""


def simulated(kind: str, rng: np.random.Generator) -> Simulated:
    """A log of the kind."""
    tau = 60.0 * np.exp(rng.uniform(np.log(0.5), np.log(30.0)))
    multiples = rng.uniform(1.0, 6.0) if rng.random() < 0.8 else rng.uniform(6.0, 12.0)
    span = multiples * tau
    every = min(rng.choice([1.0, 5.0, 10.0, 30.0, 60.0]), span / 12.0)
    t = np.arange(0.0, span, max(every, span / 20_000.0))
    step = np.exp(rng.uniform(np.log(2.0), np.log(60.0))) * rng.choice([-1.0, 1.0])
    signal = -rng.uniform(0.85, 1.1) * step * law_of(kind, rng)(t / tau)
    drift = 0.0
    if kind == "ramped reference":  # moves on by up to 2 % of the step; the sensor follows behind it
        drift = rng.uniform(-0.02, 0.02) * abs(step) / span
        signal = signal - drift * tau * (1.0 - np.exp(-t / tau))
    white = np.exp(rng.uniform(np.log(0.005), np.log(0.2)))
    correlated = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
    memory = np.exp(rng.uniform(np.log(2.0), np.log(max(len(t) / 8.0, 3.0))))
    rho = np.exp(-1.0 / memory)
    noise = correlated * lfilter([np.sqrt(1.0 - rho**2)], [1.0, -rho], rng.standard_normal(len(t)))
    resolution = rng.choice([0.01, 0.05, 0.1, 0.5, 1.0])
    shown = 40.0 + rng.uniform(-2.0, 2.0) + signal + noise + white * rng.standard_normal(len(t))
    window = max(t[-1] - max(60.0, span / 10.0), 0.0), float(t[-1])
    left = -float(signal[t >= window[0]].mean())
    y = np.round(shown / resolution) * resolution
    scatter = np.sqrt(white**2 + correlated**2 + resolution**2 / 12.0) / abs(step)
    return Simulated(t, y, window, step, resolution, drift, left, multiples, scatter)


def fitted(log: Simulated) -> Approach:
    """What the program says of it."""
    return approach(log.t, log.y, window_s=log.window, step=log.step, drift_per_s=log.drift, resolution=log.resolution)


def main(count: int, seed: int) -> None:
    """Print a table: by kind and by how long was waited."""
    kinds = (*RIGHT, *WRONG)
    print("left and U as % of the step (medians); bias: mean of (stated − true), % of the step;")
    print("left is what waiting alone would leave, uncorrected\n")
    print(f"{'kind':26}{'seen, τ':>11}{'logs':>6}{'covered':>9}{'bias':>8}{'U':>7}{'left':>7}{'U, %RH':>8}")
    everything: list[bool] = []
    begin = time.perf_counter()
    for kind in kinds:
        rng = np.random.default_rng(seed)
        rows = []
        for _ in range(count):
            log = simulated(kind, rng)
            found = fitted(log)
            U = expanded(found)
            off = found.left - log.left
            rows.append(
                (log.multiples, abs(off) <= U, off / log.step, U / abs(log.step), log.left / log.step, U, log.scatter)
            )
        table = np.array(rows, float)
        everything += table[:, 1].astype(bool).tolist()
        chosen = [(f"{low:g}–{high:g}", (table[:, 0] >= low) & (table[:, 0] < high)) for low, high in BINS]
        chosen += [("quiet, > 4", (table[:, 6] < QUIET) & (table[:, 0] > 4.0)), ("all", table[:, 0] > 0.0)]
        for number, (seen, which) in enumerate(chosen):
            some = table[which]
            if not len(some):
                continue
            middle = np.median(np.abs(some), axis=0)
            print(
                f"{kind if number == 0 else '':26}{seen:>11}{len(some):>6}{some[:, 1].mean():>9.1%}"
                f"{100 * some[:, 2].mean():>+8.2f}{100 * middle[3]:>7.2f}{100 * middle[4]:>7.2f}{middle[5]:>8.2f}"
            )
    took = (time.perf_counter() - begin) / len(everything)
    print(f"\nall: {np.mean(everything):.1%} of {len(everything)} covered; {1000 * took:.0f} ms each")


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:3]]
    main(*numbers, *(400, TUNED_ON + 1)[len(numbers) :])
