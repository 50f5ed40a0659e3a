"""Calibrations of a reference, link by link: one quantity at a time, newest first, with each table and its U."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from asfound.assessment.results.table import Result
from asfound.certificates.traceability import calibrating
from asfound.records.models import Reference
from asfound.records.models.certified import ASSUMED_K
from asfound.records.models.references import Calibration, QuantityRecord
from asfound.rounding import expanded
from asfound.site.lookup.lookup import Lookup
from asfound.wording import words
from asfound.wording.words import Chip, Link

IN_DATE = Chip(word="in date", kind="ok")
OUT_OF_DATE = Chip(word="out of date", kind="out")

_CORRELATIONS = {
    "common": "points share one error",
    "independent": "points err independently",
    "zero_span": "points share an error of zero and one of span",
}


@dataclass(frozen=True, kw_only=True)
class TableRow:
    """One point of a calibration, as its certificate says or as the visit here found."""

    at: str
    value: str
    U: str
    k: str


@dataclass(frozen=True, kw_only=True)
class CalibrationView:
    """One link of the chain."""

    anchor: str
    day: str
    by: str
    certificate: str
    visit: Link | None
    valid_until: str
    chip: Chip | None
    """of the one in force on the day"""
    largest_U: str
    declared: str
    points: tuple[TableRow, ...]
    as_found: tuple[TableRow, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class QuantityView:
    """One quantity with its calibrations, newest first."""

    anchor: str
    name: str
    facts: str
    calibrations: tuple[CalibrationView, ...]


def quantity_view(
    lookup: Lookup, reference: Reference, name: str, quantity: QuantityRecord, data: dict[str, Any]
) -> QuantityView:
    """One quantity; `data`: as it is written."""
    facts = []
    if quantity.resolution is not None:
        facts.append(f"resolution {words.shown(data['resolution'])}")
    if quantity.lowest is not None:
        facts.append(f"used from {words.shown(data['lowest'])}")
    if quantity.highest is not None:
        facts.append(f"used up to {words.shown(data['highest'])}")
    current = quantity.newest_calibration(lookup.day)
    written = list(zip(quantity.calibrations, data["calibrations"], strict=True))
    return QuantityView(
        anchor=name.replace("_", "-"),
        name=quantity_words(name),
        facts=", ".join(facts),
        calibrations=tuple(
            _calibration(lookup, reference, name, c, text, in_use=c is current) for c, text in reversed(written)
        ),
    )


def _calibration(
    lookup: Lookup, reference: Reference, name: str, calibration: Calibration, data: dict[str, Any], *, in_use: bool
) -> CalibrationView:
    results = lookup.reference_results.get(reference.id, ())
    here = calibrating((r for r in results if r.visit == calibration.from_visit), name)
    remarks = [] if calibration.from_visit else [_CORRELATIONS[calibration.correlation or "common"]]
    if calibration.drift is not None:
        remarks.append(f"drift allowance ±{words.shown(data['drift'])}")
    chip = None
    if in_use:
        chip = IN_DATE if calibration.valid_until >= lookup.day else OUT_OF_DATE
    return CalibrationView(
        anchor=f"{name.replace('_', '-')}-{calibration.date}",
        day=str(calibration.date),
        by=calibration.calibrated_by or "a visit here",
        certificate=calibration.certificate or "",
        visit=lookup.visit(calibration.from_visit),
        valid_until=str(calibration.valid_until),
        chip=chip,
        largest_U=_largest_u(calibration, data, here),
        declared=calibration.declared or "error",
        points=_points(data.get("points"), data.get("k")) or tuple(_point_of(r) for r in here),
        as_found=_points(data.get("as_found"), data.get("k")),
        remarks=tuple(remarks),
    )


def _points(data: Sequence[dict[str, Any]] | None, k: str | None) -> tuple[TableRow, ...]:
    return tuple(
        TableRow(
            at=words.shown(point["at"]),
            value=words.shown(point["value"]),
            U=words.shown(point["U"]),
            k=point.get("k") or k or f"{ASSUMED_K:g}, assumed",
        )
        for point in data or ()
    )


def _point_of(r: Result) -> TableRow:
    symbol = words.unit(r.unit)
    error, _, U = words.error_with_u(r).partition(" ± ")
    return TableRow(
        at=f"{words.value_at(r)} {symbol}, {r.direction}",
        value=f"{error} {symbol}",
        U=f"{U} {symbol}",
        k=words.digits(r.k, 3),
    )


def _largest_u(calibration: Calibration, data: dict[str, Any], here: Sequence[Result]) -> str:
    if calibration.points:
        largest = max(range(len(calibration.points)), key=lambda i: calibration.points[i].U.value)
        return words.shown(data["points"][largest]["U"])
    return f"{expanded(max(r.U for r in here))} {words.unit(here[0].unit)}" if here else ""


def quantity_words(quantity: str) -> str:
    """`saturation_pressure` → `saturation pressure`."""
    return quantity.replace("_", " ")
