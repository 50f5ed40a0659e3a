"""The history of an instrument follows its serial: swaps, moves, elements, what does not count, other channels."""

from __future__ import annotations

import pytest

from asfound.records.models import Channel
from tests import builders as b
from tests.assessment.checks import old_references, points, yearly
from tests.assessment.history.test_drift import YEARS

COMBINED = {
    "channels": ["humidity", "temperature"],
    "temperature": {"resolution": "0.01 degC", "repeatability": "0.02 degC"},
    "temperature_tolerance": {"absolute": "0.5 degC"},
}


def drift(files, sensor="RH-1", channel=0):
    return b.assessed(files).standings[sensor].drifts[channel]


def swapped(*installed):
    return b.sensor(installed=[{"serial": serial, "family": "rush", "from": day} for serial, day in installed])


def test_a_swap_begins_another_instruments_history():
    errors = {day: (0.0 if i < 2 else 0.9) for i, day in enumerate(YEARS)}
    found = drift(yearly(errors, swapped(("A", "2000-01-01"), ("B", "2022-06-01"))))
    assert found.visits == 3 and found.state == "steady" and found.rate == pytest.approx(0.0, abs=1e-3)


def test_an_instrument_takes_its_history_along_to_another_position():
    """A served RH-1 for three visits and RH-2 for two: its rate goes on there, on a level of the new loop."""
    first = b.sensor(
        "RH-1",
        installed=[
            {"serial": "A", "family": "rush", "from": "2000-01-01"},
            {"serial": "B", "family": "rush", "from": "2023-06-01"},
        ],
    )
    second = b.sensor("RH-2", installed=[{"serial": "A", "family": "rush", "from": "2023-07-01"}])
    visits = [
        b.visit(f"{day}-lab", *points(round(0.2 * i + (1.0 if i > 2 else 0.0), 2), sensor=f"RH-{1 + (i > 2)}"))
        for i, day in enumerate(YEARS)
    ]
    found = drift(b.records(old_references(), first, second, *visits), "RH-2")
    assert (found.visits, found.segments) == (5, 2)
    assert found.rate == pytest.approx(0.2, rel=5e-3) and found.state == "drifting"
    assert drift(b.records(old_references(), first, second, *visits), "RH-1").state == "too few visits"
    changes = drift(b.records(old_references(), first, second, *visits[:4]), "RH-2").changes
    assert changes == ()  # another loop: nothing to compare


def test_an_adjustment_that_was_read_again_in_one_channel_parts_that_one_alone():
    family = b.family(**COMBINED)
    left = points(0.0, phase="as_left")
    for plateau in left:
        for row in plateau:
            row.pop("output_temperature [degC]", None)
    adjusting = [*points(0.6, output_temperature=25.2), b.adjusted("span"), *left]
    files = yearly(
        {
            "2022-03-16": points(0.4, output_temperature=25.0),
            "2023-03-16": points(0.5, output_temperature=25.1),
            "2024-03-16": adjusting,
            "2025-03-16": points(0.1, output_temperature=25.3),
        },
        family,
    )
    humidity, temperature = b.assessed(files).standings["RH-1"].drifts
    assert humidity.segments == 2 and humidity.rate == pytest.approx(0.1, rel=1e-2)
    assert temperature.segments == 1 and temperature.rate == pytest.approx(0.1, rel=1e-2)


def test_an_adjustment_without_any_reading_parts_all_channels():
    family = b.family(**COMBINED)
    visits = {day: points(0.0, output_temperature=25.0) for day in YEARS}
    visits[YEARS[2]] = [*points(0.0, output_temperature=25.0), b.adjusted("zero")]
    humidity, temperature = b.assessed(yearly(visits, family)).standings["RH-1"].drifts
    assert (humidity.segments, temperature.segments) == (2, 2)


def test_an_element_that_was_changed_without_a_reading_leaves_too_few_visits():
    visits = dict.fromkeys(YEARS, 0.0)
    visits[YEARS[4]] = [b.adjusted("element")]
    found = drift(yearly(visits))
    assert (found.state, found.visits) == ("too few visits", 0)
    assert "0 visits since the element was changed on 2025-03-16: too few" in found.sentence
    assert found.outlooks == () and found.fit is None


def test_gaps_of_years_are_years():
    found = drift(yearly({"2019-03-16": 0.0, "2020-03-16": 0.1, "2025-03-16": 0.6}))
    assert found.rate == pytest.approx(0.1, rel=5e-3)


@pytest.mark.parametrize(("visits", "said"), [(0, "0 visits"), (1, "1 visit on"), (2, "2 visits on")])
def test_fewer_than_three_visits_have_no_rate(visits, said):
    found = drift(yearly(dict.fromkeys(YEARS[:visits], 0.3)))
    assert found.state == "too few visits" and found.sentence.startswith(said)
    assert found.outlooks == () and found.naive == ""


def test_an_amended_visit_counts_as_amended_and_a_withdrawn_one_not_at_all():
    base = yearly({day: 0.1 * i for i, day in enumerate(YEARS[:4])} | {YEARS[4]: 1.9})
    amended = base | b.visit(f"{YEARS[4]}-lab", *points(0.4, reason="read from the wrong column"), revision=2)
    assert drift(base).state == "watch"
    assert drift(amended).rate == pytest.approx(0.1, rel=5e-3) and drift(amended).visits == 5
    row = {"sensor": "RH-1", "phase": "withdrawn", "technician": "ann", "reason": "another sensor was read"}
    withdrawn = base | b.visit(f"{YEARS[4]}-lab", [row], revision=2)
    assert drift(withdrawn).visits == 4 and drift(withdrawn).rate == pytest.approx(0.1, rel=5e-3)


def test_one_target_passed_both_ways_is_two_points_with_one_rate():
    def both_ways(shift):
        errors = ((20, 0.0), (50, -0.5), (80, 0.0), (50, 0.5))
        return [b.plateau(at, [round(at + e + shift, 2)], b.generated(at)) for at, e in errors]

    found = drift(yearly({day: both_ways(0.2 * i) for i, day in enumerate(YEARS)}))
    assert [(o.target, o.direction) for o in found.outlooks] == [
        (20.0, "start"), (50.0, "rising"), (50.0, "falling"), (80.0, "rising"),
    ]  # fmt: skip
    assert [o.rate for o in found.outlooks] == pytest.approx([0.2] * 4, rel=5e-3)
    assert found.outlooks[2].error_today - found.outlooks[1].error_today == pytest.approx(1.0, abs=1e-3)


def test_the_same_records_give_the_same_drift_in_whatever_order_files_come():
    files = yearly({day: 0.1 * i for i, day in enumerate(YEARS)})
    turned = dict(reversed(files.items()))
    one, other = drift(files), drift(turned)
    assert (one.rate, one.U, one.sentence) == (other.rate, other.U, other.sentence)
    assert one.channel is Channel.HUMIDITY
