"""The demo's history is the same on every machine, ends in the shipped records, and holds nothing before its day."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from asfound.assessment.assess import check
from asfound.cli import main
from asfound.commands.common import CLEAN, COULD_NOT_RUN
from asfound.faults import Severity
from asfound.provenance import Provenance, provenance
from asfound.records.load import Records, load
from asfound.records.snapshot import from_folder
from asfound.scaffold.commits import DemoCommit, write_repository
from asfound.scaffold.demo.as_it_stood import CORRECTIONS, LATER, History
from asfound.scaffold.demo.history import demo_history, main_tip
from asfound.scaffold.demo.repository import OPEN_BRANCH, OWN, SLIP, VISIT, demo_files, demo_repository
from asfound.scaffold.demo.story import (
    APPROVED_ON_THE_BRANCH,
    FOLDER,
    NEVER_REVIEWED,
    REVIEWED_AFTER_MERGE,
    START,
    TODAY,
)
from tests.scaffold.issue_demo import ISSUE_DAYS, issue_demo

pytestmark = pytest.mark.skipif(shutil.which("git") is None, reason="needs git")

SITE_FILES = {".gitattributes", ".githooks/pre-commit", "mkdocs.yml", "requirements.txt", "README.md"}


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return demo_files()


@pytest.fixture(scope="module")
def plan(files: dict[str, bytes]) -> tuple[DemoCommit, ...]:
    return demo_history(files)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "facility"
    assert main(["new", str(folder), "--demo"]) == CLEAN
    return folder


@pytest.fixture(scope="module")
def records(demo: Path) -> Records:
    found, _ = load(from_folder(demo / "records"))
    assert found is not None
    return found


@pytest.fixture(scope="module")
def known(demo: Path, records: Records) -> Provenance:
    return provenance(demo / "records", records)


def git(folder: Path, *arguments: str) -> str:
    return subprocess.run(["git", *arguments], cwd=folder, capture_output=True, text=True, check=True).stdout


def on_main(plan: tuple[DemoCommit, ...]) -> Iterator[tuple[DemoCommit, dict[str, bytes]]]:
    """Every commit on main with the records that it holds."""
    held: dict[str, bytes] = {}
    for commit in plan:
        if commit.branch == "main":
            held |= {path.removeprefix(FOLDER): content for path, content in commit.changes.items()}
            yield commit, {path: content for path, content in held.items() if not path.startswith(".")}


def test_a_log_comes_with_the_visit_that_names_it(plan: tuple[DemoCommit, ...], records: Records) -> None:
    logs = {path for commit in plan for path in commit.changes if path.startswith("records/logs/")}
    named = {text for visit in records.visits for text in visit.text["log"] if text}
    assert {path.removeprefix("records/logs/").rpartition(".")[0] for path in logs} == named
    for path in logs:
        first = next(commit for commit in plan if path in commit.changes)
        assert any(other.startswith("records/visits/") for other in first.changes)


def test_it_ends_in_the_records_as_they_are_shipped(plan: tuple[DemoCommit, ...], files: Mapping[str, bytes]) -> None:
    *_, (_, held) = on_main(plan)
    assert held.keys() == files.keys()
    assert [path for path in held if held[path] != files[path]] == []


def test_the_repository_holds_them_byte_for_byte(demo: Path, files: Mapping[str, bytes]) -> None:
    for path, content in files.items():
        assert (demo / FOLDER / path).read_bytes() == content
    assert git(demo, "status", "--porcelain") == ""
    assert set(git(demo, "ls-tree", "-r", "--name-only", "main").split()) >= SITE_FILES


def test_two_runs_agree_to_the_last_id_whatever_the_users_settings(
    demo: Path, files: dict[str, bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = tmp_path / "settings"
    settings.write_text("[core]\n\tautocrlf = true\n[init]\n\tdefaultBranch = trunk\n[user]\n\tname = Somebody\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(settings))
    monkeypatch.setenv("GIT_DIR", str(tmp_path / "elsewhere"))
    monkeypatch.setenv("GIT_AUTHOR_DATE", "2000-01-01T00:00:00Z")
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    ids = write_repository(tmp_path / "again", demo_repository(files))
    monkeypatch.delenv("GIT_DIR")
    assert ids["site"] == git(demo, "rev-parse", "main").strip()
    assert git(tmp_path / "again", "rev-parse", OPEN_BRANCH) == git(demo, "rev-parse", OPEN_BRANCH)
    visit = "records/visits/2026/2026-04-15-drying-a.csv"
    assert (tmp_path / "again" / visit).read_bytes() == (demo / visit).read_bytes()


def test_the_folder_may_be_named_from_where_one_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "demo", "--demo"]) == CLEAN
    assert (tmp_path / "demo" / "records" / "facility.yml").is_file()
    assert not (tmp_path / "demo" / "demo").exists()
    assert "commits" in capsys.readouterr().out


def test_only_branches_that_are_open_are_left(demo: Path) -> None:
    refs = git(demo, "for-each-ref", "--format=%(refname)").split()
    assert refs == ["refs/heads/main", f"refs/heads/{OPEN_BRANCH}"]
    assert git(demo, "rev-parse", "--abbrev-ref", "HEAD").strip() == "main"
    assert git(demo, "fsck", "--no-dangling", "--strict") == ""


def test_no_record_stands_in_a_commit_of_before_its_day(plan: tuple[DemoCommit, ...]) -> None:
    """A date of a visit, a calibration or a finding is the commit's own day or lies before it."""
    dated = re.compile(rb"\b(?:date|day|closed): ([0-9]{4}-[0-9]{2}-[0-9]{2})")
    named = re.compile(r"visits/[0-9]{4}/([0-9]{4}-[0-9]{2}-[0-9]{2})-")
    for commit in plan:
        for path, content in commit.changes.items():
            days = [date.fromisoformat(found.decode()) for found in dated.findall(content)]
            days += [date.fromisoformat(found) for found in named.findall(path)]
            assert max(days, default=START) <= commit.author.time.date(), (commit.message, path)


