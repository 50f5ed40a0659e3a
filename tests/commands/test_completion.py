"""Ids, commands and options complete in the shell, asked as a shell asks."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import builders as b

FILES = b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), b.visit("2026-03-16-lab", b.not_done(50.0)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    at = tmp_path_factory.mktemp("completion")
    for path, content in FILES.items():
        file = at / "records" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    return at


def completed(folder: Path, line: str) -> list[str]:
    """What the shell offers after `line`, by the protocol of argcomplete: words on descriptor 8."""
    answer = folder / "answer"
    asked = {
        "_ARGCOMPLETE": "1",
        "_ARGCOMPLETE_IFS": "\n",
        "_ARGCOMPLETE_STDOUT_FILENAME": str(answer),
        "COMP_LINE": line,
        "COMP_POINT": str(len(line)),
        "COMP_TYPE": "9",
    }
    answer.write_text("")
    code = "from asfound.cli import main; main()"
    root = str(Path(__file__).parents[2] / "generator")
    environment = os.environ | asked | {"PYTHONPATH": root}
    subprocess.run([sys.executable, "-c", code], cwd=folder, env=environment, timeout=60, check=False)
    return [word.strip() for word in answer.read_text().split("\n") if word.strip()]


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("asfound tar", {"targets"}),
        ("asfound targets RH-", {"RH-1", "RH-2"}),
        ("asfound retrace G", {"GEN-01"}),
        ("asfound due --place l", {"lab"}),
        ("asfound explain RH-1 2026", {"2026-03-16-lab"}),
        ("asfound targets --records elsewhere RH-", set()),
        ("asfound completion z", {"zsh"}),
    ],
)
def test_what_may_stand_there_is_offered(folder, line, offered):
    assert set(completed(folder, line)) == offered


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell"])
def test_each_shell_gets_its_code(capsys, shell):
    from asfound.cli import main

    assert main(["completion", shell]) == 0
    assert "asfound" in capsys.readouterr().out
