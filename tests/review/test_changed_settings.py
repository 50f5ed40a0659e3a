"""What was changed in YAML records, as a reviewer would say it."""

from __future__ import annotations

from asfound.records.models.yaml_text import Document, parse
from asfound.review.changed_settings import setting_changes


def document(text: str) -> Document:
    found, faults = parse("sensors/RH-1.yml", text.encode())
    assert found is not None and not faults
    return found


def told(before: str, after: str) -> list[str]:
    return [one.sentence for one in setting_changes(document(before), document(after))]


def test_a_new_tolerance_from_a_day_on_is_told_beside_the_one_that_held_until_then():
    after = "tolerance:\n  - { absolute: 2 %RH }\n  - { from: 2026-12-01, absolute: 3 %RH }\n"
    (one,) = setting_changes(document("tolerance: { absolute: 2 %RH }\n"), document(after))
    assert one.sentence == "tolerance from 2026-12-01, absolute: 2 %RH → 3 %RH"
    assert (one.place.line, one.place.column) == (3, 35)


def test_what_is_known_anew_from_a_day_on_is_told_beside_what_was_known_until_then():
    after = "time_constant:\n  - { value: 2 min }\n  - { from: 2026-12-01, value: 3 min }\n"
    assert told("time_constant: 2 min\n", after) == ["time constant from 2026-12-01, value: 2 min → 3 min"]


def test_a_setting_that_is_edited_where_it_stands_says_before_and_after():
    assert told("interval: { months: 12 }", "interval: { months: 24 }") == ["interval, months: 12 → 24"]


def test_a_setting_that_comes_or_goes_is_told_as_such():
    assert told("id: RH-1", "id: RH-1\nnote: by the door") == ["note: by the door (new)"]
    assert told("id: RH-1\nnote: by the door", "id: RH-1") == ["note: by the door → taken away"]


def test_comments_and_layout_are_no_settings():
    assert told("interval: { months: 12 }", "interval:  # once a year\n  months: 12\n") == []


def test_a_certificates_table_is_told_line_by_line():
    table = (
        "quantities: {{ current: {{ calibrations: [ {{ date: 2026-01-12, points: "
        "[ {{ at: 4 mA, value: {low} }}, {{ at: 20 mA, value: 0 mA }} ] }} ] }} }}"
    )
    assert told(table.format(low="0 mA"), table.format(low="0.01 mA")) == [
        "quantities, current, calibrations 2026-01-12, points at 4 mA, value: 0 mA → 0.01 mA"
    ]


def test_an_exchanged_instrument_is_told_by_its_serial():
    before = "installed:\n  - { serial: A, family: rush, from: 2020-01-01 }\n"
    after = before.replace(" }", ", until: 2026-03-01 }") + "  - { serial: B, family: rush, from: 2026-03-02 }\n"
    assert told(before, after) == [
        "installed A, until: 2026-03-01 (new)",
        "installed B: serial: B, family: rush, from: 2026-03-02 (new)",
    ]


def test_people_are_told_by_their_ids():
    before = "people:\n  - { id: ann, may: [calibrate] }\n  - { id: ben, may: [approve] }\n"
    assert told(before, before.replace("[calibrate]", "[calibrate, approve]")) == [
        "people ann, may: calibrate → calibrate, approve"
    ]
    assert told(before, before.splitlines()[0] + "\n" + before.splitlines()[2]) == [
        "people ann: id: ann, may: [calibrate] → taken away"
    ]
