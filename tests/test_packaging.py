"""What a user types and installs: the README's two commands, the lock, the wheel with templates inside."""

from __future__ import annotations

import io
import re
import subprocess
import sys
import tomllib
import zipfile
from email.parser import BytesParser
from pathlib import Path

import pytest

from asfound.scaffold.facility.own_wheel import own_wheel

ROOT = Path(__file__).parents[1]
SERVE = "python3 -m venv .venv && .venv/bin/python -m pip install -q -e . && .venv/bin/python -m asfound serve"
INSIDE = {"generator": ".", "site_templates": "asfound/_site_templates", "records": "asfound/_demo_records"}
TEST = 'python3 -m venv .venv && .venv/bin/python -m pip install -q -e ".[dev]" && .venv/bin/python -m pytest'


def on_windows(command: str) -> str:
    return command.replace("python3 -m venv", "py -m venv").replace(".venv/bin/python", r".venv\Scripts\python")


def test_the_readme_sets_up_with_exactly_two_commands():
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if "-m venv" in line] == [SERVE, TEST, on_windows(SERVE), on_windows(TEST)]


FOLDERS = {"lock.txt": "generator/asfound/scaffold/facility"}


def lock(name: str) -> str:
    return (ROOT / FOLDERS.get(name, ".locks") / name).read_text(encoding="utf-8")


def pinned_by_hash(locked: str) -> list[str]:
    """The distributions pinned to one version with at least one hash, by normalised name."""
    return re.findall(r"^([a-z0-9-]+)==[^\s;]+(?: ; [^\\]+)? \\\n +--hash=sha256:[0-9a-f]{64}", locked, re.M)


def required(declared: list[str]) -> set[str]:
    return {re.split(r"[^\w.-]", line)[0].lower().replace(".", "-") for line in declared}


@pytest.mark.parametrize("name", ["dev.txt", "build.txt", "lock.txt"])
def test_every_line_of_a_lock_is_pinned_by_hash(name: str):
    requirements = [line for line in lock(name).splitlines() if line and line[0] not in " #"]
    assert len(pinned_by_hash(lock(name))) == len(requirements) > 0


def test_the_locks_hold_every_declared_dependency():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    declared = [*project["project"]["dependencies"], *project["project"]["optional-dependencies"]["dev"]]
    assert required(declared) <= set(pinned_by_hash(lock("dev.txt")))
    assert required(project["project"]["dependencies"]) <= set(pinned_by_hash(lock("lock.txt")))
    assert required(project["build-system"]["requires"]) <= set(pinned_by_hash(lock("build.txt")))


def test_what_runs_is_what_was_tested():
    def versions(name: str) -> set[str]:
        return set(re.findall(r"^([a-z0-9-]+==[^\s;]+)", lock(name), re.M))

    assert versions("lock.txt") < versions("dev.txt")


@pytest.mark.parametrize("name", ["dev.txt", "build.txt", "lock.txt"])
def test_a_lock_names_no_host_and_no_machine(name: str):
    assert re.findall(r"://|--index|--find-links|/(?:home|root|tmp|usr|opt)/", lock(name)) == []


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel as the build backend makes it."""
    folder = tmp_path_factory.mktemp("dist")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True, text=True)
    (wheel,) = folder.glob("asfound-*.whl")
    return wheel


def test_the_wheel_carries_the_package_its_templates_and_the_demo(built: Path):
    packed = set(zipfile.ZipFile(built).namelist())
    sources = [(folder, path) for folder in INSIDE for path in (ROOT / folder).rglob("*")]
    expected = {
        (Path(INSIDE[folder]) / path.relative_to(ROOT / folder)).as_posix()
        for folder, path in sources
        if path.is_file() and "__pycache__" not in path.parts and ".egg-info" not in path.as_posix()
    }
    assert "asfound/__init__.py" in expected
    assert expected <= packed
    assert {name.split("/")[0] for name in packed} == {
        "asfound",
        built.name.rsplit("-", 3)[0] + ".dist-info",
    }


def test_the_wheel_that_new_writes_is_that_of_the_build_backend(built: Path):
    """File by file. Its metadata are those of the installation: where this fails on them alone, install it again."""
    with zipfile.ZipFile(built) as theirs, zipfile.ZipFile(io.BytesIO(own_wheel().content)) as ours:
        assert (own_wheel().name, sorted(ours.namelist())) == (built.name, sorted(theirs.namelist()))
        about = f"{built.name.rsplit('-', 3)[0]}.dist-info"
        apart = {f"{about}/{name}" for name in ("METADATA", "RECORD", "WHEEL")}
        assert [name for name in theirs.namelist() if name not in apart and theirs.read(name) != ours.read(name)] == []
        assert needs(theirs.read(f"{about}/METADATA")) == needs(ours.read(f"{about}/METADATA"))
        tags = [BytesParser().parsebytes(wheel.read(f"{about}/WHEEL")).get_all("Tag") for wheel in (theirs, ours)]
        assert tags == [["py3-none-any"]] * 2


def needs(about: bytes) -> tuple[str, set[str]]:
    """The version, and what is needed to run it."""
    message = BytesParser().parsebytes(about)
    return message["Version"], {line for line in message.get_all("Requires-Dist") if "extra ==" not in line}
