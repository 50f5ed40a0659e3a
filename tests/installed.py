"""`asfound` of this source tree as a program on the path, for shells, hooks and jobs that call it by its name."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def install(folder: Path, patch: pytest.MonkeyPatch) -> Path:
    """Put it into `folder`/bin, first on the path; the file that is called.

    What is installed is compiled once. Where this process is told to leave no byte code behind, as containers like to
    be, that is kept beside the temporary folder: else each hook of each commit would compile every package anew.
    """
    program = folder / "bin" / "asfound"
    program.parent.mkdir()
    settings = f"PYTHONPATH='{ROOT / 'generator'}'"
    if sys.dont_write_bytecode:
        settings += f" PYTHONDONTWRITEBYTECODE= PYTHONPYCACHEPREFIX='{folder.parent / 'byte-code'}'"
    program.write_text(f'#!/bin/sh\n{settings} exec "{sys.executable}" -m asfound "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    patch.setenv("PATH", f"{program.parent}{os.pathsep}{os.environ['PATH']}")
    return program
