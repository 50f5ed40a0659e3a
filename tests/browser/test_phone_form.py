"""The form on the phone, as a technician fills it in: kept at once, doubted where implausible, read by `check`."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from asfound.cli import main
from asfound.commands.common import CLEAN
from asfound.planning.target_model import Conditions
from asfound.printing.templates import template_folders
from asfound.records.load import load
from asfound.records.snapshot import from_folder
from asfound.sheets.phone import visit_form
from asfound.sheets.plan import Plan, plan
from tests.browser.conftest import PHONE, ROOT, KeptPages, at_page, watched_page

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

DAY = "2026-11-26"
ON_PHONE = {"viewport": PHONE, "has_touch": True, "is_mobile": True}
NOW = "2026-11-26T09:05:00+01:00"
READINGS = {
    "saturation_temperature [degC]": "15,02",
    "chamber_pressure [kPa absolute]": "100.83",
    "chamber_temperature [degC]": "14.99",
}


def planned(*sensors: str) -> Plan:
    files = from_folder(ROOT / "records")
    # As it was before DRY-12 was read alone: last time the three had shared a chamber.
    records, _ = load({path: files[path] for path in files if not path.startswith("visits/2026/2026-11-24")})
    assert records is not None
    return plan(records, sensors, date.fromisoformat(DAY), Conditions(ambient_pa=100_800.0), technician="varlund")


def drying_room(folder: Path) -> Path:
    """The demo's records as far as they bear on the drying room: what it has of visits, and of no other room."""
    shutil.copytree(
        ROOT / "records", folder, ignore=shutil.ignore_patterns("issued", "findings", "trends", "PROBE-01.yml")
    )
    for visit in (folder / "visits").rglob("*.csv"):
        if not visit.stem.endswith(("drying-a", "drying-a-log")):
            visit.unlink()
    return folder


@pytest.fixture(scope="module")
def drying(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Path]:
    """Three sensors in one chamber; the last shows temperature too."""
    visit = planned("DRY-11", "DRY-12", "DRY-13")
    file = tmp_path_factory.mktemp("form") / f"{visit.visit}.html"
    file.write_bytes(visit_form(visit, template_folders()))
    return visit, file


