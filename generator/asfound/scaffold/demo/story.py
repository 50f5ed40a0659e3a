"""What happened at the demo facility, 2022 to 2026: who wrote what down, who reviewed it, who merged it, and when."""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from typing import TypeVar

from asfound.records.load import Records
from asfound.records.models import Person
from asfound.records.snapshot import EVIDENCE, Snapshot
from asfound.records.visits.visit_files import Visit
from asfound.scaffold.demo.as_it_stood import CORRECTIONS, History
from asfound.scaffold.demo.belongings import DAY, came_with
from asfound.scaffold.demo.working_days import working_day, working_days_later

START = date(2022, 10, 3)
TODAY = date(2026, 11, 25)
"""Of the demo; nothing happens after it."""
UNREVIEWED_FROM = date(2026, 10, 26)
"""Visits from here on are merged by their technician and wait for the reviewer."""
NEVER_REVIEWED = {
    "2024-06-19-receiving",  # the reviewer asked for a repeat with a reference that is in date
    "2026-04-28-herbarium-air",  # she waited for the probe's next check, and it failed
}
"""Merged by their technician, and left so."""
REVIEWED_AFTER_MERGE = {"2026-10-20-drying-b": date(2026, 10, 29)}
"""Merged by the technician, because a room was out of tolerance; approved later by a commit that names the file."""
APPROVED_ON_THE_BRANCH = {"2025-12-02-hall-2-again"}
"""The reviewer approved in a commit on the branch, the technician merged."""
REVIEWED_NEXT_DAY = {"2023-12-13-packing"}
"""And certified, before its record was withdrawn."""
LONGEST_REVIEW = 4
"""Working days from a visit to its merge, at most."""
FOLDER = "records/"

Choice = TypeVar("Choice")


class Kind(StrEnum):
    """What a person does to the repository."""

    DIRECT = "direct"
    """a commit on main"""
    BRANCH = "branch"
    """a commit on a branch, which begins where main is"""
    MERGE = "merge"
    SQUASH = "squash"
    REBASE = "rebase"


WAYS = (Kind.MERGE, Kind.MERGE, Kind.MERGE, Kind.SQUASH, Kind.MERGE, Kind.MERGE, Kind.REBASE)
"""How reviewed branches come to main, by chance."""


@dataclass(frozen=True, kw_only=True)
class Act:
    """What somebody does at an hour."""

    when: datetime
    kind: Kind
    who: Person
    committer: Person | None = None
    """where it is not the author"""
    branch: str = ""
    message: str = ""
    reviewed_by: Person | None = None
    """whose `Reviewed-by:` ends the message"""
    reviewed_file: str = ""
    """path of the visit that the review names"""
    changes: Mapping[str, bytes] = field(default_factory=dict)
    """files by their path below the records' folder"""


def issue_branch(day: date) -> str:
    """The branch that brings the certificates of a day."""
    return f"issue-{day.isoformat()}"


