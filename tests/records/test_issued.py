"""Issued certificates as records: read by their heads, whole where asked for, refused where they do not hold."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from asfound.assessment.assess import check
from asfound.faults import RecordsRefused
from asfound.records.load import load
from asfound.records.snapshot import from_folder
from asfound.stated.issued import statement_of
from asfound.stated.statement import statement_bytes
from tests.repositories import BAD, bad_records, laid_over, minimal

R1 = "issued/RH-101/2026-03-14-drying.r1.json"
R2 = "issued/RH-101/2026-03-14-drying.r2.json"
WHOLE = bad_records(BAD / "issued-without-reason")


def certificate(**values: Any) -> dict[str, Any]:
    """A sound first certificate with some of its keys replaced."""
    return json.loads(WHOLE[R1]) | values


def written(stated: Any) -> bytes:
    return (json.dumps(stated, indent=1) + "\n").encode()


def told(files: dict[str, bytes]) -> list[str]:
    return [fault.rule.name for fault in check(laid_over(dict(files)))]


def test_the_records_know_every_certificate_with_who_when_and_which_bytes():
    records, faults = load(laid_over({R1: WHOLE[R1]}))
    assert records is not None and not faults
    (one,) = records.issued
    assert (one.sensor, one.visit, one.revision) == ("RH-101", "2026-03-14-drying", 1)
    assert (one.number, one.day) == ("RH-101/2026-03-14-drying.r1", date(2026, 4, 1))
    assert one.evidence.visit == "visits/2026/2026-03-14-drying.csv" and one.evidence.approved.name == "Bo Tansy"
    assert one.content == WHOLE[R1] == statement_bytes(statement_of(one))


def test_a_re_issue_names_what_it_replaces_and_why():
    again = certificate(
        number="RH-101/2026-03-14-drying.r2",
        revision="r2",
        replaces={"number": "RH-101/2026-03-14-drying.r1", "reason": "the probe was named wrongly"},
    )
    assert told({R1: WHOLE[R1], R2: written(again)}) == []
    records, _ = load(laid_over({R1: WHOLE[R1], R2: written(again)}))
    assert records is not None and [one.revision for one in records.issued] == [1, 2]
    for replaces in (None, {"number": "RH-101/2026-03-14-drying.r3", "reason": "x"}, {"number": again["number"]}):
        files = {R1: WHOLE[R1], R2: written(again | {"replaces": replaces})}
        assert told(files) in (["issued-without-reason"], ["issued-incomplete"])


@pytest.mark.parametrize("indent", [None, 2])
def test_a_file_that_was_laid_out_anew_holds_the_same(indent: int | None):
    files = {R1: json.dumps(certificate(), indent=indent).encode()}
    assert told(files) == []
    records, _ = load(laid_over(dict(files)))
    assert records is not None and records.issued[0].number == "RH-101/2026-03-14-drying.r1"


def test_only_the_head_is_read_until_the_whole_is_asked_for():
    """40 000 certificates are read in seconds; what is broken behind their heads is found by `check`, or when used."""
    broken = WHOLE[R1].replace(b' "results": []', b' "results": [,]')
    files = laid_over({R1: broken})
    records, faults = load(files)
    assert records is not None and not faults
    with pytest.raises(RecordsRefused, match="issued-unreadable"):
        statement_of(records.issued[0])
    assert told({R1: broken}) == ["issued-unreadable"]


@pytest.mark.parametrize(
    ("content", "rule"),
    [
        (b"", "issued-unreadable"),
        (b"\xff\xfe", "issued-unreadable"),
        (b"[]", "issued-unreadable"),
        (b"[" * 100_000, "issued-unreadable"),
        (WHOLE[R1][:700], "issued-unreadable"),
        (b"<<<<<<< ours\n" + WHOLE[R1], "issued-unreadable"),
        (written({}), "issued-schema"),
        (written(certificate(revision="preview")), "issued-incomplete"),
        (written(certificate(issued="1 April")), "issued-incomplete"),
        (written(certificate(evidence="none")), "issued-incomplete"),
        (written(certificate(sensor="RH-102")), "issued-name"),
        (written(certificate(revision="r2")), "issued-name"),
    ],
)
def test_a_file_that_is_no_certificate_is_refused(content: bytes, rule: str):
    assert told({R1: content}) == [rule]


@pytest.mark.parametrize("again", [b' "number": "RH-101/other.r1",', b' "evidence": [],'])
def test_a_key_that_stands_twice_cannot_say_two_things(again: bytes):
    """Readers of JSON take one of the two, and not all of them the same."""
    twice = WHOLE[R1].replace(b' "results": []', again + b' "results": []')
    assert told({R1: twice}) == ["issued-unreadable"]


def test_what_a_certificate_was_computed_from_must_be_in_it():
    stated = certificate()
    del stated["evidence"]["pools"]
    assert told({R1: written(stated)}) == ["issued-incomplete"]


def test_what_lacks_behind_the_head_is_told_with_its_place():
    content = WHOLE[R1].replace(b' "paper": "A4"', b' "paper": "A5"')
    (fault,) = check(laid_over({R1: content}))
    assert fault.rule.name == "issued-incomplete" and fault.message.startswith("paper: ")
    assert content.decode().splitlines()[fault.place.line - 1].startswith(' "paper": "A5"')
    assert "restore the file as it was issued" in fault.cure


@pytest.mark.parametrize("path", ["issued/note.txt", "issued/RH-101/2026-03-14-drying.json", "issued/r1.json"])
def test_nothing_else_lies_among_the_certificates(path: str):
    assert told({path: b"{}"}) == ["issued-name"]


def test_the_visit_of_a_certificate_stays_on_record():
    files = laid_over({R1: WHOLE[R1]})
    del files["visits/2026/2026-03-14-drying.csv"]
    assert [fault.rule.name for fault in check(files)] == ["issued-visit-changed"]


def test_a_certificate_stays_on_record_when_its_sensor_has_gone():
    gone = minimal()
    files = gone | {R1: WHOLE[R1]}
    del files["sensors/RH-101.yml"]
    assert "issued-name" not in {fault.rule.name for fault in check(files)}
    records, _ = load(files)
    assert records is not None and len(records.issued) == 1


def test_a_folder_leaves_certificates_where_they_are_until_they_are_asked_for(tmp_path: Path):
    for path, content in laid_over({R1: WHOLE[R1]}).items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_bytes(content)
    files = from_folder(tmp_path)
    (tmp_path / R1).write_bytes(WHOLE[R2])
    assert files[R1] == WHOLE[R2]
