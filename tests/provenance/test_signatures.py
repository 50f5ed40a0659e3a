"""A verified signature of a person who may approve is an approval; keys and signatures are ssh's own."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from generator.provenance import ApprovalState
from tests.git_histories import ANN, BEN, History, Who
from tests.provenance.stores import CAL, STRANGER, VISIT, store, told, visit

pytestmark = pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="ssh-keygen makes the keys")


def signed(history: History, who: Who, technician: str = "ann") -> str:
    """The visit committed on the main branch by Ann, signed with a key of another's."""
    key = history.root.parent / "key"
    made = ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", who.email, "-f", str(key)]
    subprocess.run(made, check=True)
    public = key.with_suffix(".pub").read_text(encoding="utf-8")
    (history.root.parent / "allowed").write_text(f"{who.email} {public}", encoding="utf-8")
    for name, value in (("gpg.format", "ssh"), ("user.signingKey", str(key))):
        history.git("config", name, value)
    history.write(visit(technician=technician))
    history.git("add", "--all")
    history.git("commit", "--quiet", "--gpg-sign", "-m", "Visit to the laboratory", by=ANN, on="2026-03-17")
    return history.head


def trust(history: History) -> None:
    history.git("config", "gpg.ssh.allowedSignersFile", str(history.root.parent / "allowed"))


def test_a_commit_that_an_approver_signed_is_approved_once_the_key_is_trusted(tmp_path: Path):
    history = store(tmp_path)
    commit = signed(history, BEN)
    assert told(history).state is ApprovalState.NOT_REVIEWED
    trust(history)
    approval = told(history).approvals["RH-1"]
    assert (approval.person, approval.how, approval.commit) == ("ben", "signature", commit)


def test_a_technician_s_signature_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    signed(history, CAL, technician="cal")
    trust(history)
    assert told(history).why.endswith("signed by Cal Rush, who calibrated there: another must approve")


def test_a_stranger_s_signature_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    signed(history, STRANGER)
    trust(history)
    assert "signed by eve@elsewhere.example, an e-mail that people.yml does not know" in told(history).why


def test_a_signature_of_what_was_edited_since_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    signed(history, BEN)
    trust(history)
    history.commit(visit(0.1), by=ANN, on="2026-03-18")
    assert told(history, VISIT).state is ApprovalState.NOT_REVIEWED
