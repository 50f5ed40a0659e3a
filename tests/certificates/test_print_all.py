"""The certificate as a PDF: what stands on its pages, what is in the file, and that it is always the same bytes.

Clauses of ISO/IEC 17025:2017 are from memory. The records are invented.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pikepdf
import pytest
import segno

from asfound.certificates import print_all as printed
from asfound.certificates import wording as words
from asfound.certificates.page import page
from asfound.certificates.print_all import certificate, certificates, typeset_certificate
from asfound.certificates.statement import Statements
from asfound.faults import RecordsRefused
from asfound.printing.templates import template_folders
from asfound.printing.typst import Printer, printing
from asfound.printing.unprintable import Unprintable
from asfound.refusals import Refusal
from asfound.stated.statement import Statement, document, read_statement, statement_bytes
from tests import builders as b
from tests.certificates.certified import (
    COMMIT,
    VISIT,
    changed,
    elements,
    issue,
    opened,
    pdftotext,
    plain,
    stated_of,
    story,
    text_of,
    whole_text,
)

TEMPLATES = template_folders()
ADDRESS = f"https://records.alder.example/visits/{VISIT}.html#RH-1"
MARGIN_PT = 40.0
"""Nothing is set nearer to an edge of the paper."""


@pytest.fixture(scope="module")
def printer() -> Iterator[Printer]:
    with printing(TEMPLATES) as ready:
        yield ready


@pytest.fixture(scope="module")
def pdf(printer: Printer) -> bytes:
    _, statement, visit = story()
    return typeset_certificate(printer, statement, visit)


@pytest.fixture(scope="module")
def pages(pdf: bytes) -> list[str]:
    return text_of(pdf)


@pytest.fixture(scope="module")
def text(pdf: bytes) -> str:
    """All of its text."""
    return whole_text(pdf)


def issued(**values: Any) -> tuple[Statement, bytes]:
    """The story's certificate as it is issued, and the bytes of its visit."""
    assessment, _, visit = story()
    return Statements(assessment).issued(assessment.summaries[0], issue(**values)), visit


# On the pages


@pytest.mark.parametrize(
    ("clause", "said"),
    [
        ("7.8.2.1 a, title", "Calibration certificate"),
        ("7.8.2.1 b, laboratory with address", "Alder seed store, 1 Mill Lane, Alderby"),
        ("7.8.2.1 c, place of calibration", "Laboratory, north wall, 1.8 m, Alder seed store, 1 Mill Lane, Alderby"),
        ("7.8.2.1 d, unique number", f"No. RH-1/{VISIT}.preview"),
        ("7.8.2.1 d, end", f"End of certificate RH-1/{VISIT}.preview"),
        ("7.8.2.1 e, customer", "Customer Alder seed store"),
        ("7.8.2.1 f, method", "Humidity sensors in place, version 1"),
        ("7.8.2.1 f, principle", "Two-pressure method"),
        ("7.8.2.1 g, item", "Item RH-1, Air of the store"),
        ("7.8.2.1 g, model", "Model Humidity sensor"),
        ("7.8.2.1 g, serial number", "Serial number RH-1-A"),
        ("7.8.2.1 g, condition", "Condition as seen dirty"),
        ("7.8.2.1 i, date of calibration", "Date of calibration 2026-03-16"),
        ("7.8.2.1 j, date of issue", "Date of issue 2026-12-31"),
        ("7.8.2.1 l, only the item", words.SCOPE),
        ("7.8.2.1 m, results with units", "Humidity, values in %RH"),
        ("7.8.2.1 m, second channel", "Temperature, values in °C"),
        ("7.8.2.1 o, who authorised", "Authorised by not reviewed: preview"),
        ("7.8.2.1 n, reservations", "Soak 5 min, the policy asks for 15 min. Neither U nor verdict is given."),
        ("7.8.2.1, reproduction in full", words.REPRODUCTION),
        ("7.8.4.1 a, uncertainty", "coverage probability of approximately 95.45 %"),
        ("7.8.4.1 b, conditions", "Room temperature 23.1 °C"),
        ("7.8.4.1 b, conditions at the probe", "Pressure at the probe 101.3 kPa"),
        ("7.8.4.1 c, footing", "In-house calibration, traceable through"),
        ("7.8.4.1 c, standard", "GEN-01, two pressure, serial number GEN-01-A"),
        ("7.8.4.1 c, its certificate", "Birch metrology, C-2026-01-12"),
        ("7.8.4.1 c, its U", "0.40 kPa, k = 2"),
        ("7.8.4.1 d, before adjustment", "As found"),
        ("7.8.4.1 d, adjustment", "zero adjusted: from before to after"),
        ("7.8.4.1 d, after adjustment", "As left"),
        ("7.8.4.1 e and 7.8.6, verdicts", "Humidity, as found: fail at all 3 points, each as approached."),
        ("7.8.6.2, specification", "Tolerance T: ±2 %RH"),
        ("7.8.6.2, whose specification", "T is the tolerance set by the facility for this sensor"),
        ("7.8.6.2, decision rule", "Decision rule: guard band w = U: pass where |error| ≤ T − w"),
        ("who did it", "Calibrated by Ann Tansy"),
        ("how the loop reads", "4 mA to 20 mA stand for −30 °C to 70 °C (temperature)"),
        ("hysteresis", "Hysteresis, error falling − error rising, in %RH: +0.40 at 50 %RH (U = 0.12)"),
        ("evidence", "visits/2026/2026-03-16-lab.csv, revision 1"),
    ],
)
def test_what_a_certificate_must_say_is_said(text: str, clause: str, said: str):
    assert said in text, clause


