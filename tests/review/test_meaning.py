"""What a change means: both sides assessed, as far as it bears on them, and compared."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from asfound.assessment.assess import Assessment, assess
from asfound.assessment.due import DueState
from asfound.assessment.standing import State
from asfound.records.snapshot import from_folder
from asfound.review.meaning import differs
from asfound.review.report import Review, review
from tests import builders as b
from tests.examples import few_trials
from tests.git_histories import ANN, BEN, History
from tests.review.stores import FIRST, NEW, SECOND, on_a_branch, reviewed, store, visit

ROOT = Path(__file__).parents[2]


def test_a_new_visit_gives_its_results_and_changes_no_old_number(tmp_path: Path):
    found = on_a_branch(store(tmp_path), visit(NEW, 0.4)).meaning
    assert found is not None and found.moved == () and found.revised == ()
    assert [(r.visit, r.target, str(r.verdict)) for r in found.new] == [(NEW, at, "pass") for at in (20, 50, 80)]


def test_a_failing_visit_changes_the_state_of_its_sensor_opens_a_finding_and_resets_the_due_day(tmp_path: Path):
    found = on_a_branch(store(tmp_path), visit(NEW, 3.0)).meaning
    assert found is not None
    (change,) = found.standings
    assert change.before is not None and change.after is not None
    assert (change.before.state, change.after.state) == (State.IN, State.OUT)
    assert (change.before.due.day, change.after.due.day) == (date(2027, 2, 20), date(2027, 3, 16))
    assert [(case.sensor, case.visit) for case in found.opened] == [("RH-1", NEW)]


def test_the_first_visit_of_a_new_sensor_is_told_as_such(tmp_path: Path):
    found = on_a_branch(store(tmp_path), b.sensor("RH-2"), visit(NEW, sensor="RH-2")).meaning
    assert found is not None
    (change,) = found.standings
    assert change.before is None and change.after is not None and change.after.state is State.IN


def test_a_longer_interval_moves_the_due_day_and_no_result(tmp_path: Path):
    found = on_a_branch(store(tmp_path), b.sensor(interval={"months": 3})).meaning
    assert found is not None and found.moved == ()
    (change,) = found.standings
    assert change.due and not change.state
    assert change.after is not None and change.after.due.state is DueState.OVERDUE


def test_a_later_revision_replaces_results_and_both_are_told(tmp_path: Path):
    found = on_a_branch(store(tmp_path), visit(SECOND, 0.5, revision=2)).meaning
    assert found is not None and found.new == () and found.moved == ()
    assert [pair.before.revision for pair in found.revised if pair.before] == [1, 1, 1]
    assert [pair.after.revision for pair in found.revised if pair.after] == [2, 2, 2]


def test_a_corrected_table_changes_the_numbers_of_every_visit_that_leaned_on_it_and_is_named_as_the_cause(
    tmp_path: Path,
):
    other = b.two_pressure("GEN-02")
    by_other = {
        path: content.replace(b"GEN-01", b"GEN-02") for path, content in visit("2026-02-21-hall", sensor="RH-2").items()
    }
    history = store(tmp_path, b.sensor("RH-2"), other, by_other)
    table = b.two_pressure("GEN-01", {"saturation_pressure": b.flat(0, 1500, "kPa", 0.4, value=0.5)})
    found = on_a_branch(history, table)
    assert found.meaning is not None
    assert {(pair.either.sensor, pair.either.visit) for pair in found.meaning.moved} == {
        ("RH-1", FIRST),
        ("RH-1", SECOND),
    }
    assert set(found.causes) == {("reference (references/GEN-01.yml)",)}


def test_of_two_records_that_change_together_only_the_one_that_moves_a_number_is_its_cause(tmp_path: Path):
    """The table moves errors, the family's name moves nothing, and a policy for next year judges nothing yet."""
    policies = [{"rule": "guard_band"}, {"from": "2027-01-01", "rule": "simple_acceptance"}]
    table = b.two_pressure("GEN-01", {"saturation_pressure": b.flat(0, 1500, "kPa", 0.4, value=0.5)})
    changed = {**table, **b.family(name="Sensor with a thin film"), **b.facility(policies=policies)}
    found = on_a_branch(store(tmp_path), changed)
    assert set(found.causes) == {("reference (references/GEN-01.yml)",)}


