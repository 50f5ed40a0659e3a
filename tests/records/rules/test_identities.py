"""Ids that a spreadsheet has made something else of."""

from __future__ import annotations

import pytest

from asfound.records.checking import check
from tests.records.rules.written import (
    HEADER,
    Files,
    edited,
    row,
    told,
    visit,
)
from tests.repositories import laid_over, minimal

# Spreadsheets.


def test_ids_that_count_up_are_right_where_each_has_a_record():
    third = edited("sensors/RH-102.yml", "id: RH-102", "id: RH-103")["sensors/RH-102.yml"]
    files: Files = {"sensors/RH-103.yml": str(third).replace("B7001", "B7003")}
    rows = [
        row(sensor=f"RH-10{n}", serial="", time=f"2026-03-14 09:4{n}", output="", loop_meter="") + ",20.3"
        for n in (1, 2, 3)
    ]
    assert told(files | visit(*rows, header=f"{HEADER},far_end [%RH]")) == []


def test_a_dragged_serial_number_is_found():
    rows = [row(time=f"2026-03-14 09:4{n}", serial=f"A700{n + 1}") for n in range(4)]
    (fault,) = check(laid_over(visit(*rows)))[1]
    assert (fault.place.line, fault.rule.name) == (3, "dragged-down-id")
    assert fault.cure.endswith("copy 'A7001' into each row")


@pytest.mark.parametrize("written", ["01-Mar", "1-Mar", "Mar-01", "3/1/2026", "2026-03-01", "01.03.2026", "Mar 2026"])
def test_what_a_spreadsheet_makes_of_an_id(written: str):
    assert told(visit(row(reference=written))) == ["2 id-became-date"]


def test_an_id_of_a_known_record_may_look_like_a_date():
    other = minimal()["references/GEN-01.yml"].decode().replace("id: GEN-01", "id: MAR-01")
    assert told({"references/MAR-01.yml": other} | visit(row(reference="MAR-01"))) == []
