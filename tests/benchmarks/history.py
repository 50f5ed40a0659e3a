"""How long it takes to tell who recorded, merged and approved every visit of a long history.

    python -m tests.benchmarks.history [COMMITS]

One visit a branch: two of three are merged by a reviewer, the third comes as one commit whose trailer names one; after
every hundredth visit a technician corrects a sensor's file.
"""

# ruff: noqa: E402
from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from asfound.cli import suit_the_work

suit_the_work()  # as the commands do, before numpy is loaded

from asfound.provenance import provenance_at
from asfound.provenance.repository import repository_of
from asfound.records.load import load
from tests import builders as b
from tests.git_histories import ANN, BEN, ENVIRONMENT, Who

FIRST = datetime(2000, 1, 3, 12, tzinfo=UTC)
SENSORS = 100


def stream(commits: int) -> Iterator[bytes]:
    """What `git fast-import` reads: a history of so many commits."""
    base = b.records(b.two_pressure(), *(b.sensor(f"RH-{number}") for number in range(SENSORS)))
    yield _commit(1, None, None, ANN, "The records so far", base, FIRST)
    tip = made = 1
    for visit in range(commits):
        if made >= commits:
            return
        when = FIRST + timedelta(hours=8 * visit)
        files = _visit(visit, when.date())
        if visit % 3 == 2:
            made += 1
            text = f"A visit\n\nReviewed-by: {BEN}"
            yield _commit(made, tip, None, ANN, text, files, when)
        else:
            yield _commit(made + 1, tip, None, ANN, "A visit", files, when)
            yield _commit(made + 2, tip, made + 1, BEN, "Merge a visit", files, when)
            made += 2
        tip = made
        if visit % 100 == 99:
            made += 1
            corrected = b.sensor(f"RH-{visit // 100 % SENSORS}", criticality=("high", "low")[visit // 100 % 2])
            yield _commit(made, tip, None, ANN, "Correct a sensor", corrected, when)
            tip = made


def _visit(number: int, day: date) -> b.Files:
    rows = b.plateau(50, [50.1, 50.2 + number / 1e6], b.generated(50), sensor=f"RH-{number % SENSORS}")
    return b.visit(f"{day}-round-{number}", rows)


def _commit(
    mark: int, parent: int | None, merged: int | None, who: Who, text: str, files: Mapping[str, bytes], when: datetime
) -> bytes:
    signed = f"{who} {int(when.timestamp())} +0000\n"
    parts = [f"commit refs/heads/main\nmark :{mark}\nauthor {signed}committer {signed}".encode(), _data(text.encode())]
    parts += [f"from :{parent}\n".encode()] if parent else []
    parts += [f"merge :{merged}\n".encode()] if merged else []
    parts += [f"M 100644 inline records/{path}\n".encode() + _data(content) for path, content in files.items()]
    return b"".join(parts) + b"\n"


def _data(content: bytes) -> bytes:
    return b"data %d\n%s\n" % (len(content), content)


def _processor_s() -> float:
    """Processor time so far, of this process and of those that it waited for."""
    return sum(os.times()[:4])


def main(arguments: list[str]) -> None:
    commits = int(arguments[0]) if arguments else 10_000
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, **ENVIRONMENT}
        subprocess.run(["git", "init", "-q", "-b", "main", folder], check=True, env=environment)
        given = b"".join(stream(commits))
        subprocess.run(["git", "fast-import", "--quiet"], cwd=folder, input=given, check=True, env=environment)
        (Path(folder) / "records").mkdir()
        repository = repository_of(Path(folder) / "records")
        assert repository is not None
        head = repository.resolve("HEAD")
        began = time.perf_counter()
        files = repository.snapshot(head)
        print(f"{len(files)} files of one commit read in {time.perf_counter() - began:.2f} s")
        records, faults = load(files)
        assert records is not None and not faults, faults[:3]
        began, used = time.perf_counter(), _processor_s()
        found = provenance_at(repository, head, records)
        took, used = time.perf_counter() - began, _processor_s() - used
        states = dict(Counter(str(known.state) for known in found.visits.values()))
        print(f"{commits} commits, {len(found.visits)} visits ({states}): provenance in {took:.2f} s, {used:.2f} s CPU")


if __name__ == "__main__":
    main(sys.argv[1:])
