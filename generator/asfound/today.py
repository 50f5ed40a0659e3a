"""The day that things are asked about: the one place where the clock is read."""

from __future__ import annotations

import os
from datetime import date, datetime
from zoneinfo import ZoneInfo

from asfound.refusals import Refusal

DATE_VARIABLE = "ASFOUND_DATE"


def day_given() -> date | None:
    """The day that ASFOUND_DATE names; None where it names none. Raises Refusal where it holds no date."""
    given = os.environ.get(DATE_VARIABLE)
    if not given:
        return None
    try:
        return date.fromisoformat(given)
    except ValueError:
        raise Refusal(f"{DATE_VARIABLE} is {given!r}, which is no date", "write it as YYYY-MM-DD") from None


def today(zone: ZoneInfo | None, *, otherwise: date | None = None) -> date:
    """The day that ASFOUND_DATE names, else `otherwise`, else today where the facility is (the machine's, if none).

    Approvals are dated at the facility too: a certificate must not be of the day before its approval.
    """
    return day_given() or otherwise or datetime.now(zone).date()
