"""What may be taken away from a site beside its tables."""

from __future__ import annotations

import hashlib

from asfound.site.publishing.downloads import records_manifest
from tests.site import store
from tests.tables.published import published


def test_the_records_of_a_visit_are_published_byte_for_byte():
    for path, content in store.store().items():
        if path.startswith("visits/"):
            assert published(f"data/{path}") == content


def test_the_list_of_records_is_what_sha256sum_checks():
    files = {**store.store(), "attachments/scan.pdf": b""}
    lines = records_manifest(files).decode().splitlines()
    listed = dict(reversed(line.split("  ", 1)) for line in lines)
    records = {path: content for path, content in store.store().items() if not path.startswith("trends/")}
    assert listed == {path: hashlib.sha256(content).hexdigest() for path, content in records.items()}
    assert list(listed) == sorted(listed)
