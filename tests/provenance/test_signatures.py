"""A verified signature of a person who may approve is an approval; keys and signatures are those of ssh and gpg."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from asfound.provenance import ApprovalState
from tests.git_histories import ANN, BEN, History, Who
from tests.provenance.stores import CAL, STRANGER, VISIT, store, told, visit

by_ssh = pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="ssh-keygen makes the keys")


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


@by_ssh
def test_a_commit_that_an_approver_signed_is_approved_once_the_key_is_trusted(tmp_path: Path):
    history = store(tmp_path)
    commit = signed(history, BEN)
    assert told(history).state is ApprovalState.NOT_REVIEWED
    trust(history)
    approval = told(history).approvals["RH-1"]
    assert (approval.person, approval.how, approval.commit) == ("ben", "signature", commit)


@by_ssh
def test_a_technician_s_signature_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    signed(history, CAL, technician="cal")
    trust(history)
    assert told(history).why.endswith("signed by Cal Rush, who calibrated there: another must approve")


@by_ssh
def test_a_signature_of_another_text_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    commit = signed(history, BEN)
    trust(history)
    text = history.git("cat-file", "commit", commit).replace("Visit to the laboratory", "Visit to the seed store")
    (tmp_path / "forged").write_text(text, encoding="utf-8")
    forged = history.git("hash-object", "-t", "commit", "-w", str(tmp_path / "forged")).strip()
    history.git("reset", "--quiet", "--hard", forged)
    assert told(history).state is ApprovalState.NOT_REVIEWED


@by_ssh
def test_a_stranger_s_signature_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    signed(history, STRANGER)
    trust(history)
    assert "signed by eve@elsewhere.example, an e-mail that people.yml does not know" in told(history).why


@by_ssh
def test_a_signature_of_what_was_edited_since_approves_nothing(tmp_path: Path):
    history = store(tmp_path)
    signed(history, BEN)
    trust(history)
    history.commit(visit(0.1), by=ANN, on="2026-03-18")
    assert told(history, VISIT).state is ApprovalState.NOT_REVIEWED


@pytest.mark.skipif(shutil.which("gpg") is None, reason="gpg makes the key")
def test_a_good_signature_by_a_key_that_nobody_vouches_for_approves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Whoever makes a key writes any name on it; where it was made, gpg trusts it."""
    own, other = tmp_path / "own", tmp_path / "other"
    for home in (own, other):
        home.mkdir(mode=0o700)
    monkeypatch.setenv("GNUPGHOME", str(own))
    made = ["--batch", "--quiet", "--passphrase", "", "--quick-generate-key", str(BEN), "ed25519", "sign", "never"]
    try:
        subprocess.run(["gpg", *made], check=True, capture_output=True)
        public = subprocess.run(["gpg", "--export"], check=True, capture_output=True).stdout
        history = store(tmp_path)
        history.git("config", "user.signingKey", BEN.email)
        history.write(visit())
        history.git("add", "--all")
        history.git("commit", "--quiet", "--gpg-sign", "-m", "Visit to the laboratory", by=ANN, on="2026-03-17")
        assert told(history).approvals["RH-1"].how == "signature"
        monkeypatch.setenv("GNUPGHOME", str(other))
        subprocess.run(["gpg", "--quiet", "--import"], input=public, check=True, capture_output=True)
        assert told(history).state is ApprovalState.NOT_REVIEWED
    finally:
        for home in (own, other):
            subprocess.run(["gpgconf", "--homedir", str(home), "--kill", "all"], check=False, capture_output=True)
