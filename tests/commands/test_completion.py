"""Ids, commands and options complete in the shell, asked as a shell asks."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
from pathlib import Path

import pytest

from asfound.cli import main
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


def asked(folder: Path, line: str) -> dict[str, str]:
    """The environment in which a shell asks what may stand after `line`, by the protocol of argcomplete."""
    (folder / "answer").write_text("")
    return {
        "_ARGCOMPLETE": "1",
        "_ARGCOMPLETE_IFS": "\n",
        "_ARGCOMPLETE_STDOUT_FILENAME": str(folder / "answer"),
        "COMP_LINE": line,
        "COMP_POINT": str(len(line)),
        "COMP_TYPE": "9",
    }


def answer(folder: Path) -> set[str]:
    return {word.strip() for word in (folder / "answer").read_text().split("\n") if word.strip()}


def completed(folder: Path, line: str) -> set[str]:
    """What the program offers: in a process of its own, which answering ends, but one that has it loaded already."""
    methods = multiprocessing.get_all_start_methods()
    started = multiprocessing.get_context("fork" if "fork" in methods else "spawn")
    process = started.Process(target=_answer, args=(folder, asked(folder, line)))
    process.start()
    process.join(60)
    assert process.exitcode == 0
    return answer(folder)


def _answer(folder: Path, environment: dict[str, str]) -> None:
    os.chdir(folder)
    os.environ.update(environment)
    main([])


def test_a_shell_that_starts_the_program_is_answered(folder):
    root = str(Path(__file__).parents[2] / "generator")
    environment = os.environ | asked(folder, "asfound tar") | {"PYTHONPATH": root}
    code = "from asfound.cli import main; main()"
    subprocess.run([sys.executable, "-c", code], cwd=folder, env=environment, timeout=60, check=False)
    assert answer(folder) == {"targets"}


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
    assert completed(folder, line) == offered


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell"])
def test_each_shell_gets_its_code(capsys, shell):
    assert main(["completion", shell]) == 0
    assert "asfound" in capsys.readouterr().out
