"""What is due, month by month."""

from __future__ import annotations

from asfound.site.views.rounds import planned_rounds
from asfound.site.views.schedule import schedule
from tests.site import store


def test_overdue_stands_first_then_month_by_month():
    view = schedule(store.lookup(), planned_rounds(store.lookup()))
    assert [row.link.text for row in view.groups[0].rows] == ["NEW-1", "LATE-1"]
    months = [group.anchor for group in view.groups[1:]]
    assert months == sorted(months) and view.groups[1].title == "January 2028"


def test_everything_in_service_is_due_once_and_references_run_out_beside_it():
    view = schedule(store.lookup(), planned_rounds(store.lookup()))
    due = [row.link.text for group in view.groups for row in group.rows]
    serving = [name for name in store.assessment().standings if name != "OFF-1"]
    assert sorted(due) == sorted([*serving, *store.lookup().records.references])
    assert [row.link.text for row in view.unused] == ["OFF-1"]


def test_within_a_month_places_stand_together_and_references_last():
    group = next(
        g for g in schedule(store.lookup(), planned_rounds(store.lookup())).groups if g.title == "November 2028"
    )
    places = [row.place for row in group.rows]
    assert places == sorted(places, key=["Laboratory", "Loft", "Reference standards"].index)
    assert "Loft" in places