@pytest.fixture
def page(kept_pages: KeptPages, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A phone at the cart, at five past nine."""
    options = {**ON_PHONE, "timezone_id": "America/Denver", **getattr(request, "param", {})}
    with at_page(kept_pages, **options) as opened:
        opened.clock.set_fixed_time(NOW)
        yield opened


def box(page: Page, key: str) -> Locator:
    return page.locator(f'[data-key="{key}"]')


def reload(page: Page) -> None:
    """As a person would: Chromium hands what is kept to its other process in the background, within milliseconds."""
    page.wait_for_timeout(250)
    page.reload()


FILL_IN = """all => {
  for (const [key, text] of Object.entries(all)) {
    const field = document.querySelector(`[data-key="${CSS.escape(key)}"]`);
    if (!field.checkVisibility()) throw new Error(`${key} is out of sight`);
    field.focus();
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
}"""


def fill_point(page: Page, visit: Plan, phase: str, at: int, error: float = 0.1) -> None:
    session = visit.sessions[0]
    target = session.points[at]
    step = f"s0.{phase}.{at}"
    details = page.locator(f'details[data-step="{step}"]')
    if details.get_attribute("open") is None:
        details.locator("summary").click()
    box(page, f"{step}.soak").fill("20")
    box(page, f"{step}.room_temperature [degC]").fill("15.1")
    box(page, f"{step}.room_humidity [%RH]").fill("15")
    typed = {}
    for n in range(session.readings):
        reading = f"{step}.{n}"
        hour = 9 + 2 * at + (7 if phase == "as_left" else 0)
        typed[f"{reading}.time"] = f"{hour:02d}:{10 + 3 * n}"
        typed[f"{reading}.saturation_pressure [kPa absolute]"] = f"{target.settings[0].value:.1f}"
        typed |= {f"{reading}.{header}": text for header, text in READINGS.items()}
        for part in session.parts:
            shown = target.point + error
            typed[f"{reading}.{part.id}.output [mA]"] = f"{4 + 0.16 * shown:.3f}"
            typed[f"{reading}.{part.id}.far_end [%RH]"] = f"{shown:.1f}"
            if len(part.boxes) > 2:
                typed[f"{reading}.{part.id}.output_temperature [mA]"] = "11.19"
                typed[f"{reading}.{part.id}.far_end_temperature [degC]"] = "14,9"
    page.evaluate(FILL_IN, typed)  # in one go: the browser takes seconds where each of 300 boxes is asked for by itself


def exported(page: Page, folder: Path) -> Path:
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download the CSV").click()
    file = folder / waiting.value.suggested_filename
    waiting.value.save_as(file)
    return file


def shown(page: Page) -> str:
    """The CSV as the form shows it."""
    page.locator("summary", has_text="The CSV as text").click()
    page.wait_for_function("document.getElementById('csv').value !== ''")
    return page.locator("#csv").input_value()


def test_filled_in_and_loaded_again_it_exports_what_check_accepts(
    page: Page, drying: tuple[Plan, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    visit, file = drying
    page.goto(file.as_uri())
    for at in range(2):
        fill_point(page, visit, "as_found", at)
    reload(page)
    assert box(page, "s0.as_found.1.2.DRY-13.far_end_temperature [degC]").input_value() == "14,9", "it survived"
    fill_point(page, visit, "as_found", 2, error=1.9)
    page.get_by_role("button", name="Add an adjustment and as left").click()
    for part in ("DRY-11", "DRY-12", "DRY-13"):
        box(page, f"s0.adjusted.{part}.adjustment").select_option("span")
        box(page, f"s0.adjusted.{part}.time").fill("15:00")
        box(page, f"s0.adjusted.{part}.from").fill('trimmer 3, "as made"')
        box(page, f"s0.adjusted.{part}.to").fill("4")
    reload(page)
    for at in range(3):
        fill_point(page, visit, "as_left", at)
    records = drying_room(tmp_path / "records")
    written = exported(page, records / "visits/2026")
    assert page.locator("#missing li").count() == 0, page.locator("#missing").inner_text()
    assert written.name == f"{visit.visit}.csv"
    lines = written.read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1 + 2 * 3 * 3 * 3 + 3
    assert lines[1].startswith(f"DRY-11,{DAY} 09:10,as_found,15,RL-20417,")
    assert main(["check", "--records", str(records)]) == CLEAN, capsys.readouterr().out
    capsys.readouterr()
    assert main(["explain", str(written), "--records", str(records)]) == CLEAN
    said = capsys.readouterr().out
    assert said.count("pass, as left") == 3
    assert "far-from-target" not in said


def test_every_entry_is_kept_at_once_and_said_to_be(page: Page, drying: tuple[Plan, Path]):
    page.goto(drying[1].as_uri())
    saved = page.locator("#saved")
    assert saved.inner_text() == "nothing entered yet"
    box(page, "s0.DRY-11.serial").fill("RL-1")
    assert saved.inner_text() == "saved 09:05", "by the facility's clock, in whatever zone the phone is"
    reload(page)
    assert box(page, "s0.DRY-11.serial").input_value() == "RL-1"
    assert box(page, "s0.DRY-12.serial").input_value() == "RL-20418", "as installed"
    page.once("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Empty this form").click()
    reload(page)
    assert box(page, "s0.DRY-11.serial").input_value() == "RL-20417"


def test_what_was_typed_in_another_window_is_offered(page: Page, drying: tuple[Plan, Path]):
    page.goto(drying[1].as_uri())
    other = page.context.new_page()
    other.goto(drying[1].as_uri())
    box(other, "technician").fill("oskwin")
    page.get_by_role("button", name="Load that").click()
    page.wait_for_function("document.getElementById('technician').value === 'oskwin'")
    other.close()


def test_where_a_browser_keeps_nothing_it_is_said(browser: Browser, drying: tuple[Plan, Path]):
    with watched_page(browser, **ON_PHONE) as page:
        page.add_init_script(
            "Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no', 'SecurityError'); }});"
        )
        page.goto(drying[1].as_uri())
        assert page.get_by_role("alert").filter(has_text="This browser keeps nothing").is_visible()
        box(page, "technician").fill("oskwin")
        assert page.locator("#saved").inner_text() == "not saved"
        assert shown(page).startswith("sensor,time,phase"), "and it can be exported"


@pytest.mark.parametrize(
    ("header", "typed", "why"),
    [
        ("saturation_pressure [kPa absolute]", "98.6", "far from what is to be dialled"),
        ("saturation_pressure [kPa absolute]", "6.8", "below 50 kPa absolute"),
        ("chamber_temperature [degC]", "159", "above 90 °C"),
        ("chamber_pressure [kPa absolute]", "14.6", "below 50 kPa absolute"),
        ("DRY-11.output [mA]", "64.4", "above 20.5 mA"),
        ("DRY-11.far_end [%RH]", "153", "above 100 %RH"),
        ("chamber_temperature [degC]", "15..1", "not a number"),
    ],
)
def test_what_is_implausible_is_doubted_and_taken(
    page: Page, drying: tuple[Plan, Path], header: str, typed: str, why: str
):
    page.goto(drying[1].as_uri())
    field = box(page, f"s0.as_found.0.0.{header}")
    field.fill(typed)
    assert why in page.locator(f'[id="{field.get_attribute("aria-describedby")}"]').inner_text()
    assert field.get_attribute("aria-invalid") == "true"
    reload(page)
    assert field.input_value() == typed
    field.fill("683,7" if "saturation" in header else "15.3" if "kPa" not in header else "100.8")
    assert field.get_attribute("aria-invalid") == "false"


def test_now_writes_the_facility_s_time_and_a_point_not_done_its_reason(page: Page, drying: tuple[Plan, Path]):
    page.goto(drying[1].as_uri())
    page.get_by_role("button", name="time of reading 2 at 15 %RH, as found").click()
    assert box(page, "s0.as_found.0.1.time").input_value() == "09:05"
    page.locator('details[data-step="s0.as_found.2"] summary').click()
    for part in ("DRY-11", "DRY-12", "DRY-13"):
        box(page, f"s0.as_found.2.not_done.{part}").fill("compressor, tripped")
    assert page.locator('[data-count="s0.as_found.2"]').inner_text() == "not done"
    lines = shown(page).splitlines()
    assert lines[1].startswith(f"DRY-11,{DAY} 09:05,as_found,40,")
    assert lines[1].endswith('"compressor, tripped"')
    missing = page.locator("#missing").inner_text()
    assert "as found, 10 %RH: nothing is entered for DRY-12" in missing
    assert "40 %RH" not in missing


def test_a_form_of_another_day_says_so(page: Page, drying: tuple[Plan, Path]):
    page.clock.set_fixed_time("2026-11-28T23:30:00Z")
    page.goto(drying[1].as_uri())
    assert page.locator('[id="day.doubt"]').inner_text() == "today is 2026-11-29", "in Copenhagen"


def test_a_cold_vault_s_form_has_a_key_for_the_sign(page: Page, tmp_path: Path):
    file = tmp_path / "form.html"
    file.write_bytes(visit_form(planned("VLT-11"), template_folders()))
    page.goto(file.as_uri())
    field = box(page, "s0.as_found.0.0.mirror_temperature [degC]")
    assert field.get_attribute("inputmode") == "decimal"
    field.fill("25.17")
    sign = page.locator('[data-for="s0.as_found.0.0.mirror_temperature [degC]"]')
    sign.click()
    assert field.input_value() == "-25.17"
    reload(page)
    assert field.input_value() == "-25.17"
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


@pytest.mark.parametrize("page", [{"color_scheme": "light"}, {"color_scheme": "dark"}], indirect=True)
def test_it_fits_a_phone_and_its_keys_fit_a_thumb(page: Page, drying: tuple[Plan, Path]):
    page.goto(drying[1].as_uri())
    page.get_by_role("button", name="Add an adjustment and as left").click()
    for details in reversed(page.locator("details:not([open]) > summary").all()):
        details.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    heights = page.eval_on_selector_all(
        "input, select, button", "all => all.filter(e => e.offsetParent).map(e => e.getBoundingClientRect().height)"
    )
    assert min(heights) >= 44, "WCAG 2.2, 2.5.5 (AAA) asks for 44 px, 2.5.8 (AA) for 24"


def test_it_is_filled_in_by_keyboard_alone(page: Page, drying: tuple[Plan, Path]):
    page.goto(drying[1].as_uri())
    box(page, "s0.as_found.0.0.time").focus()
    order = []
    for _ in range(12):
        page.keyboard.press("Tab")
        key = page.evaluate("document.activeElement.dataset.key ?? document.activeElement.dataset.for")
        order.append(key.rpartition(".0.")[2] if key else "")
    wanted = [
        "saturation_pressure [kPa absolute]",
        "saturation_temperature [degC]",
        "chamber_pressure [kPa absolute]",
        "chamber_temperature [degC]",
        "DRY-11.output [mA]",
        "DRY-11.far_end [%RH]",
    ]
    assert [key for key in order if "[" in key][:6] == wanted
