"""The wheel of the asfound that runs, written again: a new facility installs exactly what made it, from its own folder.

From an installation it is what RECORD lists, each file held to its hash there; from a checkout it is the files that
pyproject.toml lays out, with the metadata of the editable installation. Sorted names and one fixed time: the same files
give the same bytes, so a wheel, installed and written again, is the same wheel.
"""

from __future__ import annotations

import csv
import io
import tomllib
import zipfile
from base64 import urlsafe_b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from importlib import metadata
from pathlib import Path, PurePosixPath

from asfound import DISTRIBUTION, __version__
from asfound.printing.templates import PACKAGE
from asfound.refusals import Refusal

WRITTEN = (2020, 2, 2, 0, 0, 0)
"""The time of every member: a build's own time would make every wheel another."""
REGULAR_FILE = 0o100644 << 16
DIST_INFO_FILES = ("METADATA", "WHEEL", "entry_points.txt", "licenses/LICENSE")
"""What a wheel's .dist-info holds, RECORD apart; an installer adds files of its own, which are no part of it."""


@dataclass(frozen=True, kw_only=True)
class Wheel:
    """A wheel as a file to write."""

    name: str
    """`asfound-0.2.0-py3-none-any.whl`"""
    content: bytes

    @property
    def sha256(self) -> str:
        """In hexadecimal digits, as pip's `--hash` takes it."""
        return sha256(self.content).hexdigest()


@cache
def own_wheel() -> Wheel:
    """The wheel of the asfound that runs; raises Refusal where it is not installed whole."""
    try:
        distribution = metadata.distribution(DISTRIBUTION)
    except metadata.PackageNotFoundError as problem:
        raise Refusal(
            f"{DISTRIBUTION} runs here without being installed, so that a new folder could not install it",
            "in its source folder: python -m pip install -e .",
        ) from problem
    root = PACKAGE.parents[1]
    return wheel_of(distribution, root if (root / "pyproject.toml").is_file() else None)


def wheel_of(distribution: metadata.Distribution, checkout: Path | None) -> Wheel:
    """The wheel of an installed distribution; where it is an editable one, with the files of its source folder.

    Raises Refusal where what is installed is not whole, not unaltered or not this version.
    """
    if distribution.version != __version__:
        raise _installed_otherwise(f"version {distribution.version} is installed, and {__version__} runs")
    about = f"{DISTRIBUTION}-{distribution.version}.dist-info"
    installed = _files_by_record(distribution)
    missing = [name for name in DIST_INFO_FILES if f"{about}/{name}" not in installed]
    if missing:
        raise _installed_otherwise(f"the installation lacks {missing[0]}")
    files = installed if checkout is None else _files_of_checkout(checkout)
    members = {name: files[name] for name in sorted(files) if not name.startswith(f"{about}/")}
    members |= {f"{about}/{name}": installed[f"{about}/{name}"] for name in DIST_INFO_FILES}
    record = f"{about}/RECORD"
    content = _zipped(members | {record: _record(members, record)})
    return Wheel(name=f"{DISTRIBUTION}-{distribution.version}-py3-none-any.whl", content=content)


def _files_by_record(distribution: metadata.Distribution) -> dict[str, bytes]:
    """What was unpacked from the wheel, by its name there: scripts and byte code were made while installing.

    RECORD is read here: `distribution.files` leaves out what is missing, from Python 3.12 on.
    """
    found = {}
    for name, stated, _ in csv.reader((distribution.read_text("RECORD") or "").splitlines()):
        path = PurePosixPath(name)
        if not stated or path.suffix == ".pyc" or ".." in path.parts or path.is_absolute():
            continue
        try:
            content = Path(str(distribution.locate_file(name))).read_bytes()
        except OSError as problem:
            raise _installed_otherwise(f"{name}: {problem.strerror}") from problem
        if stated != f"sha256={_hash(content)}":
            raise _installed_otherwise(f"{name} is not as it was installed")
        found[name] = content
    return found


def _files_of_checkout(root: Path) -> dict[str, bytes]:
    """The package's files by their names in a wheel, laid out as the build backend does it."""
    build = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]
    found = {}
    for source, target in build["targets"]["wheel"]["sources"].items():
        for path in (root / source).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts and path.suffix != ".pyc":
                found[f"{target}/{path.relative_to(root / source).as_posix()}"] = path.read_bytes()
    return found


def _record(members: Mapping[str, bytes], own_name: str) -> bytes:
    text = io.StringIO()
    rows = [(name, f"sha256={_hash(content)}", len(content)) for name, content in members.items()]
    csv.writer(text, lineterminator="\n").writerows([*rows, (own_name, "", "")])
    return text.getvalue().encode()


def _hash(content: bytes) -> str:
    """As RECORD spells it (binary distribution format, PEP 427): URL-safe base64 without padding."""
    return urlsafe_b64encode(sha256(content).digest()).rstrip(b"=").decode("ascii")


def _zipped(members: Mapping[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in members.items():
            member = zipfile.ZipInfo(name, date_time=WRITTEN)
            member.create_system = 3  # on Windows too: it stands in the bytes
            member.external_attr = REGULAR_FILE
            archive.writestr(member, content, compress_type=zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def _installed_otherwise(what: str) -> Refusal:
    return Refusal(
        f"{DISTRIBUTION} cannot be put into a new folder: {what}",
        "install it again (from its source folder: python -m pip install -e .)",
    )