def test_time_never_runs_backwards(files: dict[str, bytes]) -> None:
    plan = demo_repository(files)
    times = [commit.committer.time for commit, _ in on_main(plan)]
    assert times == sorted(times)
    assert times[-1].date() <= TODAY
    by_name = {commit.name: commit for commit in plan}
    for commit in plan:
        assert all(by_name[parent].committer.time <= commit.committer.time for parent in commit.parents)


def test_main_checks_clean_through_the_years(plan: tuple[DemoCommit, ...]) -> None:
    """Every twelfth commit on main here; `STEP` 1 looks at all."""
    step = int(os.environ.get("STEP", "12"))
    for commit, held in list(on_main(plan))[::step]:
        errors = [fault.text() for fault in check(held) if fault.rule.severity is Severity.ERROR]
        assert errors == [], commit.message


def test_people_commit_while_they_are_there_and_do_what_they_may(
    plan: tuple[DemoCommit, ...], records: Records
) -> None:
    by_email = {person.emails[0]: person for person in records.people.values()}
    for commit in plan:
        for who in (commit.author, commit.committer):
            person = by_email[who.email]
            assert person.name == who.name
            assert person.holds(who.time.date())
        for path in commit.changes:
            if len(commit.parents) < 2 and path.startswith("records/visits/"):
                assert "calibrate" in by_email[commit.author.email].may


def test_every_way_to_main_is_there(plan: tuple[DemoCommit, ...], known: Provenance) -> None:
    merges = [commit for commit in plan if len(commit.parents) == 2]
    brought = [c for c in plan if len(c.parents) == 1 and c.branch == "main" and any("visits/" in p for p in c.changes)]
    assert len(merges) > 50 and len(brought) > 20
    assert all("Reviewed-by: Edda Quillstrom <" in commit.message for commit in brought)
    rebased = [commit for commit in brought if commit.author.time < commit.committer.time]
    assert rebased
    ways = {approval.how for visit in known.visits.values() for approval in visit.approvals.values()}
    assert {"merge", "reviewed-by"} <= ways


def test_who_approved_what_is_as_the_story_tells(known: Provenance) -> None:
    waiting = {path.rpartition("/")[2].removesuffix(".csv") for path, v in known.visits.items() if not v.approvals}
    assert NEVER_REVIEWED | {"2026-10-27-herbarium-south", "2026-11-17-hall-2"} <= waiting
    assert waiting & {*REVIEWED_AFTER_MERGE, *APPROVED_ON_THE_BRANCH} == set()
    ((late, reviewed),) = REVIEWED_AFTER_MERGE.items()
    approvals = known.visits[f"visits/2026/{late}.csv"].approvals.values()
    assert {(a.person, a.day, str(a.how)) for a in approvals} == {("quillstrom", reviewed, "reviewed-by")}


def test_a_laboratorys_slip_stood_until_it_was_put_right(plan: tuple[DemoCommit, ...]) -> None:
    for correction in CORRECTIONS:
        before = [held for commit, held in on_main(plan) if commit.committer.time.date() < correction.day][-1]
        after = next(held for commit, held in on_main(plan) if commit.committer.time.date() >= correction.day)
        old, new = before[correction.path].decode(), after[correction.path].decode()
        assert (old.count(correction.wrong), new.count(correction.wrong)) == (1, 0)
        assert new == old.replace(correction.wrong, correction.right)


def test_what_the_story_says_of_records_is_there_in_the_records(files: Mapping[str, bytes]) -> None:
    for later in LATER:
        assert re.search(rf"^{later.key}: ", files[later.path].decode(), re.M), later
    for correction in CORRECTIONS:
        assert correction.right in files[correction.path].decode().partition(correction.after)[2]
    names = {path.rpartition("/")[2].removesuffix(".csv") for path in files if path.startswith("visits/")}
    assert {*NEVER_REVIEWED, *REVIEWED_AFTER_MERGE, *APPROVED_ON_THE_BRANCH} <= names


