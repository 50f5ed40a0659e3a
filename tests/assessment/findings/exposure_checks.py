"""What a case must say of the time before it, by hand. Each takes the program and yields what was and what must be."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import numpy as np

from tests import builders as b
from tests.assessment.checks import assessed
from tests.assessment.findings.test_investigation import DRIFTED, STEPPED, exported, read, store
from tests.humidity.published_checks import Check
from tests.program import Program

HALF_YEAR = (date(2027, 2, 15) - date(2026, 8, 17)).days
"""From the last good visit of `STEPPED` to the one that found 4 %RH."""


def _number(id: str, computed: float, expected: float, tolerance: float, source: str = "by hand") -> Check:
    return Check(id=id, source=source, computed=computed, expected=expected, tolerance=tolerance)


def _same(id: str, computed: object, expected: object) -> Check:
    return _number(f"{id}: {computed!s} for {expected!s}", float(computed == expected), 1.0, 1e-9)


def _exposure(program: Program, files: dict[str, bytes]) -> Any:
    return assessed(program, files, "2028-12-31").cases[-1].exposure


def trends_corrected(program: Program) -> Iterator[Check]:
    """Shown 48 %RH throughout, limits 45 and 60 %RH. Straight from 0.2 to 4.0 %RH the error passes 3 at 14/19."""
    trend = _exposure(program, store(STEPPED, exported(np.full(24 * 400, 48.0), "2026-05-01"))).trend
    yield _number("hours too dry", trend.hours.dry, 24 * HALF_YEAR * 1.0 / 3.8, 24.0)
    yield _number("hours too damp", trend.hours.damp, 0.0, 1e-9)
    yield _number("hours shown outside", trend.shown, 0.0, 1e-9)
    yield _number("least of a step", trend.stepped[0], 0.0, 1e-9)
    yield _number("most of a step", trend.stepped[1], trend.covered, 1e-9)
    size = (trend.hours.most - trend.hours.least) / 24 * 3.8 / HALF_YEAR
    yield _same(f"U widens the hours: {size:.2f} %RH", 0.2 < size < 1.0, True)
    damp = _exposure(program, store(STEPPED, exported(np.full(24 * 400, 64.0), "2026-05-01"))).trend
    yield _number("64 %RH shown: damp until the error passes 4", damp.hours.damp, damp.covered, 48.0)
    yield _number("and shown so", damp.shown, damp.covered, 1e-9)


def windows(program: Program) -> Iterator[Check]:
    """Opens with the last visit that left every set point good; closes with what was found."""
    two = dict(sorted((STEPPED | {"2026-11-16": read((0.2, 0.2))}).items()))
    for name, visits, last in (("all points", STEPPED, date(2026, 8, 17)), ("two of three", two, date(2026, 8, 17))):
        case = assessed(program, store(visits), "2028-12-31").cases[-1]
        yield _same(f"{name}: last good", case.last_good, last)
        hours = (case.exposure.end - case.exposure.start) / 3600
        yield _number(f"{name}: window in hours", hours, 24 * HALF_YEAR, 8.0)


def crossings(program: Program) -> Iterator[Check]:
    """1.5 %RH a year from 2026-02-16 passes 2 %RH after 487 days; a step is foretold by no line."""
    found = _exposure(program, store(DRIFTED))
    yield _same("the line tells", found.basis, "drift line")
    yield _number("median", (found.crossed.median - date(2026, 2, 16)).days, 487.0, 3.0)
    before, after = (found.crossed.median - found.crossed.earliest).days, found.crossed.latest - found.crossed.median
    yield _number("bounds lie evenly about it", before, after.days, 12.0)
    U = before / 365.25 * 1.5
    yield _same(f"95 % of the true error: ±{U:.2f} %RH at 2 %RH", 0.2 < U < 0.6, True)
    yield _same("a step", _exposure(program, store(STEPPED)).basis, "straight between visits")
    # 0.2 %RH each half year, then 3.0 more: with 0.4 %RH from visit to visit one line through all is not rejected.
    jump = {day: read(error) for day, error in zip(DRIFTED, (0.0, 0.2, 0.4, 0.6, 3.6))}
    wide = b.facility(policies={"rule": "guard_band", "visit_to_visit": "0.4 %RH"})
    yield _same("a step after a drift", _exposure(program, store(jump, wide)).basis, "straight between visits")


ALL = (trends_corrected, windows, crossings)
