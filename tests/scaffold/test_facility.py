"""An empty facility checks and builds as it is, says what to fill in, and keeps faulty records out of commits."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
from datetime import date
from pathlib import Path

import pytest
from mkdocs.utils.yaml import yaml_load

from asfound.cli import _parser, main
from asfound.commands.common import CLEAN, COULD_NOT_RUN, FAULTS
from asfound.printing.templates import template_folders
from asfound.provenance import ApprovalState, VisitProvenance, provenance
from asfound.records.load import load
from asfound.records.snapshot import from_folder
from asfound.scaffold.facility.empty_facility import EXAMPLE, empty_facility

pytestmark = pytest.mark.skipif(shutil.which("git") is None, reason="needs git")

INSTALL = "python -m pip install --require-hashes --only-binary=:all: -r requirements.txt"


def git(*arguments: str) -> str:
    return subprocess.run(["git", *arguments], capture_output=True, text=True, check=True).stdout


def test_it_checks_without_a_fault_and_explains_its_example(facility: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--reservations"]) == CLEAN
    assert capsys.readouterr().out == ""
    (example,) = (facility / "example").glob("*.csv")
    assert main(["explain", str(example)]) == CLEAN
    assert "RH-101 (serial A-0001)" in capsys.readouterr().out


@pytest.fixture(scope="module")
def built(as_new: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A facility with its site, as it was built before anything was filled in."""
    folder = tmp_path_factory.mktemp("built") / "ours"
    shutil.copytree(as_new, folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert main(["build", "--date", "2026-03-10"]) == CLEAN
    return folder


def test_it_builds_with_a_page_of_its_own(built: Path) -> None:
    about = (built / "site/about.html").read_text(encoding="utf-8")
    assert "Say here what these records are" in about
    assert 'href="sensors/index.html"' in about
    assert "RH-101" in (built / "site/sensors/index.html").read_text(encoding="utf-8")


def test_its_example_visit_is_published_once_it_is_a_record(facility: Path) -> None:
    (example,) = (facility / "example").glob("*.csv")
    target = facility / "records/visits/2026" / example.name
    target.parent.mkdir(parents=True)
    shutil.move(example, target)
    assert main(["build", "--date", "2026-03-10"]) == CLEAN
    assert "as found: pass</span>" in (facility / f"site/visits/{target.stem}.html").read_text(encoding="utf-8")


def test_its_lists_are_those_of_the_shell() -> None:
    shell = yaml_load((template_folders()[-1] / "site.yml").read_text(encoding="utf-8"))
    files = empty_facility()
    nav = yaml_load(files["mkdocs.yml"].decode())["nav"]
    lists, own = nav[: len(shell["nav"])], nav[len(shell["nav"]) :]
    assert lists == shell["nav"]
    assert own[0] == "about.md"
    assert all(f"pages/{page}" in files for page in own)


def test_every_record_says_that_it_is_an_example() -> None:
    files = empty_facility()
    records = [name for name in files if name.startswith("records/") and name.endswith(".yml")]
    assert len(records) >= 6
    assert all(EXAMPLE.encode() in files[name].splitlines()[0] for name in records)
    assert f"grep -rl {EXAMPLE} records" in files["README.md"].decode()


def test_every_place_that_installs_it_uses_the_one_line_that_checks_hashes() -> None:
    files = {name: content.decode() for name, content in empty_facility().items() if not name.endswith(".whl")}
    lines = [(name, line) for name, text in files.items() for line in re.findall(r"pip install[^`\n]*", text)]
    assert {name for name, _ in lines} == {
        ".github/workflows/certificates.yml", ".github/workflows/records.yml", ".githooks/pre-commit",
        ".gitlab-ci.yml", "README.md", "requirements.txt",
    }  # fmt: skip
    options = " ".join(INSTALL.split()[4:])
    assert [line for line in lines if not line[1].rstrip('" >&2').endswith(options)] == []


def test_records_are_stored_as_they_were_written(facility: Path, built: Path) -> None:
    assert "records/people.yml: text: unset" in git("check-attr", "text", "records/people.yml")
    assert "packages/any.whl: text: unset" in git("check-attr", "text", "packages/any.whl")
    assert git("status", "--porcelain") == ""
    assert git("-C", str(built), "status", "--porcelain") == "", "a site is no record"


def test_it_is_committed_by_its_user_and_on_main(facility: Path) -> None:
    assert git("log", "--format=%an <%ae> %D").startswith("Ada Thorn <ada@example.org> HEAD -> main")
    assert git("ls-files", "--stage", ".githooks").startswith("100755 ")


@pytest.mark.parametrize("ending", ["", "\n"])
def test_nothing_is_overwritten(tmp_path: Path, ending: str, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "notes.txt").write_text(ending, encoding="utf-8")
    for option in ([], ["--git"], ["--demo"]):
        assert main(["new", str(tmp_path), *option]) == COULD_NOT_RUN
        assert "nothing is overwritten\n  cure: " in capsys.readouterr().err
    assert main(["new", str(tmp_path / "notes.txt")]) == COULD_NOT_RUN
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_a_repository_that_is_still_empty_is_filled(tmp_path: Path, author: None) -> None:
    subprocess.run(["git", "init", "-q", "-b", "trunk", str(tmp_path)], check=True)
    assert main(["new", str(tmp_path), "--git"]) == CLEAN
    assert (tmp_path / "records/facility.yml").is_file()
    assert (tmp_path / ".git/HEAD").read_text(encoding="ascii").strip() == "ref: refs/heads/trunk"


def test_who_has_no_name_yet_is_told_how_to_give_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    monkeypatch.setenv("GIT_CONFIG_COUNT", "1")
    monkeypatch.setenv("GIT_CONFIG_KEY_0", "user.useConfigOnly")
    monkeypatch.setenv("GIT_CONFIG_VALUE_0", "true")
    monkeypatch.delenv("EMAIL", raising=False)
    assert main(["new", str(tmp_path / "ours"), "--git"]) == COULD_NOT_RUN
    said = capsys.readouterr().err
    assert "nothing is written: git does not know who commits" in said
    assert 'cure: git config --global user.name "First Last"' in said
    for role in ("AUTHOR", "COMMITTER"):
        monkeypatch.setenv(f"GIT_{role}_NAME", "Ada Thorn")
        monkeypatch.setenv(f"GIT_{role}_EMAIL", "ada@example.org")
    assert main(["new", str(tmp_path / "ours"), "--git"]) == CLEAN, "as the first half hour says: try again"


def test_the_lines_printed_for_new_users_of_git_do_what_they_say(
    tmp_path: Path, author: None, program: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["new", str(tmp_path / "ours")]) == CLEAN
    lines = re.findall(r"^  (git .*)", capsys.readouterr().out, re.M)
    assert len(lines) == 4
    for line in lines:
        subprocess.run(line, shell=True, cwd=tmp_path / "ours", check=True, capture_output=True)
    monkeypatch.chdir(tmp_path / "ours")
    assert git("log", "--format=%s", "main") == "Begin the records\n"
    assert git("status", "--porcelain") == ""
    assert git("config", "core.hooksPath") == ".githooks\n"


def test_the_line_that_keeps_a_review_by_hand_keeps_it(facility: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for role in ("AUTHOR", "COMMITTER"):
        monkeypatch.setenv(f"GIT_{role}_DATE", "2026-03-12T09:00:00Z")
    line = re.search(r"`(git commit --allow-empty .*)`", (facility / "README.md").read_text(encoding="utf-8"))
    assert line is not None
    (example,) = (facility / "example").glob("*.csv")
    visit = f"visits/2026/{example.name}"
    (facility / "records/visits/2026").mkdir(parents=True)
    shutil.move(example, facility / "records" / visit)
    git("add", "--all")
    git("commit", "--no-verify", "-qm", "Room 1, March")
    assert seen(facility, visit).state is ApprovalState.NOT_REVIEWED
    subprocess.run([*shlex.split(line.group(1)), "--no-verify"], check=True, capture_output=True)
    assert {(a.person, a.day) for a in seen(facility, visit).approvals.values()} == {("reviewer", date(2026, 3, 12))}


def seen(facility: Path, visit: str) -> VisitProvenance:
    records, _ = load(from_folder(facility / "records"))
    assert records is not None
    return provenance(facility / "records", records).visits[visit]


def test_the_readme_names_commands_that_exist_with_options_that_exist(facility: Path) -> None:
    text = (facility / "README.md").read_text(encoding="utf-8")
    calls = re.findall(r"^(?:\.venv/bin/)?asfound (.*)$|`asfound ([a-z].*?)`", text, re.M)
    assert len(calls) >= 2
    for call in calls:
        assert callable(_parser().parse_args(shlex.split("".join(call))).run)


posix = pytest.mark.skipif(os.name == "nt", reason="the stand-in for the installed program is a shell script")


@posix
def test_the_hook_refuses_what_is_about_to_be_committed(facility: Path, program: str) -> None:
    people = facility / "records/people.yml"
    sound = people.read_bytes()
    people.write_bytes(sound.replace(b"may: [calibrate]", b"may: [caliber]"))
    git("add", "records/people.yml")
    people.write_bytes(sound)  # sound in the folder; what would be committed is not
    refused = subprocess.run(["git", "commit", "-qm", "x"], capture_output=True, text=True, check=False)
    assert refused.returncode == FAULTS
    assert re.search(r"^records/people\.yml:\d+:\d+: error\[", refused.stdout + refused.stderr, re.M)
    assert "Nothing is committed while an error stands." in refused.stderr
    git("add", "records/people.yml")
    (facility / "pages/more.md").write_text("# More\n", encoding="utf-8")
    git("add", "pages")
    assert subprocess.run(["git", "commit", "-qm", "x"], check=False).returncode == CLEAN


@posix
def test_the_hook_says_when_the_program_is_missing(facility: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tools = facility.parent / "tools"
    tools.mkdir()
    for name in ("git", "sh", "mktemp", "rm"):
        (tools / name).symlink_to(str(shutil.which(name)))
    monkeypatch.setenv("PATH", str(tools))
    refused = subprocess.run(
        ["git", "commit", "-qm", "x", "--allow-empty"], capture_output=True, text=True, check=False
    )
    assert refused.returncode == FAULTS
    assert f"asfound is not installed here. In {facility}:\n{INSTALL}\n" in refused.stderr