def test_a_row_of_results_is_rounded_to_its_uncertainty(text: str):
    """JCGM 100:2008, 7.2.6: U to two significant digits, the value to match."""
    assert "50 %RH start 50.00 25.0 53.20 +3.20 0.18 2.00 ∞ 2.00 fail" in text
    assert "20 %RH falling only 20.000 25.0 23.000 +3.000 0.098 2.00 ∞ 2.000 fail" in text
    assert "80 %RH rising only 80.00 25.0 80.20 +0.20 – – – 2.00 no verdict a" in text


def printed_page(files: b.Files, number: str = f"RH-1/{VISIT}") -> dict[str, Any]:
    return page(stated_of(files)[number])


def shown_tables(files: b.Files, number: str = f"RH-1/{VISIT}") -> list[dict[str, Any]]:
    return [table for section in printed_page(files, number)["sections"] for table in section["tables"]]


def test_sensor_and_loop_apart_have_their_own_k_from_the_linear_budget():
    _, statement, _ = story()
    apart = [t for s in page(statement)["sections"] for t in s["tables"] if "apart" in t["title"]]
    assert apart and all("sensor and loop apart" in table["title"] for table in apart)
    for table in apart:
        assert [x for x, name in enumerate(table["columns"]) if name == "k"] == [5, 8]
        assert "linear budget" in table["note"]
        assert {row[5] for row in table["rows"]} <= {"2.00", "–"}


def test_a_far_end_is_that_of_a_loop_only_where_there_is_one():
    readings = b.plateau(50, [50.4, 50.5], b.generated(50), far_end=[50.5, 50.6])
    digital = shown_tables(b.records(b.sensor(), b.two_pressure(), b.visit(VISIT, readings)))
    assert "at the far end, means" in digital[0]["note"]
    assert "sensor and far end apart" in digital[1]["title"] and "Far end − sensor" in digital[1]["columns"]
    assert "loop" not in str(digital)
    _, statement, _ = story()
    assert "at the far end of the loop" in page(statement)["sections"][0]["tables"][0]["note"]
    (own,) = shown_tables(plain())
    assert "at the sensor, means" in own["note"]


def test_columns_that_do_not_subtract_as_printed_say_that_they_are_rounded_separately():
    _, statement, _ = story()
    said = "rounded separately"
    assert said not in str(page(statement))
    group = document(statement.results[0])
    row = {**group["rows"][0], "reference_value": 50.004, "indication": 53.206, "error": 3.202}  # 53.21 − 50.00 ≠ 3.20
    group["rows"] = [row]
    assert said in page(changed(statement, results=[group]))["sections"][0]["tables"][0]["note"]


