"""Rules across records: what no record knows by itself. Each rule's own bad record lies in tests/bad_records/."""

from __future__ import annotations

import inspect

from asfound.records.checking import check
from asfound.records.rules import RULES_ACROSS, cross_check
from tests.repositories import minimal


def test_every_rule_across_is_a_named_function_that_says_what_it_holds():
    assert len({rule.__name__ for rule in RULES_ACROSS}) == len(RULES_ACROSS)
    for rule in RULES_ACROSS:
        assert rule.__doc__ and rule.__doc__.endswith("."), rule.__name__
        assert list(inspect.signature(rule).parameters) == ["survey"]


def test_good_records_have_no_faults_across():
    records, _ = check(minimal())
    assert records is not None and cross_check(records) == []
