"""Rules that the facility names itself: reservations on which a review of a change fails."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from asfound.faults import Fault, Rule, Severity, did_you_mean, error
from asfound.records.load import Records

REVIEW_RULE_UNKNOWN = error("review-rule-unknown", "facility.yml names a reservation that no rule has")


def unknown_review_rules(records: Records, rules: Mapping[str, Rule]) -> Iterator[Fault]:
    """A review fails on reservations that rules of this program make."""
    known = [name for name, rule in rules.items() if rule.severity is Severity.RESERVATION]
    for number, name in enumerate(records.facility.review_fails_on):
        if name not in known:
            errs = name in rules
            message = f"{name!r} is {'an error: it always fails' if errs else 'no reservation'}"
            cure = "remove it" if errs else f"use the name of a reservation{did_you_mean(name, known)}"
            place = records.place("facility.yml", "review_fails_on", number)
            yield Fault(rule=REVIEW_RULE_UNKNOWN, place=place, message=message, cure=cure)
