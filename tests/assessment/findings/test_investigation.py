"""What surrounds a case: its window, how the error went through it, what the trend and the neighbours say."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

import tests.builders as b
from asfound.assessment.findings.cases import Case
from asfound.assessment.findings.error_path import Basis
from asfound.assessment.findings.exposure import Exposure
from asfound.faults import RecordsRefused
from tests.assessment.checks import steady

TIGHT = {"lowest": "45 %RH", "highest": "60 %RH"}


def read(errors: Sequence[float] | float, phase: str = "as_found", sensor: str = "RH-1") -> list[b.Row]:
    """Rising through as many of 20, 50 and 80 %RH as errors are given; one error: at all three."""
    errors = (errors,) * 3 if isinstance(errors, float) else errors
    rows: list[b.Row] = []
    for target, error in zip((20, 50, 80), errors):
        rows += b.plateau(target, [round(target + error, 2)], b.generated(target), phase=phase, sensor=sensor)
    return rows


def store(visits: dict[str, Iterable[b.Row]], *parts: b.Files, **keys: object) -> b.Files:
    sensor = b.sensor(**{"working_humidity": "50 %RH", "process_limits": TIGHT, **keys})
    drift = {"drift": "0.001 kPa/year", "valid_until": "2029-01-01"}
    reference = b.two_pressure(
        quantities={"saturation_pressure": b.flat(0, 1500, "kPa", 0.4, **drift)}
        | {q: b.flat(-20, 60, "degC", 0.03, valid_until="2029-01-01") for q in
           ("saturation_temperature", "chamber_temperature")}
        | {"chamber_pressure": b.flat(0, 150, "kPa", 0.06, valid_until="2029-01-01")}
    )  # fmt: skip
    files = b.records(steady(), b.family(), sensor, reference, *parts)
    for day, rows in visits.items():
        files |= b.visit(f"{day}-lab", rows)
    return files


def case(files: b.Files, day: str = "2028-12-31") -> Case:
    return b.assessed(files, day).cases[-1]


def exported(humidity: Iterable[float], start: str, sensor: str = "RH-1") -> b.Files:
    """An hourly trend."""
    first = datetime.fromisoformat(start)
    rows = [f"{first + timedelta(hours=n):%Y-%m-%d %H:%M},{value:.2f}\n" for n, value in enumerate(humidity)]
    return {f"trends/{sensor}.csv": ("time,humidity [%RH]\n" + "".join(rows)).encode()}


STEPPED = {"2026-02-16": read(0.1), "2026-08-17": read(0.2), "2027-02-15": read(4.0)}
DRIFTED = {
    "2026-02-16": read(0.0),
    "2026-08-17": read(0.75),
    "2027-02-15": read(1.5),
    "2027-08-16": read(2.25),
    "2028-02-14": read(3.0),
}


def test_the_window_opens_with_the_last_visit_that_left_every_set_point_in_tolerance():
    found = case(store(STEPPED))
    assert found.last_good == date(2026, 8, 17)
    start, end = (datetime.fromtimestamp(t, UTC).date() for t in (found.exposure.start, found.exposure.end))
    assert (start, end) == (date(2026, 8, 17), date(2027, 2, 15))


def test_a_pass_at_two_of_three_set_points_does_not_open_it():
    visits = STEPPED | {"2026-11-16": read((0.2, 0.2))}
    found = case(store(dict(sorted(visits.items()))))
    assert found.last_good == date(2026, 8, 17)


def test_an_instrument_that_was_never_good_may_have_been_out_since_it_came():
    installed = [{"serial": "A", "family": "rush", "from": "2026-01-20"}]
    found = case(store({"2027-02-15": read(4.0)}, installed=installed))
    assert found.last_good is None
    assert datetime.fromtimestamp(found.exposure.start, UTC) == datetime(2026, 1, 20, tzinfo=UTC)
    assert "2026-01-20" in found.exposure.opened
    assert found.exposure.basis is Basis.HELD


def test_a_step_is_no_drift():
    exposure = case(store(STEPPED)).exposure
    assert (exposure.basis, exposure.crossed) == (Basis.BETWEEN, None)


def test_a_line_tells_when_the_limit_was_crossed():
    """1.5 %RH a year from 0 on 2026-02-16: 2 %RH after 1⅓ years, in the middle of June 2027.

    The visit of August found it first; what February 2028 found is asked here, with the same window.
    """
    found = case(store(DRIFTED))
    assert found.exposure.basis is Basis.LINE
    crossed = found.exposure.crossed
    assert abs(crossed.median - date(2027, 6, 17)) <= timedelta(days=3)
    assert date(2027, 2, 15) < crossed.earliest < crossed.median < crossed.latest < date(2028, 2, 14)
    assert not crossed.before


def test_the_limit_of_the_day_decides_when_it_was_crossed():
    """Tightened from 4 to 2 %RH in December 2027, when the error was 2.7: out of tolerance since that day."""
    limits = [{"from": "2000-01-01", "absolute": "4 %RH"}, {"from": "2027-12-01", "absolute": "2 %RH"}]
    crossed = case(store(DRIFTED, tolerance=limits)).exposure.crossed
    assert (crossed.median, crossed.earliest, crossed.latest) == (date(2027, 12, 1),) * 3


def test_a_day_that_no_tolerance_covers_is_asked_with_the_limit_that_was_exceeded():
    """From March to December 2027 only humidities above 90 % have a limit: no crossing on the day it was taken away."""
    band = {"lowest": "90 %RH", "highest": "100 %RH", "absolute": "2 %RH"}
    limits = [{"from": "2000-01-01", "absolute": "2 %RH"}, {"from": "2027-03-01", "bands": [band]}]
    gap = store(DRIFTED, tolerance=[*limits, {"from": "2028-01-01", "absolute": "2 %RH"}])
    found, whole = case(gap).exposure.crossed, case(store(DRIFTED)).exposure.crossed
    assert found.median == whole.median and not found.before
    assert abs(found.earliest - whole.earliest) <= timedelta(days=3) >= abs(found.latest - whole.latest)


def test_size_is_told_where_the_sensor_works():
    size = case(store({**STEPPED, "2027-02-15": read((4.0, 5.0, 6.0))})).exposure.size
    assert (size.at, size.error) == (50, pytest.approx(5.0, abs=0.02))
    assert size.true_when_shown == pytest.approx(50 - 5.0 + 5 / 30, abs=0.05)  # the error grows by 1 %RH in 30


def test_hours_outside_are_counted_in_the_window_and_not_at_visits():
    """True 44 %RH, limit 45: shown 48 with the error of 4 that was found, if it was there from the first day."""
    days = (date(2027, 2, 15) - date(2026, 8, 17)).days
    files = store(STEPPED, exported(np.full(24 * 400, 48.0), "2026-05-01"))
    trend = case(files).exposure.trend
    assert trend.shown == 0
    assert trend.window == pytest.approx(24 * days, abs=8)
    assert trend.covered == pytest.approx(trend.window, abs=2)
    assert trend.stepped == (0, trend.covered)
    # 0.2 → 4.0 straight: the air passes 45 %RH when the error passes 3
    assert trend.hours.best == pytest.approx(24 * days * (4.0 - 3.0) / (4.0 - 0.2), abs=36)
    assert trend.files[0][0] == "trends/RH-1.csv"
    assert trend.stuck


def test_a_visit_between_that_was_not_complete_is_passed_through():
    """0.1 → 0.3 → 4.0 %RH: a step after the visit between, which the path goes through."""
    visits = {"2026-02-16": read(0.1), "2026-08-17": read((0.3, 0.3)), "2027-02-15": read(4.0)}
    files = store(visits, exported(np.full(24 * 400, 48.0), "2026-02-01"))
    found = case(files)
    assert found.last_good == date(2026, 2, 16)
    assert found.exposure.trend.hours.best == pytest.approx(24 * 182 * (4.0 - 3.0) / (4.0 - 0.3), abs=36)


def test_without_a_trend_the_page_is_told_why():
    assert "no trend of RH-1" in case(store(STEPPED)).exposure.no_trend
    later = store(STEPPED, exported([48.0, 48.1], "2027-05-01"))
    assert "nothing of the window" in case(later).exposure.no_trend
    blank = {"trends/RH-1.csv": b"time,humidity [%RH]\n2026-10-01 00:00,\n2026-10-01 01:00,\n"}
    assert "nothing of the window" in case(store(STEPPED, blank)).exposure.no_trend


def test_another_laboratorys_results_open_and_close_a_window_too():
    before, after = ([row for target in (20, 50, 80) for row in b.stated(target, e, 0.4)] for e in (0.1, 4.0))
    visits = {"2026-08-17": before, "2027-02-15": after}
    exposure = case(store(visits, exported(np.full(24 * 400, 48.0), "2026-05-01"))).exposure
    assert exposure.basis is Basis.BETWEEN
    assert exposure.trend.hours.best == pytest.approx(24 * 182 * (4.0 - 3.0) / (4.0 - 0.1), abs=36)


def test_where_two_humidities_read_alike_nothing_is_corrected():
    folded = {"2026-08-17": read(0.1), "2027-02-15": read((35.0, 4.0, 0.0))}
    exposure = case(store(folded, exported(np.full(24 * 400, 48.0), "2026-05-01"))).exposure
    assert "read alike" in exposure.no_trend and np.isnan(exposure.size.true_when_shown)


def test_a_bad_trend_refuses_only_where_a_case_needs_it():
    bad = {"trends/RH-1.csv": b"time,humidity [%RH]\n2026-10-01 00:00,off\n"}
    with pytest.raises(RecordsRefused, match="bad-number"):
        b.assessed(store(STEPPED, bad), "2028-12-31")
    good = {day: rows for day, rows in STEPPED.items() if day < "2027"}
    assert not b.assessed(store(good, bad), "2028-12-31").cases


def test_neighbours_are_the_sensors_of_the_place_on_that_day():
    others = [
        b.sensor("RH-2"),
        b.sensor("RH-3", place=[{"from": "2000-01-01", "place": "attic"}, {"from": "2027-03-01", "place": "lab"}]),
    ]
    places = b.facility(places=[{"id": "lab", "name": "Laboratory"}, {"id": "attic", "name": "Attic"}])
    both = {day: [*rows, *read(0.1, sensor="RH-2")] for day, rows in STEPPED.items()}
    trends = exported(np.full(24 * 400, 48.0), "2026-05-01") | exported(np.full(24 * 400, 44.3), "2026-05-01", "RH-2")
    files = store({}, *others, places, trends)
    for day, rows in both.items():
        files |= b.visit(f"{day}-lab", rows)
    (neighbour,) = case(files).exposure.neighbours
    assert neighbour.sensor == "RH-2"
    assert neighbour.left == (date(2026, 8, 17), "in tolerance")
    assert neighbour.found == (date(2027, 2, 15), "in tolerance")
    assert neighbour.difference == pytest.approx(-3.7)
    assert neighbour.hours == pytest.approx(7 * 24, abs=1)


def found_at_50(*readings: tuple[int, float], width: str | None = None) -> Exposure:
    """One visit in February 2027; before it 25 hours at 48 %RH as shown, else 53; limits 45 and 60 %RH."""
    shown = np.full(24 * 60, 53.0)
    shown[100:125] = 48.0
    rows = [row for target, error in readings for row in b.plateau(target, [target + error] * 2, b.generated(target))]
    declared = {"resolution": "0.01 %RH", "repeatability": "0.05 %RH"} | ({"hysteresis": width} if width else {})
    files = store({"2027-02-15": rows}, exported(shown, "2026-12-01"), b.family(humidity=declared))
    exposure = case(files).exposure
    assert exposure is not None and exposure.size is not None and exposure.trend is not None
    return exposure


def test_a_loop_that_was_measured_leaves_as_many_hours_open_as_one_that_is_declared():
    """+1.9 rising and +3.3 falling were surer (± 0.20, 0 h) than +3.3 falling and a width of 1.4 (up to 25 h).

    48 shown was 45.4 by the middle, and 44.7, outside, where the air had come from above.
    """
    measured = found_at_50((20, 2.6), (50, 1.9), (80, 2.6), (50, 3.3))
    declared = found_at_50((80, 3.3), (50, 3.3), (20, 3.3), width="1.4 %RH")
    for exposure in (measured, declared):
        assert exposure.size.error == pytest.approx(2.6, abs=0.01)
        assert 0.8 < exposure.size.U < 1.1
        hours = exposure.trend.hours
        assert (hours.best, hours.least, hours.most) == (0.0, 0.0, 25.0)
    assert pytest.approx(declared.size.U, abs=0.15) == measured.size.U
