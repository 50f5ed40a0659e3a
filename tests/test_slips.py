"""A slip is made where it is named, is seen by whoever imported the function, and is gone afterwards."""

import pytest

from asfound.uncertainty import budgets, sources
from tests.slips import Slip, place_of, with_slip


def test_a_slip_in_a_constant_is_made_wherever_it_was_imported_and_put_back():
    before = sources.COVERAGE
    with with_slip(Slip("COVERAGE", "math.erf(math.sqrt(2.0))", "0.5")):
        assert sources.COVERAGE == 0.5
        assert sources.coverage_factor(1e9) == pytest.approx(0.6745, abs=1e-4)  # the quartiles of a normal distribution
    assert before == sources.COVERAGE
    assert sources.coverage_factor(1e9) == pytest.approx(2.0, abs=1e-4)


def test_a_slip_in_a_function_is_run_by_whoever_imported_it_and_put_back():
    imported_by_name, code = budgets.effective_freedom, budgets.effective_freedom.__code__
    with with_slip(Slip("budgets.effective_freedom", "u**4", "u**2")):
        assert imported_by_name.__code__ is not code
    assert imported_by_name.__code__ is code


def test_a_slip_is_compared_without_line_ends_comments_and_last_commas():
    with with_slip(Slip("budgets.effective_freedom", "u ** 4  # to the fourth", "u**2")):
        pass


@pytest.mark.parametrize("where", ["no_such_function", "spread"])
def test_a_slip_needs_one_place(where):
    with pytest.raises(AssertionError, match="a slip in"):
        place_of(where)


def test_a_slip_that_no_longer_fits_is_refused():
    with (
        pytest.raises(AssertionError, match="no longer says"),
        with_slip(Slip("budgets.effective_freedom", "u**5", "u")),
    ):
        pass
