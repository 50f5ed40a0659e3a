"""Signatures of commits that git can verify here: with the keys of this machine, or an allowed-signers file."""

from __future__ import annotations

from collections.abc import Collection

from asfound.provenance.approval import address
from asfound.provenance.repository import Repository

_SIGNED = (b"\ngpgsig ", b"\ngpgsig-sha256 ")


def signers(repository: Repository, commits: Collection[str]) -> dict[str, str]:
    """By commit, the e-mail of whoever signed it, where the signature is good and the key is trusted.

    Verifying starts a program for each commit: only those that carry a signature are asked about.
    """
    headers = {commit: text.partition(b"\n\n")[0] for commit, text in repository.contents(sorted(commits)).items()}
    signed = [commit for commit, header in headers.items() if any(mark in header for mark in _SIGNED)]
    if not signed:
        return {}
    given = "".join(f"{commit}\n" for commit in signed).encode()
    said = repository.run("log", "--no-walk=unsorted", "--stdin", "--format=%H%x00%G?%x00%GS%x00", given=given)
    words = said.decode("utf-8", "replace").split("\0")
    verified = zip(words[0::3], words[1::3], words[2::3], strict=False)
    return {commit.strip(): address(signer) for commit, good, signer in verified if good == "G"}
