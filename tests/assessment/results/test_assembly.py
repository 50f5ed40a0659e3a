"""Results: which error is judged, by which limit, with which answer, and what is held against it."""

from __future__ import annotations

import math
from datetime import date

import pytest

from asfound.faults import RecordsRefused
from tests import builders as b
from tests.assessment.checks import TARGETS, points, yearly


def one(*parts, reading=None, outputs=(50.4, 50.4), target=50.0, day="2026-03-16", **columns):
    """The one result of a visit with one plateau."""
    rows = b.plateau(target, outputs, reading or b.generated(target), **columns)
    (result,) = b.results(b.records(b.sensor(), b.two_pressure(), *parts, b.visit(f"{day}-lab", rows)), "2029-01-01")
    return result


def names(result):
    return {fault.rule.name for fault in result.reservations}


def test_a_result_carries_its_error_and_its_uncertainty_together():
    result = one()
    assert result.error == pytest.approx(result.output - result.reference_value)
    assert pytest.approx(result.k * result.u) == result.U
    assert result.tur == pytest.approx(result.tolerance / result.U)
    assert (result.n, result.direction, result.method, result.medium) == (2, "start", "two_pressure", "chamber")
    assert "guard band" in result.rule


def test_the_far_end_is_judged_unless_the_sensors_file_says_otherwise():
    far = one(far_end=[52.5, 52.5])
    assert (far.part, far.verdict) == ("total", "fail")
    assert (far.error, far.error_sensor, far.error_loop) == (
        pytest.approx(2.5, abs=1e-4),
        pytest.approx(0.4, abs=1e-4),
        pytest.approx(2.1, abs=1e-4),
    )
    near = one(b.family(judged_at="sensor"), far_end=[52.5, 52.5])
    assert (near.part, near.verdict) == ("sensor", "pass")
    assert one(b.family(judged_at="sensor"), outputs=[None, None], far_end=[50.1, 50.1]).part == "total"


def test_tolerances_change_on_their_first_day():
    tightened = b.family(tolerance=[{"absolute": "2 %RH"}, {"from": "2026-04-01", "absolute": "0.2 %RH"}])
    assert one(tightened, day="2026-03-31").tolerance == 2.0
    assert one(tightened, day="2026-04-01").tolerance == 0.2


def test_the_policy_of_the_visits_day_judges():
    dated = b.facility(policies=[{"rule": "simple_acceptance"}, {"from": "2026-04-01", "rule": "guard_band"}])
    near = {"outputs": (51.95, 51.95)}
    assert one(dated, day="2026-03-31", **near).verdict == "pass"
    assert one(dated, day="2026-04-01", **near).verdict == "conditional pass"


def test_as_left_has_its_own_limit_where_one_is_given():
    family = b.family(as_left_tolerance={"absolute": "0.7 %RH"})
    files = yearly({"2025-03-16": [*points(1.0), b.adjusted(), *points(1.0, phase="as_left")]}, family)
    verdicts = {(r.phase, r.verdict.value) for r in b.results(files) if r.target == 20.0}
    assert verdicts == {("as_found", "pass"), ("as_left", "fail")}


def test_a_share_of_the_reading_is_of_the_reference_value():
    result = one(b.family(tolerance={"of_reading": "4 %"}))
    assert result.tolerance == pytest.approx(0.04 * result.reference_value)


def test_where_monte_carlo_decides_its_u_is_the_one_that_is_judged():
    whole = b.family(humidity={"resolution": "1 %RH", "repeatability": "0.05 %RH"}, tolerance={"absolute": "2 %RH"})
    plain = b.generated(50)
    plain["saturation_pressure [kPa absolute]"] = round(plain["saturation_pressure [kPa absolute]"] * 1.009, 4)
    result = one(whole, reading=plain, outputs=(51, 51), target=50.0)
    assert result.answer == "monte carlo" and 1.65 < result.k < 1.8
    assert result.error == pytest.approx(1.45, abs=0.01)
    # with k = 2 the guard band would begin at 1.40 %RH and leave this one in doubt
    assert result.verdict == "pass" and 2.0 - 2.0 * result.u < result.error < 2.0 - result.U


