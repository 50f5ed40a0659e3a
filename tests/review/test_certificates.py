"""Certificates in a review: those that it brings are computed again, those that it contradicts are named."""

from __future__ import annotations

from pathlib import Path

import pytest

from asfound.assessment.assess import assess
from asfound.certificates.issue import issue, write
from asfound.provenance import Provenance, provenance
from asfound.records.load import Records
from asfound.records.snapshot import from_folder
from asfound.review.markdown import as_markdown
from tests import builders as b
from tests.git_histories import ANN, BEN, History
from tests.review.stores import DAY, NEW, on_a_branch, only, reviewed, rules, store, visit

CERTIFICATE = f"issued/RH-1/{NEW}.r1.json"


@pytest.fixture
def approved(tmp_path: Path) -> History:
    """The store, with a visit that Ben approved by merging it."""
    history = store(tmp_path)
    history.branch("visit").commit(visit(NEW, 0.4), by=ANN, on="2026-03-16")
    history.merge("visit", by=BEN, on="2026-03-17")
    return history


def certificate(history: History) -> b.Files:
    """What is issued from the working folder: the certificate of the visit."""
    told: list[Provenance] = []

    def approvals(records: Records) -> frozenset[tuple[str, str]] | None:
        told.append(provenance(history.records, records))
        return told[0].approved

    assessment = assess(from_folder(history.records), DAY, approvals)
    found, _ = issue(assessment, told[0], DAY, only=[("RH-1", NEW)])
    (path,) = write(found, history.records)
    content = path.read_bytes()
    path.unlink()
    return {CERTIFICATE: content}


def test_a_new_certificate_is_computed_again_and_agrees(approved: History):
    found = on_a_branch(approved, certificate(approved))
    assert rules(found) == [] and found.disagreements == ()
    assert [one.number for one in found.issued] == [f"RH-1/{NEW}.r1"]
    assert f"✓ agrees: **RH-1/{NEW}.r1** of {DAY}, authorised by Ben Sedge" in as_markdown(found, "records/")


def test_a_new_certificate_with_a_number_of_its_own_fails_the_review(approved: History):
    issued = certificate(approved)
    stated = found_error(issued[CERTIFICATE])
    forged = {CERTIFICATE: issued[CERTIFICATE].replace(stated, b'"error": 0.01')}
    assert forged != issued
    fault = only(on_a_branch(approved, forged), "issued-contradicted")
    assert fault.place.path == CERTIFICATE and "error +0.010 %RH stated" in fault.message


def test_a_certificate_is_not_the_first_to_tell_of_its_approval(approved: History):
    true = certificate(approved)
    approved.git("checkout", "--quiet", "-b", "own", "main~1")
    brought = {**visit(NEW, 0.4), **true}
    approved.commit(brought, by=ANN, on="2026-03-16")
    fault = only(reviewed(approved, "main~1", "own"), "issued-unapproved")
    assert fault.place.path == CERTIFICATE and "Ben Sedge approved" in fault.message and "not approved" in fault.message


def test_a_certificate_names_who_approved_and_nobody_else(approved: History):
    true = certificate(approved)
    forged = {CERTIFICATE: true[CERTIFICATE].replace(b'"person": "ben"', b'"person": "ann"')}
    assert forged != true
    fault = only(on_a_branch(approved, forged), "issued-unapproved")
    assert "approved by Ben Sedge" in fault.message


def found_error(content: bytes) -> bytes:
    """The first error that a certificate states, as it is written."""
    start = content.index(b'"error": ')
    return content[start : min(content.index(end, start) for end in (b",", b"\n", b"}"))]


def test_a_change_after_which_a_certificate_no_longer_agrees_names_it_its_cause_and_the_cure(approved: History):
    approved.commit(certificate(approved), by=BEN, on="2026-03-18")
    table = b.two_pressure("GEN-01", {"saturation_pressure": b.flat(0, 1500, "kPa", 0.4, value=0.5)})
    found = on_a_branch(approved, table)
    assert rules(found) == [], "what was true when it was stated is no broken rule"
    (one,) = found.disagreements
    assert one.issued.number == f"RH-1/{NEW}.r1" and {cause.kind for cause in one.causes} == {"reference"}
    comment = as_markdown(found, "records/")
    assert f"≈ no longer agrees: **RH-1/{NEW}.r1**" in comment
    assert f"asfound issue-certificates RH-1/{NEW} --reason" in comment


def test_a_change_that_moves_nothing_of_a_certificate_leaves_it_in_peace(approved: History):
    approved.commit(certificate(approved), by=BEN, on="2026-03-18")
    approved.branch("work").commit(visit("2026-04-20-lab", 0.4), by=ANN, on="2026-04-20")
    assert reviewed(approved).disagreements == ()
