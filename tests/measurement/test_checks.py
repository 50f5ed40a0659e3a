"""The published examples and the hand calculations, each against the program as it is."""

from __future__ import annotations

import pytest

from tests.measurement import measurement_checks
from tests.program import as_it_is
from tests.uncertainty import guide_checks


@pytest.mark.parametrize("check", guide_checks.ALL, ids=lambda check: check.__name__)
def test_the_guides_examples_come_out_as_printed(check):
    found = list(check(as_it_is()))
    assert found and [str(one) for one in found if not one.holds] == []


@pytest.mark.parametrize("check", measurement_checks.ALL, ids=lambda check: check.__name__)
def test_records_give_what_was_worked_out_apart(check):
    found = list(check(as_it_is()))
    assert found and [str(one) for one in found if not one.holds] == []