class Story:
    """The acts of a facility, told from its records alone."""

    def __init__(self, files: Snapshot, records: Records) -> None:
        self.files, self.records = files, records
        people = records.people.values()
        self.keeper = next(p for p in people if "calibrate" in p.may and p.until is None)
        self.reviewer = next(p for p in people if "approve" in p.may)
        self.decider = next(p for p in people if "decide" in p.may)
        first = [visit for visit in records.visits if visit.revision == 1]
        self.visits = {visit.id: visit for visit in first}
        calibrated = {visit.id: working_days_later(self._merge_day(visit), 1) for visit in first}
        own = [path for path in files if path.endswith(".yml") and not path.startswith(EVIDENCE)]
        self.yaml = {path: History(path, files[path].decode(), calibrated) for path in own}
        others = [path for path in files if path not in self.yaml and not path.startswith(("visits/", "issued/"))]
        self.evidence = {path: came_with(path, files, first) for path in others}

    def acts(self) -> list[Act]:
        """All of them, in order of time."""
        told = [self._beginning(), *self._certificates()]
        for visit in self.records.visits:
            told += self._visit(visit)
        for path in self.yaml:
            told += self._changes(path)
        return sorted(told, key=lambda act: act.when)

    def _beginning(self) -> Act:
        changes = {path: self.files[path] for path, visit in self.evidence.items() if visit is None}
        changes |= {path: h.on(START).encode() for path, h in self.yaml.items() if self._begun(path) == START}
        words = "Begin with the records as they stand\n\nPaper until today; from here on every change has its commit.\n"
        return Act(when=self._at(START, 9), kind=Kind.DIRECT, who=self.keeper, message=words, changes=changes)

    # Visits

    def _visit(self, visit: Visit) -> Iterator[Act]:
        """From the cart to main."""
        name = visit.path.rpartition("/")[2].removesuffix(".csv")
        technician = self.records.people[next(person for person in visit.text["technician"] if person)]
        sensors = ", ".join(dict.fromkeys(visit.text["sensor"]))
        reason = next((text.split(";")[0] for text in visit.text["reason"] if text), "")
        later = self._written_later(visit)
        at_once = {path: c for path, c in self._belongings(visit).items() if path not in later}
        written = Act(
            when=self._at(self._written_day(visit), 16, 30), kind=Kind.BRANCH, branch=name, who=technician,
            message=f"{name}: {sensors}{f', {reason}' if reason else ''}\n",
            changes={visit.path: self.files[visit.path], **at_once},
        )  # fmt: skip
        yield written
        if later:
            told = any(path.startswith("findings/") for path in later)
            words = "what was found, and who was told" if told else "what the building system recorded"
            morning = self._at(working_days_later(visit.day, 1), 8, 30)
            yield replace(written, when=morning, message=f"{visit.id}: {words}\n", changes=later)
        yield from self._to_main(visit, written)

    def _to_main(self, visit: Visit, written: Act) -> Iterator[Act]:
        day, revised = self._merge_day(visit), visit.revision > 1
        merge = replace(written, when=self._at(day, 10), kind=Kind.MERGE, message="", changes={})
        by_reviewer = replace(merge, who=self.reviewer)
        if not revised and visit.id in APPROVED_ON_THE_BRANCH:
            words = f"{visit.id}: reviewed\n"
            yield replace(
                by_reviewer, when=self._at(day, 9, 30), kind=Kind.BRANCH, message=words, reviewed_by=self.reviewer
            )
            yield merge
        elif not revised and (visit.day >= UNREVIEWED_FROM or visit.id in {*NEVER_REVIEWED, *REVIEWED_AFTER_MERGE}):
            yield merge
            if visit.id in REVIEWED_AFTER_MERGE:
                when = self._at(REVIEWED_AFTER_MERGE[visit.id], 9, 15)
                yield Act(
                    when=when, kind=Kind.DIRECT, who=self.reviewer, message=f"Review of {visit.id}\n",
                    reviewed_by=self.reviewer, reviewed_file=FOLDER + visit.path,
                )  # fmt: skip
        else:
            yield replace(by_reviewer, kind=Kind.MERGE if revised else _by_chance(visit, WAYS))

    def _belongings(self, visit: Visit) -> dict[str, bytes]:
        """Logs, exports and the finding that came with a visit."""
        if visit.revision > 1:
            return {}
        found = {path: self.files[path] for path, name in self.evidence.items() if name == visit.id}
        opened = [path for path in self.yaml if path.startswith("findings/") and _name(path) == visit.id]
        return found | {path: self.yaml[path].on(working_days_later(visit.day, 1)).encode() for path in opened}

    def _written_later(self, visit: Visit) -> dict[str, bytes]:
        """Of those, what was there on the next morning only."""
        kinds = ("trends/", "findings/")
        return {path: content for path, content in self._belongings(visit).items() if path.startswith(kinds)}

    def _written_day(self, visit: Visit) -> date:
        """A visit is committed on its day; a later revision on the last day that it names, or three weeks after."""
        if visit.revision == 1:
            return visit.day
        named = max(date.fromisoformat(text.decode()) for text in DAY.findall(self.files[visit.path]))
        return named if named > visit.day else working_day(visit.day + timedelta(days=20))

    def _merge_day(self, visit: Visit) -> date:
        hurried = visit.id in REVIEWED_NEXT_DAY and visit.revision == 1
        days = 1 if hurried else _by_chance(visit, range(1, LONGEST_REVIEW + 1))
        return min(working_days_later(self._written_day(visit), days), TODAY)

    # The other records

    def _changes(self, path: str) -> Iterator[Act]:
        """A YAML record's changes after its beginning, each committed by who keeps it."""
        history, begun = self.yaml[path], self._begun(path)
        before = history.on(begun) if begun else ""
        settings = path in ("facility.yml", "people.yml") or path.startswith("findings/")
        for day in dict.fromkeys(working_day(day) for day in history.days() if day > (begun or START)):
            now = history.on(day)
            if now != before:
                yield Act(
                    when=self._at(day, 8, 10), kind=Kind.DIRECT, who=self.decider if settings else self.keeper,
                    committer=None if settings else self.reviewer, reviewed_by=None if settings else self.reviewer,
                    message=f"{_words(path, day, before, now)}\n", changes={path: now.encode()},
                )  # fmt: skip
            before = now

    def _begun(self, path: str) -> date | None:
        """The day of a record's first text, where that comes with other records; None: with a commit of its own."""
        if path.startswith("findings/"):
            return working_days_later(self.visits[_name(path)].day, 1)
        sensor = self.records.sensors.get(_name(path)) if path.startswith("sensors/") else None
        return START if sensor is None or sensor.installed[0].from_ <= START else None

    def _certificates(self) -> Iterator[Act]:
        """Those of a day together; the reviewer issues, the keeper merges."""
        by_day: dict[str, dict[str, bytes]] = {}
        for path in sorted(path for path in self.files if path.startswith("issued/")):
            by_day.setdefault(json.loads(self.files[path])["issued"], {})[path] = self.files[path]
        for text, changes in by_day.items():
            day = date.fromisoformat(text)
            count = f"{len(changes)} certificate{'' if len(changes) == 1 else 's'}"
            issued = Act(
                when=self._at(day, 11), kind=Kind.BRANCH, branch=issue_branch(day), who=self.reviewer,
                message=f"Issue {count}\n", changes=changes,
            )  # fmt: skip
            yield issued
            merge = replace(issued, when=self._at(day, 11, 30), kind=Kind.MERGE, who=self.keeper, message="")
            yield replace(merge, changes={})

    def _at(self, day: date, hour: int, minute: int = 0) -> datetime:
        return datetime.combine(day, time(hour, minute), tzinfo=self.records.zone)


