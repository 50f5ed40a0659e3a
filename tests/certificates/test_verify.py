"""A certificate's PDF answers for itself: whatever is altered in it is found. The records are invented."""

from __future__ import annotations

import copy
import functools
import hashlib
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from asfound.certificates.differences import differences
from asfound.certificates.evidence import blob_id
from asfound.certificates.page import page
from asfound.certificates.print_all import _qr_code, attachments, certificate
from asfound.certificates.recompute import CannotRecompute, recomputed
from asfound.certificates.verify import Verdict, Verification, as_text, verify
from asfound.cli import main
from asfound.printing.templates import template_folders
from asfound.printing.typst import printing
from asfound.refusals import Refusal
from asfound.stated.statement import NotAStatement, statement_bytes
from tests.certificates.certified import VISIT, as_statement, opened, story
from tests.certificates.frozen_certificates import issued_story, story_document, story_statement

SHIPPED = template_folders()
CSV, JSON = f"{VISIT}.csv", f"{VISIT}.r1.json"
SCRATCH = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@functools.cache
def issued() -> bytes:
    """The whole story's certificate as it was issued."""
    return certificate(story_statement(), issued_story()[1], SHIPPED)


def document_bytes(stated: dict[str, Any]) -> bytes:
    """A document as a forger writes it, whatever its shape."""
    return (json.dumps(stated, ensure_ascii=False, indent=1) + "\n").encode()


def saved(pdf: pikepdf.Pdf, **options: Any) -> bytes:
    out = io.BytesIO()
    pdf.save(out, **options)
    return out.getvalue()


def with_attached(name: str, content: bytes) -> bytes:
    """The issued file with another content under the name of an attachment."""
    pdf = opened(issued())
    pdf.attachments[name].obj.EF.F.write(content)
    return saved(pdf)


def printed(statement: dict[str, Any], visit: bytes, shown: Callable[[dict[str, Any]], None] | None = None) -> bytes:
    """A certificate as a forger with this program prints it: of any statement, and with other words on the page."""
    if hashlib.sha256(visit).hexdigest() == statement["evidence"]["sha256"] and shown is None:
        return certificate(as_statement(statement), visit, SHIPPED)
    said = page(as_statement(statement))
    if shown is not None:
        shown(said)
    held = json.dumps(attachments(as_statement(statement), visit))
    inputs = {"page": json.dumps(said), "attachments": held, "code": _qr_code(said["address"])}
    with printing(SHIPPED) as printer:
        return printer.typeset("certificate.typ", inputs, said)


def verdicts(found: Verification) -> dict[str, str]:
    return {check.name: check.verdict.value for check in found.checks}


def details(found: Verification, name: str) -> str:
    (check,) = (check for check in found.checks if check.name == name)
    return "\n".join([check.words, *check.details])


def hashed(statement: dict[str, Any], visit: bytes) -> dict[str, Any]:
    """The statement made to name this record."""
    statement["evidence"] |= {"sha256": hashlib.sha256(visit).hexdigest(), "blob": blob_id(visit)}
    return statement


# As it was issued


def test_a_certificate_as_it_was_issued_agrees_with_itself():
    found = verify(issued())
    assert verdicts(found) == {"attachments": "same", "numbers": "same", "pages": "same"}
    assert found.agrees and found.number == f"RH-1/{VISIT}.r1"
    assert "byte for byte" in details(found, "pages")
    assert "16 results computed again" in details(found, "numbers")


def test_the_hashes_to_compare_are_those_of_the_issuers_records():
    stated, visit = story_statement(), issued_story()[1]
    assert verify(issued()).sha256 == {
        f"issued/RH-1/{VISIT}.r1.json": hashlib.sha256(statement_bytes(stated)).hexdigest(),
        f"visits/2026/{VISIT}.csv": hashlib.sha256(visit).hexdigest(),
    }


def test_what_a_file_cannot_know_of_itself_is_said():
    said = as_text("mine.pdf", verify(issued()))
    assert "cannot be told from the file alone whether its issuer issued it" in said
    assert "whether a later revision replaced it" in said and "records.sha256" in said
    assert said.endswith("mine.pdf: AGREES with itself")


def test_a_file_that_another_program_saved_is_the_same_on_every_page():
    for options in ({"linearize": True}, {"object_stream_mode": pikepdf.ObjectStreamMode.disable}):
        found = verify(saved(opened(issued()), **options))
        assert found.agrees and verdicts(found)["pages"] == "same"
        assert "saved anew by another program" in details(found, "pages")


# Tampered