def test_a_number_that_two_records_move_has_both_as_causes(tmp_path: Path):
    table = b.two_pressure("GEN-01", {"saturation_pressure": b.flat(0, 1500, "kPa", 0.4, value=0.5)})
    found = on_a_branch(store(tmp_path), {**table, **b.sensor(tolerance={"absolute": "1 %RH"})})
    assert set(found.causes) == {("reference (references/GEN-01.yml)", "record (sensors/RH-1.yml)")}


def test_a_reference_calibrated_by_a_visit_here_passes_its_change_on(tmp_path: Path):
    """The probe was calibrated with the generator: the generator's table moves what the probe read later."""
    calibrating = b.visit(
        "2026-02-02-probe",
        *(
            b.plateau(
                at, [at, at, at], b.generated(at), sensor="PROBE-01", phase="as_left", output_temperature=[25.0] * 3
            )
            for at in (20, 80)
        ),
    )
    probe = b.transfer_probe(
        quantities={
            "reference_humidity": b.quantity(b.by_visit("2026-02-02-probe"), resolution="0.01 %RH"),
        }
    )
    by_probe = b.visit("2026-02-25-hall", b.plateau(50, [50.2, 50.3, 50.2], b.by_probe(50), sensor="RH-2"))
    history = store(tmp_path, b.sensor("RH-2"), calibrating, probe, by_probe)
    table = b.two_pressure("GEN-01", {"saturation_pressure": b.flat(0, 1500, "kPa", 0.4, value=0.5)})
    found = on_a_branch(history, table)
    assert found.meaning is not None, [fault.text() for fault in found.errors]
    moved = {pair.either.visit: causes for pair, causes in zip(found.meaning.moved, found.causes, strict=True)}
    assert moved["2026-02-25-hall"] == ("reference (references/GEN-01.yml)",)


def test_a_finding_is_told_when_it_is_taken_up_and_when_it_is_closed(tmp_path: Path):
    history = store(tmp_path, visit(SECOND, 3.0))
    history.branch("one").commit(b.finding("RH-1", SECOND), by=BEN, on="2026-03-16")
    (taken,) = reviewed(history).findings
    assert taken.before is None and taken.after is not None and taken.after.owner == "ben"
    closing = b.finding("RH-1", SECOND, decision="goods kept", closed="2026-03-20", closed_by="ben")
    history.branch("two", "one").commit(closing, by=BEN, on="2026-03-20")
    (closed,) = reviewed(history, "one", "two").findings
    assert closed.before is not None and closed.after is not None and closed.after.closed == date(2026, 3, 20)


def test_the_first_records_of_all_are_all_new(tmp_path: Path):
    history = History(tmp_path / "store")
    history.commit(by=BEN, on="2026-03-01", message="Nothing yet")
    files = b.records(b.sensor(), b.two_pressure(), visit(FIRST))
    found = on_a_branch(history, files)
    assert not found.fails and found.meaning is not None
    assert {r.visit for r in found.meaning.new} == {FIRST}


def changed_table(files: dict[str, bytes]) -> dict[str, bytes]:
    """The demo's oldest table of its first humidity generator with another value."""
    content = files["references/GEN-01.yml"]
    assert content.count(b"at: 250 kPa, value: -0.13 kPa") == 1
    return {
        "references/GEN-01.yml": content.replace(b"at: 250 kPa, value: -0.13 kPa", b"at: 250 kPa, value: -0.93 kPa")
    }


def test_what_is_assessed_of_a_part_is_what_the_whole_assessment_says(tmp_path: Path):
    """Nothing that a table moves is missed, through pools neither, and no number comes from looking at a part only."""
    files = from_folder(ROOT / "records")
    before = {path: files[path] for path in files if not path.startswith(("issued/", "trends/"))}
    demo = History(tmp_path / "demo")
    demo.commit(before, by=ANN, on="2026-11-01", trailers=["Reviewed-by: E. Q. <edda.quillstrom@wendlemoor.example>"])
    table = changed_table(before)
    demo.branch("table").commit(table, by=ANN, on="2026-11-20")
    day = date(2024, 12, 31)
    with few_trials():  # the seed is the result's own: part and whole draw the same numbers, however few
        found = review(demo.repository, "main", "table", day)
        approved = _approved(found)
        assert len(approved) > 100
        whole = [assess(side, day, lambda _: approved) for side in (before, before | table)]
    _agrees(found, *whole)
    assert found.meaning is not None and len(found.meaning.moved) > 10


