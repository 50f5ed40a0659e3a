"""One result: a plateau and channel with its numbers, verdict and reservations, as everything else shows it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import NamedTuple

from asfound.assessment.results.conformity import Verdict
from asfound.faults import Fault
from asfound.measurement.cell_sources import Part
from asfound.records.models import Channel


class Common(NamedTuple):
    """What a result says of its plateau, whatever was measured there."""

    visit: str
    revision: int
    day: date
    sensor: str
    serial: str
    model: str
    plateau: int
    phase: str
    target: float
    direction: str
    medium: str
    reference: str
    time_utc: int
    note: str
    rule: str


class Result(NamedTuple):
    """One result. Numbers in the channel's unit; nan where there is none. First what `Common` says."""

    visit: str
    revision: int
    day: date
    sensor: str
    serial: str
    model: str
    plateau: int
    phase: str
    target: float
    direction: str
    medium: str
    reference: str
    time_utc: int
    note: str
    rule: str
    channel: Channel
    method: str
    temperature_c: float
    """at the probe"""
    n: int
    s: float
    repeatability: str
    reference_value: float
    output: float
    """the sensor's own reading, scaled"""
    far_end: float
    error: float
    """of the part that is judged"""
    part: Part
    error_sensor: float
    error_loop: float
    U_sensor: float
    U_loop: float
    settling_correction: float
    u: float
    nu_eff: float
    k: float
    U: float
    answer: str
    """linear, monte carlo, or stated"""
    tolerance: float
    verdict: Verdict
    p_outside: float
    tur: float
    status: str
    """done, unsettled, not done, or stated"""
    reservations: tuple[Fault, ...]
    line: int | None
    """row in the budgets; None for stated and not-done ones"""

    @property
    def unit(self) -> str:
        """Unit of all its numbers."""
        return self.channel.unit

    @property
    def has_verdict(self) -> bool:
        """Whether anything is said about conformity."""
        return self.verdict is not Verdict.NONE

    @property
    def key(self) -> tuple[str, str, str, int]:
        """visit, sensor, channel, plateau."""
        return (self.visit, self.sensor, self.channel.value, self.plateau)


def blank_result(common: Mapping[str, object], channel: Channel, **given: object) -> Result:
    """A result without numbers of its own, but for those given."""
    nothing: dict[str, object] = dict.fromkeys(
        (
            "temperature_c",
            "s",
            "reference_value",
            "output",
            "far_end",
            "error",
            "error_sensor",
            "error_loop",
            "U_sensor",
            "U_loop",
            "u",
            "nu_eff",
            "k",
            "U",
            "tolerance",
            "p_outside",
            "tur",
        ),
        math.nan,
    )
    fixed: dict[str, object] = {
        "channel": channel,
        "method": "",
        "n": 0,
        "repeatability": "",
        "part": Part.SENSOR,
        "settling_correction": 0.0,
        "answer": "",
        "verdict": Verdict.NONE,
        "reservations": (),
        "line": None,
    }
    return Result(**{**nothing, **fixed, **common, **given})  # type: ignore[arg-type]
