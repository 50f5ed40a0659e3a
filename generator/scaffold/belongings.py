"""Files that are no records by themselves: with which visit of the demo an export, a log or an attachment came."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from generator.records.snapshot import Snapshot
from generator.records.visits import Visit

DAY = re.compile(rb"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def came_with(path: str, files: Snapshot, visits: Sequence[Visit]) -> str | None:
    """The id of the visit that brought a file; None: it was there from the beginning.

    A log came with the visit that names it; everything else with a visit of the last day that stands in its name or its
    last line, at best one of the sensor that it is named after.
    """
    stem = _stem(path)
    if path.startswith("logs/"):
        for visit in visits:
            if stem.encode() in files[visit.path]:
                return visit.id
    for candidate in [path, *(other for other in files if other != path and _stem(other) == stem)]:
        days = DAY.findall(candidate.encode()) or DAY.findall(files[candidate].rstrip().rpartition(b"\n")[2])
        same = [visit for visit in visits if days and visit.day == date.fromisoformat(days[-1].decode())]
        if same:
            return next((visit for visit in same if stem in visit.text["sensor"]), same[0]).id
    return None


def _stem(path: str) -> str:
    return path.rpartition("/")[2].split(".")[0]