def test_a_reading_altered_in_the_attached_record_is_found_twice():
    visit = issued_story()[1]
    assert b"12.512" in visit or b"12.496" in visit
    altered = re.sub(rb"\b12\.4\d\d\b", b"12.444", visit, count=1)
    found = verify(with_attached(CSV, altered))
    assert verdicts(found)["attachments"] == verdicts(found)["numbers"] == "differs"
    assert "the statement names" in details(found, "attachments")
    assert "as found, humidity at 50 %RH: indication" in details(found, "numbers")


def test_a_number_altered_in_the_attached_statement_is_found_twice():
    statement = story_document()
    statement["results"][0]["rows"][0]["error"] += 0.5
    found = verify(with_attached(JSON, document_bytes(statement)))
    assert "as found, humidity at 50 %RH: error +3.70 %RH stated, +3.20 computed" in details(found, "numbers")
    assert verdicts(found)["pages"] == "differs", "the page still says what was measured"


def test_a_word_altered_on_the_page_is_found():
    def better(said: dict[str, Any]) -> None:
        cells = said["sections"][0]["tables"][0]["rows"][0]
        cells[cells.index("fail")] = "pass"

    visit = issued_story()[1]
    found = verify(printed(story_document(), visit, better))
    assert verdicts(found) == {"attachments": "same", "numbers": "same", "pages": "differs"}
    assert re.search(r"page 1: 'pass' stands, not 'fail'", details(found, "pages"))


def test_a_number_altered_on_page_and_statement_alike_does_not_come_out():
    statement = story_document()
    row = statement["results"][0]["rows"][0]
    row["error"], row["verdict"] = 0.1, "pass"
    found = verify(printed(statement, issued_story()[1]))
    assert verdicts(found) == {"attachments": "same", "numbers": "differs", "pages": "same"}
    assert "verdict “pass” stated, “fail” computed" in details(found, "numbers")


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("item", "serial"), "RH-1-B", "serial “RH-1-B” stated, “RH-1-A” computed"),
        (("decision", "summary", 0), "Humidity, as found: pass at all 3 points.", "summary"),
        (("results", 0, "tolerance", "words"), "±9 %RH", "tolerance “±9 %RH” stated, “±2 %RH” computed"),
        (("traceability", 0, "certificate"), "C-1", "certificate “C-1” stated"),
        (("conditions", 0, "mean"), 20.0, "mean 20.0 stated, 23.1 computed"),
        (("page", "address"), "https://alder.example.org/", "address “https://alder.example.org/” stated"),
        (("reservations", 0, "words"), "all is well", "reservation unsettled-plateau: words “all is well” stated"),
        (("calibrated", "first"), "2026-03-15", "first “2026-03-15” stated"),
        (("evidence", "pools", 0, "s"), 0.01, "repeatability"),
    ],
)
def test_whatever_else_is_altered_in_the_statement_does_not_come_out(path: tuple[Any, ...], value: Any, told: str):
    statement = story_document()
    at: Any = statement
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    found = verify(printed(statement, issued_story()[1]))
    assert verdicts(found)["numbers"] == "differs"
    assert told in details(found, "numbers")


def test_a_record_that_is_altered_no_longer_has_its_hash_or_gives_other_numbers():
    statement = story_document()
    (record,) = (r for r in statement["evidence"]["records"] if r["path"] == "families/rush.yml")
    record["text"] = record["text"].replace("2 %RH", "9 %RH")
    found = verify(printed(statement, issued_story()[1]))
    assert "families/rush.yml has another SHA-256" in details(found, "attachments")
    record["sha256"] = hashlib.sha256(record["text"].encode()).hexdigest()
    found = verify(printed(statement, issued_story()[1]))
    assert verdicts(found)["attachments"] == "same"
    assert "“±9 %RH” computed" in details(found, "numbers")


READINGS = re.compile(rb"(?<=,)\d+\.\d+(?=,)")


@functools.cache
def read_digits() -> list[int]:
    """Where the digits of readings stand: every number with decimals of the rows, soak and targets have none."""
    visit = issued_story()[1]
    header, _, _ = visit.partition(b"\n")
    return [
        at
        for found in READINGS.finditer(visit, len(header))
        for at in range(found.start(), found.end())
        if visit[at : at + 1].isdigit()
    ]