@pytest.mark.parametrize(
    ("parts", "columns", "rule", "has_verdict"),
    [
        ([b.family(range={"lowest": "0 %RH", "highest": "40 %RH"})], {}, "outside-sensor-range", False),
        (
            [b.facility(policies={"rule": "simple_acceptance", "largest_u_over_t": 0.05})],
            {},
            "large-uncertainty",
            True,  # that it cannot be decided with this U
        ),
        ([b.sensor(working_temperature="5 degC")], {}, "other-temperature", True),
        ([b.facility(policies={"rule": "guard_band", "settling": {"least_rows": 3}})], {}, "unsettled-plateau", False),
        ([], {"day": "2028-06-01"}, "reference-out-of-date", True),
        ([b.sensor(working_temperature="26 degC")], {}, None, True),
    ],
    ids=["range", "large U", "temperature", "unsettled", "out of date", "near the working temperature"],
)
def test_reservations_are_published_with_the_result(parts, columns, rule, has_verdict):
    result = one(*parts, **columns)
    assert names(result) == ({rule} if rule else set())
    assert result.has_verdict == has_verdict
    assert not math.isnan(result.error) and result.U > 0.0
    assert result.status == ("unsettled" if rule == "unsettled-plateau" else "done")


def test_a_temperature_coefficient_makes_a_verdict_for_the_working_temperature():
    result = one(b.family(temperature_coefficient="0.02 %RH/degC"), b.sensor(working_temperature="5 degC"))
    plain = one()
    assert names(result) == set()
    extra = 0.02 * 20.0 / math.sqrt(3.0)
    assert result.u == pytest.approx(math.hypot(plain.u, extra), rel=1e-6)


def test_another_laboratorys_result_is_judged_as_it_was_stated():
    (result,) = b.results(b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", b.stated(50.0, 1.7, 0.4))))
    assert (result.status, result.answer, result.verdict) == ("stated", "stated", "conditional pass")
    assert (result.error, result.U, result.k, result.u, result.line) == (1.7, 0.4, 2.0, 0.2, None)


def test_a_point_not_done_is_shown_with_its_note():
    files = yearly({"2025-03-16": [*points(0.1)[:2], b.not_done(80.0, "door locked")]})
    last = b.results(files)[-1]
    assert (last.status, last.note, last.verdict) == ("not done", "door locked", "no verdict")
    assert math.isnan(last.error)


def test_a_later_revision_replaces_a_sensors_rows_whole_and_only_its_own():
    first = b.visit("2026-03-16-lab", *points(4.0), *points(0.1, sensor="RH-2"))
    second = b.visit("2026-03-16-lab", [row | {"reason": "misread"} for p in points(0.1)[:1] for row in p], revision=2)
    results = b.results(b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), first, second))
    assert [(r.sensor, r.target, r.revision) for r in results] == [
        ("RH-1", 20.0, 2),
        *(("RH-2", at, 1) for at in TARGETS),
    ]


def test_a_withdrawn_visit_gives_no_results_and_no_state():
    first = b.visit("2026-03-16-lab", *points(4.0))
    void = b.visit("2026-03-16-lab", [{"sensor": "RH-1", "phase": "withdrawn", "reason": "wrong sensor"}], revision=2)
    found = b.assessed(b.records(b.sensor(), b.two_pressure(), first, void))
    assert found.results == () and found.standings["RH-1"].state == "never calibrated"


def test_a_reference_checked_here_is_judged_by_its_own_limit():
    probe = b.transfer_probe(check_limit={"humidity": "1 %RH"})
    rows = [
        b.plateau(at, [at + e] * 2, b.generated(at), sensor="PROBE-01", phase="check")
        for at, e in ((50, 0.2), (80, 3.0))
    ]
    results = b.results(b.records(b.two_pressure(), probe, b.visit("2026-03-16-lab", *rows)))
    assert [(r.target, r.verdict.value) for r in results] == [(50.0, "pass"), (80.0, "fail")]


def test_results_of_a_day_do_not_know_what_comes_after():
    files = yearly({"2024-03-16": 0.1, "2025-03-16": 4.0})
    early = b.assessed(files, "2024-12-31")
    assert {r.day for r in early.results} == {date(2024, 3, 16)}
    late = b.assessed(files, "2025-12-31")
    assert late.results[: len(early.results)] == early.results


