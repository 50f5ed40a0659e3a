"""What users read does what it says: every command line is run, and every line that is shown is seen."""

from __future__ import annotations

import doctest
import json
import re
import shutil
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from asfound import humidity
from asfound.records.load import load
from asfound.records.models.log_mapping import read_log_mapping
from asfound.records.visits.columns import COLUMNS
from asfound.scaffold.demo.story import TODAY
from asfound.tables.columns import TABLES
from tests import builders
from tests.documents import DEMO_README, README, ROOT, TUTORIAL, Reader, blocks, new_user, page
from tests.manual.write import MANUAL, made_parts, pages, written
from tests.repositories import MINIMAL
from tests.test_packaging import SERVE, TEST, on_windows

NOT_RUN = {
    SERVE: "installs, which .ci/run does, and serves until it is stopped: tests/site/publishing/test_publish.py",
    TEST: "installs and runs these tests: .ci/run does",
    "asfound serve": "serves until it is stopped: tests/site/publishing/test_publish.py",
}
"""Lines of the documents that no test here runs, and why."""

STORIES = {
    "demo": (str(TODAY), (README, DEMO_README, page("visit"), page("logs"), page("review")), 20),
    "first half hour": ("2026-03-12", (TUTORIAL, page("planning"), page("certificates"), page("years")), 30),
    "new facility": ("2026-03-12", (page("facility"),), 5),
}
"""What is read in one folder after each other, on which day, and at least how many lines there are to run."""

DOCUMENTS = [README, DEMO_README, TUTORIAL, *pages()]


@pytest.mark.skipif(shutil.which("bash") is None, reason="the lines are for a shell that is not here")
@pytest.mark.parametrize("story", STORIES)
def test_every_line_can_be_typed_as_it_is_written(
    story: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    day, documents, least = STORIES[story]
    new_user(tmp_path, monkeypatch, day)
    reader = Reader(tmp_path, monkeypatch, capsys, set(NOT_RUN))
    assert sum(map(reader.read, documents)) >= least


def test_every_block_of_commands_belongs_to_a_story() -> None:
    told = {document for _, documents, _ in STORIES.values() for document in documents}
    assert {document for document in DOCUMENTS for block in blocks(document) if block.kind == "sh"} == told
    kinds = {block.kind for document in DOCUMENTS for block in blocks(document)}
    assert kinds == {"", "bat", "csv", "python", "sh", "text", "yaml"}, "nothing hides in another language"


def test_what_is_left_out_stands_in_a_document() -> None:
    lines = {line.split("#")[0].strip() for doc in DOCUMENTS for block in blocks(doc) for line in block.lines}
    assert set(NOT_RUN) <= lines


def test_windows_is_told_the_same_words() -> None:
    for document in DOCUMENTS:
        ours = [line for block in blocks(document) if block.kind == "sh" for line in block.lines]
        theirs = [line for block in blocks(document) if block.kind == "bat" for line in block.lines]
        assert theirs == [on_windows(line) for line in ours if "-m venv" in line]


def test_the_readme_is_short_and_keeps_to_its_subjects() -> None:
    text = README.read_text(encoding="utf-8")
    assert text.count("\n") <= 150
    assert re.findall(r"^## (.*)", text, re.M) == [
        "Two commands",
        "Safety first",
        "A facility of your own",
        "One visit",
        "Commands",
        "Manual",
    ]


def test_what_is_made_from_the_code_is_made_anew() -> None:
    stale = [path.name for path in pages() if written(text := path.read_text(encoding="utf-8")) != text]
    assert not stale, "run python -m tests.manual.write"


def test_every_table_has_its_page() -> None:
    made = {path.stem: made_parts(path.read_text(encoding="utf-8")) for path in pages()}
    assert {name: parts for name, parts in made.items() if parts} == {
        "commands": ["commands"],
        "facility": ["columns of old lists"],
        "humidity": ["functions"],
        "published-data": [f"published {table.name}" for table in TABLES],
        "records": ["keys"],
        "rules": ["errors", "reservations", "rules of changes"],
        "visit": ["columns", "units"],
    }


def test_every_column_and_every_function_is_listed() -> None:
    visit = page("visit").read_text(encoding="utf-8")
    assert all(f"`{word}`" in visit for column in COLUMNS.values() for word in (column.name, *column.choices))
    assert re.findall(r"^### (\w+)$", page("humidity").read_text(encoding="utf-8"), re.M) == humidity.__all__
    assert len(humidity.__all__) == 21


def test_the_index_names_every_page_and_the_readme_links_to_it() -> None:
    index = page("index").read_text(encoding="utf-8")
    readme = README.read_text(encoding="utf-8")
    for path in pages():
        assert f"](site_templates/fixed/manual/{path.name})" in readme
        assert path.stem == "index" or f"]({path.name})" in index


def test_every_link_leads_to_a_heading_that_is_there() -> None:
    for document in (README, *pages()):
        for target, anchor in re.findall(r"\]\(([^)#\s]*)#?([^)\s]*)\)", document.read_text(encoding="utf-8")):
            file = (document.parent / target) if target else document
            assert file.is_file(), f"{document.name}: {target}"
            assert document.parent != MANUAL or file.parent == MANUAL, "a site has no other file to lead to"
            headings = re.findall(r"^#+ (.*)", file.read_text(encoding="utf-8"), re.M) if anchor else []
            assert not anchor or headings.count(_heading_of(anchor, headings)) == 1, f"{document.name}: #{anchor}"


def _heading_of(anchor: str, headings: list[str]) -> str | None:
    """The heading that forges and the site alike give this anchor."""
    return next((heading for heading in headings if heading.lower().replace(" ", "-") == anchor), None)


def test_the_library_computes_what_the_manual_shows() -> None:
    (example,) = (block.text for block in blocks(page("humidity")) if block.kind == "python")
    test = doctest.DocTestParser().get_doctest(example, {}, "humidity.md", None, 0)
    assert len(test.examples) >= 4
    assert doctest.DocTestRunner(verbose=False).run(test).failed == 0


def test_a_notebook_opens_what_the_manual_shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (example,) = (block.text for block in blocks(page("published-data")) if block.kind == "python")
    shutil.copytree(MINIMAL, tmp_path / "records")
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    exec(example, names)
    assert not names["humid"].empty and "sensor" in names["budget"].sum().index.get_level_values("part")


def test_the_example_of_a_mapping_maps() -> None:
    (example,) = (block.text for block in blocks(page("logs")) if block.kind == "yaml")
    mapping, faults = read_log_mapping("logs/2026-11-24-drying.yml", example.encode())
    assert not faults
    assert mapping is not None and mapping.of_sensors == ("DRY-11", "DRY-12")


def test_the_examples_of_sizes_are_read_as_keys_of_a_generator_or_a_family() -> None:
    examples = [block.text for block in blocks(page("records")) if block.kind == "yaml"]
    files = builders.records(builders.two_pressure())
    for example in examples:
        keys = YAML(typ="base").load(example)
        path = "families/rush.yml" if "humidity" in keys else "references/GEN-01.yml"
        text = json.dumps(json.loads(files[path]) | keys).encode()
        records, faults = load(files | {path: text})
        assert records is not None and not faults, [fault.text() for fault in faults]
    assert len(examples) == 3


def test_the_day_of_the_demo_is_one() -> None:
    assert f"    day: {TODAY} #" in (ROOT / "mkdocs.yml").read_text(encoding="utf-8")
