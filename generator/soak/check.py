"""Everything that can be said about records without physics, rows that name a log among them."""

from __future__ import annotations

from generator.faults import Fault
from generator.records.check import check as check_records
from generator.records.load import Records
from generator.records.snapshot import Snapshot
from generator.soak.log_rows import with_logs


def check(files: Snapshot) -> tuple[Records | None, list[Fault]]:
    """`generator.records.check.check`, with the means of logs in the rows that name them."""
    return check_records(files, with_logs)