@SCRATCH
@given(st.data())
def test_any_digit_of_a_reading_that_is_changed_moves_a_number_that_is_found(data: st.DataObject):
    """Also where the statement is made to name the record so altered; the room's readings are conditions."""
    visit = bytearray(issued_story()[1])
    at = data.draw(st.sampled_from(read_digits()))
    digit = data.draw(st.sampled_from([d for d in b"0123456789" if d != visit[at]]))
    visit[at] = digit
    statement = hashed(story_document(), bytes(visit))
    try:
        again = recomputed(as_statement(statement), bytes(visit))
    except CannotRecompute:
        return
    assert differences(as_statement(statement), again) or as_statement(statement).conditions != again.conditions


def test_something_put_over_a_page_is_found():
    pdf = opened(issued())
    pdf.pages[0].contents_add(b"q 1 1 1 rg 100 500 200 20 re f Q")
    found = verify(saved(pdf))
    assert verdicts(found) == {"attachments": "same", "numbers": "same", "pages": "differs"}
    assert "something was put over a page" in details(found, "pages")


def test_letters_exchanged_where_a_page_only_inherits_its_fonts_are_found():
    pdf = opened(issued())
    fonts = pdf.pages[0].obj.Resources.Font
    pdf.Root.Pages.Resources = pdf.pages[0].obj.Resources
    del pdf.pages[0].obj.Resources
    assert verdicts(verify(saved(pdf)))["pages"] == "same", "where its fonts stand is nothing that is seen"
    one, other, *_ = fonts.keys()
    fonts[one], fonts[other] = fonts[other], fonts[one]
    assert verdicts(verify(saved(pdf)))["pages"] == "differs"


def test_a_page_that_was_taken_out_is_found():
    pdf = opened(issued())
    del pdf.pages[1]
    assert "1 pages, where the statement fills 2" in details(verify(saved(pdf)), "pages")


def test_a_file_attached_beside_ours_is_found():
    pdf = opened(issued())
    pdf.attachments["other.csv"] = b"a,b\n"
    assert "other.csv is attached, which no certificate of ours has" in details(verify(saved(pdf)), "attachments")


def test_a_statement_that_says_a_thing_twice_is_found():
    text = statement_bytes(story_statement()).replace(
        b'{\n "schema"', b'{\n "title": "Certificate of honour",\n "schema"', 1
    )
    assert "the statement says title 2 times" in details(verify(with_attached(JSON, text)), "attachments")


def test_what_another_version_drew_with_the_same_words_is_left_open():
    pdf = opened(issued())
    pdf.pages[0].contents_add(b"q Q")
    pdf.docinfo["/Creator"] = "Typst 0.1.0"
    found = verify(saved(pdf))
    assert verdicts(found)["pages"] == "open" and found.agrees
    assert "Typst 0.1.0" in details(found, "pages")


def test_an_issuers_own_template_is_told_of_and_can_be_given(tmp_path: Path):
    folder = tmp_path / "certificate"
    folder.mkdir()
    shipped = (SHIPPED[-1] / "certificate" / "certificate.typ").read_text()
    own = shipped.replace("== Errors and uncertainty", "== Our errors and their uncertainty")
    (folder / "certificate.typ").write_text(own)
    pdf = certificate(story_statement(), issued_story()[1], (tmp_path, *SHIPPED))
    found = verify(pdf)
    assert "templates of their own, which --templates DIR would name" in details(found, "pages")
    assert "Our errors" in details(found, "pages")
    assert verdicts(verify(pdf, tmp_path)) == {"attachments": "same", "numbers": "same", "pages": "same"}


# Nothing to verify


def without_attachments() -> bytes:
    pdf = opened(issued())
    for name in list(pdf.attachments):
        del pdf.attachments[name]
    return saved(pdf)


def without_record() -> bytes:
    pdf = opened(issued())
    del pdf.attachments[CSV]
    return saved(pdf)


def stated_otherwise(**values: Any) -> bytes:
    """The issued file with a statement in which some values are others (None: not there)."""
    gone = [key for key, value in values.items() if value is None]
    return with_attached(JSON, document_bytes({k: v for k, v in (story_document() | values).items() if k not in gone}))


def preview() -> bytes:
    _, statement, visit = story()
    return certificate(statement, visit, SHIPPED)


