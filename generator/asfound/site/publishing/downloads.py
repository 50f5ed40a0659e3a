"""Published data: results and contributions for other programs. Names, order and meaning of columns are stable.

Numbers have 10 significant digits, so that processors' last bits do not show; of a Monte Carlo answer about three are
good, and the others only say that it is the same again. CSV is RFC 4180 with LF, UTF-8.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from asfound.assessment.assess import Assessment
from asfound.assessment.findings.exposure import Day
from asfound.assessment.history.drift import Drift
from asfound.assessment.history.instruments import Instruments
from asfound.assessment.history.lasting import Kind
from asfound.assessment.results.conformity import stated_probability
from asfound.assessment.results.table import Result
from asfound.assessment.standing import Standing
from asfound.records.settings_in_force import instrument_on
from asfound.records.snapshot import TRENDS, Snapshot
from asfound.rounding import published

SCALE_COLUMNS = (
    "model",
    "channel",
    "unit",
    "method",
    "kind",
    "label",
    "factor",
    "factor_low",
    "factor_high",
    "shift",
    "instruments",
    "visits",
    "left_out",
    "chi_squared",
    "freedom",
)
"""The key of a row is model, channel, method, kind."""
RESULT_COLUMNS = (
    "visit",
    "sensor",
    "serial",
    "channel",
    "unit",
    "plateau",
    "phase",
    "target",
    "direction",
    "method",
    "medium",
    "reference_value",
    "output",
    "far_end",
    "error",
    "error_sensor",
    "error_loop",
    "u",
    "nu_eff",
    "k",
    "U",
    "answer",
    "tolerance",
    "rule",
    "verdict",
    "p_outside",
    "tur",
    "status",
    "one_way",
    "loop",
    "reservations",
)
"""The key of a row is visit, sensor, channel, plateau."""
EXPOSURE_COLUMNS = ("day", "lowest", "mean", "highest", "U")
CONTRIBUTION_COLUMNS = ("result", "source", "sensitivity", "standard_uncertainty", "contribution", "nu", "scope")
DRIFT_COLUMNS = (
    "sensor",
    "serial",
    "channel",
    "unit",
    "target",
    "direction",
    "reference_value",
    "state",
    "rate",
    "U_rate",
    "nu",
    "p_value",
    "chi_squared",
    "freedom",
    "between",
    "between_basis",
    "tolerance",
    "limit",
    "error_today",
    "U_today",
    "due",
    "error_due",
    "U_due",
    "leaves_earliest",
    "leaves_median",
    "leaves_latest",
)
"""The key of a row is sensor, channel, target, direction; a channel without a rate has one row without a target."""


def results_csv(results: Sequence[Result]) -> bytes:
    """One row a result; blank where there is no number, `inf` where ν has no end, reservations by rule with `;`."""
    rows = ([_text(value) for value in _values(result)] for result in results)
    return _csv(RESULT_COLUMNS, rows)


def results_json(results: Sequence[Result]) -> bytes:
    """The same rows as objects: null where there is no number, "inf" where ν has no end, reservations as a list."""
    objects = [
        {name: _plain(value) for name, value in zip(RESULT_COLUMNS, _values(result), strict=True)} for result in results
    ]
    lines = ",\n".join(json.dumps(one, ensure_ascii=False, allow_nan=False) for one in objects)
    return f"[\n{lines}\n]\n".encode()


def contributions_csv(assessment: Assessment, results: Iterable[Result]) -> bytes:
    """Signed contributions of every source to every measured result of one visit, largest first.

    `result` is visit/sensor/channel/plateau; sources that two results share have the same name, so covariances follow
    from these files alone: cov(a, b) = Σ contribution_a · contribution_b over shared sources.
    """
    budgets = assessment.measurement.whole()
    rows = (
        [
            "/".join(map(str, result.key)),
            line.source.identity,
            published(line.sensitivity),
            published(line.source.u),
            published(line.contribution),
            published(line.source.nu),
            line.source.scope,
        ]
        for result in results
        if result.line is not None
        for line in budgets.lines(result.line)
    )
    return _csv(CONTRIBUTION_COLUMNS, rows)


def drift_csv(standings: Iterable[Standing]) -> bytes:
    """One row a point of each channel: the line, what it expects, and when it leaves the tolerance; blank where none.

    Rates are per year, all numbers but `p_value`, `chi_squared`, `freedom` and `nu` in the row's unit.
    """
    rows = (
        [_cell(values.get(name)) for name in DRIFT_COLUMNS]
        for standing in standings
        for drift in standing.drifts
        for values in _drift_rows(standing, drift)
    )
    return _csv(DRIFT_COLUMNS, rows)


_OF_THE_LINE = ("state", "nu", "p_value", "chi_squared", "between", "between_basis")


def _drift_rows(standing: Standing, drift: Drift) -> Iterator[dict[str, Any]]:
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
        own = {name: getattr(outlook, name) for name in DRIFT_COLUMNS if name not in common and hasattr(outlook, name)}
        yield common | own | days


def scales_csv(instruments: Instruments) -> bytes:
    """One row a family, channel, method and kind of effect: its variance against what is declared.

    Factors and bounds are of variances; `shift` is the standard deviation of a whole visit's, in the channel's unit.
    """
    rows = []
    for (model, channel, method), found in sorted(instruments.scales.items()):
        low, high = found.factors.bounds
        for kind in Kind:
            values = {
                "model": model, "channel": channel, "unit": channel.unit, "method": method, "kind": kind.name.lower(),
                "label": found.labels.get(kind, ""), "factor": float(found.factors.theta[kind]),
                "factor_low": float(low[kind]), "factor_high": float(high[kind]), "shift": found.shift,
                "instruments": found.instruments, "visits": found.visits, "left_out": found.left_out,
                "chi_squared": found.chi_squared, "freedom": found.freedom,
            }  # fmt: skip
            rows.append([_cell(values[name]) for name in SCALE_COLUMNS])
    return _csv(SCALE_COLUMNS, rows)


def exposure_csv(days: Sequence[Day]) -> bytes:
    """The corrected humidity of each day before a finding, %RH: lowest, mean and highest, and U of the mean."""
    rows = ([str(d.day), *(published(value) for value in (d.lowest, d.mean, d.highest, d.U))] for d in days)
    return _csv(EXPOSURE_COLUMNS, rows)


def records_manifest(files: Snapshot) -> bytes:
    """SHA-256 of every record in the form that sha256sum reads.

    Evidence that a snapshot only lists has no bytes there and is left out, and so are trends: the findings that were
    computed from one name its hash.
    """
    records = [path for path in sorted(files) if not path.startswith(TRENDS) and files[path]]
    return "".join(f"{hashlib.sha256(files[path]).hexdigest()}  {path}\n" for path in records).encode()


def _values(result: Result) -> list[Any]:
    given = {name: getattr(result, name) for name in RESULT_COLUMNS[:-1]}
    given["p_outside"] = stated_probability(result.p_outside)
    return [*given.values(), [fault.rule.name for fault in result.reservations]]


def _text(value: Any) -> str:
    if isinstance(value, float):
        return published(value)
    return ";".join(value) if isinstance(value, list) else str(value)


def _cell(value: Any) -> str:
    return "" if value is None else _text(value)


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return float(published(value)) if math.isfinite(value) else published(value) or None
    return value if isinstance(value, int | list) else str(value)


def _csv(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue().encode()
