"""The documents that users read, as programs: their blocks are run in order, in one folder, as they are written."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from asfound.cli import main
from asfound.commands.common import CLEAN
from asfound.scaffold.demo.repository import OWN
from asfound.scaffold.facility.empty_facility import EMPTY
from tests.installed import install
from tests.manual.write import MANUAL

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
TUTORIAL = EMPTY / "pages" / "first-half-hour.md"
DEMO_README = OWN / "README.md"

_BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.M | re.S)
_FILE = re.compile(r"`([\w./-]+\.(?:csv|yml))`[^`]*$")
_OF_THE_SHELL = re.compile(r"[|<>;&$`]")


@dataclass(frozen=True, kw_only=True)
class Block:
    """A block in a fence: its language, its text, and the file that the words before it name last."""

    kind: str
    text: str
    file: str | None = None

    @property
    def lines(self) -> list[str]:
        return [line for line in self.text.splitlines() if line.strip()]


def blocks(document: Path) -> Iterator[Block]:
    """The blocks of a document in order."""
    text, end = document.read_text(encoding="utf-8"), 0
    for match in _BLOCK.finditer(text):
        named = _FILE.search(text[end : match.start()])
        yield Block(kind=match[1], text=match[2], file=named[1] if named else None)
        end = match.end()


class Reader:
    """Somebody who types what a document says, each line, and looks whether what it shows is seen.

    The program's own lines run in this process, which spares starting it each time; what is for the shell, the shell
    runs. `not_run`: lines that are left out.
    """

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], not_run: set[str]):
        self.folder, self.here, self.patch, self.capsys, self.not_run = folder, folder, patch, capsys, not_run
        self.said = ""

    def read(self, document: Path) -> int:
        """Everything in a document; how many lines were run."""
        count = 0
        for block in blocks(document):
            if block.kind == "sh":
                lines = [line for line in block.lines if line.split("#")[0].strip() not in self.not_run]
                self.said = "".join(map(self._run, lines))
                count += len(lines)
            elif block.kind == "text":
                plain = " ".join(self.said.split())
                unseen = [line for line in block.lines if " ".join(line.split()) not in plain]
                assert not unseen, f"{document.name}: {unseen} not seen in:\n{self.said}"
            elif block.file:
                file = self.here / block.file
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_text(block.text, encoding="utf-8")
        return count

    def _run(self, line: str) -> str:
        words = shlex.split(line, comments=True)
        fails = words[0] == "!"
        program, *arguments = words[fails:]
        if program == "asfound" and not any(map(_OF_THE_SHELL.search, arguments)):
            return self._ours(line, arguments, fails)
        where = self.folder / "where"
        run = subprocess.run(
            ["bash", "-e", "-o", "pipefail", "-c", f"{line}\npwd > '{where}'"],
            cwd=self.here,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert run.returncode == CLEAN, f"{line}\n{run.stdout}{run.stderr}"
        self.here = Path(where.read_text(encoding="utf-8").strip())
        return run.stdout + run.stderr

    def _ours(self, line: str, arguments: list[str], fails: bool) -> str:
        self.patch.chdir(self.here)
        code = main(arguments)
        said = "".join(self.capsys.readouterr())
        assert (code != CLEAN) == fails, f"{line}\n{said}"
        return said


def new_user(folder: Path, patch: pytest.MonkeyPatch, day: str) -> None:
    """A machine on which the program is installed and git knows its user, on a day."""
    install(folder, patch)
    configuration = folder / "gitconfig"
    configuration.write_text("[user]\n\tname = First Technician\n\temail = technician@example.org\n")
    for name in [name for name in os.environ if name.startswith("GIT_")]:
        patch.delenv(name)
    patch.setenv("GIT_CONFIG_GLOBAL", str(configuration))
    patch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    patch.setenv("ASFOUND_DATE", day)
    for role in ("AUTHOR", "COMMITTER"):
        patch.setenv(f"GIT_{role}_DATE", f"{day}T12:00:00Z")


def page(name: str) -> Path:
    """A page of the manual."""
    return MANUAL / f"{name}.md"
