"""Everything that can be said about records without physics, rows that name a log among them."""

from __future__ import annotations

from asfound.faults import Fault
from asfound.records.checking import check as check_records
from asfound.records.load import Records
from asfound.records.snapshot import Snapshot
from asfound.soak.log_rows import with_logs


def check(files: Snapshot) -> tuple[Records | None, list[Fault]]:
    """`asfound.records.checking.check`, with the means of logs in the rows that name them."""
    return check_records(files, with_logs)