def test_how_the_results_are_known_begins_a_page_only_where_they_and_their_reservations_fit_on_the_first():
    (statement,) = stated_of(plain()).values()
    assert page(statement)["short"] == "yes"
    held = {"mark": "a", "rule": "x", "withholds_verdict": False, "withholds_certificate": False, "words": "y" * 200}
    assert page(changed(statement, reservations=[held] * 9))["short"] == ""


def test_a_check_between_calibrations_is_not_called_a_calibration_certificate(printer: Printer):
    kept = b.transfer_probe(check_limit={"humidity": "1.5 %RH"})
    reading = b.plateau(50, [50.4, 50.5], b.generated(50), sensor="PROBE-01", phase="check", output_temperature=25.0)
    files = b.records(b.two_pressure(), kept, b.visit(VISIT, reading))
    (statement,) = stated_of(files).values()
    text = whole_text(typeset_certificate(printer, statement, files[statement.evidence.visit]))
    assert "Record of a check between calibrations" in text and "End of record PROBE-01" in text
    assert "certificate PROBE-01" not in text and "Calibration certificate" not in text
    assert "T is the limit set by the facility for checks of this reference" in text


def test_published_values_of_salts_stand_apart_from_the_calibrations(printer: Printer):
    cell = b.visit(VISIT, b.plateau(75, [75.4, 75.5], b.over_salt("NaCl")))
    files = b.records(b.sensor(), b.saturated_salt(), cell)
    (statement,) = stated_of(files).values()
    assert words.SALT_SOURCE not in str(page(statement)["references"])
    text = whole_text(typeset_certificate(printer, statement, files[statement.evidence.visit]))
    assert "not traceable by calibration" in text and "not checked against the print" in text
    assert "NaCl ±0.12 %RH" in text


def test_each_page_says_preview_which_item_which_certificate_and_which_page(pages: list[str]):
    assert len(pages) in (2, 3)
    for number, text in enumerate(pages, start=1):
        assert words.PREVIEW in text
        assert f"RH-1/{VISIT}.preview" in text and "RH-1, serial number RH-1-A" in text
        assert f"page {number} of {len(pages)}" in text
        assert ("End of certificate" in text) == (number == len(pages))


def test_a_preview_says_in_its_text_too_that_it_is_not_issued(pages: list[str]):
    assert words.PREVIEW_WARNING in pages[0]  # running heads are not read out by a screen reader


def test_an_issued_certificate_has_no_mark_and_names_who_authorised_it(printer: Printer):
    text = whole_text(typeset_certificate(printer, *issued()))
    assert "preview" not in text.lower() and f"No. RH-1/{VISIT}.r1" in text
    assert "Authorised by Ben Sedge, who approved the record on 2026-03-20 by merging it" in text
    assert f"Commit {COMMIT}" in text and "Date of issue 2026-04-01" in text


def test_a_re_issue_names_what_it_replaces_and_says_why(printer: Printer):
    """ISO/IEC 17025:2017, 7.8.8.3."""
    replaces = {"number": f"RH-1/{VISIT}.r1", "reason": "the serial number was another’s"}
    first, *_ = text_of(typeset_certificate(printer, *issued(revision=2, replaces=replaces)))
    assert f"Replaces certificate RH-1/{VISIT}.r1. Reason: the serial number was another’s." in first
    assert "Replaces" not in whole_text(typeset_certificate(printer, *issued()))


@pytest.mark.parametrize("word", ["accredit", "17025", "complies", "due", "recommend"])
def test_nothing_is_claimed_or_recommended_unasked(pages: list[str], word: str):
    assert word not in " ".join(pages).lower()


def test_an_agreed_due_date_and_a_stated_accreditation_are_printed(printer: Printer):
    _, statement, visit = story()
    said = document(statement.words) | {"basis": "Accredited by the invented board of Alderby."}
    text = whole_text(typeset_certificate(printer, changed(statement, due="2027-03-16", words=said), visit))
    assert "Due, as agreed 2027-03-16" in text and "Accredited by the invented board of Alderby." in text