def encrypted() -> bytes:
    return saved(opened(issued()), encryption=pikepdf.Encryption(owner="x", user="x"))


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (lambda: b"", "no PDF, or a damaged one"),
        (lambda: b"Calibration certificate", "no PDF, or a damaged one"),
        (lambda: issued()[:20000], "no PDF, or a damaged one"),
        (encrypted, "encrypted"),
        (without_attachments, "no statement of asfound is attached"),
        (without_record, f"the record of the visit, {CSV}, is not attached"),
        (preview, "this is a preview"),
        (lambda: with_attached(JSON, b"{"), "no statement of asfound is attached"),
        (lambda: with_attached(JSON, b"[" * 100_000), "no statement of asfound is attached"),
        (lambda: stated_otherwise(schema="asfound certificate 9"), "schema is 'asfound certificate 9'"),
        (lambda: stated_otherwise(evidence=None), "lacks evidence"),
        (lambda: stated_otherwise(sensor=None), "lacks sensor"),
    ],
)
def test_what_is_no_issued_certificate_is_refused_with_a_cure(content: Callable[[], bytes], why: str):
    with pytest.raises(Refusal, match=re.escape(why)) as refused:
        verify(content())
    assert "\n  cure: " in str(refused.value)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"due": 7}, "due: 7 is not a day"),
        ({"colour": "grey"}, "colour: extra inputs are not permitted"),
        ({"results": [{"rows": []}]}, "results.0.phase: field required"),
    ],
)
def test_a_statement_of_another_shape_is_told_with_the_place(values: dict[str, Any], told: str):
    found = verify(stated_otherwise(**values))
    assert verdicts(found) == {"statement": "differs"} and not found.agrees
    assert f"the statement does not have the shape of ours: {told}" in details(found, "statement")
    assert as_text("mine.pdf", found).endswith("mine.pdf: DIFFERS")


@SCRATCH
@given(st.data())
def test_a_statement_of_any_other_shape_is_no_traceback(data: st.DataObject):
    """One value anywhere in the statement is taken out or becomes another kind of thing."""
    statement = story_document()
    at: Any = statement
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        key = data.draw(st.sampled_from(keys))
        if not isinstance(at[key], dict | list) or not at[key] or data.draw(st.integers(0, 3)) == 0:
            break
        at = at[key]
    old = copy.deepcopy(at[key])
    at[key] = data.draw(st.sampled_from([None, "x", 7, -1.5, [], {}, [[]], {"x": 1}]))
    try:
        found = verify(with_attached(JSON, document_bytes(statement)))
    except Refusal:
        return
    assert not found.agrees or at[key] == old or _says_nothing(statement, story_document())


def _says_nothing(altered: dict[str, Any], statement: dict[str, Any]) -> bool:
    """Whether the pages say the same and nothing that follows from readings was touched."""
    try:
        return page(as_statement(altered)) == page(as_statement(statement))
    except NotAStatement:
        return False


@settings(max_examples=8, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 10**9), st.integers(0, 255)), min_size=1, max_size=30))
def test_a_damaged_file_is_no_traceback(damage: list[tuple[int, int]]):
    content = bytearray(issued())
    for at, value in damage:
        content[at % len(content)] = value
    try:
        verify(bytes(content))
    except Refusal as why:
        assert "cure:" in str(why)


# The command


@pytest.fixture
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder far from any records and repository, with a good, a bad and an unreadable file."""
    (tmp_path / "good.pdf").write_bytes(issued())
    (tmp_path / "bad.pdf").write_bytes(stated_otherwise(title="Certificate of honour"))
    (tmp_path / "torn.pdf").write_bytes(issued()[:9000])
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("files", "code"),
    [(["good.pdf"], 0), (["good.pdf", "bad.pdf"], 1), (["bad.pdf", "torn.pdf"], 2), (["absent.pdf"], 2), (["."], 2)],
)
@pytest.mark.usefixtures("elsewhere")
def test_the_command_tells_by_its_exit_code(files: list[str], code: int, capsys: pytest.CaptureFixture[str]):
    assert main(["verify", *files]) == code
    told = capsys.readouterr()
    assert ("good.pdf: AGREES with itself" in told.out) == ("good.pdf" in files)
    assert ("bad.pdf: DIFFERS" in told.out) == ("bad.pdf" in files)
    assert ("cure:" in told.err) == (code == 2)


@pytest.mark.usefixtures("elsewhere")
def test_the_command_tells_programs_the_same(capsys: pytest.CaptureFixture[str]):
    assert main(["verify", "--json", "good.pdf", "bad.pdf", "torn.pdf"]) == 2
    told = json.loads(capsys.readouterr().out)
    assert [one["verdict"] for one in told] == ["same", "differs", "cannot be read"]
    assert [check["name"] for check in told[1]["checks"]] == ["attachments", "numbers", "pages"]
    assert "title" in told[1]["checks"][1]["details"][0]


def test_open_is_no_sign_that_something_is_wrong():
    assert [v.value for v in Verdict] == ["same", "differs", "open"]
