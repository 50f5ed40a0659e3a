"""A certificate computed again from what is frozen in it: the records it leaned on, its visit, the values of pools.

No repository is needed, and no other record: what other visits know of a reference (checks that it failed, say) is not
in a certificate, so reservations of that kind cannot come out again (`NOT_RECOMPUTED`).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

from asfound.assessment.pipeline import judged, measured, summarised
from asfound.assessment.references.doubt import REFERENCE_IN_DOUBT
from asfound.certificates.evidence import PEOPLE
from asfound.certificates.statement import Statements
from asfound.faults import Fault, Severity
from asfound.measurement.cell_sources import Part
from asfound.measurement.lines import LineKey
from asfound.measurement.repeatability import Repeatability
from asfound.records.load import Records, load
from asfound.records.models.stated import as_float
from asfound.records.rules import cross_check
from asfound.records.snapshot import Snapshot
from asfound.records.visits.rows import SensorVisit, sensor_visits, with_shared_readings, without_lines
from asfound.refusals import Refusal
from asfound.soak.checking_with_logs import check
from asfound.stated.evidence import Pool
from asfound.stated.statement import Statement

NOT_RECOMPUTED = frozenset({REFERENCE_IN_DOUBT.name})
"""Reservations that come from other visits than a certificate's own."""

Pools = Mapping[LineKey, Repeatability]
"""what pools and declarations said of the scatter of single readings, by measured line"""


class CannotRecompute(Refusal):
    """What a statement has frozen does not do to compute it again; says why in a sentence, without a cure."""


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """All that the numbers of one certificate follow from."""

    sensor: str
    """or the reference that was calibrated"""
    path: str
    """record of the visit"""
    files: Snapshot
    """records by path, the visit among them"""
    pools: Pools
    technicians: Mapping[str, str]
    """names by id"""

    @cached_property
    def measured(self) -> frozenset[tuple[str, str]]:
        """(record of a visit, sensor or reference) of which pools are known."""
        return frozenset((path, sensor) for path, sensor, *_ in self.pools)

    def with_files(self, files: Mapping[str, bytes]) -> Inputs:
        """These inputs with some records replaced or added."""
        return replace(self, files={**self.files, **files})


def recomputed(statement: Statement, visit: bytes) -> Statement:
    """The statement that follows from its frozen inputs alone, as a preview: with another number, day and authority.

    `visit`: the bytes of its visit. Raises CannotRecompute where they do not do, or hold errors.
    """
    return computed(inputs_of(statement, visit))


def inputs_of(statement: Statement, visit: bytes) -> Inputs:
    """What is frozen in a statement. Raises CannotRecompute where a record's text is not there."""
    evidence = statement.evidence
    files: dict[str, bytes] = {}
    for record in evidence.records:
        if record.content is not None:
            files[record.path] = record.content
        elif record.path != PEOPLE:
            raise CannotRecompute(f"it does not hold the text of {record.path}")
    return Inputs(
        sensor=statement.sensor,
        path=evidence.visit,
        files={**files, evidence.visit: visit},
        pools={_line_key(pool): _repeatability(pool) for pool in evidence.pools},
        technicians={person.id: person.name for person in statement.technicians},
    )


def computed(inputs: Inputs) -> Statement:
    """The statement that follows from inputs. Raises CannotRecompute where they hold errors or give no result."""
    files = _with_people(inputs)
    records, faults = check(files)
    if records is None:
        raise _refused(faults)
    _refuse_errors(inputs, records, faults)
    parts = [part for part in sensor_visits(records) if _needed(inputs, records, part)]
    mine = next((part for part in parts if part.visit.path == inputs.path and part.sensor == inputs.sensor), None)
    if mine is None:
        raise CannotRecompute(f"{inputs.path} holds no readings of {inputs.sensor}")
    found = measured(records, parts, faults, known=inputs.pools)
    if errors := [fault for fault in found.measurement.faults if fault.rule.severity is Severity.ERROR]:
        raise _refused(errors)
    # Not doubted: whatever other visits know of a reference is not here.
    assessment = summarised(judged(found), mine.visit.day)
    summary = next(one for one in assessment.summaries if one.sensor_visit is mine)
    making = Statements(assessment)
    if not making.may_be_certified(summary):
        raise CannotRecompute(f"no result of {inputs.sensor} in {inputs.path} may be certified")
    return making.preview(summary)


def _needed(inputs: Inputs, records: Records, part: SensorVisit) -> bool:
    """The sensor's part of its visit, and those parts that calibrated references behind it."""
    if part.sensor == inputs.sensor and part.visit.path == inputs.path:
        return True
    return part.sensor in records.references and (part.visit.path, part.sensor) in inputs.measured


def _refuse_errors(inputs: Inputs, records: Records, faults: Iterable[Fault]) -> None:
    """Refuse errors in what the certificate itself says; those that come from what it does not hold are none of it.

    A visit holds sensors that are not this certificate's, and a sensor names families that it had at other times.
    """
    unread = inputs.files.keys() - records.documents.keys() - {visit.path for visit in records.visits}
    errors = [f for f in faults if f.rule.severity is Severity.ERROR and f.place.path in unread]
    for visit in records.visits:
        if visit.path == inputs.path:
            lines = zip(visit.lines, visit.text["sensor"], strict=True)
            mine: set[int] = set()
            others: set[int] = set()
            for line, name in lines:
                (mine if name == inputs.sensor else others).add(line)
            # Alone with what it shares with others, so that an error of several rows is not told of another's.
            alone = without_lines(with_shared_readings(visit), others)
            found = [*faults, *cross_check(replace(records, visits=(alone,)))]
            errors += [f for f in found if f.place.path == visit.path and f.place.line in mine]
    errors = [fault for fault in errors if fault.rule.severity is Severity.ERROR]
    if errors:
        raise _refused(errors)


def _refused(faults: Iterable[Fault]) -> CannotRecompute:
    """Says the first error; the others follow from it as often as not."""
    errors = [fault for fault in faults if fault.rule.severity is Severity.ERROR]
    first, more = errors[0], len(errors) - 1
    at = f"{first.place.path}:{first.place.line}"
    return CannotRecompute(f"{at}: {first.message}{f' (and {more} more)' if more else ''}")


def _with_people(inputs: Inputs) -> Snapshot:
    """The records with people who may have calibrated: the technicians, and whoever else the visits name.

    A certificate does not hold people.yml, which knows their e-mail addresses.
    """
    names = dict(inputs.technicians)
    found, _ = load({**inputs.files, PEOPLE: _people({**names, "nobody": "nobody"})})
    for visit in found.visits if found else ():
        for name in visit.text["technician"]:
            if name:
                names.setdefault(name, name)
    return MappingProxyType({**inputs.files, PEOPLE: _people(names or {"nobody": "nobody"})})


def _people(names: Mapping[str, str]) -> bytes:
    """People who have calibrated ever since, as JSON, which is YAML."""
    everyone = [{"id": id, "name": name, "may": ["calibrate"], "from": "0001-01-01"} for id, name in names.items()]
    return json.dumps({"people": everyone}).encode()


def _line_key(pool: Pool) -> LineKey:
    return pool.visit, pool.sensor, pool.plateau, pool.channel, Part(pool.part)


def _repeatability(pool: Pool) -> Repeatability:
    expected = None if pool.expected is None else as_float(pool.expected)
    s, nu = as_float(pool.s), as_float(pool.nu)
    return Repeatability(s=s, nu=nu, basis=pool.basis, group=pool.group, expected=expected)
