"""The demo facility's history, 2022 to 2026: who wrote what down, who reviewed it, and how it came to be merged.

`demo_history` is a pure plan made of the records alone: every visit on a branch of its own, merged by the reviewer,
squashed or rebased; references, people and policies as they changed (`as_it_stood.py`); certificates on the day that
they were issued. A commit depends only on what came before it, so the history may be written up to a day, certificates
issued on it, and the plan made again with them: all earlier commits keep their ids.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from generator.faults import RecordsRefused
from generator.records.load import Records, load
from generator.records.models import Person
from generator.records.snapshot import EVIDENCE, Snapshot
from generator.records.visits import Visit
from generator.scaffold.as_it_stood import CORRECTIONS, History
from generator.scaffold.commits import DemoCommit, Signature

FOLDER = "records/"
ATTRIBUTES = b"* -text\n"
START = date(2022, 10, 3)
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
WAYS = ("merge", "merge", "squash", "merge", "merge", "merge", "rebase")
"""How branches come to main, in turn."""

_DAY = re.compile(rb"[0-9]{4}-[0-9]{2}-[0-9]{2}")
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


def demo_history(files: Snapshot) -> tuple[DemoCommit, ...]:
    """All commits of the records, each after its parents. `files`: the demo's records, all bytes at hand.

    The tree of the last commit on main holds exactly these files below `records/`, and a `.gitattributes`. Raises
    RecordsRefused where the records cannot be read.
    """
    records, faults = load(files)
    if records is None:
        raise RecordsRefused(faults)
    story = _Story(files, records)
    for act in sorted(story.acts(), key=lambda act: act.when):
        story.play(act)
    return tuple(story.commits)


def issue_branch(day: date) -> str:
    """The name of the plan's commit that brings the certificates of a day; its merge is called so with `/merged`."""
    return f"issue-{day.isoformat()}"


@dataclass(frozen=True, kw_only=True)
class _Act:
    """What happens at an hour: a commit on main, one on a branch, or a branch's way to main."""

    when: datetime
    kind: str
    """direct, branch, merge, squash, rebase"""
    branch: str
    who: Person
    message: str = ""
    changes: Mapping[str, bytes] = field(default_factory=dict)
    committer: Person | None = None


