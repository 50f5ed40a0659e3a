"""What the Drift page says of how far results vary against what the records declare."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from asfound.assessment.history.lasting import Kind
from asfound.assessment.history.scales import Scales, nothing_seen
from asfound.records.models import Channel
from asfound.site.views.declared_seen import FamilyRow, declared_and_seen
from asfound.statistics.scale_factors import Factors
from tests.site.views.test_trends import page

LABELS = {Kind.OWN: "hysteresis, half of its width", Kind.VISIT: "temperature gradient in the chamber"}


def seen(*log: float, u: float = 0.2, **keys: object) -> Scales:
    factors = Factors(log=np.array(log), covariance=u**2 * np.eye(4))
    spoken = {"instruments": 4, "visits": 31, "chi_squared": 6.7, "freedom": 71, "labels": LABELS, "declared": True}
    return replace(nothing_seen(0.1), factors=factors, **(spoken | keys))


def rows(*, method: str = "two_pressure", **scales: Scales) -> tuple[FamilyRow, ...]:
    of = {(model, Channel.HUMIDITY, method): found for model, found in scales.items()}
    return declared_and_seen(SimpleNamespace(assessment=SimpleNamespace(instruments=SimpleNamespace(scales=of))))


def test_limits_that_are_wide_are_said_in_standard_deviations_with_bounds():
    """A variance factor of 1/9 is a third of the limit; exp(−2.197 ± 2·0.2) is 0.074 to 0.166, the roots 27 to 41 %."""
    (family,) = rows(rush=seen(0.0, np.log(1.0 / 9.0), 0.0, 0.0))
    assert (family.family, family.read_by) == ("rush, humidity", "two-pressure humidity generator")
    assert family.basis == "4 instruments, 31 visits" and family.whole == "χ² 6.7 for 71 degrees of freedom"
    (gradient,) = family.differing
    assert (gradient.most, gradient.seen) == ("temperature gradient in the chamber", "33 %")
    assert (gradient.bounds, gradient.word) == ("27 % to 41 %", "varies less than declared")


def test_limits_that_are_narrow_are_said_as_well():
    (family,) = rows(rush=seen(np.log(2.25), 0.0, 0.0, 0.0, left_out=1))
    assert [(row.most, row.seen, row.word) for row in family.differing] == [
        ("hysteresis, half of its width", "150 %", "varies more than declared")
    ]
    assert family.basis.endswith("; 1 instrument left out")


@pytest.mark.parametrize(("u", "word"), [(0.3, "agrees with what is declared"), (0.8, "too few visits to tell")])
def test_what_is_not_known_does_not_pass_for_agreement(u, word):
    (family,) = rows(rush=seen(0.0, 0.0, 0.0, 0.0, u=u))
    assert {row.word for row in family.effects} == {word} and family.differing == ()


def test_kinds_of_which_nothing_is_declared_are_left_out_but_for_whole_visits():
    (family,) = rows(rush=seen(0.0, 0.0, 0.0, 0.0, declared=False))
    assert [row.effect for row in family.effects] == [
        "of each result alone",
        "shared by a visit’s results",
        "shift of whole visits",
    ]
    assert family.effects[2].most == "0.10 %RH supposed, none is declared"


def test_a_family_without_any_line_says_nothing():
    assert rows(rush=nothing_seen(0.1)) == ()


def test_what_another_laboratory_stated_is_a_family_of_its_own():
    (family,) = rows(rush=seen(0.0, 0.0, 0.0, 0.0), method="stated")
    assert family.read_by == "another laboratory"


def test_the_page_of_a_store_says_what_its_family_shows():
    """Three instruments that run more smoothly than their readings scatter."""
    (family,) = page().declared_seen
    assert family.basis == "3 instruments, 18 visits"
    assert [row.effect for row in family.differing] == ["of each result alone"]
