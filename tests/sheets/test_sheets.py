"""The sheets of a visit to come: a CSV that only readings are missing from, a page for paper, a form for a phone."""

from __future__ import annotations

import csv
import io
import re
import shutil
import subprocess
from datetime import date
from pathlib import Path

import pytest

from asfound.cli import main
from asfound.commands.common import CLEAN, COULD_NOT_RUN
from asfound.planning.target_model import Conditions
from asfound.planning.targets import targets
from asfound.planning.usual import usual
from asfound.printing.templates import template_folders
from asfound.records.load import Records, load
from asfound.records.snapshot import from_folder
from asfound.records.visits.header import read_header
from asfound.refusals import Refusal
from asfound.sheets.paper import visit_pdf
from asfound.sheets.phone import visit_form
from asfound.sheets.plan import Plan, plan
from asfound.sheets.table import NO_TIME, header, visit_csv
from asfound.wording import cautions
from tests import builders
from tests.site.test_styles import contrast

ROOT = Path(__file__).parents[2]
DAY = date(2026, 11, 26)
CONDITIONS = Conditions(ambient_pa=100_800.0)


@pytest.fixture(scope="module")
def demo() -> Records:
    records, _ = load(from_folder(ROOT / "records"))
    assert records is not None
    return records


def planned(records: Records, *sensors: str, **keys: object) -> Plan:
    return plan(records, sensors, DAY, CONDITIONS, **{"technician": "varlund", **keys})  # type: ignore[arg-type]


def rows(visit: Plan) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(visit_csv(visit).decode())))


@pytest.mark.parametrize(
    "sensors", [("DRY-11", "DRY-12", "DRY-13"), ("HRB-21",), ("GER-21", "GER-22"), ("VLT-11",), ("LAB-11",)]
)
def test_a_sheet_has_the_columns_of_the_last_visit_that_went_well(demo: Records, sensors: tuple[str, ...]):
    """What technicians wrote down without a sheet is what the sheet asks for."""
    before = usual(demo, sensors[0], DAY)
    assert before is not None
    visit = next(v for v in reversed(demo.visits) if v.id == before.visit)
    ours = header(planned(demo, *sensors))
    rows = [row for row in _raw(visit.content) if row["sensor"] in sensors]
    in_use = {name for name in visit.header if any(row.get(name) for row in rows)}
    assert in_use - {"note", "adjustment", "from", "to"} <= set(ours)


def _raw(content: bytes) -> list[dict[str, str]]:
    text = content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text), delimiter=";" if text.split("\n")[0].count(";") else ","))


def test_everything_known_is_filled_in_and_nothing_that_is_read(demo: Records):
    visit = planned(demo, "DRY-21", "DRY-22")
    found = rows(visit)
    assert visit.visit == "2026-11-26-drying-b"
    assert len(found) == 2 * 3 * 3, "sensors, points, rows as the policy wants"
    assert [row["target [%RH]"] for row in found[:9]] == ["15"] * 3 + ["10"] * 3 + ["40"] * 3
    assert found[0]["serial"] == "RL-19960", "as installed"
    assert found[1]["serial"] == ""
    for row in found:
        words = (row["phase"], row["reference"], row["technician"], row["loop_meter"], row["barometer"])
        assert words == ("as_found", "GEN-02", "varlund", "METER-02", "BAR-02")
        assert row["time"] == f"2026-11-26 {NO_TIME}"
        assert not any(value for name, value in row.items() if "[" in name and name != "target [%RH]")
        assert row["note"] == ""


def test_sensors_that_shared_a_chamber_share_it_again_and_others_wait(demo: Records):
    def groups(*sensors: str, together: bool = False) -> list[list[str]]:
        visit = planned(demo, *sensors, together=together)
        return [[part.id for part in session.parts] for session in visit.sessions]

    assert groups("DRY-21", "DRY-22", "DRY-23") == [["DRY-21"], ["DRY-22", "DRY-23"]]
    assert groups("DRY-21", "DRY-22", "DRY-23", together=True) == [["DRY-21", "DRY-22", "DRY-23"]]
    assert groups("DRY-11", "GER-11", together=True) == [["DRY-11"], ["GER-11"]], "other points"


def test_a_salt_s_cell_stands_in_every_row(demo: Records):
    found = rows(planned(demo, "LAB-11"))
    assert [row["salt"] for row in found[::3]] == ["MgCl2", "LiCl", "NaCl"]
    assert {row["medium"] for row in found} == {"salt cell"}


def filled(row: dict[str, str], dialled: dict[str, str], minute: int) -> dict[str, str]:
    """A row as a technician would fill it in: the reference as told, the sensor nearly right."""
    target = float(row["target [%RH]"])
    told = {
        "time": row["time"].replace(NO_TIME, f"{9 + minute // 60:02d}:{minute % 60:02d}"),
        "condition": "clean" if row["serial"] else "",
        "output [mA]": f"{4 + 0.16 * target + 0.02:.3f}",
        "far_end [%RH]": f"{target + 0.1:.1f}",
        "soak [min]": "20",
        "saturation_pressure [kPa absolute]": dialled[row["target [%RH]"]],
        "saturation_temperature [degC]": "15.02",
        "chamber_pressure [kPa absolute]": "100.83",
        "chamber_temperature [degC]": "14.99",
        "room_temperature [degC]": "15.1",
        "room_humidity [%RH]": "15",
    }
    return row | {name: value for name, value in told.items() if name in row}