def test_a_certificate_without_tolerance_says_that_nothing_is_said_about_conformity(printer: Printer):
    reading = b.plateau(50, [50.4, 50.5], b.generated(50), sensor="PROBE-01", output_temperature=25)
    files = b.records(b.two_pressure(), b.transfer_probe(), b.visit(VISIT, reading))
    (statement,) = stated_of(files).values()
    text = " ".join(text_of(typeset_certificate(printer, statement, files[statement.evidence.visit])))
    assert "nothing is said about conformity" in text and "Verdict" not in text


def test_the_specific_risk_rule_prints_its_probability(printer: Printer):
    files = plain(policies={"rule": "specific_risk", "largest_risk": "2.5 %"})
    (statement,) = stated_of(files).values()
    text = " ".join(text_of(typeset_certificate(printer, statement, files[statement.evidence.visit])))
    assert "P(outside)" in text and "< 0.01 %" in text


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.3, 841.9)), ("Letter", (612.0, 792.0))])
def test_the_paper_is_the_facilitys(printer: Printer, paper: str, size: tuple[float, float]):
    _, statement, visit = story()
    for sheet in opened(typeset_certificate(printer, changed(statement, paper=paper), visit)).pages:
        assert [float(x) for x in sheet.mediabox[2:]] == pytest.approx(size, abs=0.1)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_long_names_stay_on_the_paper(printer: Printer, paper: str):
    _, statement, visit = story()
    long = "Department of Seeds, Spores and other Sleeping Things of the Upper and the Lower Valley " * 3
    item = {**document(statement.item), "name": long, "serial": "X" * 90, "condition": ["dirty", "wet"]}
    people = [{"id": str(i), "name": "Maximiliane Bartholomea von der Alder-Birkenau"} for i in range(4)]
    wide = changed(statement, paper=paper, laboratory=long, customer=long, item=item, technicians=people)
    edges = list(word_edges(typeset_certificate(printer, wide, visit)))
    assert len(edges) > 200
    assert all(right <= width - MARGIN_PT for width, right in edges)


def word_edges(pdf: bytes) -> Iterator[tuple[float, float]]:
    """(width of the page, right edge) of every word, in points."""
    width = 0.0
    for line in pdftotext(pdf, "-bbox").splitlines():
        if sheet := re.search(r'<page width="([\d.]+)"', line):
            width = float(sheet[1])
        elif word := re.search(r'<word .*xMax="([\d.]+)"', line):
            yield width, float(word[1])


def test_a_long_table_goes_on_over_pages_with_its_head(printer: Printer):
    _, statement, visit = story()
    results = document(statement)["results"]
    results[0]["rows"] *= 20
    texts = text_of(typeset_certificate(printer, changed(statement, results=results), visit))
    assert len(texts) > 2 and "Direction" in texts[1].partition("Humidity: sensor and loop")[0]


# In the file


def test_the_same_statement_gives_the_same_bytes_also_from_its_frozen_json(pdf: bytes):
    _, statement, visit = story()
    frozen = read_statement(statement_bytes(statement))
    assert certificate(statement, visit, TEMPLATES) == certificate(frozen, visit, TEMPLATES) == pdf


def test_the_visit_and_the_statement_are_attached_byte_for_byte(pdf: bytes):
    _, statement, visit = story()
    wanted = {
        f"{VISIT}.csv": (visit, "text/csv", "/Source"),
        f"{VISIT}.preview.json": (statement_bytes(statement), "application/json", "/Data"),
    }
    with opened(pdf) as file:
        assert set(file.attachments) == set(wanted)
        for name, (content, mime, relationship) in wanted.items():
            attached = file.attachments[name]
            assert attached.get_file().read_bytes() == content and attached.get_file().mime_type == mime
            assert attached.obj.AFRelationship == relationship


def test_a_visit_with_a_byte_order_mark_and_crlf_is_attached_as_it_is(printer: Printer):
    files = plain()
    path = f"visits/2026/{VISIT}.csv"
    files[path] = b"\xef\xbb\xbf" + files[path].replace(b"\n", b"\r\n")
    (statement,) = stated_of(files).values()
    with opened(typeset_certificate(printer, statement, files[path])) as file:
        assert file.attachments[f"{VISIT}.csv"].get_file().read_bytes() == files[path]


