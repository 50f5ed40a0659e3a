"""A site is built whole or not at all, the same from the same records, and served on when records break."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import click.testing
import pytest
from mkdocs.__main__ import cli as mkdocs_command

from asfound.faults import Fault, Place, RecordsRefused, Rule
from asfound.printing.templates import template_folders
from asfound.refusals import Refusal
from asfound.site.publishing import publish, shell
from asfound.site.publishing.content import SiteContent
from asfound.site.publishing.publish import build_site, serve_site
from tests.git_histories import BEN, History
from tests.site import sample
from tests.site.conftest import tree

Use = Callable[[shell.Builder], None]
ROOT = Path(__file__).parents[3]
SHIPPED = template_folders()[0]

FAULT = Fault(
    rule=Rule(name="unknown-reference", summary="a reference without a record"),
    place=Place(path="visits/2026/2026-03-14-drying.csv", line=7, column=4),
    message="reference 'DPH-3' has no record",
    cure="add references/DPH-3.yml, or correct the id",
)


def refuse_faulty(records: Path, day: date, templates: Path) -> SiteContent:
    """The sample's builder, but records whose note says so are faulty."""
    if "faulty" in (records / "note.txt").read_text(encoding="utf-8"):
        raise RecordsRefused([FAULT])
    return sample.sample_content(records, day, templates)


def write(records: Path, note: str) -> None:
    (records / "note.txt").write_text(note, encoding="utf-8")


def configured(folder: Path, fixed: Path | str, *lines: str) -> Path:
    """The mkdocs.yml of a facility with these fixed pages."""
    path = folder / "mkdocs.yml"
    text = "\n".join([f"INHERIT: {SHIPPED}/site.yml", f"docs_dir: {fixed}", *lines, ""])
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def config(tmp_path: Path, brief_manual: Path) -> Path:
    """A mkdocs.yml as a facility has it, beside its records; what is not about all of a site has a brief manual."""
    return configured(tmp_path, brief_manual)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The sample's site with its manual, as this process builds it."""
    top = tmp_path_factory.mktemp("whole")
    (top / "records").mkdir()
    write(top / "records", "All is well.")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shell, "load_builder", lambda: sample.sample_content)
        return tree(build_site(configured(top, f"{SHIPPED}/fixed"), top / "records", top / "site", sample.DAY).site)


def run_mkdocs(config: Path, site: Path, *options: str) -> click.testing.Result:
    arguments = ["build", "--config-file", str(config), "--site-dir", str(site), *options]
    environment = {"ASFOUND_DATE": sample.DAY.isoformat()}
    return click.testing.CliRunner().invoke(mkdocs_command, arguments, env=environment)


def test_the_same_records_give_the_same_bytes(builder: Use, records: Path, tmp_path: Path):
    # With an address there is a dated map of the site.
    config = configured(tmp_path, f"{SHIPPED}/fixed", "site_url: https://asfound.example/")
    first = build_site(config, records, tmp_path / "one" / "site", sample.DAY)
    elsewhere = tmp_path / "another place"
    shutil.copytree(records, elsewhere / "records")
    time.sleep(1.1)  # what is stamped with the second would differ
    second = build_site(config, elsewhere / "records", elsewhere / "public", sample.DAY)
    assert tree(first.site) == tree(second.site)
    assert b"<lastmod>2026-03-20</lastmod>" in (first.site / "sitemap.xml").read_bytes()
    own = [path for path in first.site.rglob("*.html") if "manual" not in path.parts]
    assert (first.pages, first.files) == (len(own), 1)


@pytest.mark.parametrize("hash_seed", ["1", "2"])
def test_the_order_of_hashing_leaves_no_trace(hash_seed: str, whole: dict[str, bytes], records: Path, tmp_path: Path):
    config = configured(tmp_path, f"{SHIPPED}/fixed")
    script = (
        "import sys; from pathlib import Path;"
        "from asfound.site.publishing import publish, shell; from tests.site import sample;"
        "shell.load_builder = lambda: sample.sample_content;"
        "publish.build_site(*map(Path, sys.argv[1:]), sample.DAY)"
    )
    site = tmp_path / "other"
    paths = [sys.executable, "-c", script, str(config), str(records), str(site)]
    subprocess.run(paths, cwd=ROOT, env={**os.environ, "PYTHONHASHSEED": hash_seed}, check=True)
    assert tree(site) == whole


def test_mkdocs_alone_makes_the_same_site(builder: Use, records: Path, tmp_path: Path, whole: dict[str, bytes]):
    result = run_mkdocs(configured(tmp_path, f"{SHIPPED}/fixed"), tmp_path / "theirs")
    assert result.exit_code == 0, result.output
    assert tree(tmp_path / "theirs") == whole