def test_filled_in_it_passes_the_check_and_meets_its_points(
    demo: Records, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    visit = planned(demo, "DRY-11")
    dialled = {f"{t.point:g}": f"{t.settings[0].value:.1f}" for t in visit.sessions[0].points}
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, header(visit), lineterminator="\n")
    writer.writeheader()
    writer.writerows(filled(row, dialled, 30 * (n // 3) + n) for n, row in enumerate(rows(visit)))
    folder = tmp_path / "records"
    shutil.copytree(ROOT / "records", folder)
    (folder / "visits/2026" / f"{visit.visit}.csv").write_text(text.getvalue(), encoding="utf-8")
    assert main(["check", "--records", str(folder)]) == CLEAN
    capsys.readouterr()
    assert main(["explain", "DRY-11", visit.visit, "--records", str(folder)]) == CLEAN
    said = capsys.readouterr().out
    assert re.search(r"15 %RH\s+start\s+(14\.9|15\.0)", said), said
    assert "far-from-target" not in said


def test_a_row_left_without_its_time_is_named(demo: Records, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    folder = tmp_path / "records"
    shutil.copytree(ROOT / "records", folder)
    visit = planned(demo, "DRY-11")
    (folder / "visits/2026" / f"{visit.visit}.csv").write_bytes(visit_csv(visit))
    assert main(["check", "--records", str(folder)]) != CLEAN
    assert f"{visit.visit}.csv:2:8: error[bad-time]" in capsys.readouterr().out


def pdf_text(content: bytes, file: Path) -> str:
    file.write_bytes(content)
    done = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True)
    return " ".join(done.stdout.decode().split())


def test_the_page_for_paper_has_the_cautions_before_what_is_to_be_dialled(demo: Records, tmp_path: Path):
    visit = planned(demo, "DRY-11", "DRY-12", "DRY-13")
    content = visit_pdf(visit, demo, template_folders())
    said = pdf_text(content, tmp_path / "sheet.pdf")
    for line in cautions.LINES:
        assert line.replace("\n", " ") in said
    for target in visit.sessions[0].points:
        assert target.what in said
        assert said.index("Tell the operator") < said.index(target.what)
    assert "saturation" in said.casefold()
    assert content == visit_pdf(visit, demo, template_folders()), "the same bytes from the same plan"


@pytest.mark.parametrize(("paper", "size"), [("A4", "595.276 x 841.89 pts (A4)"), ("Letter", "612 x 792 pts (letter)")])
def test_it_fits_the_facility_s_paper(paper: str, size: str, tmp_path: Path):
    files = builders.records(builders.facility(paper=paper), builders.sensor(), builders.chilled_mirror())
    files |= builders.visit("2026-03-16-lab", builders.plateau(50, [50.1], builders.mirrored(13.8, 25.0, "dew")))
    records = builders.loaded(files)
    visit = plan(records, ["RH-1"], DAY, CONDITIONS)
    file = tmp_path / "sheet.pdf"
    file.write_bytes(visit_pdf(visit, records, template_folders()))
    done = subprocess.run(["pdfinfo", str(file)], capture_output=True, check=True, text=True)
    assert f"Page size: {size}" in " ".join(done.stdout.split())


def test_the_form_is_one_file_that_asks_nobody(demo: Records):
    page = visit_form(planned(demo, "DRY-11", "DRY-12"), template_folders()).decode()
    assert re.findall(r"""(?:src|href)=["']|url\(|https?:|@import|fetch\(|XMLHttp""", page) == []
    assert "default-src 'none'" in page
    assert page.index("Tell the operator") < page.index("kPa absolute")
    assert page == visit_form(planned(demo, "DRY-11", "DRY-12"), template_folders()).decode()


def test_every_box_of_the_form_has_a_label_of_its_own(demo: Records):
    page = visit_form(planned(demo, "DRY-21", "LAB-11", "VLT-11"), template_folders()).decode()
    ids = re.findall(r'<(?:input|select|textarea)[^>]* id="([^"]+)"|<(?:input|select|textarea) id="([^"]+)"', page)
    named = [one or other for one, other in ids]
    labels = re.findall(r'<label for="([^"]+)">(.*?)</label>', page)
    assert len(named) > 100
    assert sorted(named) == sorted(name for name, _ in labels)
    assert len(set(named)) == len(named)
    assert not any(" " in name for name in named)
    texts = [re.sub(r"<[^>]+>", "", text) for _, text in labels]
    assert len(set(texts)) == len(texts), "a screen reader tells readings, points and sensors apart"


def test_a_word_of_the_records_is_no_code_in_the_form():
    evil = "</script><img src=x onerror=alert(1)>"
    place = {"place": "lab", "position": evil}
    files = builders.records(builders.sensor(place=place), builders.chilled_mirror(), builders.facility(name=evil))
    files |= builders.visit("2026-03-16-lab", builders.plateau(50, [50.1], builders.mirrored(13.8, 25.0, "dew")))
    page = visit_form(plan(builders.loaded(files), ["RH-1"], DAY, CONDITIONS), template_folders()).decode()
    assert "<img" not in page
    assert page.count("</script>") == 2


def palettes() -> list[dict[str, str]]:
    text = (ROOT / "site_templates/sheet/phone.css").read_text(encoding="utf-8")
    blocks = re.findall(r":root \{(.*?)\}", text, re.DOTALL)
    return [dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block)) for block in blocks]


@pytest.mark.parametrize("palette", palettes(), ids=["light", "dark"])
def test_every_text_of_the_form_stands_out_from_its_ground(palette: dict[str, str]):
    """WCAG 2.2: 1.4.3 asks for 4.5 of a text, 1.4.11 for 3 of the edge of a box."""
    for ground in ("ground", "panel", "field"):
        for ink in ("ink", "quiet", "accent", "ok", "warn"):
            assert contrast(palette[ink], palette[ground]) >= 4.5, (ink, ground)
        assert contrast(palette["rule"], palette[ground]) >= 3, ground
    assert contrast(palette["ink"], palette["warn-ground"]) >= 4.5
    assert contrast(palette["on-accent"], palette["accent"]) >= 4.5


def test_every_sensor_of_the_demo_has_sheets_whose_header_is_a_visit_s(demo: Records):
    visit = plan(demo, list(demo.sensors), DAY, CONDITIONS, technician="oskwin")
    names = header(visit)
    assert read_header(names).problems == ()
    assert sorted({row["sensor"] for row in rows(visit)}) == sorted(demo.sensors)
    kinds = {session.reference.kind for session in visit.sessions}
    assert kinds == {"two_pressure", "chilled_mirror", "saturated_salt", "transfer_probe"}
    page = visit_form(visit, template_folders()).decode()
    assert all(f"<legend>{name}</legend>" in page for name in demo.sensors)


def test_in_air_a_probe_is_read_beside_the_sensor(demo: Records):
    in_may = plan(demo, ["HRB-12"], date(2026, 5, 4), CONDITIONS)
    names = header(in_may)
    assert {"reference_humidity [%RH]", "air_temperature [degC]", "ambient_pressure [hPa absolute]"} <= set(names)
    assert {row["medium"] for row in rows(in_may)} == {"in air"}


def test_who_and_what_is_not_there_is_warned_of(demo: Records):
    away = plan(demo, ["DRY-11"], date(2026, 8, 27), CONDITIONS)
    assert any("GEN-01 is not to be had until 2026-09-01" in text for text in away.warnings)
    left = planned(demo, "DRY-11", technician="haskarl")
    assert any("haskarl is not here on 2026-11-26" in text for text in left.warnings)
    reviewer = planned(demo, "DRY-11", technician="quillstrom")
    assert any("may not calibrate" in text for text in reviewer.warnings)
    idle = {"out_of_service": [{"from": "2026-11-01", "reason": "the store is rebuilt"}]}
    files = builders.records(builders.sensor(**idle), builders.saturated_salt())
    resting = plan(builders.loaded(files), ["RH-1"], DAY, CONDITIONS)
    assert "RH-1 is out of service: the store is rebuilt" in resting.warnings


def test_a_name_that_is_no_visit_s_or_taken_is_refused(demo: Records):
    with pytest.raises(Refusal, match=r"names no visit(.|\n)*cure: lower-case words"):
        planned(demo, "DRY-11", visit="Drying A")
    with pytest.raises(Refusal, match="there is a visit 2026-10-14-drying-a already"):
        plan(demo, ["DRY-11"], date(2026, 10, 14), CONDITIONS)


def test_the_command_writes_all_files_and_overwrites_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    asked = ["sheet", "DRY-11", "--records", str(ROOT / "records"), "--date", "2026-11-26", "--output", str(tmp_path)]
    assert main([*asked, "--phone"]) == CLEAN
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".csv", ".html", ".pdf"]
    capsys.readouterr()
    (tmp_path / "2026-11-26-drying-a.csv").write_text("readings", encoding="utf-8")
    assert main(asked) == COULD_NOT_RUN
    assert "is there already" in capsys.readouterr().err
    assert (tmp_path / "2026-11-26-drying-a.csv").read_text(encoding="utf-8") == "readings"
    assert main([*asked[:1], "DRY-111", *asked[2:]]) == COULD_NOT_RUN
    assert "did you mean 'DRY-11'" in capsys.readouterr().err


def test_the_sheet_says_what_the_command_targets_says(demo: Records):
    told = targets(demo, "DRY-13", DAY, CONDITIONS)
    (session,) = planned(demo, "DRY-13").sessions
    assert [target.what for target in session.points] == [target.what for target in told.points]
