"""The checks of charts, intervals and reference checks, each on the program as it is."""

from __future__ import annotations

import pytest

from tests.assessment.history import history_checks
from tests.program import as_it_is


@pytest.mark.parametrize("check", history_checks.ALL, ids=lambda check: check.__name__)
def test_history_says_what_it_must(check):
    found = list(check(as_it_is()))
    assert found
    assert [str(one) for one in found if not one.holds] == []
