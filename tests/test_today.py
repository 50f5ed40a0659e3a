"""Which day it is: the one that is given, else today where the facility is."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from asfound.refusals import Refusal
from asfound.today import day_given, today


def test_the_day_comes_from_the_environment_else_from_the_clock(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("ASFOUND_DATE", "2026-03-20")
    assert today(None) == day_given() == date(2026, 3, 20)
    monkeypatch.delenv("ASFOUND_DATE")
    assert day_given() is None
    before = date.today()
    assert before <= today(None) <= date.today()


def test_today_is_that_of_the_facility(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("ASFOUND_DATE", raising=False)
    west, east = today(ZoneInfo("Etc/GMT+12")), today(ZoneInfo("Pacific/Kiritimati"))
    assert 1 <= (east - west).days <= 2, "their clocks are 26 hours apart"


@pytest.mark.parametrize("text", ["yesterday", "2026-02-30", "20/03/2026"])
def test_a_day_that_is_none_is_refused_with_the_cure(text: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("ASFOUND_DATE", text)
    with pytest.raises(Refusal, match=r"ASFOUND_DATE is .* no date\n  cure: write it as YYYY-MM-DD"):
        today(None)
