"""An old spreadsheet of sensors and results becomes records, whole or not at all."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.assessment.assess import assess, check
from asfound.cli import main
from asfound.commands.common import CLEAN, COULD_NOT_RUN, FAULTS
from asfound.faults import FilesRefused, Severity
from asfound.records.snapshot import from_folder
from asfound.scaffold.old_lists.from_lists import facility_from_lists
from asfound.scaffold.old_lists.lists import ListFile
from asfound.scaffold.old_lists.old_sensors import slug
from tests.examples import CHARACTERS

SENSORS = """\
id;place;building;model;serial;signal;signal_low [mA];signal_high [mA];tolerance [%RH];points [%RH];interval;installed
ST-1;Store 1;Mill;Alder loop;0815;current;4;20;2,5;20/35/60;12;
ST-2;Store 2;Mill;Alder loop;0816;current;4;20;2,5;20/35/60;12;03.04.2021
ST-3;Store 2;;Birch display;99-3;;;;3;30/50;24;03.04.2021
"""
HISTORY = """\
sensor;date;phase;reference [%RH];reading [%RH];U [%RH];adjusted;laboratory
ST-1;12.04.2022;as found;20,1;20,9;0,8;no;Fell laboratory
ST-1;12.04.2022;as found;35,0;36,1;0,8;no;Fell laboratory
ST-1;12.04.2022;as found;60,2;61,9;0,9;no;Fell laboratory
ST-1;12.04.2022;as left;20,1;20,2;0,8;yes;Fell laboratory
ST-1;12.04.2022;as left;35,0;35,1;0,8;yes;Fell laboratory
ST-1;12.04.2022;as left;60,2;60,1;0,9;yes;Fell laboratory
"""
DAYS = "%d.%m.%Y"


def brought(sensors: str = SENSORS, history: str | None = HISTORY, days: str | None = DAYS):
    old = ListFile(path="old.csv", content=history.encode()) if history is not None else None
    return facility_from_lists(ListFile(path="sensors.csv", content=sensors.encode()), old, days)


def records(found):
    return {path.removeprefix("records/"): text for path, text in found.files.items() if path.startswith("records/")}


def refused(**lists) -> str:
    with pytest.raises(FilesRefused) as problem:
        brought(**lists)
    return str(problem.value)


def test_the_lists_become_records_that_check():
    found = brought()
    assert (found.sensors, found.models, found.places, found.visits) == (3, 2, 2, 1)
    files = {path: text for path, text in records(found).items() if "/." not in path and not path.startswith(".")}
    assert not [f for f in check(files) if f.rule.severity is Severity.ERROR]
    assessment = assess(files, date(2022, 12, 31))
    first = assessment.standings["ST-1"]
    assert (first.due.since, first.due.day) == (date(2022, 4, 12), date(2023, 4, 12))
    assert first.settings.serial == "0815"
    assert assessment.records.facility.places[0].building == "Mill"


def test_old_results_keep_their_error_and_U():
    files = {path: text for path, text in records(brought()).items() if not path.startswith(".")}
    results = [r for r in assess(files, date(2022, 12, 31)).results if r.phase == "as_found"]
    assert [round(r.error, 9) for r in results] == [0.8, 1.1, 1.7]
    assert [r.U for r in results] == pytest.approx([0.8, 0.8, 0.9])
    assert {r.status for r in results} == {"stated"}


def test_what_a_models_sensors_agree_on_stands_once():
    files = records(brought())
    assert b"tolerance: {absolute: 2.5 %RH}" in files["families/alder-loop.yml"]
    assert b"tolerance" not in files["sensors/ST-1.yml"]
    differing = records(brought(SENSORS.replace("0816;current;4;20;2,5", "0816;current;4;20;1,5")))
    assert b"tolerance" not in differing["families/alder-loop.yml"]
    assert b"tolerance: {absolute: 1.5 %RH}" in differing["sensors/ST-2.yml"]


def test_everything_that_is_wrong_is_said_at_once_with_line_and_column():
    text = refused(
        sensors=SENSORS.replace("ST-2;", "st-1;")
        .replace("Birch display", "")
        .replace("2,5;20/35/60;12;\n", "x;20;12;\n"),
        history=HISTORY.replace("12.04.2022;as found;20,1", "2022-04-12;as found;20,1").replace("0,9;no", ";no"),
    )
    for said in (
        "sensors.csv:2:48: error[bad-list] tolerance is 'x', which is no number",
        "sensors.csv:3:1: error[bad-list] st-1 stands in line 2 too",
        "sensors.csv:4:15: error[bad-list] model is blank",
        "old.csv:2:6: error[bad-list] '2022-04-12' is no day written as %d.%m.%Y",
        "old.csv:4:1: error[bad-list] a result without U says nothing",
    ):
        assert said in text
    assert text.count("  cure: ") == text.count("error[")


def test_two_models_or_places_of_one_id_never_share_a_record():
    """`Alder-loop` with its own tolerance would else be judged by that of `Alder loop`, or the other way round."""
    text = refused(sensors=SENSORS.replace("Birch display", "Alder-loop").replace("ST-2;Store 2", "ST-2;store 1"))
    assert "sensors.csv:4:1: error[bad-list] model 'Alder-loop' has the same id as 'Alder loop': alder-loop" in text
    assert "sensors.csv:3:1: error[bad-list] place 'store 1' has the same id as 'Store 1': store-1" in text
    assert "東" in refused(sensors=SENSORS.replace("Store 1", "東").replace("Store 2", "西"))


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        ("tolerance [%RH]", "tolerance", "tolerance has no unit"),
        ("tolerance [%RH]", "tolerance [degC]", "[degC] is a unit of temperature"),
        ("serial", "serial_no", "unknown column 'serial_no'"),
        ("building", "place", "'place' stands twice"),
        ("interval", "interval [min]", "interval takes no unit"),
        ("tolerance [%RH]", "lowest [%RH]", "there is no column 'tolerance'"),
        ("ST-3", "3 ST", "'3 ST' cannot be an id"),
        ("current;4", "milliamps;4", "signal is 'milliamps'"),
    ],
)
def test_a_column_or_word_that_is_not_meant_is_named(was, becomes, said):
    assert said in refused(sensors=SENSORS.replace(was, becomes, 1))


def test_a_result_of_a_sensor_that_is_not_listed_is_refused():
    assert "'ST-9' is not in the list of sensors" in refused(history=HISTORY.replace("ST-1", "ST-9", 1))


def test_a_sensor_serves_since_its_first_result_or_says_since_when():
    assert b"from: '2022-04-12'" in records(brought())["sensors/ST-1.yml"]
    assert "nothing says since when ST-1 serves" in refused(history=None)


def test_a_list_that_is_no_text_is_refused():
    with pytest.raises(FilesRefused, match="not UTF-8"):
        facility_from_lists(ListFile(path="sensors.csv", content=SENSORS.encode("utf-16")))


@pytest.mark.parametrize(
    ("words", "known_as"),
    [("Drying room A", "drying-room-a"), ("Kühlraum 2", "kuhlraum-2"), ("2nd floor", "n-2nd-floor")],
)
def test_places_get_ids_from_their_names(words, known_as):
    assert slug(words) == known_as


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(0, 11), st.text(CHARACTERS, max_size=6)), min_size=1, max_size=3)
)
def test_a_damaged_list_is_read_or_refused_never_a_crash(damages):
    rows = [line.split(";") for line in SENSORS.splitlines()]
    for row, field, text in damages:
        rows[row][field] = text
    try:
        brought("\n".join(";".join(row) for row in rows) + "\n")
    except FilesRefused as problem:
        assert "cure" in str(problem)


def test_the_command_writes_the_folder_and_counts(tmp_path: Path, capsys):
    sensors, history = tmp_path / "sensors.csv", tmp_path / "old.csv"
    sensors.write_text(SENSORS, encoding="utf-8")
    history.write_text(HISTORY, encoding="utf-8")
    lists = ["--sensors", str(sensors), "--history", str(history)]
    assert main(["new", str(tmp_path / "ours"), *lists, "--days", DAYS]) == CLEAN
    assert "3 sensors of 2 models at 2 places, 1 visits" in capsys.readouterr().out
    assert not [f for f in check(from_folder(tmp_path / "ours" / "records")) if f.rule.severity is Severity.ERROR]


def test_a_refused_list_writes_nothing(tmp_path: Path, capsys):
    sensors = tmp_path / "sensors.csv"
    sensors.write_text(SENSORS, encoding="utf-8")
    assert main(["new", str(tmp_path / "ours"), "--sensors", str(sensors)]) == FAULTS
    assert not (tmp_path / "ours").exists()
    assert main(["new", str(tmp_path / "ours"), "--history", str(sensors)]) == COULD_NOT_RUN
    assert main(["new", str(tmp_path / "ours"), "--sensors", str(tmp_path / "none.csv")]) == COULD_NOT_RUN
    assert "cure" in capsys.readouterr().out
