"""Seconds that a review takes on a long history: of one new visit, and of an edit of one reference's table.

    python -m tests.benchmarks.review [SENSORS [VISITS [COMMITS]]]

Sensors × visits × 10 rows, ten families and ten references, each visit a file of its own, written into so many commits.
"""

# ruff: noqa: E402
from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path

from asfound.cli import suit_the_work

suit_the_work()  # as the commands do, before numpy is loaded

from asfound.provenance.repository import Repository
from asfound.review.markdown import as_markdown
from asfound.review.report import review
from tests.benchmarks.throughput import repository as records_of
from tests.builders import family, sensor, two_pressure

TEN = 10
DAY = date(2026, 11, 25)
ANN = "Ann Tansy <ann@alder.example>"


def files_of(sensors: int, visits: int) -> dict[str, bytes]:
    """The records of the throughput benchmark, spread over ten families and ten references."""
    files = records_of(sensors, visits)
    for number in range(TEN):
        files |= family(f"rush-{number}")
        known = two_pressure(f"GEN-{number + 1:02d}")
        files |= {path: content.replace(b"2026-01-12", b"2015-01-12") for path, content in known.items()}
    for number in range(sensors):
        instrument = {"serial": f"RH-{number}-A", "family": f"rush-{number % TEN}", "from": "2000-01-01"}
        files |= sensor(f"RH-{number}", installed=[instrument])
    for path, content in files.items():
        if path.startswith("visits/"):
            number = int(path.rpartition("-")[2].removesuffix(".csv"))
            # Each family is read with every reference.
            files[path] = content.replace(b"GEN-01", f"GEN-{(number // TEN) % TEN + 1:02d}".encode())
    return files


def stream(files: Mapping[str, bytes], commits: int) -> Iterator[bytes]:
    """What `git fast-import` reads: all but the visits in a first commit, then the visits in so many."""
    settings = [path for path in files if not path.startswith("visits/")]
    visits = [path for path in files if path.startswith("visits/")]
    size = max(len(visits) // max(commits - 1, 1), 1)
    for number, paths in enumerate([settings, *(visits[at : at + size] for at in range(0, len(visits), size))]):
        yield _commit("main", number, paths, files)


def _commit(branch: str, number: int, paths: Sequence[str], files: Mapping[str, bytes], start: str = "") -> bytes:
    head = f"commit refs/heads/{branch}\ncommitter {ANN} {1_700_000_000 + number * 60} +0000\ndata 7\nvisits\n\n{start}"
    parts = [head.encode()]
    for path in paths:
        parts.append(b"M 100644 inline records/%s\ndata %d\n%s\n" % (path.encode(), len(files[path]), files[path]))
    return b"".join(parts)


def changed(name: str, files: Mapping[str, bytes]) -> bytes:
    """A branch of one commit with these files."""
    return _commit(name, 10**6, list(files), files, "from refs/heads/main\n")


def main(arguments: list[str]) -> None:
    sensors, visits, commits = (int(a) for a in [*arguments, *("2000", "20", "10000")[len(arguments) :]])
    files = files_of(sensors, visits)
    newest = max(path for path in files if path.endswith("-rh-0.csv"))
    day = newest.partition("-rh-")[0].rpartition("/")[2]
    visit = {newest.replace("-rh-0.csv", "-again.csv"): files[newest]}
    table = files["references/GEN-03.yml"].replace(b'"value": "0 kPa"', b'"value": "0.2 kPa"')
    assert table != files["references/GEN-03.yml"]
    visit = {
        path: content.replace(b" 09:", b" 13:").replace(b" 10:", b" 14:").replace(b" 11:", b" 15:")
        for path, content in visit.items()
    }
    with tempfile.TemporaryDirectory(prefix="review_") as folder:
        subprocess.run(["git", "init", "--quiet", "--bare", "--initial-branch=main", folder], check=True)
        importing = subprocess.Popen(["git", "-C", folder, "fast-import", "--quiet"], stdin=subprocess.PIPE)
        assert importing.stdin is not None
        for part in stream(files, commits):
            importing.stdin.write(part)
        importing.stdin.write(changed("visit", visit))
        importing.stdin.write(changed("table", {"references/GEN-03.yml": table}))
        importing.stdin.close()
        assert importing.wait() == 0
        held = Repository(root=Path(folder), prefix="records/")
        count = held.run("rev-list", "--count", "main").decode().strip()
        print(f"{sensors} sensors × {visits} visits × 10 rows in {count} commits; the newest round is of {day}")
        for branch in ("visit", "table"):
            started, used = time.monotonic(), time.process_time()
            found = review(held, "main", branch, DAY)
            said = as_markdown(found, "records/")
            took, used = time.monotonic() - started, time.process_time() - used
            new, moved = (len(found.meaning.new), len(found.meaning.moved)) if found.meaning else (0, 0)
            print(f"{branch}: {took:.1f} s ({used:.1f} s of it here); {new} new results, {moved} changed")
            assert new or moved, said


if __name__ == "__main__":
    main(sys.argv[1:])
