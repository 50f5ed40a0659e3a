"""What issued certificates say of each other and of the visits that they were issued from."""

from __future__ import annotations

from collections.abc import Iterator

from asfound.faults import Fault, Place, error
from asfound.records.rules.survey import RuleAcross, Survey

ISSUED_GAP = error("issued-gap", "a certificate's revision is there and the one before it is not")
ISSUED_VISIT_CHANGED = error(
    "issued-visit-changed", "a visit's record is not any more what a certificate was issued from"
)


def gaps(survey: Survey) -> Iterator[Fault]:
    """What was stated stays on record: a certificate that was replaced too."""
    there = {(one.sensor, one.visit, one.revision) for one in survey.records.issued}
    for one in survey.records.issued:
        if one.revision > 1 and (one.sensor, one.visit, one.revision - 1) not in there:
            before = f"issued/{one.sensor}/{one.visit}.r{one.revision - 1}.json"
            message, cure = f"{before} is not there", f"restore {before} (git knows it): no certificate is ever deleted"
            yield Fault(rule=ISSUED_GAP, place=Place(path=one.path), message=message, cure=cure)


def visits_changed(survey: Survey) -> Iterator[Fault]:
    """A certificate is printed with the bytes of its visit, whatever was corrected in a later revision."""
    held = {visit.path: visit.sha256 for visit in survey.records.visits}
    for one in survey.records.issued:
        path = one.evidence.visit
        if path not in survey.records.files:
            message = f"{path} is not there any more"
        elif held.get(path, one.evidence.sha256) != one.evidence.sha256:
            message = f"{path} has other bytes than those that {one.number} was issued from"
        else:
            continue
        cure = f"restore {path} (git knows it), and write what is to be corrected into its next revision (.r2.csv, …)"
        yield Fault(rule=ISSUED_VISIT_CHANGED, place=Place(path=one.path), message=message, cure=cure)


RULES: tuple[RuleAcross, ...] = (gaps, visits_changed)
