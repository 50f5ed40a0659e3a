"""The README names what the program knows."""

import re
from pathlib import Path

import pytest

from asfound import humidity
from asfound.cli import main
from asfound.commands.common import CLEAN
from asfound.records.visits.columns import COLUMNS
from asfound.site.publishing.downloads import RESULT_COLUMNS

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_every_column_of_a_visit_and_every_word_in_it_is_listed() -> None:
    section = README.split("### Columns of a visit")[1].split("\n## ")[0]
    for column in COLUMNS.values():
        for word in (column.name, *column.choices):
            assert f"`{word}`" in section


def test_every_published_column_is_explained_in_its_order() -> None:
    section = README.split("**Published data.**")[1].split("`data/contributions")[0]
    named = [name for line in re.findall(r"^\| ([^|]+) \|", section, re.M)[2:] for name in line.split(", ")]
    assert named == list(RESULT_COLUMNS)


def test_the_promised_functions_are_there() -> None:
    promised = re.findall(r"^    (\w+),  # \(", README, re.M)
    assert len(promised) == 8
    for name in promised:
        assert name in humidity.__all__
        assert callable(getattr(humidity, name))


def test_the_example_visit_is_explained_as_it_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    block = README.split("```csv\n")[1].split("```")[0]
    file = tmp_path / "2026-11-24-drying.csv"
    file.write_text("".join(f"{line.strip()}\n" for line in block.strip().splitlines()), encoding="utf-8")
    assert main(["explain", str(file), "--records", str(ROOT / "records")]) == CLEAN
    assert "DRY-11 (serial " in capsys.readouterr().out
