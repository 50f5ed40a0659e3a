"""What a certificate was computed from, frozen in it: it and its visit's bytes give its numbers without a repository.

The head (which bytes, who approved them) stands first, the records' texts and the pools after it: readers of thousands
of certificates stop between them (records/issued.py).
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from asfound import __version__
from asfound.assessment.assess import Assessment
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.assessment.results.table import Result
from asfound.certificates.statement_results import number
from asfound.certificates.traceability import Link
from asfound.measurement.lines import Measurement
from asfound.records.load import Records
from asfound.records.models.stated import Approved, Replaces
from asfound.records.settings_in_force import SettingsOn
from asfound.records.snapshot import Snapshot
from asfound.soak.log_rows import logs_of
from asfound.stated.evidence import Evidence, FrozenRecord, Pool

PEOPLE = "people.yml"
"""Frozen by its hash alone: a customer's copy carries no e-mail addresses of the staff."""


@dataclass(frozen=True, kw_only=True)
class Authority:
    """A person who authorises a certificate in the place of whoever approved the record."""

    id: str
    name: str


@dataclass(frozen=True, kw_only=True)
class Issue:
    """What makes an issued certificate of a preview."""

    revision: int
    day: date
    approved: Approved
    """the approval that it rests on"""
    commit: str | None
    """mainline commit that brought the visit's bytes"""
    replaces: Replaces | None = None
    """None: the first certificate of its visit's part"""
    authority: Authority | None = None
    """None: whoever approved the record"""


def evidence(
    assessment: Assessment,
    summary: SensorVisitSummary,
    measured: Sequence[Result],
    links: Sequence[Link],
    issue: Issue | None,
) -> Evidence:
    """The evidence of the certificate of one visit's part; `issue` None: of a preview."""
    visit, sensor = summary.sensor_visit.visit, summary.sensor_visit.sensor
    behind = ((link.reference.id, link.calibration.from_visit) for link in links if link.calibration.from_visit)
    used = dict.fromkeys([(sensor, visit.id), *behind])
    paths = [*_paths(assessment.records, summary, measured, links), *_logs(assessment, used)]
    return Evidence(
        visit=visit.path,
        revision=visit.revision,
        sha256=visit.sha256,
        blob=blob_id(visit.content),
        approved=issue.approved if issue else None,
        commit=issue.commit if issue else None,
        code=__version__,
        records=tuple(_frozen(assessment.records.files, paths)),
        pools=tuple(pool for part in used for pool in _pools(assessment.measurement, *part)),
    )


def blob_id(content: bytes) -> str:
    """The id by which git knows these bytes."""
    return hashlib.sha1(b"blob %d\0" % len(content) + content, usedforsecurity=False).hexdigest()


def _paths(
    records: Records, summary: SensorVisitSummary, measured: Sequence[Result], links: Sequence[Link]
) -> Iterator[str]:
    """Every record that the certificate leans on, beside its visit."""
    part = summary.sensor_visit
    sensor = records.sensors.get(part.sensor)
    yield from ("facility.yml", PEOPLE, f"{'sensors' if sensor else 'references'}/{part.sensor}.yml")
    if sensor is not None:
        yield f"families/{SettingsOn(records, sensor, part.visit.day).model}.yml"
    named = {name for column in ("reference", "barometer", "loop_meter") for name in part.words(column)}
    named |= {link.reference.id for link in links} | {r.reference for r in measured}
    yield from sorted(f"references/{name}.yml" for name in named if name in records.references)
    yield from sorted({link.visit_path for link in links if link.visit_path})


def _logs(assessment: Assessment, used: Iterable[tuple[str, str]]) -> Iterator[str]:
    """The logs that rows of these sensors at these visits name, and their mappings."""
    measurement = assessment.measurement
    for sensor, visit in used:
        for at in measurement.lines_of(sensor, visit)[:1]:
            part = measurement.cells[measurement.lines[at].cell].sensor_visit
            yield from logs_of(assessment.records, part.visit, sensor)


def _frozen(files: Snapshot, paths: Iterable[str]) -> Iterator[FrozenRecord]:
    """Each record once, with the hash of its bytes and its text."""
    for path in dict.fromkeys(paths):
        content = files[path]
        text = {} if path == PEOPLE else _as_text(content)
        yield FrozenRecord(path=path, sha256=hashlib.sha256(content).hexdigest(), **text)


def _as_text(content: bytes) -> dict[str, str]:
    """The bytes as text; those of a log that is no UTF-8 in letters that stand for them (RFC 4648)."""
    try:
        return {"text": content.decode()}
    except UnicodeDecodeError:
        return {"base64": base64.b64encode(content).decode()}


def _pools(measurement: Measurement, item: str, visit: str) -> Iterator[Pool]:
    """How far single readings scatter, as it was known for every line of a visit's part."""
    for at in measurement.lines_of(item, visit):
        line = measurement.lines[at]
        path, _, plateau, channel, part = measurement.key(line)
        known = line.repeatability
        pool = Pool(
            visit=path,
            sensor=item,
            plateau=plateau,
            channel=channel,
            part=part.value,
            s=number(known.s),
            nu=number(known.nu),
            basis=known.basis,
            group=known.group,
        )
        yield pool if known.expected is None else pool.model_copy(update={"expected": number(known.expected)})
