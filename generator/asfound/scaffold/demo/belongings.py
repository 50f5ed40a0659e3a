"""Files that are no records by themselves: with which visit of the demo an export, a log or an attachment came."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from asfound.records.snapshot import Snapshot
from asfound.records.visits.visit_files import Visit

DAY = re.compile(rb"[0-9]{4}-[0-9]{2}-[0-9]{2}")
LOGS = "logs/"


def came_with(path: str, files: Snapshot, visits: Sequence[Visit]) -> str | None:
    """The id of the visit that brought a file; None: it was there from the beginning.

    A log and its mapping came with the first visit that names the log; everything else with a visit of the last day
    that stands in its name or its last line, at best one of the sensor that it is named after.
    """
    if path.startswith(LOGS):
        names = {name for log in _logs_of(path, files) for name in (log, log.rpartition(".")[0])}
        brought = (visit.id for visit in visits if any(LOGS + text in names for text in visit.text["log"] if text))
        return next(brought, None)
    days = DAY.findall(path.encode()) or DAY.findall(files[path].rstrip().rpartition(b"\n")[2])
    same = [visit for visit in visits if days and visit.day == date.fromisoformat(days[-1].decode())]
    stem = path.rpartition("/")[2].rpartition(".")[0]
    return next((visit.id for visit in same if stem in visit.text["sensor"]), same[0].id if same else None)


def _logs_of(path: str, files: Snapshot) -> list[str]:
    """The log itself; of a mapping, the log of its name, or all that lie beside it."""
    base, _, ending = path.rpartition(".")
    if ending != "yml":
        return [path]
    folder = path.rpartition("/")[0] + "/"
    beside = [log for log in files if log.startswith(folder) and not log.endswith(".yml")]
    return [log for log in beside if log.rpartition(".")[0] == base] or beside
