"""The tutorial does what it says: every line is run, and every line that it shows is seen."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from asfound.scaffold.facility.empty_facility import EMPTY

TUTORIAL = EMPTY / "pages" / "first-half-hour.md"
BLOCK = re.compile(r"^```(sh|text)\n(.*?)^```$", re.M | re.S)


@pytest.mark.skipif(shutil.which("bash") is None, reason="the tutorial's lines are for a shell that is not here")
def test_the_first_half_hour_runs_as_it_is_written(tmp_path: Path):
    shim = tmp_path / "bin" / "asfound"
    shim.parent.mkdir()
    source = Path(__file__).parents[2] / "generator"
    shim.write_text(f'#!/bin/sh\nPYTHONPATH="{source}" exec "{sys.executable}" -m asfound "$@"\n')
    shim.chmod(0o755)
    configuration = tmp_path / "gitconfig"
    configuration.write_text("[user]\n\tname = First Technician\n\temail = technician@example.org\n")
    environment = {
        **{name: value for name, value in os.environ.items() if not name.startswith(("GIT_", "ASFOUND_"))},
        "PATH": f"{shim.parent}{os.pathsep}{os.environ['PATH']}",
        "GIT_CONFIG_GLOBAL": str(configuration),
        "GIT_CONFIG_NOSYSTEM": "1",
    }
    blocks = BLOCK.findall(TUTORIAL.read_text(encoding="utf-8"))
    assert len(blocks) > 12
    here, said = tmp_path, ""
    for kind, text in blocks:
        if kind == "text":
            shown = [" ".join(line.split()) for line in text.splitlines()]
            plain = " ".join(said.split())
            assert not [line for line in shown if line not in plain], f"not seen in:\n{said}"
            continue
        run = subprocess.run(
            ["bash", "-e", "-o", "pipefail", "-c", f"{text}\npwd > '{tmp_path}/where'"],
            cwd=here,
            env=environment,
            capture_output=True,
            text=True,
            timeout=240,
            check=False,
        )
        said = run.stdout + run.stderr
        assert run.returncode == 0, f"{text}\n{said}"
        here = Path((tmp_path / "where").read_text().strip())
