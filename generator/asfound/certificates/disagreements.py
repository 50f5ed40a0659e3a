"""Issued certificates against what is computed today, and the causes where they no longer agree.

A cause is found by computing the certificate from its own frozen inputs first (it differs already: the code), then with
one group of inputs at a time as they are today.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import sha256

from asfound import __version__
from asfound.assessment.assess import Assessment
from asfound.assessment.results.summary import SensorVisitSummary
from asfound.certificates.compared_values import Difference
from asfound.certificates.differences import INPUTS, differences
from asfound.certificates.evidence import PEOPLE
from asfound.certificates.recompute import NOT_RECOMPUTED, CannotRecompute, Inputs, Pools, computed, inputs_of
from asfound.certificates.statement import Statements
from asfound.measurement.repeatability import Repeatability
from asfound.records.issued import Issued
from asfound.rounding import published
from asfound.stated.issued import statement_of
from asfound.stated.statement import Statement

__all__ = ["Cause", "Difference", "Disagreement", "differences", "disagreements", "newest"]

RECORD, REFERENCE, POLICY, POOL, CODE = "record", "reference", "policy", "pool", "code"
MOST_COMPUTED = 100
"""Certificates whose causes are found by computing them again; of more, what changed is named."""
POLICY_FILE = "facility.yml"


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
        return f'asfound issue-certificates {self.issued.sensor}/{self.issued.visit} --reason "…"'


def newest(assessment: Assessment) -> tuple[Issued, ...]:
    """Of each certificate its latest revision, those of visits up to the assessment's day; by sensor and visit."""
    latest = {(one.sensor, one.visit): one for one in assessment.records.issued}
    return tuple(one for one in latest.values() if one.visit[:10] <= assessment.day.isoformat())


def disagreements(assessment: Assessment, chosen: Iterable[Issued] | None = None) -> tuple[Disagreement, ...]:
    """Every newest issued certificate (or those chosen) that today's computation contradicts, by sensor and visit.

    Where all agree nothing is computed again: the assessment's own results are compared.
    """
    today = _Today(assessment)
    found: list[Disagreement] = []
    for issued in newest(assessment) if chosen is None else chosen:
        stated, now = statement_of(issued), today.statement(issued)
        differing = differences(stated, now) if now is not None else (today.nothing(issued),)
        if any(difference.what not in INPUTS for difference in differing):
            causes = _Causes(today, issued, stated, now).found(differing, computing=len(found) < MOST_COMPUTED)
            found.append(Disagreement(issued=issued, differences=differing, causes=causes))
    return tuple(found)


