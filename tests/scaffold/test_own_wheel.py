"""A new facility installs the asfound that made it, from its own folder, and nothing that its hashes do not know.

Sources: the binary distribution format (PEP 427, now in the Python packaging guide) for names, order and RECORD; pip's
documentation on hash-checking mode ("all-or-nothing: every requirement needs a hash and an exact version").
"""

from __future__ import annotations

import io
import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from asfound import __version__
from asfound.cli import main
from asfound.commands.common import COULD_NOT_RUN
from asfound.refusals import Refusal
from asfound.scaffold.facility.empty_facility import empty_facility
from asfound.scaffold.facility.own_wheel import own_wheel, wheel_of
from tests.scaffold.test_facility import INSTALL

ROOT = Path(__file__).parents[2]
WHEEL = f"packages/asfound-{__version__}-py3-none-any.whl"


def pip(*arguments: str, cwd: Path) -> str:
    run = subprocess.run(
        [sys.executable, "-m", "pip", *arguments], cwd=cwd, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr
    return run.stdout


def pinned() -> dict[str, Requirement]:
    """What the requirements file pins for this platform and Python, by normalised name."""
    lines = re.findall(r"^([a-z0-9].*?) \\$", empty_facility()["requirements.txt"].decode(), re.M)
    found = [Requirement(line) for line in lines]
    return {canonicalize_name(r.name): r for r in found if r.marker is None or r.marker.evaluate()}


def needed(name: str, extras: frozenset[str] = frozenset()) -> Iterator[str]:
    """The names of all that an installed distribution needs, and what those need, by their own metadata."""
    for line in metadata.requires(name) or ():
        requirement = Requirement(line)
        marker = requirement.marker
        if marker is None or any(marker.evaluate({"extra": extra}) for extra in {*extras, ""}):
            yield canonicalize_name(requirement.name)
            yield from needed(requirement.name, frozenset(requirement.extras))


def installed_as_pinned() -> bool:
    def version(name: str) -> str | None:
        try:
            return metadata.version(name)
        except metadata.PackageNotFoundError:
            return None

    return all(str(requirement.specifier) == f"=={version(name)}" for name, requirement in pinned().items())


def test_the_wheel_stands_first_by_its_path_and_its_hash() -> None:
    files = empty_facility()
    lines = [line for line in files["requirements.txt"].decode().splitlines() if line[0] not in "#"]
    assert files[WHEEL] == own_wheel().content
    assert lines[:2] == [f"./{WHEEL} \\", f"    --hash=sha256:{own_wheel().sha256}"]


def test_nothing_is_installed_without_a_hash_or_from_a_place_that_a_file_names() -> None:
    text = empty_facility()["requirements.txt"].decode()
    entries = [line for line in text.splitlines() if line[0] not in "# "]
    assert entries == re.findall(r"^(\S.*\\)\n    --hash=sha256:[0-9a-f]{64}", text, re.M)
    assert len(entries) > 40
    assert re.findall(r"://|--index|--find-links|-e |==.*\*", text) == []


def test_everything_that_is_needed_is_pinned_and_nothing_that_only_tests_need() -> None:
    assert set(needed("asfound")) <= set(pinned())
    assert {"pytest", "hypothesis", "ruff", "mypy", "hatchling"} & set(pinned()) == set()


@pytest.mark.skipif(not installed_as_pinned(), reason="resolves offline only where the locked versions are installed")
def test_pip_resolves_it_without_any_index(tmp_path: Path) -> None:
    files = empty_facility()
    (tmp_path / "packages").mkdir()
    for name in ("requirements.txt", WHEEL):
        (tmp_path / name).write_bytes(files[name])
    arguments = INSTALL.split()[3:]
    assert arguments[0] == "install"
    said = pip(*arguments, "--dry-run", "--no-index", cwd=tmp_path)
    assert f"./{WHEEL}" in said


@pytest.fixture(scope="module")
def site_packages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where pip installed the wheel of this checkout."""
    folder = tmp_path_factory.mktemp("installed")
    (folder / own_wheel().name).write_bytes(own_wheel().content)
    pip("install", "--quiet", "--no-index", "--no-deps", "--target", "there", own_wheel().name, cwd=folder)
    return folder / "there"


@dataclass(frozen=True)
class Installation:
    """A copy that a test may spoil, as its metadata tells of it."""

    folder: Path

    @property
    def distribution(self) -> metadata.Distribution:
        return metadata.Distribution.at(next(self.folder.glob("asfound-*.dist-info")))


@pytest.fixture
def installation(tmp_path: Path) -> Installation:
    with zipfile.ZipFile(io.BytesIO(own_wheel().content)) as archive:
        archive.extractall(tmp_path)
    return Installation(tmp_path)


def test_installed_and_written_again_it_is_the_same_wheel(site_packages: Path) -> None:
    """Byte code, scripts and notes that pip added are no part of it."""
    distribution = Installation(site_packages).distribution
    record = distribution.read_text("RECORD") or ""
    assert "/INSTALLER," in record and "/asfound,sha256=" in record
    again = wheel_of(distribution, None)
    assert (again.name, again.sha256) == (own_wheel().name, own_wheel().sha256)


def test_two_runs_give_the_same_bytes() -> None:
    distribution = metadata.distribution("asfound")
    assert wheel_of(distribution, ROOT) == wheel_of(distribution, ROOT)


def test_members_are_in_the_order_of_the_format() -> None:
    with zipfile.ZipFile(io.BytesIO(own_wheel().content)) as archive:
        names = archive.namelist()
        assert archive.testzip() is None
        assert {(member.date_time, member.create_system) for member in archive.infolist()} == {
            ((2020, 2, 2, 0, 0, 0), 3)
        }
    about = f"asfound-{__version__}.dist-info/"
    first = next(place for place, name in enumerate(names) if name.startswith(about))
    assert all(name.startswith(about) for name in names[first:]), "archivers are to put .dist-info at the end"
    assert names[-1] == f"{about}RECORD"


def test_a_file_that_was_altered_goes_into_no_facility(installation: Installation) -> None:
    (installation.folder / "asfound/units.py").write_text("PASCAL = 2\n", encoding="utf-8")
    with pytest.raises(Refusal, match=r"asfound/units\.py is not as it was installed\n  cure: "):
        wheel_of(installation.distribution, None)


def test_a_file_that_is_missing_is_named(installation: Installation) -> None:
    (installation.folder / "asfound/units.py").unlink()
    with pytest.raises(Refusal, match=r"asfound/units\.py: No such file.*\n  cure: "):
        wheel_of(installation.distribution, None)


def test_an_installation_without_a_record_is_refused(installation: Installation) -> None:
    (next(installation.folder.glob("*.dist-info")) / "RECORD").unlink()
    with pytest.raises(Refusal, match=r"the installation lacks METADATA\n  cure: "):
        wheel_of(installation.distribution, None)


def test_the_metadata_of_another_version_does_not_pass_for_ours(
    installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("asfound.scaffold.facility.own_wheel.__version__", "9.9.9")
    with pytest.raises(Refusal, match=rf"version {re.escape(__version__)} is installed, and 9\.9\.9 runs\n"):
        wheel_of(installation.distribution, None)


def test_who_runs_it_without_installing_it_is_told_how(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def missing(name: str) -> metadata.Distribution:
        raise metadata.PackageNotFoundError(name)

    own_wheel.cache_clear()
    monkeypatch.setattr(metadata, "distribution", missing)
    for option in ([], ["--demo"]):
        assert main(["new", str(tmp_path / "ours"), *option]) == COULD_NOT_RUN
        assert "\n  cure: in its source folder: python -m pip install -e .\n" in capsys.readouterr().err
        assert not (tmp_path / "ours").exists(), "nothing is half written"
