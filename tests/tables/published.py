"""The published files of the store's site, read as other programs read them."""

from __future__ import annotations

import csv
import io

from tests.site import store


def published(path: str) -> bytes:
    return store.content().files[path]


def rows(path: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(published(path).decode(), newline="")))
