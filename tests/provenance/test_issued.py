"""An issued certificate is a record of the approval that it rests on: of its sensor, and of those bytes."""

from __future__ import annotations

import hashlib
import json
from datetime import date
from pathlib import Path

from asfound.provenance import ApprovalState, provenance
from tests import builders as b
from tests.git_histories import BEN
from tests.provenance.stores import VISIT, on_a_branch, store, told, visit, whole
from tests.repositories import BAD, bad_records

SOUND = bad_records(BAD / "issued-without-reason")["issued/RH-101/2026-03-14-drying.r1.json"]


def certificate(of: bytes, sensor: str = "RH-1") -> b.Files:
    """What was issued for one sensor of the visit when its record held these bytes."""
    stated = json.loads(SOUND)
    approved = {"person": "ben", "name": "Ben Sedge", "day": "2026-03-17", "how": "merge", "commit": "4b1d"}
    evidence = {"visit": VISIT, "sha256": hashlib.sha256(of).hexdigest(), "approved": approved}
    stated |= {
        "number": f"{sensor}/2026-03-16-lab.r1",
        "sensor": sensor,
        "visit": "2026-03-16-lab",
        "evidence": stated["evidence"] | evidence,
    }
    return {f"issued/{sensor}/2026-03-16-lab.r1.json": (json.dumps(stated, indent=1) + "\n").encode()}


BASE = b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure())


def test_without_a_history_the_certificates_tell_who_is_approved(tmp_path: Path):
    records = b.loaded(BASE | visit() | certificate(visit()[VISIT]))
    found = provenance(tmp_path, records)
    assert (found.head, found.approved) == (None, {(VISIT, "RH-1")})
    known = found.visits[VISIT]
    approval = known.approvals["RH-1"]
    assert known.state is ApprovalState.APPROVED
    assert (approval.name, approval.day, approval.how, approval.commit) == (
        "Ben Sedge",
        date(2026, 3, 17),
        "issued",
        "4b1d",
    )


def test_a_certificate_approves_its_own_sensor_only(tmp_path: Path):
    rows = [b.plateau(50, [50.1, 50.2], b.generated(50), sensor=name) for name in ("RH-1", "RH-2")]
    both = b.visit("2026-03-16-lab", *rows)
    found = provenance(tmp_path, b.loaded(BASE | both | certificate(both[VISIT])))
    assert found.approved == {(VISIT, "RH-1")}
    assert found.visits[VISIT].state is ApprovalState.NO_HISTORY
    assert found.visits[VISIT].why.endswith("certificates that were issued approve RH-1")


def test_a_certificate_of_other_bytes_approves_nothing(tmp_path: Path):
    records = b.loaded(BASE | visit(0.1) | certificate(visit(0.4)[VISIT]))
    assert provenance(tmp_path, records).approved == frozenset()


def test_a_certificate_that_names_the_technician_approves_nothing(tmp_path: Path):
    own = {path: text.replace(b'"ben"', b'"ann"') for path, text in certificate(visit()[VISIT]).items()}
    assert provenance(tmp_path, b.loaded(BASE | visit() | own)).approved == frozenset()


def test_a_history_confirms_the_approval_where_it_knows_it(tmp_path: Path):
    history = store(tmp_path)
    history.commit(visit(), by=BEN, on="2026-03-16")
    history.commit(certificate(visit()[VISIT]), by=BEN, on="2026-03-20")
    assert told(history).approvals["RH-1"].how == "issued"
    assert whole(history).approved == {(VISIT, "RH-1")}


def test_what_a_history_knows_goes_first(tmp_path: Path):
    history = store(tmp_path)
    merge = history.merge(on_a_branch(history), by=BEN, on="2026-03-18")
    history.commit(certificate(visit()[VISIT]), by=BEN, on="2026-03-20")
    approval = told(history).approvals["RH-1"]
    assert (approval.how, approval.commit) == ("merge", merge)