def test_other_bytes_than_the_visits_are_refused(printer: Printer):
    _, statement, visit = story()
    with pytest.raises(ValueError, match=r"not the bytes of visits/2026/2026-03-16-lab\.csv"):
        typeset_certificate(printer, statement, visit + b"\n")


def test_the_standards_are_declared(pdf: bytes):
    with opened(pdf) as file, file.open_metadata() as about:
        assert (about["pdfaid:part"], about["pdfaid:conformance"], about["pdfuaid:part"]) == ("3", "A", "1")


def test_the_file_has_tags_language_title_and_the_day_of_issue(pdf: bytes):
    with opened(pdf) as file:
        assert file.Root.MarkInfo.Marked and str(file.Root.Lang).startswith("en")
        assert file.Root.ViewerPreferences.DisplayDocTitle
        assert str(file.docinfo["/Title"]) == f"Calibration certificate RH-1/{VISIT}.preview"
        assert str(file.docinfo["/CreationDate"]).startswith("D:20261231")
        assert str(file.docinfo["/ModDate"]).startswith("D:20261231")


def test_headings_tables_and_the_code_can_be_read_out(pdf: bytes):
    with opened(pdf) as file:
        found = list(elements(file.Root.StructTreeRoot))
        kinds = [str(element.S) for element in found]
        assert kinds.count("/H1") == 1 and kinds.count("/H2") > 5 and kinds.count("/Table") == 7
        assert kinds.count("/THead") == kinds.count("/Table") and kinds.count("/TH") > 50
        (figure,) = [element for element in found if element.S == "/Figure"]
        assert str(figure.Alt) == f"QR code of {ADDRESS}"


def links(pdf: bytes) -> list[str]:
    with opened(pdf) as file:
        return [str(note.A.URI) for sheet in file.pages for note in sheet.get("/Annots", []) if "/A" in note]


def test_the_code_leads_to_the_page_of_the_visit_where_the_site_has_an_address(pdf: bytes, printer: Printer):
    assert links(pdf) == [ADDRESS]
    _, statement, visit = story()
    without = typeset_certificate(printer, changed(statement, page={"path": "x", "address": None}), visit)
    assert links(without) == []
    with opened(without) as file:
        assert "/Figure" not in [str(element.S) for element in elements(file.Root.StructTreeRoot)]


def test_the_code_on_the_page_is_that_of_its_address():
    """Drawn by hand from the library's matrix: the dark modules are those of the address, and stand in the SVG."""
    dark = sum(module for row in segno.make(ADDRESS, error="m", micro=False).matrix for module in row)
    drawn = printed._qr_code(ADDRESS)
    runs = [int(run) for run in re.findall(r"h(\d+)", re.findall(r' d="([^"]+)"', drawn)[-1])]
    assert sum(runs) == dark
    assert printed._qr_code(None) == ""


def test_every_font_is_embedded_and_none_is_the_systems(pdf: bytes):
    with opened(pdf) as file:
        fonts = [font for sheet in file.pages for font in sheet.Resources.Font.values()]
        assert fonts
        for font in fonts:
            assert re.search(r"\+SourceSansPro-", str(font.BaseFont))
            about = font.DescendantFonts[0].FontDescriptor
            assert "/FontFile2" in about or "/FontFile3" in about


def test_the_file_is_sound(pdf: bytes, tmp_path: Path):
    (tmp_path / "c.pdf").write_bytes(pdf)
    with pikepdf.open(tmp_path / "c.pdf") as file:
        assert file.check_pdf_syntax() == []


# Characters


NAMES = ("Łucja Ørsted", "Žofie Ångström", "Ωμέγα", "Жанна", "e\u0301tienne")


@pytest.fixture(scope="module")
def by_all(printer: Printer) -> str:
    """The text of a certificate of a calibration that all of them did."""
    _, statement, visit = story()
    people = [{"id": str(n), "name": name} for n, name in enumerate(NAMES)]
    return " ".join(text_of(typeset_certificate(printer, changed(statement, technicians=people), visit)))


@pytest.mark.parametrize("name", NAMES)
def test_latin_greek_and_cyrillic_names_are_printed(by_all: str, name: str):
    assert name.replace("e\u0301", "é") in by_all.replace("e\u0301", "é")


