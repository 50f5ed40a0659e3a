"""A fault is a value: a rule, a place, what is wrong, the cure."""

from __future__ import annotations

import pytest

from asfound.faults import (
    Fault,
    Place,
    RecordsRefused,
    Rule,
    Severity,
    did_you_mean,
    in_order,
)

WRONG = Rule(name="wrong-thing", summary="a thing is wrong")
LATE = Rule(name="late-thing", summary="a thing is late", severity=Severity.RESERVATION)
PLACE = Place(path="visits/2026/2026-03-14-drying.csv", line=7, column=4)


def fault(rule: Rule = WRONG, place: Place = PLACE, message: str = "'x' is wrong", cure: str = "mend it") -> Fault:
    return Fault(rule=rule, place=place, message=message, cure=cure)


def test_a_fault_says_place_rule_message_and_cure():
    assert fault().text() == (
        "records/visits/2026/2026-03-14-drying.csv:7:4: error[wrong-thing] 'x' is wrong\n  cure: mend it"
    )
    assert (
        fault(LATE)
        .text(prefix="../mine/")
        .startswith("../mine/visits/2026/2026-03-14-drying.csv:7:4: reservation[late-thing] ")
    )


def test_an_annotation_is_one_line_that_a_code_review_shows():
    assert fault().annotation() == (
        "::error file=records/visits/2026/2026-03-14-drying.csv,line=7,col=4,title=wrong-thing"
        "::'x' is wrong%0Acure: mend it"
    )
    assert fault(LATE).annotation().startswith("::warning file=")


def test_an_annotation_escapes_what_would_end_it():
    awkward = fault(place=Place(path="a,b:c%.csv"), message="50 %\r\nnext")
    assert awkward.annotation(prefix="") == (
        "::error file=a%2Cb%3Ac%25.csv,line=1,col=1,title=wrong-thing::50 %25%0D%0Anext%0Acure: mend it"
    )


def test_faults_come_in_order_of_place_each_once():
    early, late = fault(place=Place(path="a.yml", line=2)), fault(place=Place(path="a.yml", line=10))
    other = fault(place=Place(path="b.yml"))
    assert in_order([other, late, early, late]) == [early, late, other]


def test_refused_records_carry_their_faults_in_order():
    early = fault(place=Place(path="a.yml"))
    refused = RecordsRefused([fault(), early])
    assert refused.faults == (early, fault())
    assert str(refused).startswith("records/a.yml:1:1: error[wrong-thing]")


@pytest.mark.parametrize(
    ("word", "guess"),
    [("GEN-1", " (did you mean 'GEN-01'?)"), ("rh-101", " (did you mean 'RH-101'?)"), ("zebra", "")],
)
def test_did_you_mean_the_id_that_is_close(word: str, guess: str):
    assert did_you_mean(word, ["RH-101", "GEN-01"]) == guess
