"""Issued certificates of invented records, for tests of what can be computed again from them."""

from __future__ import annotations

import functools
import json
from collections.abc import Iterator
from typing import Any

from asfound.assessment.assess import Assessment
from asfound.certificates.statement import Statements
from asfound.stated.statement import Statement, read_statement, statement_bytes
from tests import builders as b
from tests.certificates.certified import VISIT, issue, plain, whole_story

PROBE_VISIT = "2026-02-10-probe"


def every_issued(files: b.Files, day: str = "2026-12-31") -> list[tuple[Statement, bytes]]:
    """Every certificate that an assessment may issue, as it is read back from its file, with its visit's bytes."""
    assessment = b.assessed(files, day)
    making = Statements(assessment)
    return [
        (read_back(making.issued(summary, issue())), summary.sensor_visit.visit.content)
        for summary in assessment.summaries
        if making.may_be_certified(summary)
    ]


def read_back(statement: Statement) -> Statement:
    """A statement as its file gives it."""
    return read_statement(statement_bytes(statement))


def with_issued(files: b.Files, day: str = "2026-12-31", **values: Any) -> b.Files:
    """The records with every certificate issued that may be."""
    assessment = b.assessed(files, day)
    return files | dict(_files(assessment, values))


def _files(assessment: Assessment, values: dict[str, Any]) -> Iterator[tuple[str, bytes]]:
    making = Statements(assessment)
    for summary in assessment.summaries:
        if making.may_be_certified(summary):
            statement = making.issued(summary, issue(**values))
            yield statement.issued_path, statement_bytes(statement)


def through_a_probe() -> b.Files:
    """A sensor calibrated in air with a probe that a visit here calibrated."""
    calibrating = b.visit(
        PROBE_VISIT,
        *(b.plateau(t, [t + 0.5, t + 0.52], b.generated(t), sensor="PROBE-01", phase="as_left") for t in (20, 50, 80)),
        *(b.plateau(t, [t + 0.1, t + 0.12], b.generated(t)) for t in (20, 50, 80)),
    )
    known = {**b.quantity(b.by_visit(PROBE_VISIT)), "resolution": "0.01 %RH"}
    laboratory = b.flat(-20, 60, "degC", 0.05)
    probe = b.transfer_probe(quantities={"reference_humidity": known, "reference_temperature": laboratory})
    in_air = b.visit(VISIT, b.plateau(50, [50.1, 50.12, 50.11], b.by_probe(50.0, air_c=23.0)))
    return b.records(b.sensor(), b.two_pressure(), probe, b.barometer(), calibrating, in_air)


def in_one_chamber() -> b.Files:
    """Two sensors at once: only the rows of the first hold the readings of the reference."""
    first = b.plateau(50, [50.2, 50.3, 50.1], b.generated(50), sensor="RH-2")
    second = b.plateau(50, [50.4, 50.5, 50.45], {"reference": "GEN-01"})
    rows = [row for pair in zip(first, second, strict=True) for row in pair]
    for number, row in enumerate(rows):
        row["time"] = f"{VISIT[:10]} 09:{number // 2:02d}"
    return b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), b.visit(VISIT, rows))


def over_salts() -> b.Files:
    """A sensor read over two salts."""
    plateaus = [b.plateau(t, [t + 0.4, t + 0.5], b.over_salt(salt)) for t, salt in ((11, "LiCl"), (75, "NaCl"))]
    return b.records(b.sensor(), b.saturated_salt(), b.visit(VISIT, *plateaus))


def pooled() -> b.Files:
    """A sensor whose scatter is known from the visits of its model before."""
    before = [
        b.visit(f"2026-0{m}-20-lab", b.plateau(50, [50.1, 50.3, 50.2, 50.4, 50.25], b.generated(50), sensor="RH-2"))
        for m in (2, 3, 4, 5)
    ]
    last = b.visit("2026-06-16-lab", b.plateau(50, [50.1, 50.2, 50.15], b.generated(50)))
    return b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), *before, last)


EVERY_KIND = {
    "loops, adjusted": whole_story,
    "three points": plain,
    "a probe calibrated here": through_a_probe,
    "two in one chamber": in_one_chamber,
    "over salts": over_salts,
    "pooled": pooled,
}


@functools.cache
def issued_story() -> tuple[str, bytes]:
    """The whole story's certificate as JSON text, and its visit's bytes."""
    ((statement, visit),) = every_issued(whole_story())
    return statement_bytes(statement).decode(), visit


def story_statement() -> Statement:
    """The whole story's certificate."""
    return read_statement(issued_story()[0].encode())


def story_document() -> dict[str, Any]:
    """The same as JSON holds it: a copy, to be altered."""
    held: dict[str, Any] = json.loads(issued_story()[0])
    return held