@pytest.mark.parametrize("name", ["Ann\u202e Tansy", "\u2066Ann Tansy\u2069", "Ann\u200f Tansy", "\ufeffAnn Tansy"])
def test_characters_that_turn_the_line_are_left_out(printer: Printer, name: str):
    _, statement, visit = story()
    text = " ".join(
        text_of(typeset_certificate(printer, changed(statement, technicians=[{"id": "x", "name": name}]), visit))
    )
    assert "Ann Tansy" in text


def test_typesetting_gets_strings_only():
    _, statement, _ = story()

    def leaves(value: Any) -> Iterator[Any]:
        if isinstance(value, dict | list):
            for inner in value.values() if isinstance(value, dict) else value:
                yield from leaves(inner)
        else:
            yield value

    assert {type(leaf) for leaf in leaves(page(statement))} == {str}


@pytest.mark.parametrize("character", ["日", "😀", "\ue000"])
def test_a_character_without_glyph_is_named_with_its_field(printer: Printer, character: str):
    _, statement, visit = story()
    with pytest.raises(Unprintable) as refused:
        typeset_certificate(printer, changed(statement, customer=f"Alder {character}"), visit)
    assert refused.value.found == (("customer", f"Alder {character}", character),)


def test_characters_without_glyph_are_faults_of_their_records_with_place_and_cure():
    files = plain()
    files["sensors/RH-1.yml"] = files["sensors/RH-1.yml"].replace(b"of the store", "of the 種子 store".encode())
    noted = b.visit("2026-09-14-lab", b.plateau(50, [50.4, 50.5], b.generated(50), note=["door 🔒 closed", None]))
    with pytest.raises(RecordsRefused) as refused:
        certificates(b.assessed(files | noted), TEMPLATES)
    by_path = {fault.place.path: fault for fault in refused.value.faults}
    assert set(by_path) == {"sensors/RH-1.yml", "visits/2026/2026-09-14-lab.csv"}
    fault = by_path["sensors/RH-1.yml"]
    line, column = fault.place.line, fault.place.column
    assert files["sensors/RH-1.yml"].decode().splitlines()[line - 1][column - 1 :].startswith("種子")
    assert fault.rule.name == "unprintable-character" and "U+7A2E" in fault.message
    assert "Latin, Greek or Cyrillic" in fault.cure


# All certificates of an assessment


def test_every_statement_is_published_as_pdf_with_its_json_beside_it():
    assessment, statement, visit = story()
    files = certificates(assessment, TEMPLATES)
    path = f"certificates/RH-1/{VISIT}.preview"
    assert set(files) == {f"{path}.pdf", f"{path}.json"}
    assert files[f"{path}.json"] == statement_bytes(statement)
    assert files[f"{path}.pdf"] == certificate(statement, visit, TEMPLATES)


def test_progress_is_told_only_where_it_takes_long(monkeypatch: pytest.MonkeyPatch):
    assessment, _, _ = story()
    told: list[tuple[int, int]] = []
    certificates(assessment, TEMPLATES, lambda done, of: told.append((done, of)))
    assert told == []
    monkeypatch.setattr(printed, "QUIET_S", -1.0)
    certificates(assessment, TEMPLATES, lambda done, of: told.append((done, of)))
    assert told == [(1, 1)]


def test_a_users_own_template_stands_in_for_ours(tmp_path: Path):
    _, statement, visit = story()
    own = tmp_path / "certificate"
    own.mkdir()
    (own / "parts.typ").write_text(
        (TEMPLATES[-1] / "certificate" / "parts.typ").read_text(encoding="utf-8").replace("[page #", "[sheet #"),
        encoding="utf-8",
    )
    assert "sheet 1 of" in text_of(certificate(statement, visit, (tmp_path, *TEMPLATES)))[0]


def test_a_broken_template_is_refused_with_its_place_and_a_cure(tmp_path: Path):
    _, statement, visit = story()
    (tmp_path / "certificate").mkdir()
    (tmp_path / "certificate" / "certificate.typ").write_text("#nothing(")
    with pytest.raises(Refusal, match=r"(?s)certificate\.typ:1.*cure: correct certificate/certificate\.typ"):
        certificate(statement, visit, (tmp_path, *TEMPLATES))
