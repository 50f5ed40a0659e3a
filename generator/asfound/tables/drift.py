"""Rows of drift, of what families vary by against what is declared, and of the days behind a finding."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from asfound.assessment.findings.exposure import Day
from asfound.assessment.history.drift import Drift
from asfound.assessment.history.instruments import Instruments
from asfound.assessment.history.lasting import Kind
from asfound.assessment.standing import Standing
from asfound.records.settings_in_force import instrument_on
from asfound.tables.columns import DRIFT

_OF_THE_LINE = ("state", "nu", "p_value", "chi_squared", "between", "between_basis")
_OTHERWISE_NAMED = {
    "expanded_uncertainty_rate": "U_rate",
    "expanded_uncertainty_today": "U_today",
    "expanded_uncertainty_due": "U_due",
}


def drift_rows(standings: Iterable[Standing]) -> Iterator[dict[str, Any]]:
    """One row a point of each channel: the line, what it expects, and when it leaves the tolerance.

    A channel for which no rate is claimed has one row without a target.
    """
    for standing in standings:
        for drift in standing.drifts:
            yield from _rows(standing, drift)


def _rows(standing: Standing, drift: Drift) -> Iterator[dict[str, Any]]:
    installed = instrument_on(standing.sensor, standing.settings.day)
    common = {
        "sensor": standing.sensor.id,
        "serial": installed.serial if installed else "",
        "channel": drift.channel,
        "unit": drift.channel.unit,
        "due": standing.due.day,
        **{name: getattr(drift, name) for name in _OF_THE_LINE},
        "freedom": drift.freedom if math.isfinite(drift.chi_squared) else None,
    }
    if not drift.outlooks:
        yield common
    for outlook in drift.outlooks:
        leaves = outlook.leaves
        days = {f"leaves_{name}": getattr(leaves, name) for name in ("earliest", "median", "latest")} if leaves else {}
        own = {name: getattr(outlook, name) for name in DRIFT.names if name not in common and hasattr(outlook, name)}
        yield common | own | {name: getattr(outlook, own) for name, own in _OTHERWISE_NAMED.items()} | days


def scale_rows(instruments: Instruments) -> Iterator[dict[str, Any]]:
    """One row a family, channel, method and kind of effect: its variance against what is declared."""
    for (model, channel, method), found in sorted(instruments.scales.items()):
        low, high = found.factors.bounds
        for kind in Kind:
            yield {
                "model": model, "channel": channel, "unit": channel.unit, "method": method, "kind": kind.name.lower(),
                "label": found.labels.get(kind, ""), "factor": float(found.factors.theta[kind]),
                "factor_low": float(low[kind]), "factor_high": float(high[kind]), "shift": found.shift,
                "instruments": found.instruments, "visits": found.visits, "left_out": found.left_out,
                "chi_squared": found.chi_squared, "freedom": found.freedom,
            }  # fmt: skip


def exposure_rows(days: Sequence[Day]) -> Iterator[dict[str, Any]]:
    """The corrected humidity of each day before a finding."""
    for day in days:
        yield {
            "day": day.day,
            "lowest": day.lowest,
            "mean": day.mean,
            "highest": day.highest,
            "expanded_uncertainty": day.U,
        }
