"""Many more damaged records, logs and histories than the suite draws, and others each time: `python -m
tests.benchmarks.fuzz [times]`, thirty times as many unless told otherwise.

Whatever fails is printed with the example that makes it fail; the suite then gets it as a test of its own.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
TIMES = "30"


def drawn() -> list[str]:
    """The test modules that draw more examples in a long run."""
    files = sorted((ROOT / "tests").rglob("test_*.py"))
    return [str(f.relative_to(ROOT)) for f in files if "@examples(" in f.read_text(encoding="utf-8")]


def main() -> int:
    """Zero where nothing failed."""
    times = sys.argv[1] if len(sys.argv) > 1 else TIMES
    options = ["-m", "pytest", "-p", "no:cacheprovider", "--hypothesis-profile", "explore", *drawn()]
    return subprocess.run([sys.executable, *options], cwd=ROOT, env=os.environ | {"ASFOUND_EXAMPLES": times}).returncode


if __name__ == "__main__":
    sys.exit(main())
