"""Checks of references between calibrations: their chart, what brackets a day, and what a doubt reaches."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from asfound.assessment.assess import assess_visit
from asfound.assessment.references.checks import bracket, good_days
from asfound.assessment.references.recalibrations import recalibrations
from asfound.assessment.results.conformity import Verdict
from tests import builders as b
from tests.assessment.history.history_checks import checked, doubted, probe_records, recalibrated, used
from tests.program import as_it_is

MONTHS = ("02", "03", "04", "05")
PROBE_POINTS = (20.0, 50.0, 80.0)


def chart(*parts, **keys):
    return b.assessed(probe_records(*parts, **keys)).check_charts["PROBE-01"]


def test_a_chart_holds_every_point_of_every_check_in_order_of_time():
    later, earlier = (
        b.visit(
            f"{day}-check",
            *(
                b.plateau(at, [at + error] * 2, b.generated(at), sensor="PROBE-01", phase="check")
                for at in (50.0, 20.0)
            ),
        )
        for day, error in (("2026-04-01", 0.3), ("2026-02-01", 0.1))
    )
    found = chart(later, earlier)
    assert found.days == (date(2026, 2, 1),) * 2 + (date(2026, 4, 1),) * 2
    assert found.targets == (50.0, 20.0, 50.0, 20.0)
    assert found.errors == pytest.approx((0.1, 0.1, 0.3, 0.3), abs=2e-3)
    assert found.limit == 1.2 and min(found.U) > 0.5
    assert found.visit_days == (date(2026, 2, 1), date(2026, 4, 1)) and found.individuals is None
    assert found.sentence.startswith(
        "2 checks since 2026-02-01, none beyond the limit of 1.2 %RH; the newest, of 2026-"
    )


def test_four_checks_have_limits_of_their_own_and_they_are_provisional():
    errors = (0.1, 0.2, 0.1, 0.2)
    found = chart(*(checked(f"2026-{month}-10", e) for month, e in zip(MONTHS, errors, strict=True)))
    assert found.individuals.values == pytest.approx(np.array(errors), abs=2e-3)
    reach = 3.0 * 0.1 * np.sqrt(np.pi) / 2.0  # three times the mean moving range over d2
    assert found.individuals.upper == pytest.approx(0.15 + reach, abs=5e-3)
    assert "their own limits (provisional) −0.12 to +0.42 %RH" in found.sentence


def test_a_check_outside_the_limits_of_the_others_is_named_by_its_day():
    errors = [0.1, 0.12] * 10 + [0.9]
    days = [f"2026-{2 + i // 10:02d}-{1 + 2 * (i % 10):02d}" for i in range(len(errors))]
    found = chart(*(checked(day, e) for day, e in zip(days, errors, strict=True)))
    assert found.individuals.signals == (20,)
    assert "%RH on 2026-04-01" in found.sentence and "provisional" not in found.sentence


def test_a_failed_check_is_named_and_one_without_a_limit_is_neither_good_nor_failed():
    assert (
        "1 check since 2026-03-10, beyond the limit of 1.2 %RH on 2026-03-10"
        in chart(checked("2026-03-10", -3.0)).sentence
    )
    found = chart(checked("2026-03-10", 3.0), check_limit=None)
    assert found.limit is None and "no limit for them is on record" in found.sentence


def test_an_unsettled_check_says_nothing():
    settling = b.facility(policies={"rule": "guard_band", "settling": {"least_soak": "20 min"}})
    whole = b.assessed(probe_records(settling, checked("2026-03-10", 3.0, soak=5), used("2026-02-10")))
    assert whole.check_charts == {} and not any(
        "in-doubt" in f.rule.name for r in whole.results for f in r.reservations
    )


def test_a_day_is_bracketed_by_good_checks_and_calibrations_alone():
    files = probe_records(checked("2026-03-10", 0.1), checked("2026-05-10", 3.0), checked("2026-07-10", 0.1))
    whole = b.assessed(files, "2026-08-31")
    good = good_days(whole.records, whole.results, whole.day)
    assert set(good) == {"GEN-01", "PROBE-01"} and good["GEN-01"] == (date(2026, 1, 12),)

    def around(day):
        return bracket(good["PROBE-01"], date.fromisoformat(day))

    assert around("2026-02-01") == (date(2026, 1, 12), date(2026, 3, 10))
    assert around("2026-03-10") == (date(2026, 3, 10), date(2026, 7, 10))
    assert around("2026-06-01") == (date(2026, 3, 10), date(2026, 7, 10))
    assert around("2026-08-01") == (date(2026, 7, 10), None)
    assert around("2026-01-01") == (None, date(2026, 1, 12))
    assert good_days(whole.records, whole.results, date(2026, 1, 1))["GEN-01"] == ()


def test_a_doubt_leaves_the_verdict_and_withholds_the_certificate():
    files = probe_records(used("2026-04-10", 0.2), checked("2026-05-10", 3.0))
    (result,) = [r for r in b.results(files) if r.sensor == "RH-1"]
    assert result.verdict is Verdict.PASS
    assert [f.rule.withholds_certificate for f in result.reservations if f.rule.name == "reference-in-doubt"] == [True]
    assert b.assessed(files).standings["RH-1"].due.state == "never calibrated"


def test_a_failed_check_does_not_doubt_itself():
    assert "2026-05-10-check" not in doubted(as_it_is(), probe_records(used("2026-04-10"), checked("2026-05-10", 3.0)))


def test_a_calibration_of_every_quantity_ends_a_doubt_one_of_some_does_not():
    def calibrated_again(*quantities):
        ends = {"reference_humidity": (5, 95, "%RH", 0.6), "reference_temperature": (0, 60, "degC", 0.1)}
        ends |= {"air_temperature": (0, 60, "degC", 0.1)}
        known = {}
        for name, (low, high, unit, U) in ends.items():
            table = [b.point(f"{at} {unit}", f"0 {unit}", f"{U} {unit}") for at in (low, high)]
            days = [b.CALIBRATED, *(["2026-07-01"] if name in quantities else [])]
            known[name] = b.quantity(*(b.calibration(*table, on=day) for day in days), resolution=f"{U / 100} {unit}")
        return b.transfer_probe(quantities=known, check_limit={"humidity": "1.2 %RH"}, chamber_gradient="0 degC")

    story = (checked("2026-05-10", 3.0), used("2026-06-10"), used("2026-08-10"))
    every = calibrated_again("reference_humidity", "reference_temperature", "air_temperature")
    assert sorted(doubted(as_it_is(), probe_records(*story, every))) == ["2026-06-10-lab"]
    some = calibrated_again("reference_humidity")
    assert sorted(doubted(as_it_is(), probe_records(*story, some))) == ["2026-06-10-lab", "2026-08-10-lab"]


def test_a_doubt_follows_a_reference_that_was_calibrated_here():
    """The humidity generator was off when it calibrated the probe: so was all that the probe calibrated."""
    generator = b.two_pressure(
        quantities={"saturation_pressure": recalibrated(4.0)},
        saturator_gradient="0 degC",
        chamber_gradient="0 degC",
        lowest_efficiency="100 %",
    )
    calibrating = b.visit(
        "2026-03-02-probe",
        *(b.plateau(at, [at + 0.1] * 2, b.generated(at), sensor="PROBE-01", phase="as_left") for at in PROBE_POINTS),
    )
    humidity = b.quantity(
        b.calibration(b.point("5 %RH", "0 %RH", "0.6 %RH"), b.point("95 %RH", "0 %RH", "0.6 %RH")),
        b.by_visit("2026-03-02-probe"),
        resolution="0.01 %RH",
    )
    probe = b.transfer_probe(quantities={"reference_humidity": humidity}, chamber_gradient="0 degC")
    files = probe_records(generator, probe, calibrating, used("2026-02-10"), used("2026-06-10"))
    found = doubted(as_it_is(), files)
    assert sorted(found) == ["2026-03-02-probe", "2026-06-10-lab"]
    assert found["2026-06-10-lab"].startswith("GEN-01, by which PROBE-01 was calibrated, is in doubt from 2026-01-13")


def test_what_two_calibrations_here_share_does_not_count_in_their_difference():
    visits = [
        b.visit(
            f"{day}-probe",
            *(b.plateau(at, [at] * 2, b.generated(at), sensor="PROBE-01", phase="as_left") for at in PROBE_POINTS),
        )
        for day in ("2026-03-02", "2026-09-02")
    ]
    humidity = b.quantity(*(b.by_visit(f"{day}-probe") for day in ("2026-03-02", "2026-09-02")), resolution="0.01 %RH")
    probe = b.transfer_probe(quantities={"reference_humidity": humidity}, chamber_gradient="0 degC")
    whole = b.assessed(probe_records(probe, *visits))
    (one,) = [
        found for found in recalibrations(whole.records, whole.measurement) if found.quantity == "reference_humidity"
    ]
    single = max(r.U for r in whole.results)
    assert one.conforms and one.change == pytest.approx(0.0, abs=1e-6)
    assert 0.5 * single > one.U  # apart they would give √2 times one's U


def test_a_doubt_is_said_at_the_cart_as_far_as_it_is_known_on_the_day():
    files = probe_records(checked("2026-05-10", 3.0), used("2026-06-10"), checked("2026-07-10", 0.1))
    now, _ = assess_visit(files, "visits/2026/2026-06-10-lab.csv")
    said = {f.message for r in now.results for f in r.reservations if f.rule.name == "reference-in-doubt"}
    assert len(said) == 1 and "in doubt from 2026-01-13 on" in said.pop()


def test_a_probe_that_was_adjusted_here_is_compared_by_what_was_found_before():
    def calibrated(day, found, left):
        rows = [
            *(b.plateau(at, [at + found] * 2, b.generated(at), sensor="PROBE-01") for at in PROBE_POINTS),
            b.adjusted("table", sensor="PROBE-01"),
            *(
                b.plateau(at, [at + left] * 2, b.generated(at), sensor="PROBE-01", phase="as_left")
                for at in PROBE_POINTS
            ),
        ]
        return b.visit(f"{day}-probe", *rows)

    humidity = b.quantity(*(b.by_visit(f"{day}-probe") for day in ("2026-03-02", "2026-09-02")), resolution="0.01 %RH")
    probe = b.transfer_probe(quantities={"reference_humidity": humidity}, chamber_gradient="0 degC")
    story = (calibrated("2026-03-02", 1.0, 0.1), calibrated("2026-09-02", 1.5, 0.1), used("2026-06-10"))
    whole = b.assessed(probe_records(probe, *story))
    (one,) = [r for r in recalibrations(whole.records, whole.measurement) if r.quantity == "reference_humidity"]
    assert one.change == pytest.approx(1.4, abs=1e-6) and not one.conforms
    assert sorted(doubted(as_it_is(), probe_records(probe, *story))) == ["2026-06-10-lab"]


def test_the_assessment_keeps_the_days_on_which_a_reference_is_in_doubt():
    (doubt,) = b.assessed(probe_records(checked("2026-03-10", 0.1), checked("2026-05-10", 3.0))).doubts
    assert (doubt.reference, doubt.quantity) == ("PROBE-01", None)
    assert (doubt.first, doubt.last) == (date(2026, 3, 11), None)
    assert doubt.holds("PROBE-01", "reference_humidity", date(2026, 5, 10))
    assert not doubt.holds("PROBE-01", "reference_humidity", date(2026, 3, 10))
    assert not doubt.holds("PROBE-02", "reference_humidity", date(2026, 5, 10))


def test_a_good_check_by_a_reference_in_doubt_clears_nobody():
    """The humidity generator fails in August: what it said of the probe in July cannot end the doubt of May."""

    def generator_checked(day, error):
        rows = b.plateau(50, [50.0 + error] * 2, b.generated(50, reference="GEN-02"), sensor="GEN-01", phase="check")
        return b.visit(f"{day}-generator", rows)

    limited = {"saturator_gradient": "0 degC", "chamber_gradient": "0 degC", "check_limit": {"humidity": "0.5 %RH"}}
    story = (checked("2026-05-10", 3.0), checked("2026-07-10", 0.1), used("2026-07-20"))
    two = (b.two_pressure(**limited), b.two_pressure("GEN-02", **limited))
    sound = probe_records(*two, *story, generator_checked("2026-08-10", 0.1))
    assert "2026-07-20-lab" not in doubted(as_it_is(), sound)
    failed = probe_records(*two, *story, generator_checked("2026-08-10", 2.0))
    assert doubted(as_it_is(), failed)["2026-07-20-lab"].startswith("PROBE-01 is in doubt from 2026-01-13 on")
