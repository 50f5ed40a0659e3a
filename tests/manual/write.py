"""Write what of the manual is made from the code: `python -m tests.manual.write`.

The pages are committed, so that a forge shows them as they are; a test says when this was forgotten.
"""

from __future__ import annotations

import re
from pathlib import Path

from tests.manual.parts import PARTS

MANUAL = Path(__file__).parents[2] / "site_templates" / "fixed" / "manual"
_MADE = re.compile(r"(<!-- made by tests/manual/write\.py: ([\w ]+) -->\n).*?(<!-- until here -->)", re.S)


def written(page: str) -> str:
    """The page with every marked part made anew."""
    return _MADE.sub(lambda match: f"{match[1]}\n{PARTS[match[2]]()}\n\n{match[3]}", page)


def made_parts(page: str) -> list[str]:
    """Names of the parts that are marked in a page."""
    return [match[2] for match in _MADE.finditer(page)]


def pages() -> list[Path]:
    """All pages of the manual."""
    return sorted(MANUAL.glob("*.md"))


if __name__ == "__main__":
    for path in pages():
        before = path.read_text(encoding="utf-8")
        after = written(before)
        if after != before:
            path.write_text(after, encoding="utf-8", newline="\n")
            print(f"wrote {path.name}")