class _Story:
    def __init__(self, files: Snapshot, records: Records) -> None:
        self.files, self.records = files, records
        self.zone: ZoneInfo = records.zone
        self.commits: list[DemoCommit] = []
        self.tip = ""
        self.direct = 0
        self.open: dict[str, list[DemoCommit]] = {}
        self.technicians = [p for p in records.people.values() if "calibrate" in p.may]
        self.keeper = next(p for p in self.technicians if p.until is None)
        self.reviewer = next(p for p in records.people.values() if "approve" in p.may)
        self.decider = next(p for p in records.people.values() if "decide" in p.may)
        self.visits = list(records.visits)
        self.reviewed = {visit.path: self._review_day(number, visit) for number, visit in enumerate(self.visits)}
        self.merged = {visit.id: self.reviewed[visit.path] for visit in self.visits if visit.revision == 1}
        calibrated = {visit: _next_working_day(day) for visit, day in self.merged.items()}
        own = [path for path in files if path.endswith(".yml") and not path.startswith(EVIDENCE)]
        self.yaml = {path: History(path, files[path].decode(), calibrated) for path in own}
        self.evidence = self._evidence_by_visit()

    # What happens

    def acts(self) -> Iterator[_Act]:
        yield self._beginning()
        for number, visit in enumerate(self.visits):
            yield from self._visit(WAYS[number % len(WAYS)], visit)
        for path in self.yaml:
            yield from self._changes(path)
        yield from self._issues()

    def _beginning(self) -> _Act:
        changes = {".gitattributes": ATTRIBUTES}
        for path in self.files:
            if path in self.yaml:
                if self._begun(path) == START:
                    changes[path] = self.yaml[path].on(START).encode()
            elif self.evidence.get(path) == "":
                changes[path] = self.files[path]
        message = (
            "Begin with the records as they stand\n\nPaper until today; from here on every change has its commit.\n"
        )
        return _Act(
            when=self._at(START, 9), kind="direct", branch="", who=self.keeper, message=message, changes=changes
        )

    def _visit(self, way: str, visit: Visit) -> Iterator[_Act]:
        technician = self.records.people[next(name for name in visit.text["technician"] if name)]
        sensors = ", ".join(dict.fromkeys(visit.text["sensor"]))
        name = visit.path.removeprefix("visits/").split("/")[1].removesuffix(".csv")
        day, merged = self._written_day(visit), self.reviewed[visit.path]
        what = f"{name}: {sensors}" if visit.revision == 1 else f"{name}: {sensors}, {self._reason(visit)}"
        first = _Act(
            when=self._at(day, 16, 30), kind="branch", branch=name, who=technician, message=f"{what}\n",
            changes={visit.path: self.files[visit.path]},
        )  # fmt: skip
        yield first
        more = self._belongings(visit) if visit.revision == 1 else {}
        if more:
            is_told = any(path.startswith("findings/") for path in more)
            told = f"{visit.id}: {'what was found, and who was told' if is_told else 'what was recorded beside it'}\n"
            yield replace(first, when=self._at(_next_working_day(day), 8, 30), message=told, changes=more)
        end = replace(first, when=self._at(merged, 10), kind="merge", who=self.reviewer, message="", changes={})
        if self._by_technician(visit):
            yield replace(end, who=technician)
            if visit.id in REVIEWED_AFTER_MERGE:
                yield self._late_review(visit)
        elif visit.id in APPROVED_ON_THE_BRANCH:
            yield replace(
                first, when=self._at(merged, 9, 30), who=self.reviewer, changes={},
                message=f"{name}: reviewed\n\n{self._trailer()}",
            )  # fmt: skip
            yield replace(end, who=technician)
        else:
            yield replace(end, kind=way if visit.revision == 1 else "merge")

    @staticmethod
    def _by_technician(visit: Visit) -> bool:
        """Whether a visit came to main without the reviewer."""
        if visit.revision > 1:
            return False
        return visit.day >= UNREVIEWED_FROM or visit.id in {*NEVER_REVIEWED, *REVIEWED_AFTER_MERGE}

    def _late_review(self, visit: Visit) -> _Act:
        message = f"Review of {visit.id}\n\n{self._trailer()}Reviewed-file: {FOLDER}{visit.path}\n"
        when = self._at(REVIEWED_AFTER_MERGE[visit.id], 9, 15)
        return _Act(when=when, kind="direct", branch="", who=self.reviewer, message=message)

    def _changes(self, path: str) -> Iterator[_Act]:
        """A YAML record's changes after its beginning, each committed by who keeps it."""
        history = self.yaml[path]
        begun = self._begun(path)
        before = history.on(begun) if begun else ""
        for day in dict.fromkeys(_working_day(day) for day in history.days() if day > (begun or START)):
            now = history.on(day)
            if now != before:
                yield self._change(path, day, before, now)
            before = now

    def _change(self, path: str, day: date, before: str, now: str) -> _Act:
        subject, body = self._words(path, day, before, now)
        settings = path in ("facility.yml", "people.yml") or path.startswith("findings/")
        message = f"{subject}\n\n{body}{'' if settings else self._trailer()}"
        return _Act(
            when=self._at(day, 8, 10), kind="direct", branch="", who=self.decider if settings else self.keeper,
            committer=None if settings else self.reviewer, message=message.rstrip() + "\n",
            changes={path: now.encode()},
        )  # fmt: skip

    def _words(self, path: str, day: date, before: str, now: str) -> tuple[str, str]:
        name = path.rpartition("/")[2].removesuffix(".yml")
        if path.startswith("findings/"):
            name = f"finding {path.removeprefix('findings/').removesuffix('.yml')}"
        for correction in CORRECTIONS:
            if correction.path == path and correction.day == day:
                return f"{name}: table corrected", f"{correction.why[0].upper()}{correction.why[1:]}.\n\n"
        if not before:
            return f"{name}: fitted", ""
        certificates = re.findall(r"certificate: (\S+)", now)
        new = [number for number in certificates if number not in before]
        if new:
            return f"{name}: certificates {', '.join(new)}", ""
        if now.count("until:") > before.count("until:") and len(now.splitlines()) == len(before.splitlines()):
            return f"{name}: back", ""
        return f"{name}: {_KEY_WORDS.get(_key_of_change(before, now), 'record brought up to date')}", ""

    def _issues(self) -> Iterator[_Act]:
        """Certificates by the day that they state; the reviewer issues, the keeper merges."""
        by_day: dict[str, dict[str, bytes]] = {}
        for path in sorted(path for path in self.files if path.startswith("issued/")):
            by_day.setdefault(json.loads(self.files[path])["issued"], {})[path] = self.files[path]
        for text, changes in by_day.items():
            day = date.fromisoformat(text)
            issued = _Act(
                when=self._at(day, 11), kind="branch", branch=issue_branch(day), who=self.reviewer,
                message=f"Issue certificates: {len(changes)}\n", changes=changes,
            )  # fmt: skip
            yield issued
            yield replace(issued, when=self._at(day, 11, 30), kind="merge", who=self.keeper, message="", changes={})

    # How it is committed

    def play(self, act: _Act) -> None:
        """Append the commits of one act."""
        if act.kind == "direct":
            self.direct += 1
            self._commit(f"main-{self.direct}", (self.tip,), act)
        elif act.kind == "branch":
            written = self.open.setdefault(act.branch, [])
            parent = written[-1].name if written else self.tip
            name = act.branch if not written else f"{act.branch}/{len(written) + 1}"
            written.append(self._commit(name, (parent,), act, branch=""))
        else:
            self._bring(act, self.open.pop(act.branch))

    def _bring(self, act: _Act, written: list[DemoCommit]) -> None:
        """A branch's way to main. Nothing else touches its files, so what it changed is what main gets."""
        changes = {path.removeprefix(FOLDER): c for commit in written for path, c in commit.changes.items()}
        name = f"{act.branch}/merged"
        if act.kind == "merge":
            message = f"Merge {act.branch}\n"
            self._commit(name, (self.tip, written[-1].name), replace(act, message=message, changes=changes))
        elif act.kind == "squash":
            message = f"{written[0].message}\n{self._trailer()}"
            self._by_author(name, written[0], replace(act, message=message, changes=changes))
        else:
            for number, commit in enumerate(written):
                own = {path.removeprefix(FOLDER): content for path, content in commit.changes.items()}
                last = number == len(written) - 1
                again = replace(act, message=f"{commit.message}\n{self._trailer()}", changes=own)
                self._by_author(name if last else f"{name}/{number + 1}", commit, again)
        # What was squashed or rebased leaves no trace in the repository.
        if act.kind != "merge":
            gone = {commit.name for commit in written}
            self.commits = [commit for commit in self.commits if commit.name not in gone]

    def _by_author(self, name: str, written: DemoCommit, act: _Act) -> None:
        self._commit(name, (self.tip,), act, author=written.author)

    def _commit(
        self, name: str, parents: tuple[str, ...], act: _Act, *, author: Signature | None = None, branch: str = "main"
    ) -> DemoCommit:
        signed = self._signature(act.who, act.when)
        commit = DemoCommit(
            name=name,
            parents=tuple(parent for parent in parents if parent),
            author=author or signed,
            committer=self._signature(act.committer, act.when) if act.committer else signed,
            message=act.message,
            changes={FOLDER + path: content for path, content in sorted(act.changes.items())},
            branch=branch,
        )
        self.commits.append(commit)
        if branch == "main":
            self.tip = name
        return commit

    def _signature(self, person: Person, when: datetime) -> Signature:
        return Signature(name=person.name, email=person.emails[0], time=when)

    def _trailer(self) -> str:
        return f"Reviewed-by: {self.reviewer.name} <{self.reviewer.emails[0]}>\n"

    # Days

    def _at(self, day: date, hour: int, minute: int = 0) -> datetime:
        return datetime.combine(day, time(hour, minute), tzinfo=self.zone)

    def _written_day(self, visit: Visit) -> date:
        """A visit is committed on its day; a later revision on the last day that it names, or three weeks after."""
        if visit.revision == 1:
            return visit.day
        named = max(date.fromisoformat(text.decode()) for text in _DAY.findall(self.files[visit.path]))
        return named if named > visit.day else _working_day(visit.day + timedelta(days=20))

    def _review_day(self, number: int, visit: Visit) -> date:
        """One to four working days later."""
        day = self._written_day(visit)
        for _ in range(1 + number % 4):
            day = _next_working_day(day)
        return day

    def _begun(self, path: str) -> date | None:
        """The day of a record's first text, where that comes with other records; None: with a commit of its own."""
        if path.startswith("findings/"):
            return _next_working_day(self._visit_of(path).day)
        sensor = self.records.sensors.get(path.removeprefix("sensors/").removesuffix(".yml"))
        return START if sensor is None or sensor.installed[0].from_ <= START else None

    def _visit_of(self, finding: str) -> Visit:
        name = finding.rpartition("/")[2].removesuffix(".yml")
        return next(visit for visit in self.visits if visit.id == name)

    def _reason(self, visit: Visit) -> str:
        return next(reason for reason in visit.text["reason"] if reason).split(";")[0]

    # What goes with a visit

    def _belongings(self, visit: Visit) -> dict[str, bytes]:
        """Logs and exports that came with a visit, and the finding as it was opened."""
        found = {path: self.files[path] for path, name in self.evidence.items() if name == visit.id}
        for path in self.yaml:
            if path.startswith("findings/") and self._visit_of(path).id == visit.id:
                found[path] = self.yaml[path].on(_next_working_day(visit.day)).encode()
        return found

    def _evidence_by_visit(self) -> dict[str, str]:
        """For each file that is no record by itself: the visit that it came with, or "" for the beginning."""
        found = {}
        for path in self.files:
            if not path.startswith(("visits/", "issued/")) and path not in self.yaml:
                found[path] = self._visit_with(path)
        return found

    def _visit_with(self, path: str) -> str:
        stem = path.rpartition("/")[2].split(".")[0]
        siblings = [p for p in self.files if p.rpartition("/")[2].split(".")[0] == stem and p.endswith(".csv")]
        for visit in self.visits:
            if visit.revision == 1 and stem.encode() in self.files[visit.path] and path.startswith("logs/"):
                return visit.id
        for candidate in [path, *siblings]:
            days = _DAY.findall(candidate.encode()) or _DAY.findall(self.files[candidate].rstrip().rpartition(b"\n")[2])
            day = date.fromisoformat(days[-1].decode()) if days else START
            same = [v for v in self.visits if v.day == day and v.revision == 1]
            with_sensor = [v for v in same if stem in v.text["sensor"]]
            if same:
                return (with_sensor or same)[0].id
        return ""


def _key_of_change(before: str, now: str) -> str:
    """The top-level key under which the first new line stands."""
    old, key = set(before.splitlines()), ""
    for line in now.splitlines():
        if line and line[0] not in " #-":
            key = line.partition(":")[0]
        if line not in old:
            return key
    return key


def _working_day(day: date) -> date:
    """The day itself, or the Monday after."""
    while day.weekday() > 4:
        day += timedelta(days=1)
    return day


def _next_working_day(day: date) -> date:
    return _working_day(day + timedelta(days=1))


def main_tip(commits: Sequence[DemoCommit]) -> DemoCommit:
    """The last commit on main."""
    return next(commit for commit in reversed(commits) if commit.branch == "main")
