"""What the forges are told to run exists, is well-formed, and does what the facility's README says of it."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from asfound.cli import _parser
from asfound.provenance import ApprovalState, provenance
from asfound.records.load import load
from asfound.records.snapshot import from_folder
from asfound.scaffold.commits import DemoCommit, Signature, write_repository
from asfound.scaffold.demo.history import demo_history
from asfound.scaffold.demo.repository import demo_files
from asfound.scaffold.facility.empty_facility import empty_facility

WORKFLOWS = ".github/workflows/"
PIPELINE = ".gitlab-ci.yml"
FILES = {name: content for name, content in empty_facility().items() if name.startswith(WORKFLOWS) or name == PIPELINE}


def parsed(name: str) -> Any:
    return YAML(typ="safe", pure=True).load(FILES[name].decode())


def scripts(name: str) -> Iterator[tuple[str, str]]:
    """Every piece of shell of a file, with the name of its job."""
    jobs = parsed(name)["jobs"] if name != PIPELINE else parsed(name)
    for job, body in jobs.items():
        if name != PIPELINE:
            yield from ((job, step["run"]) for step in body["steps"] if "run" in step)
        elif job == "before_script":
            yield from ((job, line) for line in body)
        elif isinstance(body, dict):
            yield from ((job, line) for key in ("script", "after_script") for line in body.get(key, ()))


def commands(name: str) -> list[list[str]]:
    """The arguments of every call of asfound."""
    found = []
    for _, script in scripts(name):
        for line in re.findall(r"^\s*asfound (.*)", script, re.M):
            found.append(shlex.split(re.split(r" [|>&]", line)[0]))
    return found


def test_there_are_files_for_two_forges() -> None:
    assert {PIPELINE, f"{WORKFLOWS}records.yml", f"{WORKFLOWS}approval.yml", f"{WORKFLOWS}certificates.yml"} == set(
        FILES
    )


@pytest.mark.parametrize("name", sorted(FILES))
def test_they_run_only_commands_that_exist_with_options_that_exist(name: str) -> None:
    for arguments in commands(name):
        assert callable(_parser().parse_args(arguments).run)


def test_each_forge_checks_builds_reviews_and_issues() -> None:
    both = [[c[0] for c in commands(PIPELINE)], [c[0] for name in FILES if name != PIPELINE for c in commands(name)]]
    for found in both:
        assert sorted(found) == ["build", "check", "issue-certificates", "review"]


@pytest.mark.parametrize("name", sorted(FILES))
def test_their_shell_is_well_formed(name: str) -> None:
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("needs bash")
    pieces = [script for _, script in scripts(name)]
    assert pieces
    for script in pieces:
        done = subprocess.run([bash, "-n"], input=script, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("name", sorted(FILES))
def test_nothing_of_a_change_is_pasted_into_shell(name: str) -> None:
    """Names of branches and titles are written by whoever opens the change: they come in as variables."""
    assert [script for _, script in scripts(name) if "${{" in script] == []


def test_jobs_that_compute_see_the_whole_history() -> None:
    assert parsed(PIPELINE)["variables"]["GIT_DEPTH"] == "0"
    for name in FILES:
        for job in parsed(name).get("jobs", {}).values():
            (checkout,) = [step for step in job["steps"] if step.get("uses", "").startswith("actions/checkout")]
            assert checkout["with"]["fetch-depth"] == 0


def test_workflows_may_write_only_where_they_must() -> None:
    assert parsed(f"{WORKFLOWS}records.yml")["permissions"] == {"contents": "read"}
    assert parsed(f"{WORKFLOWS}records.yml")["jobs"]["build"].keys() == {"runs-on", "steps"}


def test_pages_are_private_until_somebody_says_otherwise() -> None:
    assert parsed(PIPELINE)["pages"]["rules"][0]["when"] == "never"
    assert not any("pages" in line for name in FILES for line in FILES[name].decode().splitlines() if "uses:" in line)


def test_no_host_is_named() -> None:
    for name, content in empty_facility().items():
        hosts = re.findall(rb"https?://(?:[^@\s/]+@)?([^\s/`\"]+)", content)
        assert [h for h in hosts if not h.startswith(b"$") and h != "…".encode()] == [], name


GH = """#!/bin/sh
case "$*" in
*/reviews*) printf '%s' "$APPROVED" ;;
*/files*) echo "records/visits/2026/2026-10-27-herbarium-south.csv" ;;
*) exit 1 ;;
esac
"""


@pytest.fixture(scope="module")
def with_reviewers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's repository with a list of those who may approve on the forge: it is cloned, never changed."""
    folder = tmp_path_factory.mktemp("demo")
    plan = demo_history(demo_files())
    who = Signature(name="Ines Varlund", email="ines.varlund@wendlemoor.example", time=plan[-1].committer.time)
    listed = b"equillstrom Edda Quillstrom <edda.quillstrom@wendlemoor.example>\n"
    reviewers = DemoCommit(
        name="reviewers", parents=(plan[-1].name,), author=who, committer=who, message="Reviewers\n",
        changes={".reviewers": listed}, branch="main",
    )  # fmt: skip
    write_repository(folder, [*plan, reviewers], checkout=False)
    return folder


