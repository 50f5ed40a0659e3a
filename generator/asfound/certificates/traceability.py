"""Metrological traceability of results, link by link: every calibration of a reference that they lean on.

A reference that a visit here calibrated brings the references of that visit along, down to laboratories' certificates.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from asfound.assessment.assess import Assessment
from asfound.assessment.results.table import Result
from asfound.measurement.visit_curves import CALIBRATED_HERE
from asfound.records.methods import NEEDED, kind_of
from asfound.records.models import Reference
from asfound.records.models.certified import CellCalibration
from asfound.records.models.references import Calibration
from asfound.units import CANONICAL

Key = tuple[str, str, date]
"""reference, quantity, day of calibration"""


@dataclass(frozen=True, kw_only=True)
class Link:
    """One calibration of one quantity of one reference standard."""

    reference: Reference
    quantity: str
    calibration: Calibration | CellCalibration
    serves: str
    """id of the reference that was calibrated here with this one; '' where the results lean on it themselves"""
    lowest_U: float
    highest_U: float
    unit: str
    lowest_k: float
    highest_k: float
    visit_path: str
    """record of the visit here that calibrated it; '' where a laboratory did"""
    certificate_number: str
    """number of the certificate issued of that visit; '' where none was, or where a laboratory did"""

    @property
    def certificate_issued(self) -> bool:
        """A laboratory's was; of a calibration here there may be a preview only."""
        return self.calibration.from_visit is None or bool(self.certificate_number)


@dataclass(frozen=True, kw_only=True)
class PublishedValue:
    """A published value that stands where other standards have a certificate: the humidity over a salt solution."""

    reference: Reference
    salt: str
    lowest: float
    highest: float
    """its stated uncertainty, taken as limits, %RH"""


class Traceability:
    """Finds the links behind results of one assessment.

    `certificates`: numbers of certificates issued here by (reference, visit); by default those on record on its day.
    """

    def __init__(self, assessment: Assessment, certificates: Mapping[tuple[str, str], str] | None = None) -> None:
        self.certificates = _numbers(assessment) if certificates is None else certificates
        self.measurement, self.references = assessment.measurement, assessment.records.references
        self.of_references: dict[tuple[str, str], list[Result]] = {}
        for result in assessment.results:
            if result.sensor in self.references and result.line is not None:
                self.of_references.setdefault((result.sensor, result.visit), []).append(result)
        parts = (summary.sensor_visit for summary in assessment.summaries)
        self.paths = {(part.sensor, part.visit.id): part.visit.path for part in parts}

    def links(self, results: Iterable[Result]) -> list[Link]:
        """Every link behind these results, each once, those that they lean on themselves first."""
        found: dict[Key, Link] = {}
        waiting = [("", list(results))]
        while waiting:
            serves, served = waiting.pop(0)
            for key in self._leaned_on(served):
                if key not in found:
                    found[key], here = self._link(key, serves)
                    if here:
                        waiting.append((key[0], here))
        return list(found.values())

    def published_values(self, results: Iterable[Result]) -> list[PublishedValue]:
        """The published values that these results lean on themselves, by reference and salt."""
        stated: dict[tuple[str, str], list[float]] = {}
        for result in results:
            if not result.method.startswith("saturated_salt") or result.line is None:
                continue
            for line in self.measurement.whole().lines(result.line):
                kind, _, rest = line.source.identity.partition("/")
                if kind == "salt":
                    # The source is the published value's own limits, ±1: the sensitivity is their size.
                    key = (result.reference, rest.removesuffix("/published"))
                    stated.setdefault(key, []).append(abs(line.sensitivity))
        return [
            PublishedValue(reference=self.references[name], salt=salt, lowest=min(sizes), highest=max(sizes))
            for (name, salt), sizes in sorted(stated.items())
        ]

    def _leaned_on(self, results: Iterable[Result]) -> list[Key]:
        """References of humidity first, meters last; by reference, in the order in which it lists its quantities."""
        keys: set[Key] = set()
        for result in results:
            if result.line is not None:
                cell = self.measurement.lines[result.line].cell
                keys |= self.measurement.used.get(cell, set())

        def order(key: Key) -> tuple[int, str, int, date]:
            name, quantity, day = key
            reference = self.references[name]
            return list(NEEDED).index(reference.kind), name, list(reference.calibrated).index(quantity), day

        return sorted(keys, key=order)

    def _link(self, key: Key, serves: str) -> tuple[Link, list[Result]]:
        """The link, and the results here that took the place of a certificate."""
        name, quantity, day = key
        reference = self.references[name]
        calibration = next(c for c in reference.calibrated[quantity].calibrations if c.date == day)
        here = self._own_results(name, quantity, calibration)
        U, k = zip(*([(r.U, r.k) for r in here] or calibration.stated or [(math.nan, math.nan)]), strict=True)
        link = Link(
            reference=reference,
            quantity=quantity,
            calibration=calibration,
            serves=serves,
            lowest_U=min(U),
            highest_U=max(U),
            unit=CANONICAL[kind_of(quantity)],
            lowest_k=min(k),
            highest_k=max(k),
            visit_path=self.paths.get((name, calibration.from_visit), "") if calibration.from_visit else "",
            certificate_number=self.certificates.get((name, calibration.from_visit or ""), ""),
        )
        return link, here

    def _own_results(self, name: str, quantity: str, calibration: Calibration | CellCalibration) -> list[Result]:
        if calibration.from_visit is None:
            return []
        return calibrating(self.of_references.get((name, calibration.from_visit), ()), quantity)


def _numbers(assessment: Assessment) -> dict[tuple[str, str], str]:
    """Of each part of a visit the number of its newest certificate."""
    return {(one.sensor, one.visit): one.number for one in assessment.records.issued if one.day <= assessment.day}


def calibrating(results: Iterable[Result], quantity: str) -> list[Result]:
    """Of what a visit measured of a reference, what calibrated a quantity: as left, else as found."""
    channel = CALIBRATED_HERE.get(quantity)
    mine = [r for r in results if r.channel is channel and r.line is not None]
    return [r for r in mine if r.phase == "as_left"] or [r for r in mine if r.phase == "as_found"]
