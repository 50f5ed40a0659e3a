"""Issued certificates as a build publishes them: printed from what was frozen, whatever the records say today."""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping

import pytest

from asfound.certificates.print_all import certificates
from asfound.certificates.statement import Statements
from asfound.faults import RecordsRefused
from asfound.printing import templates
from asfound.site.lookup.lookup import look_up
from asfound.site.views.issued import certificate_lines
from asfound.stated.statement import statement_bytes
from tests import builders as b
from tests.certificates.certified import VISIT, issue, plain
from tests.certificates.frozen_certificates import with_issued

TEMPLATES = templates.template_folders()
RECORD = f"visits/2026/{VISIT}.csv"
R1, R2 = f"issued/RH-1/{VISIT}.r1.json", f"issued/RH-1/{VISIT}.r2.json"
FOLDER = f"certificates/RH-1/{VISIT}"
REASON = "two digits had changed places"


def published(files: b.Files, day: str = "2026-12-31") -> Mapping[str, bytes]:
    """Certificates and statements that a build publishes, by path in the site."""
    lookup = look_up(b.assessed(files, day))
    return certificates(lookup.assessment, TEMPLATES, again=lookup.disagreements)


@functools.cache
def issued() -> b.Files:
    return with_issued(plain())


@functools.cache
def as_it_was() -> Mapping[str, bytes]:
    return published(issued())


def edited(path: str, old: str, new: str) -> b.Files:
    """The records with a certificate on file, and one of them written otherwise since."""
    content = issued()[path]
    assert old.encode() in content
    return dict(issued()) | {path: content.replace(old.encode(), new.encode())}


def revised() -> b.Files:
    """The record was corrected after its certificate had been issued."""
    rows = b.plateau(50, [50.14, 50.15, 50.13], b.generated(50), reason=REASON)
    return dict(issued()) | b.visit(VISIT, rows, revision=2)


def issued_again() -> b.Files:
    """And another was issued of the correction."""
    files = revised()
    assessment = b.assessed(files)
    (summary,) = assessment.summaries
    replaces = {"number": f"RH-1/{VISIT}.r1", "reason": REASON}
    again = Statements(assessment).issued(summary, issue(revision=2, replaces=replaces))
    return files | {R2: statement_bytes(again)}


def test_an_issued_certificate_stands_alone_without_a_preview():
    assert set(as_it_was()) == {f"{FOLDER}.r1.pdf", f"{FOLDER}.r1.json"}
    assert as_it_was()[f"{FOLDER}.r1.json"] == issued()[R1]


@pytest.mark.parametrize(
    ("path", "old", "new"),
    [
        ("facility.yml", "Alder seed store", "Elder seed store"),
        ("people.yml", "Ben Sedge", "Ben Rush"),
        ("families/rush.yml", '"absolute": "2 %RH"', '"absolute": "0.3 %RH"'),
        ("sensors/RH-1.yml", "Air of the store", "Air of the vault"),
        ("references/GEN-01.yml", '"0.4 kPa"', '"4 kPa"'),
    ],
)
def test_a_certificate_prints_the_same_bytes_whatever_the_records_say_today(path: str, old: str, new: str):
    today = published(edited(path, old, new))
    for name in as_it_was():
        assert today[name] == as_it_was()[name]


def test_a_certificate_prints_the_same_bytes_on_any_later_day():
    later = published(dict(issued()), "2027-12-31")
    assert all(later[name] == content for name, content in as_it_was().items())


def test_where_today_says_otherwise_a_preview_tells_what_would_be_stated():
    today = published(edited("families/rush.yml", '"absolute": "2 %RH"', '"absolute": "0.3 %RH"'))
    preview = json.loads(today[f"{FOLDER}.preview.json"])
    stated = json.loads(today[f"{FOLDER}.r1.json"])
    verdicts = [[row["verdict"] for row in s["results"][0]["rows"]] for s in (stated, preview)]
    assert set(verdicts[0]) == {"pass"} and verdicts[1] != verdicts[0]


def test_a_corrected_record_has_a_preview_beside_the_certificate_of_what_it_was():
    today = published(revised())
    assert {name.removeprefix(FOLDER) for name in today if name.endswith("pdf")} == {".r1.pdf", ".preview.pdf"}
    assert today[f"{FOLDER}.r1.pdf"] == as_it_was()[f"{FOLDER}.r1.pdf"]
    assert json.loads(today[f"{FOLDER}.preview.json"])["evidence"]["revision"] == 2


def test_what_was_replaced_stays_published_beside_what_replaces_it():
    today = published(issued_again())
    assert {name.removeprefix(FOLDER) for name in today if name.endswith("pdf")} == {".r1.pdf", ".r2.pdf"}
    assert today[f"{FOLDER}.r1.pdf"] == as_it_was()[f"{FOLDER}.r1.pdf"]


def test_before_its_day_a_certificate_is_not_yet_issued():
    assert [name for name in published(dict(issued()), "2026-03-31") if name.endswith("pdf")] == [
        f"{FOLDER}.preview.pdf"
    ]


def test_the_pages_list_each_certificate_with_its_state_the_one_that_counts_first():
    lookup = look_up(b.assessed(issued_again()))
    first, second = certificate_lines(lookup, published(issued_again()), "RH-1", VISIT)
    assert (first.link.path, first.chip.word) == (f"{FOLDER}.r2.pdf", "issued")
    assert first.told == f"issued on 2026-04-01, authorised by Ben Sedge; in the place of r1: {REASON}"
    assert (second.link.path, second.chip.word) == (f"{FOLDER}.r1.pdf", "replaced")
    assert second.told.endswith(f"; replaced by r2 on 2026-04-01: {REASON}")


def test_a_certificate_of_a_withdrawn_visit_is_not_shown_as_one_that_stands():
    gone = [{"sensor": "RH-1", "phase": "withdrawn", "reason": "another probe was read", "technician": "ann"}]
    files = dict(issued()) | b.visit(VISIT, gone, revision=2)
    (only,) = certificate_lines(look_up(b.assessed(files)), published(files), "RH-1", VISIT)
    assert (only.link.path, only.chip.word) == (f"{FOLDER}.r1.pdf", "withdrawn")
    assert only.told.endswith("; the visit was withdrawn since: another probe was read")


def test_a_preview_is_listed_as_one():
    lookup = look_up(b.assessed(plain()))
    (only,) = certificate_lines(lookup, published(plain()), "RH-1", VISIT)
    assert (only.chip.word, only.told) == ("preview", "nothing is issued yet")


def test_a_character_that_cannot_be_printed_has_its_fault_in_the_certificates_own_file():
    """Its sensor's file may have gone since: what was frozen is what is printed."""
    files = dict(issued())
    files[R1] = files[R1].replace(b"Air of the store", "Air of the 種子 store".encode())
    with pytest.raises(RecordsRefused) as refused:
        published(files)
    assert {(fault.place.path, fault.rule.name) for fault in refused.value.faults} == {(R1, "unprintable-character")}