@pytest.mark.skipif(os.name == "nt" or shutil.which("bash") is None, reason="needs bash")
@pytest.mark.parametrize(("approved", "counts"), [("equillstrom\n", True), ("somebody-else\n", False), ("", False)])
def test_an_approval_on_the_forge_is_found_in_the_history_afterwards(
    with_reviewers: Path, tmp_path: Path, approved: str, counts: bool
) -> None:
    """The script of approval.yml in the demo's repository; the forge's own program is a stand-in."""
    work, path = tmp_path / "work", "visits/2026/2026-10-27-herbarium-south.csv"
    subprocess.run(["git", "clone", "-q", "--bare", str(with_reviewers), str(tmp_path / "forge")], check=True)
    subprocess.run(["git", "clone", "-q", str(tmp_path / "forge"), str(work)], check=True)
    gh = tmp_path / "bin" / "gh"
    gh.parent.mkdir()
    gh.write_text(GH, encoding="utf-8")
    gh.chmod(0o755)
    ((_, script),) = scripts(f"{WORKFLOWS}approval.yml")
    given = {"NUMBER": "7", "LAST": "a" * 40, "GITHUB_REPOSITORY": "o/r", "APPROVED": approved}
    environment = os.environ | given | {"PATH": f"{gh.parent}{os.pathsep}{os.environ['PATH']}"}
    subprocess.run(
        ["bash", "-eo", "pipefail", "-c", script], cwd=work, env=environment, check=True, capture_output=True
    )
    pushed = tmp_path / "pushed"
    subprocess.run(["git", "clone", "-q", str(tmp_path / "forge"), str(pushed)], check=True)
    records, _ = load(from_folder(pushed / "records"))
    assert records is not None
    visit = provenance(pushed / "records", records).visits[path]
    assert visit.state is (ApprovalState.APPROVED if counts else ApprovalState.NOT_REVIEWED)
    if counts:
        assert {(a.person, a.how) for a in visit.approvals.values()} == {("quillstrom", "reviewed-by")}
        assert all(a.day >= date(2026, 11, 25) for a in visit.approvals.values())


LISTS_NONE = """#!/bin/sh
case "$*" in
"pr list"*) ;;
*) echo "$*" >> "$CALLS" ;;
esac
"""


@pytest.mark.skipif(os.name == "nt" or shutil.which("bash") is None, reason="needs bash")
def test_certificates_are_proposed_as_a_change_of_their_own(
    facility: Path, program: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The script of certificates.yml in a facility with one approved visit."""

    def git(*arguments: str) -> str:
        return subprocess.run(["git", *arguments], capture_output=True, text=True, check=True).stdout

    folder = facility.parent
    (example,) = (facility / "example").glob("*.csv")
    (facility / "records/visits/2026").mkdir(parents=True)
    shutil.move(example, facility / "records/visits/2026" / example.name)
    for role in ("AUTHOR", "COMMITTER"):
        monkeypatch.setenv(f"GIT_{role}_DATE", "2026-03-12T09:00:00Z")
    git("add", "--all")
    git("commit", "--no-verify", "-qm", "Room 1, March\n\nReviewed-by: First Reviewer <reviewer@example.org>")
    git("clone", "-q", "--bare", ".", str(folder / "forge"))
    git("remote", "add", "origin", str(folder / "forge"))
    gh = Path(program).with_name("gh")
    gh.write_text(LISTS_NONE, encoding="utf-8")
    gh.chmod(0o755)
    monkeypatch.setenv("CALLS", str(folder / "calls"))
    monkeypatch.setenv("ASFOUND_DATE", "2026-03-13")
    (script,) = [script for _, script in scripts(f"{WORKFLOWS}certificates.yml") if "issue-certificates" in script]
    git("config", "--unset", "core.hooksPath")
    subprocess.run(["bash", "-eo", "pipefail", "-c", script], check=True, capture_output=True)
    (called,) = (folder / "calls").read_text(encoding="utf-8").splitlines()
    assert called.startswith("pr create --base main --head issue-certificates")
    git("fetch", "-q", "origin")
    brought = git("diff", "--name-status", "origin/main", "origin/issue-certificates").splitlines()
    assert brought == ["A\trecords/issued/RH-101/2026-03-10-room-1.r1.json"]
