"""A seed store with a history of two visits, and branches on which something is done to it, for tests of the review."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from asfound.faults import Fault
from asfound.review.report import Review, review
from tests import builders as b
from tests.git_histories import ANN, BEN, History

DAY = date(2026, 11, 25)
FIRST, SECOND, NEW = "2026-01-20-lab", "2026-02-20-lab", "2026-03-16-lab"


def path_of(visit_id: str, revision: int = 1) -> str:
    """Of a visit's file."""
    return f"visits/{visit_id[:4]}/{visit_id}{f'.r{revision}' if revision > 1 else ''}.csv"


def visit(visit_id: str, error: float = 0.2, *, revision: int = 1, sensor: str = "RH-1", **columns: object) -> b.Files:
    """Three points, each with this error."""
    reason = {"reason": "typing error"} if revision > 1 else {}
    points = [
        b.plateau(
            target,
            [round(target + error, 2), round(target + error + 0.02, 2), round(target + error, 2)],
            b.generated(target),
            sensor=sensor,
            **reason,
            **columns,
        )
        for target in (20, 50, 80)
    ]
    return b.visit(visit_id, *points, revision=revision)


def store(root: Path, *more: b.Files, folder: str = "records") -> History:
    """Two good visits of RH-1 on the main branch; Ben committed them."""
    files = b.records(b.sensor(), b.two_pressure(), visit(FIRST), visit(SECOND))
    for part in more:
        files |= part
    return History(root / "store", files, folder=folder, by=BEN, on="2026-03-01")


def on_a_branch(history: History, *changes: dict[str, bytes | None], trailers: tuple[str, ...] = ()) -> Review:
    """The review of a branch with one commit for each change, against the main branch."""
    history.branch("work")
    for number, files in enumerate(changes):
        last = number == len(changes) - 1
        history.commit(files, by=ANN, on=f"2026-03-{16 + number}", trailers=trailers if last else ())
    return reviewed(history)


def reviewed(history: History, base: str = "main", head: str = "HEAD") -> Review:
    """The review of two revisions."""
    return review(history.repository, base, head, DAY)


def rules(found: Review) -> list[str]:
    """Names of what fails it, each once."""
    return sorted({fault.rule.name for fault in found.faults})


def only(found: Review, rule: str) -> Fault:
    """The one fault of a rule, which alone fails the review."""
    assert rules(found) == [rule]
    assert len(found.faults) == 1
    return found.faults[0]


def edited(files: b.Files, before: bytes, after: bytes) -> b.Files:
    """The files with a text replaced where it first stands; it must stand there."""
    assert any(before in content for content in files.values())
    return {path: content.replace(before, after, 1) for path, content in files.items()}