class _Today:
    """What is computed today, by what it is asked for."""

    def __init__(self, assessment: Assessment) -> None:
        self.assessment, self.files = assessment, assessment.records.files
        self.summaries = {(s.sensor_visit.sensor, s.sensor_visit.visit.id): s for s in assessment.summaries}

    @cached_property
    def making(self) -> Statements:
        return Statements(self.assessment)

    @cached_property
    def pools(self) -> Pools:
        measurement = self.assessment.measurement
        return {measurement.key(line): line.repeatability for line in measurement.lines}

    def summary(self, issued: Issued) -> SensorVisitSummary | None:
        return self.summaries.get((issued.sensor, issued.visit))

    def statement(self, issued: Issued) -> Statement | None:
        """What would be stated now; None where nothing may be certified."""
        summary = self.summary(issued)
        return self.making.preview(summary) if summary and self.making.may_be_certified(summary) else None

    def nothing(self, issued: Issued) -> Difference:
        """No certificate would be issued now, and why."""
        summary = self.summary(issued)
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

    def __init__(self, today: _Today, issued: Issued, stated: Statement, now: Statement | None) -> None:
        self.today, self.stated, self.now = today, stated, now
        self.files, self.summary = today.files, today.summary(issued)

    def found(self, differing: Iterable[Difference], *, computing: bool) -> tuple[Cause, ...]:
        """The causes, in the order: code, record, reference, policy, pool.

        `computing` False: what changed is named, whether or not it moved a number.
        """
        causes = list(self._by_computing() if computing else self._by_bytes())
        of_others = any(d.what == "reservation" and NOT_RECOMPUTED & {d.stated, d.computed} for d in differing)
        if of_others or (self.now is None and not causes):
            causes += self._of_other_visits()
        if not causes:
            changed = ", ".join(sorted(self._changed)) or "none of its records"
            causes = [Cause(kind=RECORD, words=f"no single one; changed since it was issued: {changed}")]
        return tuple(causes)

    def _by_computing(self) -> Iterator[Cause]:
        evidence = self.stated.evidence
        try:
            inputs = inputs_of(self.stated, self.files[evidence.visit])
            base = computed(inputs)
        except CannotRecompute as why:
            yield Cause(kind=CODE, words=f"asfound {__version__} does not compute it from its own inputs: {why}")
            return
        if differences(self.stated, base, apart_from=NOT_RECOMPUTED):
            then = evidence.code
            who = f"asfound {then} issued it, {__version__}" if then != __version__ else f"asfound {then} itself"
            yield Cause(kind=CODE, words=f"{who} computes something else from the same inputs")
        for kind, words, changed in self._groups(inputs):
            if self._moves(base, changed):
                told = _said(self._movers(inputs, base)) if kind == REFERENCE else words
                yield Cause(kind=kind, words=told)

    def _moves(self, base: Statement, changed: Inputs) -> bool:
        """Whether something else comes out of changed inputs, or nothing any more."""
        try:
            return bool(differences(base, computed(changed)))
        except CannotRecompute:
            return True

    def _movers(self, inputs: Inputs, base: Statement) -> list[str]:
        """Of the references' records that changed, those that move a number alone; all where none does."""
        every = self._references()
        return [path for path in every if self._moves(base, self._with(inputs, [path]))] or every

    def _references(self) -> list[str]:
        return sorted(path for path in self._changed if path.startswith(("references/", "visits/", "logs/")))

    def _by_bytes(self) -> Iterator[Cause]:
        evidence = self.stated.evidence
        if evidence.code != __version__:
            yield Cause(kind=CODE, words=f"asfound {evidence.code} issued it, this is {__version__}")
        for kind, words, _ in self._groups(inputs_of(self.stated, self.files[evidence.visit])):
            yield Cause(kind=kind, words=words)

    def _groups(self, inputs: Inputs) -> Iterator[tuple[str, str, Inputs]]:
        """What changed, by kind of cause: what it is called, and the inputs with it as it is today."""
        record = sorted(path for path in self._changed if path.startswith(("sensors/", "families/")))
        here = self.summary.sensor_visit.visit if self.summary else None
        if here is not None and here.path != inputs.path:
            revised = self._revised(inputs, here.path, here.content)
            withdrawn = self.summary is not None and self.summary.sensor_visit.withdrawn
            words = f"{here.path} {'withdraws' if withdrawn else 'replaces'} what {inputs.path} held"
            yield RECORD, words, self._with(revised, record)
        elif record:
            yield RECORD, _said(record), self._with(inputs, record)
        reference = self._references()
        if reference:
            yield REFERENCE, _said(reference), self._with(inputs, reference)
        if POLICY_FILE in self._changed:
            yield POLICY, _said([POLICY_FILE]), self._with(inputs, [POLICY_FILE])
        declared = [path for path in record if path.startswith("families/")]
        pools = {key: now for key in inputs.pools if (now := self.today.pools.get(key)) is not None}
        if any(_scatters_otherwise(now, inputs.pools[key], declared) for key, now in pools.items()):
            words = "what is known of the scatter of single readings, from the pool of the model, is not what it was"
            yield POOL, words, replace(inputs, pools={**inputs.pools, **pools})

    @cached_property
    def _changed(self) -> frozenset[str]:
        """Records that have other bytes today, or that it leans on only today; people.yml moves no number."""
        then: dict[str, str] = {r.path: r.sha256 for r in self.stated.evidence.records}
        today = {r.path: r.sha256 for r in self.now.evidence.records} if self.now else self._hashed(then)
        return frozenset(path for path in (then | today) if then.get(path) != today.get(path)) - {PEOPLE}

    def _hashed(self, paths: Iterable[str]) -> dict[str, str]:
        return {path: sha256(self.files[path]).hexdigest() for path in paths if path in self.files}

    def _with(self, inputs: Inputs, paths: Iterable[str]) -> Inputs:
        """The inputs with some records as they are today.

        What is declared goes with them, and so does the scatter of readings that only today's records hold.
        """
        today = {path: self.files[path] for path in paths if path in self.files}
        visits = {path for path in today if path.startswith("visits/")}
        declared = any(path.startswith("families/") for path in today)
        pools = {key: value for key, value in self.today.pools.items() if key[0] in visits}
        replaced = {
            key: now
            for key, then in inputs.pools.items()
            if declared
            and (now := self.today.pools.get(key)) is not None
            and then.by_declaration
            and now.by_declaration
        }
        return replace(inputs.with_files(today), pools={**pools, **inputs.pools, **replaced})

    def _revised(self, inputs: Inputs, path: str, content: bytes) -> Inputs:
        """The inputs with another revision of the visit in the place of the one that was certified."""
        files = {name: held for name, held in inputs.files.items() if name != inputs.path}
        pools = {key: value for key, value in self.today.pools.items() if key[0] == path}
        return replace(inputs, path=path, files={**files, path: content}, pools={**inputs.pools, **pools})

    def _of_other_visits(self) -> Iterator[Cause]:
        """What other visits and calibrations say of a reference since, or of this visit."""
        results = self.summary.results if self.summary else ()
        said = dict.fromkeys(f.message for r in results for f in r.reservations if f.rule.name in NOT_RECOMPUTED)
        if said:
            yield Cause(kind=REFERENCE, words="; ".join(said))
        elif self.summary is None or self.summary.sensor_visit.withdrawn:
            yield Cause(kind=RECORD, words="a later revision of the visit")
        elif self.now is not None:
            yield Cause(kind=REFERENCE, words="a reference that was in doubt is cleared")


def _said(paths: Iterable[str]) -> str:
    return f"{', '.join(paths)} changed since it was issued"


def _scatters_otherwise(now: Repeatability, then: Repeatability, declared: Collection[str]) -> bool:
    """Whether a pool moved; `declared`: families that changed, whose declarations are theirs."""
    if declared and now.by_declaration and then.by_declaration:
        return False
    numbers = ((now.s, then.s), (now.nu, then.nu), (now.expected or 0.0, then.expected or 0.0))
    return now.basis != then.basis or any(published(one) != published(other) for one, other in numbers)
