"""The demo's trends: reproducible, readable, and corrected by the program to what the air truly was."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from asfound.assessment.assess import Assessment
from asfound.assessment.findings.investigation import Trends
from asfound.assessment.pipeline import LINEAR, doubted, judged, measured, summarised
from asfound.records.load import load
from asfound.records.snapshot import from_folder
from asfound.records.trends.exports import check_trends, read_trend
from asfound.records.visits.rows import sensor_visits
from tests.demo.trends import EXPORTS, trends

RECORDS = Path(__file__).parents[2] / "records"
ZONE = ZoneInfo("Europe/Copenhagen")
TODAY = date(2026, 11, 25)

Truths = Mapping[str, tuple[tuple[datetime, float], ...]]


@pytest.fixture(scope="module")
def simulated() -> tuple[dict[str, bytes], Truths]:
    return trends()


@pytest.fixture(scope="module")
def demo(simulated: tuple[dict[str, bytes], Truths]) -> Assessment:
    """The assessment by the linear answers, with the trends."""
    files = {**from_folder(RECORDS), **simulated[0]}
    records, faults = load(files)
    assert records is not None
    trend_files = Trends(files, records)
    found = measured(records, sensor_visits(records), faults)
    assessment = summarised(doubted(judged(found, LINEAR), TODAY), TODAY, trend_files)
    assert trend_files.faults == []
    return assessment


def test_committed_trends_are_those_simulated(simulated):
    committed = {path: content for path, content in from_folder(RECORDS).items() if path.startswith("trends/")}
    assert committed.items() <= simulated[0].items()


def test_they_are_small_and_without_fault(simulated):
    files, _ = simulated
    assert all(len(content) < 300_000 for content in files.values())
    assert check_trends(files, [export.sensor for export in EXPORTS], ZONE) == []


def test_every_hour_is_there_but_for_visits_and_the_outage(simulated):
    files, truths = simulated
    for export in EXPORTS:
        trend, _ = read_trend(files, export.sensor, ZONE)
        assert trend is not None
        assert trend.time_utc.tolist() == [int(instant.timestamp()) for instant, _ in truths[export.sensor]]
        days = (date.fromisoformat(export.last) - date.fromisoformat(export.first)).days + 1
        missing = export.outage[1] if export.outage else 0
        assert abs(len(trend.time_utc) - (24 * days - missing)) <= 1


@pytest.mark.parametrize("sensor", ["DRY-13", "DRY-21", "HRB-11", "GER-21"])
def test_the_true_hours_outside_lie_within_what_the_finding_says(demo: Assessment, simulated, sensor: str):
    _, truths = simulated
    exposure = next(case for case in demo.cases if case.sensor == sensor).exposure
    limits, trend = demo.records.sensors[sensor].process_limits, exposure.trend
    inside = [true for instant, true in truths[sensor] if exposure.start <= instant.timestamp() < exposure.end]
    hours = sum(not limits.lowest <= true <= limits.highest for true in inside)
    least, most = min(trend.hours.least, trend.stepped[0]), max(trend.hours.most, trend.stepped[1])
    assert least <= hours <= most
    assert trend.covered == pytest.approx(len(inside), abs=40)


def test_what_a_neighbour_shows_beside_it_is_the_difference_of_their_errors(demo: Assessment):
    """DRY-13 read 2.3 %RH high beside DRY-11, GER-21 4.3 %RH low beside GER-22 (hidden truth)."""
    for sensor, other, difference in (("DRY-13", "DRY-11", -2.1), ("GER-21", "GER-22", 5.2)):
        exposure = next(case for case in demo.cases if case.sensor == sensor).exposure
        neighbour = next(n for n in exposure.neighbours if n.sensor == other)
        assert neighbour.difference == pytest.approx(difference, abs=0.3)