def test_readings_that_give_no_humidity_refuse_the_whole_with_their_place():
    reading = b.generated(50) | {"saturation_pressure [kPa absolute]": 110.0, "saturation_temperature [degC]": 33.0}
    files = b.records(b.sensor(), b.two_pressure(), b.visit("2026-03-16-lab", b.plateau(50, [50.0], reading)))
    with pytest.raises(RecordsRefused) as refused:
        b.assessed(files)
    assert "records/visits/2026/2026-03-16-lab.csv:2:" in str(refused.value) and "cure:" in str(refused.value)


def test_every_sensor_of_a_chamber_is_judged_by_its_own_reading():
    rows = []
    for sensor, error in (("RH-1", 0.1), ("RH-2", 3.0)):
        plateau = b.plateau(
            50, [50 + error] * 2, b.generated(50) if sensor == "RH-1" else {"reference": "GEN-01"}, sensor=sensor
        )
        rows.append([row | {"time": f"2026-03-16 09:0{i}"} for i, row in enumerate(plateau)])
    results = b.results(b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), b.visit("2026-03-16-lab", *rows)))
    assert [(r.sensor, r.verdict.value) for r in results] == [("RH-1", "pass"), ("RH-2", "fail")]
    assert results[0].reference_value == results[1].reference_value


def state(visits, *parts):
    """(state, its day) of RH-1 after these visits."""
    found = b.assessed(yearly(visits, *parts)).standings["RH-1"]
    return str(found.state), str(found.state_since)


def test_a_visit_to_one_point_does_not_lift_a_failed_calibration():
    one_point = points(0.1)[1:2]
    assert state({"2025-03-16": points(4.0), "2025-09-16": one_point}) == ("out of tolerance", "2025-03-16")
    assert state({"2025-03-16": points(4.0), "2025-09-16": points(0.1)}) == ("in tolerance", "2025-09-16")


def test_an_as_left_of_one_point_leaves_what_was_found_at_the_others_without_an_adjustment():
    rows = [*points(4.0), *points(0.1, phase="as_left")[1:2]]
    assert state({"2025-03-16": rows}) == ("out of tolerance", "2025-03-16")


def test_after_an_adjustment_without_as_left_there_is_no_verdict_until_the_next():
    adjusted = {"2025-03-16": [*points(0.1), b.adjusted()]}
    assert state(adjusted) == ("no verdict", "2025-03-16")
    assert state({**adjusted, "2025-09-16": points(0.1)}) == ("in tolerance", "2025-09-16")


def test_what_was_found_before_an_adjustment_is_no_last_known_good():
    good, failing = {"2024-03-16": points(0.1)}, {"2026-03-16": points(4.0)}
    (case,) = b.assessed(yearly({**good, "2025-03-16": [*points(0.1), b.adjusted()], **failing})).cases
    assert case.last_good == date(2024, 3, 16)


def test_an_as_left_of_one_channel_does_not_hide_what_was_found_of_the_other():
    both = b.family(
        channels=["humidity", "temperature"],
        temperature={"resolution": "0.01 degC", "repeatability": "0.02 degC"},
        temperature_tolerance={"absolute": "0.5 degC"},
    )
    found = points(0.1, output_temperature=27.0)
    left = points(0.1, phase="as_left")
    assert state({"2025-03-16": [*found, b.adjusted(), *left]}, both) == ("out of tolerance", "2025-03-16")
    cured = points(0.1, phase="as_left", output_temperature=25.0)
    assert state({"2025-03-16": [*found, b.adjusted(), *cured]}, both) == ("in tolerance", "2025-03-16")


def test_two_degrees_of_freedom_or_fewer_are_said_beside_U():
    """Student's t has no finite variance there (GUM table G.2: k is 13.97 with ν = 1)."""
    silent = b.family(humidity={"resolution": "0.01 %RH"})
    few, enough = (one(silent, outputs=outputs) for outputs in ((50.0, 51.0), (50.0, 51.0, 50.5, 50.2)))
    assert "few-degrees-of-freedom" in names(few) and few.nu_eff < 1.1 and few.k > 12.0
    assert "few-degrees-of-freedom" not in names(enough) and enough.nu_eff > 2.0
