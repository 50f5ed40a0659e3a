"""Issued certificates against what is computed today, and the causes where they no longer agree.

A cause is found by computing the certificate from its own frozen inputs first (it differs already: the code), then with
one group of inputs at a time as they are today.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import sha256

from generator import __version__
from generator.assessment.assess import Assessment
from generator.assessment.summary import SensorVisitSummary
from generator.records.issued import Issued
from generator.site.differences import Difference, differences
from generator.site.frozen import NOT_RECOMPUTED, CannotRecompute, Inputs, Pools, computed, inputs_of
from generator.site.statement import Statement, statements

__all__ = ["Cause", "Difference", "Disagreement", "differences", "disagreements", "newest"]

RECORD, REFERENCE, POLICY, POOL, CODE = "record", "reference", "policy", "pool", "code"
_POLICY = "facility.yml"
_SENSOR = ("sensors/", "families/")


@dataclass(frozen=True, kw_only=True)
class Cause:
    """Why a certificate no longer agrees."""

    kind: str
    """record, reference, policy, pool or code"""
    words: str


@dataclass(frozen=True, kw_only=True)
class Disagreement:
    """An issued certificate with which today's computation does not agree."""

    issued: Issued
    differences: tuple[Difference, ...]
    causes: tuple[Cause, ...]

    @property
    def cure(self) -> str:
        """The command that issues what is computed today."""
        return f'hygrotrail issue-certificates {self.issued.sensor}/{self.issued.visit} --reason "…"'


def newest(assessment: Assessment) -> tuple[Issued, ...]:
    """Of each certificate its latest revision, those of visits up to the assessment's day; by sensor and visit."""
    latest = {(one.sensor, one.visit): one for one in assessment.records.issued}
    return tuple(one for one in latest.values() if one.visit[:10] <= assessment.day.isoformat())


def disagreements(assessment: Assessment, chosen: Iterable[Issued] | None = None) -> tuple[Disagreement, ...]:
    """Every newest issued certificate (or those chosen) that today's computation contradicts, by sensor and visit.

    Where all agree nothing is computed again: the assessment's own results are compared.
    """
    certificates = newest(assessment) if chosen is None else tuple(chosen)
    if not certificates:
        return ()
    today = {(one["sensor"], one["visit"]): one for one in statements(assessment)}
    summaries = {(s.sensor_visit.sensor, s.sensor_visit.visit.id): s for s in assessment.summaries}
    found = []
    for issued in certificates:
        key = (issued.sensor, issued.visit)
        stated, now = issued.statement, today.get(key)
        differing = differences(stated, now) if now is not None else (_nothing_today(summaries.get(key)),)
        if differing:
            causes = _Causes(assessment, issued, stated, now, summaries.get(key)).found(differing)
            found.append(Disagreement(issued=issued, differences=differing, causes=causes))
    return tuple(found)


def _nothing_today(summary: SensorVisitSummary | None) -> Difference:
    """No certificate would be issued now."""
    if summary is None:
        why = "the visit holds it no more"
    elif summary.sensor_visit.withdrawn:
        why = f"withdrawn: {summary.sensor_visit.reason}"
    else:
        held = [f for r in summary.results for f in r.reservations if f.rule.withholds_certificate]
        why = "; ".join(dict.fromkeys(f"{f.rule.name}: {f.message}" for f in held)) or "no result of our own"
    return Difference(where="all results", what="certificate", stated="issued", computed=f"none, {why}")