def _approved(found: Review) -> set[tuple[str, str]]:
    """What the demo's certificates say of approvals at the base."""
    from asfound.provenance import provenance_at
    from asfound.soak.checking_with_logs import check

    records, _ = check(found.change.repository.snapshot(found.change.base))
    assert records is not None
    approved = provenance_at(found.change.repository, found.change.base, records).approved
    assert approved is not None
    return set(approved)


def _agrees(found: Review, before: Assessment, after: Assessment) -> None:
    meaning = found.meaning
    assert meaning is not None
    was, now = ({r.key: r for r in side.results} for side in (before, after))
    expected = {key for key in was if differs(was[key], now.get(key))}
    assert {pair.either.key for pair in meaning.moved} == expected
    for pair in meaning.moved:
        assert not differs(pair.before, was[pair.either.key]) and not differs(pair.after, now[pair.either.key])
    states = {n for n in before.standings if before.standings[n].state is not after.standings[n].state}
    assert {one.sensor for one in meaning.standings if one.state} == states
    assert {one.sensor for one in meaning.standings if one.due} == {
        n for n in before.standings if before.standings[n].due.day != after.standings[n].due.day
    }
    opened = {(c.visit, c.sensor) for c in after.cases} - {(c.visit, c.sensor) for c in before.cases}
    assert {(case.visit, case.sensor) for case in meaning.opened} == opened


def test_a_branch_is_compared_with_where_it_left_the_main_branch(tmp_path: Path):
    """What the main branch has got since is no change of this one."""
    history = store(tmp_path)
    history.branch("work").commit(visit(NEW), by=ANN, on="2026-03-16")
    history.checkout().commit(visit("2026-03-10-hall"), by=BEN, on="2026-03-17")
    found = reviewed(history, "main", "work")
    assert found.meaning is not None and {r.visit for r in found.meaning.new} == {NEW}
    assert found.meaning.revised == () and found.broken == ()


def test_a_visit_that_leaves_the_pool_of_its_family_moves_what_leaned_on_the_pool_and_nothing_else(tmp_path: Path):
    """A revision that nobody has approved takes the first visit out of the pool that RH-2 was measured with."""
    files = b.records(
        b.sensor(), b.sensor("RH-2"), b.two_pressure(), visit(FIRST), visit("2026-02-25-hall", sensor="RH-2")
    )
    files |= b.family(humidity={"resolution": "0.01 %RH", "repeatability": "0.3 %RH"})
    files |= b.facility(policies={"rule": "guard_band", "least_pool": 4})
    history = History(tmp_path / "store")
    history.commit(files, by=ANN, on="2026-03-01", trailers=["Reviewed-by: Ben Sedge <ben@alder.example>"])
    found = on_a_branch(history, visit(FIRST, 0.5, revision=2))
    assert found.meaning is not None
    assert {(pair.either.sensor, pair.either.visit) for pair in found.meaning.moved} == {("RH-2", "2026-02-25-hall")}
    assert all(pair.before.U < pair.after.U for pair in found.meaning.moved if pair.before and pair.after)
    assert {cause.partition(" ")[0] for causes in found.causes for cause in causes} == {"pool"}


def test_an_unapproved_new_visit_enters_no_pool(tmp_path: Path):
    """Though it lies before another in time, nothing of the other moves."""
    files = b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), visit("2026-02-25-hall", sensor="RH-2"))
    files |= b.facility(policies={"rule": "guard_band", "least_pool": 2})
    history = History(tmp_path / "store", files, by=BEN, on="2026-03-01")
    found = on_a_branch(history, visit(FIRST)).meaning
    assert found is not None and found.moved == () and len(found.new) == 3
