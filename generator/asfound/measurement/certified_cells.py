"""Cells whose humidity a certificate gives: its value with the sources of the certificate and of what came since."""

from __future__ import annotations

import numpy as np

from asfound.measurement.calibrations import DAYS_A_YEAR
from asfound.measurement.evaluation import Evaluation
from asfound.measurement.further_sources import further_sources
from asfound.records.models.certified import ASSUMED_K, Cell, CellCalibration
from asfound.records.models.references import Reference
from asfound.uncertainty.sources import Scope, Source, freedom_from_k, rectangular
from asfound.uncertainty.terms import Measured, Terms


def certified_humidity(evaluation: Evaluation, rows: np.ndarray, name: str) -> dict[str, Measured]:
    """Certified humidity of the cell `name` in %RH, temperature of its certificate in °C, its change in %RH/°C.

    Each of shape (rows,), by position in `rows`; nan where no certificate is in force. All references of the rows
    have a cell of this name.
    """
    table, calibrations = evaluation.table, evaluation.calibrations
    value, at_c, change = (np.full(len(rows), np.nan) for _ in range(3))
    parts: list[Terms] = []
    names = table.word["reference"][rows]
    for of in dict.fromkeys(names):
        reference = calibrations.records.references[of]
        cell = next(cell for cell in reference.cells if cell.name == name)
        chosen = np.flatnonzero(names == of)
        for certificate, at in calibrations.by_calibration(
            table, rows, chosen, reference, cell.quantity, cell.calibrations, evaluation.report
        ):
            calibrations.lean(table, rows[at], (reference.id, cell.quantity, certificate.date))
            value[at], at_c[at], change[at] = certificate.value, certificate.at.value, certificate.change
            for shift in calibrations.shifts:
                if (shift.reference, shift.quantity) == (reference.id, cell.quantity):
                    value[at] -= shift.error(value[at], table.day[rows[at]])
            day = np.datetime64(certificate.date, "D")
            parts += _of_certificate(evaluation, reference, cell, certificate, at, table.day[rows[at]] - day)
            added, further = further_sources(
                calibrations.catalogue, table, rows, at, reference, cell.quantity, value[at], day
            )
            value[at] += added
            parts += further
    exact = Terms.none()
    return {
        "certified_humidity": Measured(value, Terms.joined(parts)),
        "certified_at": Measured(at_c, exact),
        "certified_change": Measured(change, exact),
    }


def _of_certificate(
    evaluation: Evaluation,
    reference: Reference,
    cell: Cell,
    certificate: CellCalibration,
    at: np.ndarray,
    since: np.ndarray,
) -> list[Terms]:
    """Terms of a certificate at positions `at`, used `since` days (timedelta64) after it."""
    catalogue, prefix = evaluation.calibrations.catalogue, f"{reference.id}/{certificate.date}/{cell.quantity}"
    k = certificate.k or ASSUMED_K
    stated = Source(
        identity=f"{prefix}/calibration",
        label=f"cell {cell.name}: calibration {certificate.certificate}",
        u=certificate.U / k,
        unit="%RH",
        nu=freedom_from_k(k),
        scope=Scope.CALIBRATION,
    )
    parts = [Terms.of(at, catalogue.add(stated), 1.0)]
    if certificate.drift:
        label = f"cell {cell.name}: drift of {reference.id} since {certificate.date}"
        drift = rectangular(f"{prefix}/drift", label, certificate.drift, "%RH/year", Scope.CALIBRATION)
        parts.append(Terms.of(at, catalogue.add(drift), since.astype(float) / DAYS_A_YEAR))
    return parts
