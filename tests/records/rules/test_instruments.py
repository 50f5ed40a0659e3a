"""Instruments follow each other at a position."""

from __future__ import annotations

from tests.records.rules.written import (
    SENSOR,
    edited,
    row,
    told,
    visit,
)


def test_instruments_follow_each_other_and_keep_their_serials():
    swapped = edited(
        SENSOR, "from: 2024-01-01}", "from: 2024-01-01}\n  - {serial: A7002, family: HX-2, from: 2026-03-14}"
    )
    assert told(swapped) == ["2 serial-not-as-installed"]
    assert told(swapped | visit(row(serial="a7002"))) == []


def test_an_instrument_may_move_to_another_position():
    moved = edited(SENSOR, "from: 2024-01-01}", "from: 2024-01-01, until: 2026-04-01}")
    there = edited(
        "sensors/RH-102.yml",
        "from: 2024-01-01}",
        "from: 2024-01-01}\n  - {serial: A7001, family: HX-2, from: 2026-04-02}",
    )
    assert told(moved | there) == []
    assert told(there) == ["6 instrument-in-two-places"]


def test_a_long_stay_overlaps_with_every_later_one():
    twice = edited(
        "sensors/RH-102.yml",
        "from: 2024-01-01}",
        "from: 2024-01-01}\n  - {serial: A7001, family: HX-2, from: 2026-04-02, until: 2026-05-01}"
        "\n  - {serial: A7009, family: HX-2, from: 2026-05-02}\n  - {serial: A7001, family: HX-2, from: 2026-06-01}",
    )
    assert told(twice) == ["6 instrument-in-two-places", "8 instrument-in-two-places"]


def test_a_gap_between_instruments_is_no_position_to_visit():
    gap = edited(
        SENSOR,
        "from: 2024-01-01}",
        "from: 2024-01-01, until: 2026-03-13}\n  - {serial: A7002, family: HX-2, from: 2026-03-15}",
    )
    assert told(gap) == ["2 not-installed"]
