"""What a finding's page says of the hour that clocks repeated, where an export holds it once."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

import tests.builders as b
from asfound.site.lookup.lookup import look_up
from asfound.site.views.exposure import exposure_view
from tests.assessment.findings.test_investigation import STEPPED, store


@pytest.mark.parametrize(("recorded", "missing"), [("both passes", 0), ("the first pass", 2)])
def test_hours_left_out_because_the_clocks_repeated_them_are_said(recorded: str, missing: int):
    """Europe/Copenhagen goes back from 03:00 to 02:00 on 2026-10-25 (IANA time zone database)."""
    zone, first, back = (
        ZoneInfo("Europe/Copenhagen"),
        datetime(2026, 8, 1, tzinfo=UTC),
        datetime(2026, 10, 25, 1, tzinfo=UTC),
    )
    instants = [first + timedelta(hours=n) for n in range(24 * 210)]
    rows = [
        f"{instant.astimezone(zone):%Y-%m-%d %H:%M},48.0\n"
        for instant in instants
        if recorded == "both passes" or instant != back
    ]
    trend = {"trends/RH-1.csv": ("time,humidity [%RH]\n" + "".join(rows)).encode()}
    lookup = look_up(b.assessed(store(STEPPED, b.facility(time_zone="Europe/Copenhagen"), trend), "2028-12-31"))
    (case,) = lookup.assessment.cases
    view = exposure_view(lookup, case)
    assert view is not None and case.exposure is not None and case.exposure.trend is not None
    told = [sentence for sentence in view.said if "clocks repeated" in sentence]
    assert len(told) == (1 if missing else 0)
    assert all(sentence.startswith("On 2026-10-25 the clocks repeated the time from 02:00, ") for sentence in told)
    until_first_row = -case.exposure.start % 3600 / 3600
    assert case.exposure.trend.window - case.exposure.trend.covered == pytest.approx(missing + until_first_row)
