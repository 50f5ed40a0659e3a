"""Rules across records: what each record cannot know by itself."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

from asfound.faults import Fault, Place
from asfound.records.load import Records
from asfound.records.rules import (
    dated_settings,
    declared,
    identities,
    instruments,
    issued,
    links,
    loops,
    methods,
    people,
    phases,
    readings,
)
from asfound.records.rules.survey import RuleAcross, Survey

RULES_ACROSS: tuple[RuleAcross, ...] = (
    *identities.RULES,
    *people.RULES,
    *dated_settings.RULES,
    *instruments.RULES,
    *methods.RULES,
    *loops.RULES,
    *readings.RULES,
    *phases.RULES,
    *links.RULES,
    *issued.RULES,
    *declared.RULES,
)
"""Each a function that looks at the records and yields what it finds."""


def cross_check(records: Records, unread: Collection[str] = (), damage: Collection[Place] = ()) -> list[Fault]:
    """What the rules across records find.

    `unread`: of facility.yml and people.yml, those that `records` lacks; `damage`: where a field could not be read.
    """
    survey = Survey(records, unread, damage)
    return once_a_file([fault for rule in RULES_ACROSS for fault in rule(survey)])


def once_a_file(faults: Iterable[Fault]) -> list[Fault]:
    """One mistake made in every row is one fault, at its first row, that says in how many more."""
    groups: dict[tuple[str, str, str, str], list[Fault]] = {}
    for fault in dict.fromkeys(faults):
        key = (fault.rule.name, fault.place.path, fault.message, fault.cure)
        groups.setdefault(key, []).append(fault)
    merged = []
    for group in groups.values():
        first, more = min(group, key=lambda fault: fault.place), len(group) - 1
        rows = f" (and in {more} more row{'s' if more > 1 else ''})" if more else ""
        merged.append(replace(first, message=first.message + rows))
    return merged
