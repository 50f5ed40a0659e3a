"""Issue the demo's certificates as its years went by: `python -m tests.scaffold.issue_demo` renews records/issued/.

The history of the demo is written up to a day of issue, what is approved and not yet certified by then is issued on the
records as they stood, and the history goes on with those certificates in it. Run it again whenever records, history
or statements change: certificates name the commits that brought their visits.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time
from pathlib import Path

from asfound.assessment.assess import assess
from asfound.certificates.issue import issue
from asfound.provenance import HistoryOf
from asfound.records.snapshot import from_folder
from asfound.scaffold.commits import write_repository
from asfound.scaffold.demo.history import demo_history
from asfound.scaffold.demo.repository import files_below
from asfound.scaffold.demo.story import FOLDER

RECORDS = Path(__file__).parents[2] / "records"
ISSUE_DAYS = tuple(
    date.fromisoformat(day)
    for day in (
        "2022-11-07", "2022-12-21", "2023-02-20", "2023-06-19", "2023-11-06", "2023-12-15", "2024-02-19",
        "2024-04-29", "2024-05-17", "2024-07-29", "2024-11-04", "2025-01-31", "2025-06-16", "2025-10-30",
        "2026-02-23", "2026-06-22", "2026-10-08",
    )
)  # fmt: skip
"""A few days after approvals."""
REISSUED = {
    date(2024, 5, 17): (
        ("DRY-21", "2024-04-16-drying-b"),
        "the record was corrected: digits were swapped at 40 %RH when the sheet was typed",
    )
}


def issue_demo(files: Mapping[str, bytes]) -> Iterator[tuple[date, dict[str, bytes], list[str]]]:
    """By day of issue: the certificates of that day by path, and what was refused. `files`: without certificates."""
    held = dict(files)
    for day in ISSUE_DAYS:
        before = [c for c in demo_history(held) if c.committer.time.replace(tzinfo=None) < _before_issuing(day)]
        with tempfile.TemporaryDirectory() as folder:
            write_repository(Path(folder), before)
            found, refused = _issue(Path(folder) / FOLDER, day)
        held |= found
        yield day, found, refused


def _before_issuing(day: date) -> datetime:
    return datetime.combine(day, time(10, 30))


def _issue(records: Path, day: date) -> tuple[dict[str, bytes], list[str]]:
    history = HistoryOf(records)
    assessment = assess(from_folder(records), day, history)
    known = history.of(assessment.records)
    issued, refused = issue(assessment, known, day)
    if day in REISSUED:
        key, reason = REISSUED[day]
        again, still = issue(assessment, known, day, only=[key], reason=reason)
        issued += again
        refused = [one for one in refused if (one.sensor, one.visit) != key] + still
    return {one.path: one.content for one in issued}, [one.text for one in refused]


def main() -> None:
    """Write the certificates below --records (default: the committed ones) in the place of those that are there."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=Path, default=RECORDS)
    folder: Path = parser.parse_args().records
    files = {path: content for path, content in files_below(folder).items() if not path.startswith("issued/")}
    certificates: dict[str, bytes] = {}
    for day, found, refused in issue_demo(files):
        certificates |= found
        print(f"{day}: {len(found)} issued", *refused, sep="\n  ")
    shutil.rmtree(folder / "issued", ignore_errors=True)
    for path, content in certificates.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(content)
    print(f"{len(certificates)} certificates written below {folder / 'issued'}")


if __name__ == "__main__":
    main()
