"""Records whose certificates the tests look at, and readers of a PDF. All that the records hold is invented."""

from __future__ import annotations

import functools
import io
import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from datetime import date
from typing import Any

import pikepdf
import pytest

from asfound.assessment.assess import Assessment
from asfound.certificates.evidence import Issue
from asfound.certificates.statement import statements
from asfound.records.models.stated import Approved, Replaces
from asfound.stated.statement import Statement, document, read_statement
from tests import builders as b

VISIT = "2026-03-16-lab"
FIRST = {"serial": "RH-1-A", "condition": "dirty", "room_temperature [degC]": 23.1, "room_humidity [%RH]": 41}
COMMIT = "5d" * 20
SCALING = {"low": "4 mA", "high": "20 mA", "reads_low": "0 %RH", "reads_high": "100 %RH"}
TEMPERATURE_SCALING = {"low": "4 mA", "high": "20 mA", "reads_low": "-30 degC", "reads_high": "70 degC"}


def loop(rh: float) -> float:
    """The current of a 4–20 mA loop at a humidity."""
    return round(4 + 0.16 * rh, 3)


def combined_plateau(target: float, shown: float, phase: str, **columns: Any) -> list[b.Row]:
    """Three readings of a combined sensor on a loop, at the sensor and at the far end."""
    outputs = [loop(shown + shift) for shift in (-0.02, 0.0, 0.02)]
    return b.plateau(
        target,
        outputs,
        b.generated(target),
        phase=phase,
        unit="mA",
        far_end=[round(shown + 0.1, 1)] * 3,
        loop_meter="METER-01",
        **{"output_temperature [mA]": [12.816, 12.814, 12.816]},
        **columns,
    )


def combined_sensor(**keys: Any) -> b.Files:
    """A sensor for humidity and temperature; it works at 50 %RH."""
    declared = {
        "signal": "current",
        "channels": ["humidity", "temperature"],
        "humidity": {"repeatability": "0.05 %RH", "far_end_resolution": "0.1 %RH"},
        "temperature": {"repeatability": "0.02 degC"},
        "temperature_tolerance": {"absolute": "0.5 degC"},
        "scaling": SCALING,
        "temperature_scaling": TEMPERATURE_SCALING,
        "place": {"place": "lab", "position": "north wall, 1.8 m"},
    }
    return b.sensor(**{**declared, **keys})


def whole_story(**facility: Any) -> b.Files:
    """As found out of tolerance, adjusted, as left with rising and falling points, one of them unsettled."""
    policy = {"rule": "guard_band", "settling": {"least_soak": "15 min", "least_rows": 3}}
    return b.records(
        b.facility(**{"policies": policy, "site_address": "https://records.alder.example", **facility}),
        combined_sensor(),
        b.two_pressure(),
        b.loop_meter(),
        b.visit(
            VISIT,
            combined_plateau(50, 53.1, "as_found", **_on_first_row(FIRST)),
            combined_plateau(20, 22.9, "as_found"),
            combined_plateau(80, 83.2, "as_found"),
            b.adjusted("zero"),
            combined_plateau(50, 50.1, "as_left"),
            combined_plateau(20, 20.2, "as_left"),
            combined_plateau(50, 50.0, "as_left"),
            combined_plateau(80, 80.1, "as_left", soak=5),
            combined_plateau(50, 50.4, "as_left"),
        ),
    )


def _on_first_row(words: b.Row) -> dict[str, list[Any]]:
    return {name: [value, None, None] for name, value in words.items()}


def plain(*parts: b.Files, **facility: Any) -> b.Files:
    """One humidity sensor with its own display, calibrated at three points; `parts` come on top."""
    calibrated = b.visit(
        VISIT,
        b.plateau(50, [50.41, 50.45, 50.43], b.generated(50)),
        b.plateau(20, [20.21, 20.25, 20.23], b.generated(20)),
        b.plateau(80, [80.61, 80.65, 80.63], b.generated(80)),
    )
    return b.records(b.facility(**facility), b.sensor(), b.two_pressure(), calibrated, *parts)


def stated_of(files: b.Files, day: str = "2026-12-31") -> dict[str, Statement]:
    """The statements of an assessment by their number without its revision."""
    return {s.number.rpartition(".")[0]: s for s in statements(b.assessed(files, day))}


@functools.cache
def story() -> tuple[Assessment, Statement, bytes]:
    """The whole story assessed once: its assessment, its one statement and the visit's bytes."""
    files = whole_story()
    assessment = b.assessed(files)
    (statement,) = statements(assessment)
    return assessment, statement, files[statement.evidence.visit]


def issue(**values: Any) -> Issue:
    """The first issue of a certificate whose record Ben approved by merging it."""
    approved = {"person": "ben", "name": "Ben Sedge", "day": "2026-03-20", "how": "merge", "commit": COMMIT}
    default = {"revision": 1, "day": date(2026, 4, 1), "approved": approved, "commit": COMMIT}
    given = {**default, **values}
    replaces = given.get("replaces")
    given["approved"] = Approved(**given["approved"])
    given["replaces"] = Replaces(**replaces) if replaces else None
    return Issue(**given)


def changed(statement: Statement, **values: Any) -> Statement:
    """A statement with some values replaced, read back from JSON."""
    return as_statement(document(statement) | values)


def as_statement(stated: dict[str, Any]) -> Statement:
    """What a program would read that is given such a document."""
    return read_statement(json.dumps(stated).encode())


def pdftotext(pdf: bytes, *options: str) -> str:
    """What poppler's reader finds; without it the test is skipped, or fails on the integration server."""
    if shutil.which("pdftotext") is None:
        unavailable = pytest.fail if os.environ.get("CI") else pytest.skip
        unavailable("reading a PDF's text needs pdftotext (poppler-utils)")
    done = subprocess.run(["pdftotext", *options, "-", "-"], input=pdf, capture_output=True, check=True)
    return done.stdout.decode()


def text_of(pdf: bytes) -> list[str]:
    """The text of each page, white space as single blanks."""
    return [" ".join(page.split()) for page in pdftotext(pdf).split("\f")[:-1]]


def whole_text(pdf: bytes) -> str:
    """All text twice: by the columns of the layout, and in the order in which it was set."""
    return " ".join((pdftotext(pdf) + pdftotext(pdf, "-raw")).split())


def opened(pdf: bytes) -> pikepdf.Pdf:
    """The PDF as objects."""
    return pikepdf.open(io.BytesIO(pdf))


def elements(node: Any) -> Iterator[Any]:
    """Every structure element below a node, in the order of reading."""
    kids = node.get("/K", [])
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from elements(kid)