def test_a_record_is_cut_back_to_what_was_written_by_a_day() -> None:
    text = (
        "# head\nquantities:\n  pressure:  # absolute\n    calibrations:\n      - date: 2022-02-01\n        points:\n"
        "          - { at: 1 kPa }\n      # from here on by ourselves\n      - date: 2024-02-01\n        points:\n"
        "          - { at: 2 kPa }\naway:\n  - { from: 2024-01-20, until: 2024-02-01, reason: out }\nnote: end\n"
    )
    history = History("references/X.yml", text, {})
    first = text.index("      # from here"), text.index("away:"), text.index("note:")
    without = text[: first[0]] + text[first[2] :]
    assert history.on(date(2024, 1, 19)) == without
    assert history.on(date(2024, 1, 20)) == text[: first[0]] + text[first[1] :].replace(", until: 2024-02-01", "")
    assert history.on(date(2024, 2, 3)) == text
    assert history.days() == [date(2022, 2, 3), date(2024, 1, 20), date(2024, 2, 3)]


def test_certificates_come_on_their_days_and_move_no_earlier_commit(files: dict[str, bytes], tmp_path: Path) -> None:
    """So the history can be written up to a day, certificates issued on it, and go on with them."""
    own = {path: content for path, content in files.items() if not path.startswith("issued/")}
    day = ISSUE_DAYS[3]
    path = "issued/DRY-11/2022-10-11-drying-a.r1.json"
    certificate = b'{"issued": "%s"}' % day.isoformat().encode()
    without, with_it = demo_history(own), _with(own, path, certificate)
    ids = [write_repository(tmp_path / name, plan) for name, plan in (("a", without), ("b", with_it))]
    earlier = [c.name for c in without if c.committer.time.date() < day]
    assert [ids[0][name] for name in earlier] == [ids[1][name] for name in earlier]
    assert ids[0][main_tip(without).name] != ids[1][main_tip(with_it).name]
    held = {commit.committer.time.date() for commit, files in on_main(with_it) if path in files}
    assert min(held) == day
    (merge,) = [c for c in with_it if c.name == f"issue-{day}/merged"]
    assert len(merge.parents) == 2


def _with(files: dict[str, bytes], path: str, content: bytes) -> tuple[DemoCommit, ...]:
    return demo_history({**files, path: content})


def test_issued_certificates_name_commits_of_the_history(records: Records, demo: Path) -> None:
    if not records.issued:
        pytest.skip("no certificates are shipped yet: python -m tests.scaffold.issue_demo")
    mainline = set(git(demo, "rev-list", "--first-parent", "main").split())
    for one in records.issued:
        assert one.evidence.commit in mainline, one.path
        assert (
            git(demo, "rev-parse", f"{one.evidence.commit}:records/{one.evidence.visit}").strip() == one.evidence.blob
        )


def test_the_certificates_of_a_day_are_those_that_were_approved_by_then(files: dict[str, bytes]) -> None:
    """And those that are shipped: where they differ, run `python -m tests.scaffold.issue_demo` again."""
    own = {path: content for path, content in files.items() if not path.startswith("issued/")}
    day, found, refused = next(issue_demo(own))
    assert day == ISSUE_DAYS[0]
    assert refused == []
    held = [held for commit, held in on_main(demo_history(own)) if commit.committer.time.date() < day][-1]
    merged = {path.rpartition("/")[2].removesuffix(".csv") for path in held if path.startswith("visits/")}
    assert {path.rpartition("/")[2].removesuffix(".r1.json") for path in found} == merged
    shipped = {path: content for path, content in files.items() if path in found}
    assert shipped in ({}, found)


def test_the_open_branch_brings_a_visit_with_a_reading_corrected_on_the_way(demo: Path) -> None:
    path = f"records/visits/2026/{VISIT}.csv"
    first, second = (git(demo, "show", f"{OPEN_BRANCH}{back}:{path}").encode() for back in ("~1", ""))
    assert second == (OWN / f"{VISIT}.csv").read_bytes()
    assert second.count(SLIP[0]) == 1 and first == second.replace(*SLIP)
    assert git(demo, "diff", "--name-only", f"main...{OPEN_BRANCH}") == f"{path}\n"


def test_days_of_issue_are_working_days_some_days_after_an_approval() -> None:
    assert all(day.weekday() < 5 for day in ISSUE_DAYS)
    assert all(later - earlier > timedelta(days=5) for earlier, later in pairwise(ISSUE_DAYS))


def test_without_git_it_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    monkeypatch.setenv("PATH", str(tmp_path))
    assert main(["new", str(tmp_path / "demo"), "--demo"]) == COULD_NOT_RUN
    assert "there is no git on this machine\n  cure: install git" in capsys.readouterr().err


def test_its_site_is_built_for_the_day_on_which_its_story_ends(demo: Path) -> None:
    assert f"    records: records\n    day: {TODAY} #" in (demo / "mkdocs.yml").read_text(encoding="utf-8")