def _by_chance(visit: Visit, choices: Sequence[Choice]) -> Choice:
    """The same for a visit whatever else is on record."""
    return choices[zlib.crc32(visit.path.encode()) % len(choices)]


def _name(path: str) -> str:
    return path.rpartition("/")[2].removesuffix(".yml")


_KEY_WORDS = {
    "place": "moved",
    "installed": "another instrument",
    "tolerance": "another tolerance",
    "out_of_service": "out of service",
    "deferred_until": "deferred",
    "note": "noted what was seen",
    "policies": "another policy",
    "people": "who comes and who leaves",
    "away": "away",
    "quantities": "calibrated",
    "decision": "closed",
}


def _words(path: str, day: date, before: str, now: str) -> str:
    """What a change of a YAML record was, for a commit's message."""
    what = f"finding {path[len('findings/') :].removesuffix('.yml')}" if path.startswith("findings/") else _name(path)
    for correction in CORRECTIONS:
        if correction.path == path and correction.day == day:
            return f"{what}: table corrected\n\n{correction.why[0].upper()}{correction.why[1:]}."
    if not before:
        return f"{what}: fitted"
    new = [number for number in re.findall(r"certificate: (\S+)", now) if number not in before]
    if new:
        return f"{what}: certificates {', '.join(new)}"
    if now.count("until:") > before.count("until:") and now.count("\n") == before.count("\n"):
        return f"{what}: back"
    return f"{what}: {_KEY_WORDS.get(_key_of_change(before, now), 'record brought up to date')}"


def _key_of_change(before: str, now: str) -> str:
    """The top-level key under which the first new line stands."""
    old, key = set(before.splitlines()), ""
    for line in now.splitlines():
        if line and line[0] not in " #-":
            key = line.partition(":")[0]
        if line not in old:
            return key
    return key
