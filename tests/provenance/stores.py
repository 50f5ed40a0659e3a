"""A seed store whose visits come to the main branch in one way or another, for tests of provenance."""

from __future__ import annotations

from pathlib import Path

from asfound.provenance import Provenance, VisitProvenance, provenance
from asfound.records.snapshot import from_folder
from tests import builders as b
from tests.git_histories import ANN, BEN, History, Who

CAL = Who("Cal Rush", "cal@alder.example")
"""calibrates and approves"""
DORA = Who("Dora Sallow", "dora@alder.example")
"""approved until the end of March 2026"""
STRANGER = Who("Eve Teasel", "eve@elsewhere.example")
"""is not in people.yml"""

VISIT = "visits/2026/2026-03-16-lab.csv"


def visit(error: float = 0.4, *, technician: str = "ann", revision: int = 1, sensor: str = "RH-1") -> b.Files:
    """The visit of 16 March 2026, with this error at 50 %RH."""
    reason = {"reason": "typing error"} if revision > 1 else {}
    rows = b.plateau(
        50, [50 + error, 50 + error + 0.1], b.generated(50), sensor=sensor, technician=technician, **reason
    )
    return b.visit("2026-03-16-lab", rows, revision=revision)


def store(root: Path, *, folder: str = "records") -> History:
    """The repository of a store before its first visit; Ben committed its records."""
    others = (
        b.person("cal", "Cal Rush", "calibrate", "approve"),
        b.person("dora", "Dora Sallow", "approve", until="2026-03-31"),
    )
    files = b.records(b.people(*others), b.sensor(), b.sensor("RH-2"), b.two_pressure())
    return History(root / "store", files, folder=folder, by=BEN, on="2026-01-15")


def on_a_branch(history: History, files: b.Files | None = None, *, by: Who = ANN, on: str = "2026-03-16") -> str:
    """A visit committed on a branch of its own; the branch's name."""
    history.branch("visit").commit(visit() if files is None else files, by=by, on=on, message="Visit to the laboratory")
    return "visit"


def whole(history: History) -> Provenance:
    """The provenance of the working folder."""
    return provenance(history.records, b.loaded(dict(from_folder(history.records))))


def told(history: History, path: str = VISIT) -> VisitProvenance:
    """What is known of one visit in the working folder."""
    return whole(history).visits[path]