def test_faulty_records_leave_the_old_site_byte_for_byte(builder: Use, config: Path, records: Path, tmp_path: Path):
    builder(refuse_faulty)
    site = build_site(config, records, tmp_path / "site", sample.DAY).site
    before = tree(site)
    write(records, "faulty")
    with pytest.raises(RecordsRefused) as refused:
        build_site(config, records, site, sample.DAY)
    assert refused.value.faults == (FAULT,)
    assert tree(site) == before
    result = run_mkdocs(config, site)
    assert result.exit_code == 1
    assert "visits/2026/2026-03-14-drying.csv:7:4: error[unknown-reference] reference 'DPH-3'" in result.output
    assert "  cure: add references/DPH-3.yml" in result.output
    assert "Traceback" not in result.output
    assert tree(site) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mkdocs.yml", "records", "site"]


def test_a_diagnostic_names_the_file_as_seen_from_where_the_user_stands(
    records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    refused = RecordsRefused([FAULT])
    monkeypatch.chdir(tmp_path)
    assert shell.refusal_text(refused, records).startswith("records/visits/2026/2026-03-14-drying.csv:7:4: ")
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    assert shell.refusal_text(refused, records).startswith(f"{records.as_posix()}/visits/2026/")


def test_a_build_that_fails_half_way_leaves_the_old_site(builder: Use, config: Path, records: Path, tmp_path: Path):
    site = build_site(config, records, tmp_path / "site", sample.DAY).site
    before = tree(site)
    shell_folder = tmp_path / "site_templates" / "shell"
    shell_folder.mkdir(parents=True)
    (shell_folder / "main.html").write_text("{{ page.title / 2 }}", encoding="utf-8")
    with pytest.raises(TypeError):
        build_site(config, records, site, sample.DAY)
    assert tree(site) == before
    assert not list(tmp_path.glob(".site*"))


def test_a_strict_build_that_warns_publishes_nothing(
    builder: Use, config: Path, brief_manual: Path, records: Path, tmp_path: Path
):
    site = build_site(config, records, tmp_path / "site", sample.DAY).site
    before = tree(site)
    fixed = shutil.copytree(brief_manual, tmp_path / "fixed")
    (fixed / "help.md").write_text("# Help\n\n[nowhere](nowhere.md)\n", encoding="utf-8")
    configured(tmp_path, "fixed")
    with pytest.raises(Refusal, match="1 warnings in strict mode"):
        build_site(config, records, site, sample.DAY)
    assert run_mkdocs(config, site).exit_code == 1
    assert tree(site) == before
    configured(tmp_path, "fixed", "strict: false")
    build_site(config, records, site, sample.DAY)
    assert "help.html" in tree(site)


def test_a_list_that_no_one_made_is_missed(builder: Use, config: Path, records: Path, tmp_path: Path):
    def build(records: Path, day: date, templates: Path) -> SiteContent:
        content = sample.sample_content(records, day, templates)
        return replace(content, pages=tuple(page for page in content.pages if page.path != "schedule.html"))

    builder(build)
    with pytest.raises(Refusal):
        build_site(config, records, tmp_path / "site", sample.DAY)
    assert not (tmp_path / "site").exists()


def test_a_fixed_page_in_the_place_of_ours_is_refused(builder: Use, config: Path, records: Path, tmp_path: Path):
    fixed = tmp_path / "fixed"
    fixed.mkdir()
    (fixed / "index.md").write_text("# Mine\n", encoding="utf-8")
    configured(tmp_path, "fixed")
    with pytest.raises(Refusal, match=r"index.md is made by asfound .*\n  cure: rename yours"):
        build_site(config, records, tmp_path / "site", sample.DAY)


def test_a_missing_folder_of_records_is_told_with_the_cure(builder: Use, config: Path, tmp_path: Path):
    with pytest.raises(Refusal, match=r"there is no folder of records at .*\n  cure: name it with --records"):
        build_site(config, tmp_path / "nowhere", tmp_path / "site", sample.DAY)
    assert not list(tmp_path.glob(".site*"))


def test_a_mkdocs_yml_without_the_plugin_is_told_with_the_cure(records: Path, tmp_path: Path):
    config = tmp_path / "mkdocs.yml"
    (tmp_path / "docs").mkdir()
    config.write_text("site_name: plain\nplugins: []\n", encoding="utf-8")
    with pytest.raises(Refusal, match="does not name the plugin asfound\n  cure: "):
        build_site(config, records, tmp_path / "site", sample.DAY)


def test_a_mkdocs_yml_that_cannot_be_read_is_no_traceback(records: Path, tmp_path: Path):
    config = tmp_path / "mkdocs.yml"
    config.write_text("site_name: [", encoding="utf-8")
    with pytest.raises(Refusal):
        build_site(config, records, tmp_path / "site", sample.DAY)
    with pytest.raises(Refusal):
        build_site(tmp_path / "missing.yml", records, tmp_path / "site", sample.DAY)


def test_a_build_leaves_the_environment_as_it_was(
    builder: Use, config: Path, records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    build_site(config, records, tmp_path / "site", sample.DAY)
    assert "SOURCE_DATE_EPOCH" not in os.environ
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "12")
    build_site(config, records, tmp_path / "site", sample.DAY)
    assert os.environ["SOURCE_DATE_EPOCH"] == "12"


class Serving:
    """A running `serve`: what it says, and what it answers."""

    def __init__(self, config: Path, records: Path, site: Path) -> None:
        self.said: list[str] = []
        self._stop = threading.Event()
        self._thread = threading.Thread(
            target=serve_site,
            args=(config, records, site, sample.DAY, 0),
            kwargs={"say": self.said.append, "stop": self._stop, "poll_s": 0.02},
        )
        self._thread.start()

    def wait_for(self, text: str, times: int = 1) -> None:
        until = time.monotonic() + 30
        while sum(text in line for line in self.said) < times:
            assert self._thread.is_alive() and time.monotonic() < until, self.said
            time.sleep(0.01)

    def get(self, path: str) -> str:
        self.wait_for("serving ")
        address = self.said[0].split(" at ")[1].split(" ")[0]
        with urllib.request.urlopen(address + path, timeout=10) as answer:
            assert answer.headers["Cache-Control"] == "no-store"
            return str(answer.read(), "utf-8")

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(timeout=30)
        assert not self._thread.is_alive()


@pytest.fixture
def serving(builder: Use, config: Path, records: Path, tmp_path: Path) -> Iterator[Serving]:
    builder(refuse_faulty)
    started = Serving(config, records, tmp_path / "site")
    yield started
    started.stop()


def test_serve_builds_again_once_something_is_committed(builder: Use, config: Path, tmp_path: Path):
    """What a page says of approvals changes with a commit, though no record does."""
    builder(refuse_faulty)
    history = History(tmp_path / "store", {"note.txt": b"All is well."})
    serving = Serving(config, history.records, tmp_path / "site")
    serving.wait_for("built 12 pages")
    history.commit(by=BEN, on="2026-03-17")
    serving.wait_for("built 12 pages", times=2)
    serving.stop()


def test_serve_shows_a_changed_record_and_survives_a_faulty_one(serving: Serving, records: Path):
    serving.wait_for("built 12 pages")
    assert "All is well." in serving.get("")
    write(records, "A sensor was added.")
    serving.wait_for("built 12 pages", times=2)
    assert "A sensor was added." in serving.get("index.html")
    write(records, "faulty")
    serving.wait_for("error[unknown-reference]")
    assert "A sensor was added." in serving.get("index.html"), "the last good site"
    write(records, "Mended.")
    serving.wait_for("built 12 pages", times=3)
    assert "Mended." in serving.get("index.html")


def test_serve_sees_a_new_and_a_removed_record(serving: Serving, records: Path):
    serving.wait_for("built 12 pages")
    (records / "sensors").mkdir()
    (records / "sensors" / "RH-102.yml").write_text("", encoding="utf-8")
    serving.wait_for("built 12 pages", times=2)
    (records / "sensors" / "RH-102.yml").unlink()
    serving.wait_for("built 12 pages", times=3)


def test_serve_sees_a_changed_template_of_the_user(builder: Use, config: Path, records: Path, tmp_path: Path):
    styles = tmp_path / "site_templates" / "styles"
    styles.mkdir(parents=True)
    (styles / "house.css").write_text("/* one */", encoding="utf-8")
    serving = Serving(config, records, tmp_path / "site")
    try:
        serving.wait_for("built 12 pages")
        assert "one" in serving.get("assets/styles/house.css")
        (styles / "house.css").write_text("/* two */ ", encoding="utf-8")
        serving.wait_for("built 12 pages", times=2)
        assert "two" in serving.get("assets/styles/house.css")
    finally:
        serving.stop()


def test_serve_waits_for_records_that_are_faulty_from_the_start(
    builder: Use, config: Path, records: Path, tmp_path: Path
):
    builder(refuse_faulty)
    write(records, "faulty")
    serving = Serving(config, records, tmp_path / "site")
    try:
        serving.wait_for("Nothing is published")
        with pytest.raises(urllib.error.HTTPError):
            serving.get("index.html")
        write(records, "Mended.")
        serving.wait_for("built 12 pages")
        assert "Mended." in serving.get("index.html")
    finally:
        serving.stop()


def test_serve_outlives_a_template_that_is_being_worked_on(builder: Use, config: Path, records: Path, tmp_path: Path):
    broken = [True]

    def build(records: Path, day: date, templates: Path) -> SiteContent:
        if broken[0]:
            raise RuntimeError("a template is half written")
        return sample.sample_content(records, day, templates)

    builder(build)
    serving = Serving(config, records, tmp_path / "site")
    try:
        serving.wait_for("a template is half written")
        broken[0] = False
        write(records, "Mended.")
        serving.wait_for("built 12 pages")
    finally:
        serving.stop()


def test_serve_listens_on_this_machine_only_and_says_when_the_port_is_taken(
    serving: Serving, config: Path, records: Path, tmp_path: Path
):
    serving.wait_for("serving ")
    port = int(serving.said[0].split(":")[2].split("/")[0])
    with pytest.raises(Refusal, match=f"port {port} cannot be had: .*\n  cure: name another with --port"):
        serve_site(config, records, tmp_path / "other", sample.DAY, port, say=serving.said.append)
    with publish._server(tmp_path, 0) as server:
        assert server.server_address[0] == "127.0.0.1"
