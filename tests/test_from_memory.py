"""Whatever is marked as from memory stands in one list, with what would settle it."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
LIST = ROOT / "tests/published/FROM_MEMORY.md"


def test_whatever_is_from_memory_is_listed_with_what_would_settle_it():
    modules = [file for folder in ("tests", "generator") for file in (ROOT / folder).rglob("*.py")]
    files = {*modules, *(ROOT / "tests/published").glob("*.csv")} - {Path(__file__)}
    marked = {f.relative_to(ROOT).as_posix() for f in files if "from memory" in f.read_text(encoding="utf-8").lower()}
    rows = re.findall(r"^\| (\S+\.\w+) \| (.+) \| (.+) \|$", LIST.read_text(encoding="utf-8"), re.MULTILINE)
    assert sorted(path for path, _, _ in rows) == sorted(marked)
