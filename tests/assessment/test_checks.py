"""The published examples and what was worked out apart, against the program as it is."""

from __future__ import annotations

import pytest

from tests.assessment import checks
from tests.program import as_it_is


@pytest.mark.parametrize("check", checks.ALL, ids=lambda check: check.__name__)
def test_the_assessment_says_what_it_must(check):
    found = list(check(as_it_is()))
    assert found and [str(one) for one in found if not one.holds] == []
