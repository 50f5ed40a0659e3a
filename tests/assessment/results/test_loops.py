"""What readings leave open: a loop far wider than declared, a far end read in part, a calibration of the day."""

from __future__ import annotations

import pytest

from tests import builders as b


def held(files: b.Files, rule: str) -> dict[tuple[float, str], str]:
    """By target and direction, what this rule holds against results."""
    return {
        (r.target, r.direction): fault.message
        for r in b.results(files)
        for fault in r.reservations
        if fault.rule.name == rule
    }


def through(*readings: tuple[int, float], width: str | None = "0.6 %RH") -> b.Files:
    declared = {"resolution": "0.01 %RH", "repeatability": "0.05 %RH"} | ({"hysteresis": width} if width else {})
    rows = [b.plateau(at, [at + error] * 2, b.generated(at)) for at, error in readings]
    return b.records(b.family(humidity=declared), b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *rows))


BOTH_WAYS = ((20, 0.0), (50, 0.0), (80, 0.0))


def test_a_loop_far_wider_than_declared_is_told_at_both_of_its_ways():
    found = held(through(*BOTH_WAYS, (50, 1.9)), "wider-than-declared")
    assert set(found) == {(50.0, "rising"), (50.0, "falling")}
    (message,) = set(found.values())
    assert message.startswith("falling less rising is +1.90 ± 0.1")
    assert message.endswith("%RH, the declared hysteresis 0.6 %RH")


def test_it_is_told_whichever_way_reads_higher():
    assert held(through(*BOTH_WAYS, (50, -1.9)), "wider-than-declared")


@pytest.mark.parametrize(
    ("falling", "width"),
    [
        (0.7, "0.6 %RH"),  # hardly wider
        (0.1, "0.05 %RH"),  # twice as wide, but within U of the difference
        (1.9, None),  # nothing is declared
    ],
)
def test_what_is_not_far_wider_or_not_surely_so_is_not_told(falling, width):
    assert held(through(*BOTH_WAYS, (50, falling), width=width), "wider-than-declared") == {}


def test_ways_of_two_phases_or_two_points_are_no_loop():
    found = [b.plateau(at, [at + e] * 2, b.generated(at)) for at, e in ((20, 0.0), (50, 0.0))]
    left = [b.plateau(at, [at + e] * 2, b.generated(at), phase="as_left") for at, e in ((80, 1.9), (50, 1.9))]
    family = b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.05 %RH", "hysteresis": "0.2 %RH"})
    files = b.records(
        family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", *found, b.adjusted("zero"), *left)
    )
    assert held(files, "wider-than-declared") == {}
    assert [r.one_way for r in b.results(files)] == ["", "rising", "", "falling"]


def test_a_far_end_that_was_read_in_one_of_three_rows_is_told():
    family = b.family(humidity={"resolution": "0.01 %RH", "far_end_resolution": "0.1 %RH", "repeatability": "0.05 %RH"})
    once = b.plateau(20, [20.1] * 3, b.generated(20), far_end=[20.4, None, None])
    always = b.plateau(50, [50.1] * 3, b.generated(50), far_end=50.4)
    never = b.plateau(80, [80.1] * 3, b.generated(80))
    files = b.records(family, b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", once, always, never))
    found = held(files, "far-end-in-part")
    assert found == {(20.0, "start"): "the far end was read in 1 of 3 rows: the verdict rests on 1"}


def test_a_calibration_of_the_visits_own_day_is_told_where_an_earlier_one_might_have_applied():
    def on(*days: str) -> b.Files:
        ends = [b.point(f"{at} kPa", "0 kPa", "0.4 kPa") for at in (0, 1500)]
        pressure = b.quantity(*(b.calibration(*ends, on=day) for day in days), resolution="0.004 kPa")
        generator = b.two_pressure(quantities={"saturation_pressure": pressure})
        return b.records(b.sensor(), generator, b.visit("2026-03-16-lab", b.plateau(50, [50.1] * 2, b.generated(50))))

    (message,) = held(on("2025-03-16", "2026-03-16"), "calibrated-on-the-day").values()
    assert message == "GEN-01: the calibration of saturation pressure of this very day applies"
    assert held(on("2026-03-16"), "calibrated-on-the-day") == {}, "there is no other"
    assert held(on("2025-03-16", "2026-03-15"), "calibrated-on-the-day") == {}