class _Causes:
    """Finds why one certificate no longer agrees."""

    def __init__(
        self,
        assessment: Assessment,
        issued: Issued,
        stated: Statement,
        now: Statement | None,
        summary: SensorVisitSummary | None,
    ) -> None:
        self.assessment, self.issued, self.stated, self.now, self.summary = assessment, issued, stated, now, summary
        self.files = assessment.records.files

    def found(self, differing: tuple[Difference, ...]) -> tuple[Cause, ...]:
        """The causes, in the order: code, record, reference, policy, pool."""
        causes = list(self._by_computing())
        if any(d.what == "reservation" and NOT_RECOMPUTED & {d.stated, d.computed} for d in differing) or (
            self.now is None and not causes
        ):
            causes += self._of_other_visits()
        if not causes:
            changed = ", ".join(sorted(self._changed)) or "none of its records"
            causes = [Cause(kind=RECORD, words=f"no single one: changed since it was issued are {changed}")]
        return tuple(causes)

    def _by_computing(self) -> Iterator[Cause]:
        evidence = self.stated["evidence"]
        try:
            inputs = inputs_of(self.stated, self.files[evidence["visit"]])
            base = computed(inputs)
        except CannotRecompute as why:
            yield Cause(kind=CODE, words=f"hygrotrail {__version__} does not compute it from its own inputs: {why}")
            return
        if differences(self.stated, base, apart_from=NOT_RECOMPUTED):
            then = evidence["code"]
            words = f"hygrotrail {then} then, {__version__} now" if then != __version__ else f"hygrotrail {then} itself"
            yield Cause(kind=CODE, words=f"{words}: from the same inputs it computes something else")
        for kind, words, changed in self._groups(inputs):
            try:
                moved = bool(differences(base, computed(changed)))
            except CannotRecompute as why:
                moved, words = True, f"{words} ({why})"
            if moved:
                yield Cause(kind=kind, words=words)

    def _groups(self, inputs: Inputs) -> Iterator[tuple[str, str, Inputs]]:
        """By kind of cause, what it is called, and the inputs with that group as it is today; where it changed."""
        record = sorted(path for path in self._changed if path.startswith(_SENSOR))
        here = self.summary.sensor_visit.visit if self.summary else None
        if here is not None and here.path != inputs.path:
            revised = self._revised(inputs, here.path, here.content)
            yield RECORD, f"{here.path} replaces {inputs.path}", self._with(revised, record)
        elif record:
            yield RECORD, self._said(record), self._with(inputs, record)
        reference = sorted(path for path in self._changed if path.startswith(("references/", "visits/")))
        if reference:
            yield REFERENCE, self._said(reference), self._with(inputs, reference)
        if _POLICY in self._changed:
            yield POLICY, self._said([_POLICY]), self._with(inputs, [_POLICY])
        pools = {key: value for key, value in self._pools_today.items() if key in inputs.pools}
        if any(value != inputs.pools[key] for key, value in pools.items()):
            words = "the scatter of single readings, as pools and declarations know it, is another than it was"
            yield POOL, words, replace(inputs, pools={**inputs.pools, **pools})

    @cached_property
    def _changed(self) -> frozenset[str]:
        """Records that have other bytes today, or that it leans on only today; people.yml moves no number."""
        then: dict[str, str] = {r["path"]: r["sha256"] for r in self.stated["evidence"]["records"]}
        today = {r["path"]: r["sha256"] for r in self.now["evidence"]["records"]} if self.now else self._hashed(then)
        return frozenset(path for path in (then | today) if then.get(path) != today.get(path)) - {"people.yml"}

    def _hashed(self, paths: Iterable[str]) -> dict[str, str]:
        return {path: sha256(self.files[path]).hexdigest() for path in paths if path in self.files}

    @cached_property
    def _pools_today(self) -> Pools:
        measurement = self.assessment.measurement
        return {measurement.key(line): line.repeatability for line in measurement.lines}

    def _with(self, inputs: Inputs, paths: Iterable[str]) -> Inputs:
        """The inputs with some records as they are today; pools for lines that only today's records have."""
        today = {path: self.files[path] for path in paths if path in self.files}
        visits = {path for path in today if path.startswith("visits/")}
        pools = {key: value for key, value in self._pools_today.items() if key[0] in visits}
        return replace(inputs.with_files(today), pools={**pools, **inputs.pools})

    def _revised(self, inputs: Inputs, path: str, content: bytes) -> Inputs:
        """The inputs with another revision of the visit in the place of the one that was certified."""
        files = {name: held for name, held in inputs.files.items() if name != inputs.path}
        pools = {key: value for key, value in self._pools_today.items() if key[0] == path}
        return replace(inputs, path=path, files={**files, path: content}, pools={**inputs.pools, **pools})

    def _said(self, paths: Iterable[str]) -> str:
        return f"{', '.join(paths)} changed since it was issued"

    def _of_other_visits(self) -> Iterator[Cause]:
        """What other visits and calibrations say of a reference since, or of this visit."""
        results = self.summary.results if self.summary else ()
        rules = [f for r in results for f in r.reservations if f.rule.name in NOT_RECOMPUTED]
        said = list(dict.fromkeys(f.message for f in rules))
        if said:
            yield Cause(kind=REFERENCE, words="; ".join(said))
        elif self.summary is None or self.summary.sensor_visit.withdrawn:
            yield Cause(kind=RECORD, words="a later revision of the visit")
        elif self.now is not None:
            yield Cause(kind=REFERENCE, words="a reference that was in doubt is cleared")
