"""Everything that can be said about records without physics: read them, then compare them with each other."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterator

from asfound.faults import Fault, in_order
from asfound.records.load import Records, read
from asfound.records.models import CertificateWording, Facility
from asfound.records.rules import cross_check
from asfound.records.snapshot import Snapshot
from asfound.records.visits.csv_text import split
from asfound.records.visits.header import read_header
from asfound.records.visits.visit_files import NAME, Visit

_NO_FACILITY = Facility.model_construct(
    name="",
    address="",
    time_zone="UTC",
    places=(),
    policies=(),
    certificate=CertificateWording.model_construct(laboratory="", customer="", method="", method_version=""),
)
"""Stands in for a facility.yml that could not be read, so that the other records are still compared."""


Filling = Callable[[Records], tuple[Records, list[Fault]]]
"""Puts the means of logs into the rows that name them: `asfound.soak.log_rows.with_logs`, which lies above."""


def check(files: Snapshot, filling: Filling | None = None) -> tuple[Records | None, list[Fault]]:
    """Read and compare all records of a snapshot; every fault at once, in order of place.

    A record with faults of its own is left out of `Records`; without facility.yml or people.yml there are none.
    Rows that a later revision replaces or withdraws have no faults. `filling`: without it, rows that name a log have no
    readings; `asfound.soak.checking_with_logs` asks with it.
    """
    reading = read(files)
    facility, people = reading.models.get("facility.yml"), reading.models.get("people.yml")
    records = reading.records(files, facility or _NO_FACILITY, people.people if people else ())
    unread = [path for path in ("facility.yml", "people.yml") if path not in reading.models]
    if filling is not None and facility is not None:  # without one the time zone is not known
        records, found = filling(records)
        reading.faults += found
    faults = list(_not_replaced(reading.faults, files, records.visits))
    # What could not be read is not also missing.
    places = {fault.place for fault in faults}
    faults += [fault for fault in cross_check(records, unread, places) if fault.place not in places]
    return (None if unread else records), in_order(faults)


def _not_replaced(faults: Collection[Fault], files: Snapshot, visits: Collection[Visit]) -> Iterator[Fault]:
    """Faults without those in rows of a visit that a later revision replaces or withdraws."""
    tables: dict[str, tuple[tuple[int, ...], list[str]]] = {}
    revised: dict[str, list[Visit]] = {}
    for visit in visits:
        if visit.revision > 1:
            revised.setdefault(visit.id, []).append(visit)
    for fault in faults:
        path = fault.place.path
        name = NAME.fullmatch(path)
        later = _sensors_after(revised.get(name[2], ()), int(name[4] or 1)) if name else frozenset()
        if not later:
            yield fault
            continue
        if path not in tables:
            tables[path] = _sensor_by_line(path, files[path])
        lines, sensors = tables[path]
        row = bisect_right(lines, fault.place.line) - 1
        concerned = {sensors[row]} if row >= 0 else set(sensors)
        if not concerned or not concerned <= later:
            yield fault


def _sensors_after(revisions: Collection[Visit], revision: int) -> frozenset[str]:
    """Sensors that a later one of a visit's revisions holds."""
    return frozenset(
        sensor for visit in revisions if visit.revision > revision for sensor in visit.text["sensor"] if sensor
    )


def _sensor_by_line(path: str, content: bytes) -> tuple[tuple[int, ...], list[str]]:
    """First line and sensor of each row, as far as the file lets itself be read; the header is no row."""
    table, _ = split(path, content)
    if table is None or not table.rows:
        return (), []
    fields = read_header(tuple(text.strip() for text in table.rows[0])).of("sensor")
    index = fields[0].index if fields else len(table.rows[0])
    held = [
        (line, row[index].strip() if index < len(row) else "")
        for line, row in zip(table.lines[1:], table.rows[1:], strict=True)
        if any(field.strip() for field in row)
    ]
    return tuple(line for line, _ in held), [sensor for _, sensor in held]
