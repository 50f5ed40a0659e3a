"""The content of a site from a folder of records: whole, repeatable to the byte, refused where records hold errors."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from asfound.faults import RecordsRefused
from asfound.printing import templates
from asfound.records.models import RECORD_MODELS
from asfound.refusals import Refusal
from asfound.site.publishing import shell
from asfound.site.publishing.build import site_content
from asfound.site.publishing.content import SiteContent
from asfound.site.publishing.publish import build_site
from tests import builders
from tests.builders import Files
from tests.printing.test_templates import ROOT
from tests.site import store
from tests.site.links import broken_links

SHIPPED = templates.template_folders()[-1]


def written(folder: Path, files: Files) -> Path:
    for path, content in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(content)
    return folder


def small() -> Files:
    """One sensor, one visit."""
    return builders.records(
        builders.sensor("RH-1"), builders.two_pressure(), store.one_visit("2026-03-02-first", {"RH-1": 0.3})
    )


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[SiteContent, list[str]]:
    told: list[str] = []
    records = written(tmp_path_factory.mktemp("records"), small())
    return site_content(records, store.TODAY, SHIPPED, told.append), told


def test_a_visit_leads_to_its_certificate_and_so_does_the_sensor(built: tuple[SiteContent, list[str]]):
    content, _ = built
    path = "certificates/RH-1/2026-03-02-first.preview.pdf"
    assert content.files[path].startswith(b"%PDF-")
    bodies = {page.path: page.body for page in content.pages}
    for leading in ("sensors/RH-1.html", "visits/2026-03-02-first.html"):
        assert f'<a href="../{path}">preview, PDF</a>' in bodies[leading]


def test_the_facility_gives_the_site_its_name(built: tuple[SiteContent, list[str]]):
    assert built[0].name == "Alder seed store"


def test_schemas_of_the_records_are_published(built: tuple[SiteContent, list[str]]):
    names = {path for path in built[0].files if path.startswith("data/schemas/")}
    assert "data/schemas/sensor.json" in names and len(names) == len(RECORD_MODELS)


def test_a_long_build_says_what_it_is_doing(built: tuple[SiteContent, list[str]]):
    assert built[1][0] == f"reading and assessing {len(small())} records"
    assert any(line.startswith("assessed 3 results in ") for line in built[1])


def test_faulty_records_give_no_content(tmp_path: Path):
    files = {**small(), **builders.visit("2026-04-01-odd", *store.three_points("NOBODY-1", 0.1))}
    with pytest.raises(RecordsRefused) as refused:
        site_content(written(tmp_path, files), store.TODAY, SHIPPED, lambda text: None)
    assert "unknown-sensor" in {fault.rule.name for fault in refused.value.faults}


def test_a_sensor_whose_page_would_stand_on_the_list_is_refused_with_a_cure(tmp_path: Path):
    records = written(tmp_path, {**small(), **builders.sensor("index")})
    with pytest.raises(Refusal, match=r"sensors/index\.html") as refused:
        site_content(records, store.TODAY, SHIPPED, lambda text: None)
    assert "cure: give the sensor, reference or visit another id" in str(refused.value)


def test_visits_after_the_day_are_not_known_on_it(tmp_path: Path):
    content = site_content(written(tmp_path, store.store()), date(2026, 4, 1), SHIPPED, lambda text: None)
    visits = {page.path for page in content.pages if page.path.startswith("visits/2026")}
    assert visits == {f"visits/2026-0{day}.html" for day in ("2-02-probe", "3-02-all", "3-09-creep")}
    assert not [path for path in content.files if "2026-11" in path]
    assert not [page for page in content.pages if page.path.startswith("findings/") and "OUT-1" in page.path]


def digest_in_another_process(records: Path, seed: str) -> str:
    program = (
        "import hashlib, sys; from datetime import date; from pathlib import Path\n"
        "from asfound.site.publishing.build import site_content; from asfound.printing import templates\n"
        "c = site_content(Path(sys.argv[1]), date(2026, 12, 31), templates.template_folders()[-1], lambda text: None)\n"
        "h = hashlib.sha256()\n"
        "for p in c.pages: h.update(repr(p).encode())\n"
        "for n, b in c.files.items(): h.update(n.encode() + b)\n"
        "print(h.hexdigest())"
    )
    environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": f"{ROOT / 'generator'}{os.pathsep}{ROOT}"}
    done = subprocess.run(
        [sys.executable, "-c", program, str(records)], env=environment, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


def test_same_records_same_day_same_bytes(tmp_path: Path, built: tuple[SiteContent, list[str]]):
    """In another process, with another order of sets: pages, downloads and certificates."""
    content, _ = built
    here = hashlib.sha256()
    for page in content.pages:
        here.update(repr(page).encode())
    for name, content_bytes in content.files.items():
        here.update(name.encode() + content_bytes)
    assert digest_in_another_process(written(tmp_path, small()), "12345") == here.hexdigest()


def test_a_published_site_has_no_broken_link_and_asks_nobody_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(shell, "load_builder", lambda: lambda records, day, templates: store.content())
    (tmp_path / "records").mkdir()
    published = build_site(ROOT / "mkdocs.yml", tmp_path / "records", tmp_path / "site", store.TODAY)
    assert published.pages == len(store.content().pages)
    assert broken_links(tmp_path / "site") == []
    for style in (tmp_path / "site").rglob("*.css"):
        loaded = re.findall(r"""(?:url\(|@import)\s*["']?([^"')\s;]+)""", style.read_text(encoding="utf-8"))
        assert [address for address in loaded if re.match(r"(?!data:)[a-z]+:|//", address)] == [], style.name
    for script in (SHIPPED / "scripts").glob("*.js"):
        assert not re.search(r"https?://|\bfetch\(|XMLHttpRequest|\bimport\(", script.read_text(encoding="utf-8"))
