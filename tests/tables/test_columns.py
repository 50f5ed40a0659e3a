"""The published columns: declared once, their names stable and safe in programs that ignore case."""

from __future__ import annotations

import pytest

from asfound.tables.columns import TABLES, Table

STABLE = {
    "results/2": (
        "visit revision time sensor serial place channel unit plateau phase target direction method medium reference "
        "reference_value output far_end part error error_sensor error_loop standard_uncertainty nu_eff k "
        "expanded_uncertainty expanded_uncertainty_sensor expanded_uncertainty_loop answer tolerance rule verdict "
        "p_outside p_outside_below tur status one_way loop reservations approval certificate format"
    ),
    "contributions/2": (
        "result part source sensitivity standard_uncertainty unit contribution nu variance_group distribution scope "
        "format"
    ),
    "drift/2": (
        "sensor serial channel unit target direction reference_value state rate expanded_uncertainty_rate nu p_value "
        "chi_squared freedom between between_basis tolerance limit error_today expanded_uncertainty_today due "
        "error_due expanded_uncertainty_due leaves_earliest leaves_median leaves_latest format"
    ),
    "scales/2": (
        "model channel unit method kind label factor factor_low factor_high shift instruments visits left_out "
        "chi_squared freedom format"
    ),
    "exposure/2": "day lowest mean highest expanded_uncertainty format",
}


def test_names_and_their_order_are_stable_within_a_version():
    assert {table.format: " ".join(table.names) for table in TABLES} == STABLE


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_no_two_names_are_one_where_case_is_ignored(table: Table):
    """A SQL engine that is asked for U would return u, half of it."""
    assert len({name.casefold() for name in table.names}) == len(table.names)
    assert set(table.key) < set(table.names)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_every_column_says_what_it_means_and_only_numbers_have_a_unit(table: Table):
    assert all(column.meaning for column in table.columns)
    assert all(column.kind == "number" for column in table.columns if column.unit)
