"""Both sides of a change, read and assessed as far as it bears on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import cached_property, partial

from asfound.assessment.pipeline import Approved, Measured
from asfound.assessment.results.table import Result
from asfound.faults import Fault
from asfound.provenance import Provenance, provenance_at
from asfound.records.issued import read_issued
from asfound.records.load import Records
from asfound.records.snapshot import EVIDENCE, LazySnapshot, Snapshot
from asfound.records.visits.visit_files import NAME
from asfound.review.assessed_side import Key, Side, judged_side, measured_side, moved_by_pools
from asfound.review.changes import Change
from asfound.review.concern import Concern
from asfound.soak.checking_with_logs import check as check_records


class Sides:
    """Both sides of a change, assessed with the approvals of the base: what is not approved there enters no pool."""

    def __init__(self, change: Change, concern: Concern, records: Records, day: date) -> None:
        self.change, self.concern, self.head, self.day = change, concern, records, day
        self.faults: tuple[Fault, ...] = ()
        """of the head"""
        self.base, self.base_faults = self._read(self._base_files())
        self.positions = concern.positions

    def both(self) -> tuple[Side | None, Side]:
        """The base and the head; of sensors that only pools reach, those that they move."""
        before, after = self._measured(self.base, self.base_faults), self._measured(self.head, self.faults)
        assert after is not None
        self.positions = self.concern.positions | moved_by_pools(self.concern, before, after)
        return (judged_side(before, self.positions, self.day) if before else None), judged_side(
            after, self.positions, self.day
        )

    def results_of(self, records: Records) -> Mapping[Key, Result]:
        """Results of the head's visits by other records."""
        return self._results(records, self.faults)

    def exchanged(self, paths: frozenset[str]) -> Mapping[Key, Result]:
        """Results of the base with some files as they are at the head."""
        base, head = self._base_files(), self.change.head_files
        both = ((path, head if path in paths else base) for path in {*base, *paths})
        chosen = {path: files for path, files in both if path in files}
        held = {path: files[path] for path, files in chosen.items() if not path.startswith(EVIDENCE)}
        left = {path: partial(files.__getitem__, path) for path, files in chosen.items() if path.startswith(EVIDENCE)}
        return self._results(*self._read(LazySnapshot(held, left)))

    def _read(self, files: Snapshot) -> tuple[Records | None, list[Fault]]:
        """Records of the base that the change reaches, with what only pools lean on, which is the head's as well."""
        records, faults = check_records(files)
        if records is None:
            return None, faults
        concern, head = self.concern, self.head
        pooled = [v for v in head.visits if v.id in concern.visits and v.id not in concern.own]
        visits = tuple(sorted([*records.visits, *pooled], key=lambda v: (v.day, v.id, v.revision)))
        sensors = {name: sensor for name, sensor in head.sensors.items() if name not in concern.positions}
        documents = {**head.documents, **records.documents}
        return replace(records, visits=visits, sensors={**sensors, **records.sensors}, documents=documents), faults

    def _measured(self, records: Records | None, faults: Sequence[Fault]) -> Measured | None:
        return measured_side(records, faults, self.concern, self.approved, self.day)

    def _results(self, records: Records | None, faults: Sequence[Fault]) -> Mapping[Key, Result]:
        side = self._measured(records, faults)
        return judged_side(side, self.positions, self.day).results if side else {}

    def _base_files(self) -> Snapshot:
        """The base's records without the visits that the change does not reach."""
        files = self.change.base_files
        names = {path: NAME.fullmatch(path) for path in files}
        sensors = {f"sensors/{name}.yml" for name in self.concern.named}
        chosen = {
            path
            for path, name in names.items()
            if (name[2] in self.concern.own if name else path in sensors or not path.startswith("sensors/"))
        }
        held = {path: files[path] for path in chosen if not path.startswith(EVIDENCE)}
        left = {path: partial(files.__getitem__, path) for path in chosen if path.startswith(EVIDENCE)}
        return LazySnapshot(held, left)

    @cached_property
    def provenance(self) -> Provenance | None:
        """Of the base, as far as the change reaches: by git, and by the certificates of what is assessed."""
        if self.base is None:
            return None
        files = self.change.certificates(self.concern.visits, self.change.before)
        issued = [one for path in files if (one := read_issued(files, path)[0]) is not None]
        records = replace(self.base, issued=tuple(issued), files=self.change.base_files, documents={})
        return provenance_at(self.change.repository, self.change.base, records)

    @property
    def approved(self) -> Approved:
        """Who was approved at the base."""
        return self.provenance.approved if self.provenance is not None else frozenset()
