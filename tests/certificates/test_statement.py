"""What a certificate states: of which results, with which words and numbers, traced to whom.

Clauses of ISO/IEC 17025:2017 are from memory. The records are invented.
"""

from __future__ import annotations

import hashlib
import json
import math
from datetime import date
from typing import Any

import pytest

from asfound.certificates import wording as words
from asfound.certificates.evidence import blob_id
from asfound.certificates.print_all import certificate_path
from asfound.certificates.statement import Statements
from asfound.records.issued import read_issued
from asfound.stated.issued import statement_of
from asfound.stated.results import MonteCarloAnswer, Row, StatedTolerance
from asfound.stated.statement import Statement, Technician, document, statement_bytes
from asfound.units import amount
from tests import builders as b
from tests.certificates import certified
from tests.certificates.certified import VISIT, changed, plain, stated_of, story, whole_story


def rows(statement: Statement, phase: str, channel: str = "humidity") -> list[Row]:
    return [row for g in statement.results if (g.phase, g.channel) == (phase, channel) for row in g.rows]


# Which results get a certificate


def test_each_visit_and_sensor_has_its_own_certificate():
    again = b.visit("2026-09-14-lab", b.plateau(50, [50.4, 50.5], b.generated(50)))
    other = b.visit(
        "2026-09-15-store",
        b.plateau(50, [50.4, 50.5], b.generated(50)),
        b.plateau(50, [51.4, 51.5], b.generated(50), sensor="RH-2"),
    )
    assert list(stated_of(plain(b.sensor("RH-2"), again, other))) == [
        f"RH-1/{VISIT}",
        "RH-1/2026-09-14-lab",
        "RH-1/2026-09-15-store",
        "RH-2/2026-09-15-store",
    ]


@pytest.mark.parametrize(
    "part",
    [
        pytest.param([b.not_done(50), b.not_done(20)], id="not done"),
        pytest.param([b.stated(50, 0.3, 0.5)], id="stated by another laboratory"),
    ],
)
def test_no_certificate_of_what_was_not_measured_here(part: list[list[b.Row]]):
    assert list(stated_of(plain(b.visit("2026-09-14-lab", *part)))) == [f"RH-1/{VISIT}"]


def test_no_certificate_of_a_withdrawn_visit():
    withdrawn = [{"sensor": "RH-1", "phase": "withdrawn", "reason": "probe mistaken", "technician": "ann"}]
    assert not stated_of(plain(b.visit(VISIT, withdrawn, revision=2)))


def test_no_certificate_leans_on_a_reference_that_was_out_of_date_alone():
    late = b.visit("2028-03-13-lab", b.plateau(50, [50.4, 50.5], b.generated(50)))
    assert list(stated_of(plain(late), "2028-12-31")) == [f"RH-1/{VISIT}"]


def test_a_result_whose_reservation_withholds_the_certificate_stands_without_u_and_verdict_and_says_why():
    _, statement, _ = story()
    unsettled = [row for row in rows(statement, "as_left") if row.verdict == "no verdict"]
    assert [(row.target, row.reservations) for row in unsettled] == [(80.0, ("a",))]
    assert unsettled[0].error is not None
    for name in ("u", "nu_eff", "k", "U", "p_outside", "tur"):
        assert getattr(unsettled[0], name) is None, name
    assert unsettled[0].split.sensor_U is None and unsettled[0].split.loop_U is None
    (said,) = statement.reservations
    assert said.mark == "a" and said.withholds_certificate
    assert said.words == "soak 5 min, the policy asks for 15 min"


def test_a_reference_out_of_date_takes_the_verdict_from_its_own_points_only():
    probe = b.transfer_probe(
        quantities={
            "reference_humidity": b.flat(5, 95, "%RH", 0.6, valid_until="2026-02-01"),
        }
    )
    both = b.visit(
        "2026-09-14-lab",
        b.plateau(50, [50.4, 50.5], b.generated(50)),
        b.plateau(20, [20.4, 20.5], b.by_probe(20)),
    )
    statement = stated_of(plain(probe, both))["RH-1/2026-09-14-lab"]
    assert [(row.reference, row.verdict) for row in rows(statement, "as_found")] == [
        ("GEN-01", "pass"),
        ("PROBE-01", "no verdict"),
    ]
    assert "ran out on 2026-02-01" in statement.reservations[0].words


# The document itself


def test_numbers_have_ten_significant_digits_and_no_number_is_not_a_number():
    _, statement, _ = story()

    def numbers(value: Any) -> Any:
        if isinstance(value, dict | list):
            for inner in value.values() if isinstance(value, dict) else value:
                yield from numbers(inner)
        elif isinstance(value, float):
            yield value

    found = list(numbers(document(statement)))
    assert len(found) > 200
    assert all(math.isfinite(value) and value == float(f"{value:.10g}") for value in found)


def test_the_results_are_those_of_the_assessment():
    assessment, statement, _ = story()
    stated = {(g.channel, row.plateau): (row.error, row.U, row.k) for g in statement.results for row in g.rows}
    computed = {(r.channel.value, r.plateau): r for r in assessment.results}
    assert stated.keys() == computed.keys() and len(stated) == 16
    for key, values in stated.items():
        result = computed[key]
        if result.status == "unsettled":
            assert values == (pytest.approx(result.error, rel=1e-9), None, None)
        else:
            assert values == pytest.approx((result.error, result.U, result.k), rel=1e-9)


def test_the_number_is_made_of_sensor_visit_and_revision_and_so_is_the_file():
    _, statement, _ = story()
    assert statement.number == f"RH-1/{VISIT}.preview"
    assert certificate_path(statement) == f"certificates/RH-1/{VISIT}.preview.pdf"
    assert certificate_path(changed(statement, revision="r1")) == f"certificates/RH-1/{VISIT}.r1.pdf"


def test_the_evidence_names_every_record_that_was_leaned_on_with_its_hash():
    files = whole_story()
    _, statement, _ = story()
    evidence = statement.evidence
    assert evidence.sha256 == hashlib.sha256(files[evidence.visit]).hexdigest()
    assert {r.path: r.sha256 for r in evidence.records} == {
        path: hashlib.sha256(content).hexdigest() for path, content in files.items() if path != evidence.visit
    }


def test_the_text_of_every_record_is_frozen_but_not_the_e_mail_addresses_of_the_staff():
    files = whole_story()
    _, statement, _ = story()
    frozen = {r.path: r.text for r in statement.evidence.records}
    assert frozen.pop("people.yml") is None
    assert frozen and all(text.encode() == files[path] for path, text in frozen.items())


def test_every_reference_that_a_row_names_is_frozen_whether_a_number_leans_on_it_or_not():
    named = b.visit(VISIT, b.plateau(50, [50.4, 50.5], b.generated(50) | b.room()))
    (statement,) = stated_of(b.records(b.sensor(), b.two_pressure(), b.barometer(), named)).values()
    assert "BAR-01" not in {link.reference for link in statement.traceability}
    assert "references/BAR-01.yml" in {r.path for r in statement.evidence.records}


def test_the_scatter_of_readings_is_frozen_as_it_was_known_for_every_line_and_every_calibration_made_here():
    assessment, statement, _ = story()
    pools = statement.evidence.pools
    assert len(pools) == len(assessment.measurement.lines)
    assert {pool.part for pool in pools} == {"total", "sensor", "loop"}
    known = {assessment.measurement.key(line): line.repeatability for line in assessment.measurement.lines}
    for pool in pools:
        key = (pool.visit, pool.sensor, pool.plateau, pool.channel, pool.part)
        assert (pool.s, pool.basis) == (pytest.approx(known[key].s, rel=1e-9), known[key].basis)
    chain = stated_of(chained())["RH-1/2026-06-15-store"].evidence.pools
    assert {(pool.visit, pool.sensor) for pool in chain} == {
        ("visits/2026/2026-06-15-store.csv", "RH-1"),
        ("visits/2026/2026-03-16-probe.csv", "PROBE-01"),
    }


def test_the_record_is_named_as_git_names_its_bytes():
    """git-hash-object(1): the SHA-1 of `blob`, the length, a zero byte and the bytes."""
    assert blob_id(b"") == "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391"  # the well-known empty blob
    assert blob_id(b"hello\n") == "ce013625030ba8dba906f756967f9e9ca394464a"


# Issued


def test_an_issued_statement_is_the_preview_with_who_stands_for_it():
    assessment, preview, _ = story()
    issue = certified.issue(day=date(2027, 1, 4))
    stated = Statements(assessment).issued(assessment.summaries[0], issue)
    assert stated.number == f"RH-1/{VISIT}.r1" and stated.revision == "r1" and stated.issued == date(2027, 1, 4)
    assert document(stated.authorised) == {
        "id": "ben",
        "name": "Ben Sedge",
        "words": "Ben Sedge, who approved the record on 2026-03-20 by merging it",
    }
    assert stated.evidence.approved.how == "merge" and stated.evidence.commit == certified.COMMIT
    own = ("number", "revision", "issued", "authorised", "evidence")
    assert document(stated).keys() == document(preview).keys()
    assert document(stated, without=set(own)) == document(preview, without=set(own))
    bulk = {"records", "pools", "sha256", "blob"}
    assert document(stated.evidence, only=bulk) == document(preview.evidence, only=bulk)


def test_an_issued_statement_is_read_as_a_record():
    assessment, _, _ = story()
    replaces = {"number": f"RH-1/{VISIT}.r1", "reason": "The customer’s name was wrong"}
    stated = Statements(assessment).issued(assessment.summaries[0], certified.issue(revision=2, replaces=replaces))
    path = f"issued/RH-1/{VISIT}.r2.json"
    found, faults = read_issued({path: statement_bytes(stated)}, path)
    assert not faults and found is not None
    assert found.number == stated.number and statement_of(found) == stated
    assert found.head.replaces is not None and found.head.replaces.reason == replaces["reason"]


def test_a_link_that_was_calibrated_here_names_its_certificate_once_it_is_issued():
    assessment = b.assessed(chained())
    summary = next(s for s in assessment.summaries if s.sensor_visit.sensor == "RH-1")
    number = "PROBE-01/2026-03-16-probe.r1"
    stated = Statements(assessment, {("PROBE-01", "2026-03-16-probe"): number}).preview(summary)
    link = next(link for link in stated.traceability if link.from_visit)
    assert link.certificate_issued and link.certificate_number == number


def test_the_page_of_the_visit_is_named_and_has_an_address_only_where_the_site_has_one():
    _, statement, _ = story()
    path = f"visits/{VISIT}.html#RH-1"
    assert document(statement.page) == {"path": path, "address": f"https://records.alder.example/{path}"}
    (without,) = stated_of(plain()).values()
    assert document(without.page) == {"path": path, "address": None}


# What was measured


def test_the_loop_is_split_where_both_readings_were_taken():
    _, statement, _ = story()
    row = rows(statement, "as_found")[0]
    assert row.part == "total"
    assert row.error == pytest.approx(row.split.sensor_error + row.split.loop_error)
    assert all(row.split is None for row in rows(statement, "as_found", "temperature"))
    assert row.split.sensor_k >= 1.99 and row.split.loop_k >= 1.99


def test_a_monte_carlo_answer_comes_with_seed_and_trials():
    coarse = b.family(humidity={"resolution": "1 %RH", "repeatability": "0.05 %RH"}, tolerance={"absolute": "3 %RH"})
    readings = b.visit(VISIT, b.plateau(20, [20, 20, 20], b.generated(20)))
    (statement,) = stated_of(b.records(coarse, b.sensor(), b.two_pressure(), readings)).values()
    answer = rows(statement, "as_found")[0].answer
    assert isinstance(answer, MonteCarloAnswer) and answer.trials == 100_000 and int(answer.seed) > 2**53
    assert "100 000 trials" in statement.words.coverage
    _, linear, _ = story()
    assert "Monte Carlo" not in linear.words.coverage


def test_hysteresis_is_stated_where_a_point_was_approached_both_ways():
    _, statement, _ = story()
    found = {(g.phase, g.channel): g.hysteresis for g in statement.results}
    (width,) = found.pop(("as_left", "humidity"))
    assert width.target == 50.0 and width.width == pytest.approx(0.4, abs=1e-6) and width.U > 0
    assert not any(found.values())


def test_an_adjustment_says_what_was_changed_from_what_to_what():
    _, statement, _ = story()
    (event,) = statement.adjustments
    assert (event.words, event.from_, event.to) == ("zero adjusted", "before", "after")


def test_conditions_are_stated_where_they_were_read_and_never_assumed():
    _, statement, _ = story()
    stated = {c.quantity: (c.mean, c.unit) for c in statement.conditions}
    assert stated["room temperature"] == (23.1, "degC") and stated["room humidity"] == (41.0, "%RH")
    assert stated["pressure at the probe"] == (b.ROOM_PA, "Pa") and "ambient pressure" not in stated
    # A transfer probe in a chamber hardly needs the room's pressure: the usual one that is taken was not measured.
    probe = b.visit(VISIT, b.plateau(50, [50.4, 50.5], b.by_probe(50)))
    (by_probe,) = stated_of(b.records(b.sensor(), b.transfer_probe(), probe)).values()
    assert [c.quantity for c in by_probe.conditions] == ["temperature at the probe"]


def test_room_readings_written_once_hold_for_all_sensors_read_at_that_moment():
    first = b.plateau(50, [50.4, 50.5], b.generated(50), **{"room_humidity [%RH]": [40, 42]})
    second = b.plateau(50, [51.4, 51.5], {"reference": "GEN-01"}, sensor="RH-2")
    for one, other in zip(first, second, strict=True):
        one["time"] = other["time"] = f"2026-03-16 09:0{first.index(one)}"
    files = b.records(b.sensor(), b.sensor("RH-2"), b.two_pressure(), b.visit(VISIT, first, second))
    stated = stated_of(files)
    assert {statement.sensor for statement in stated.values()} == {"RH-1", "RH-2"}
    for statement in stated.values():
        (humidity,) = [c for c in statement.conditions if c.quantity == "room humidity"]
        assert (humidity.mean, humidity.lowest, humidity.highest) == (41.0, 40.0, 42.0)


def test_deviations_name_what_was_left_out_and_what_was_replaced():
    replaced = b.visit(
        VISIT,
        b.plateau(50, [50.4, 50.5], b.generated(50), reason="digits swapped"),
        b.not_done(20, "door locked"),
        b.stated(50, 0.3, 0.5, phase="as_left"),
        revision=2,
    )
    (statement,) = stated_of(plain(replaced)).values()
    assert statement.evidence.revision == 2
    assert list(statement.deviations) == [
        "As found, humidity: 20 %RH falling not done: door locked.",
        "Not calibrated of the sensor’s set points: 20 %RH, 80 %RH.",
        "Results that another laboratory stated at this visit are not part of this certificate.",
        "Revision 2 of the visit’s record replaces the one before: digits swapped.",
    ]


def test_as_found_without_adjustment_is_said_to_be_as_left():
    (statement,) = stated_of(plain()).values()
    assert words.AS_FOUND_IS_AS_LEFT in statement.remarks
    _, adjusted, _ = story()
    assert words.AS_FOUND_IS_AS_LEFT not in adjusted.remarks


def test_a_humidity_over_ice_is_said_to_be_over_ice():
    cold = b.visit(VISIT, b.plateau(37, [37.1, 37.2], b.mirrored(-30, -20, "frost")))
    (statement,) = stated_of(b.records(b.sensor(rh_over="ice"), b.chilled_mirror(), cold)).values()
    assert words.humidity_over(True) in statement.remarks and "over ice" in words.humidity_over(True)
    (water,) = stated_of(plain()).values()
    assert words.humidity_over(False) in water.remarks


# Conformity (7.8.6)


def test_the_rule_and_what_it_says_of_each_phase_and_channel():
    _, statement, _ = story()
    decision = statement.decision
    assert decision.rule == "guard_band" and "|error| ≤ T − w" in decision.words
    assert list(decision.summary) == [
        "Humidity, as found: fail at all 3 points, each as approached.",
        "Temperature, as found: pass at all 3 points.",
        "Humidity, as left: pass at 50, 20 falling only, 50 rising, 50 falling %RH; no verdict at 80 rising only %RH.",
        "Temperature, as left: pass at 50, 20 falling, 50 rising, 50 falling %RH; no verdict at 80 rising %RH.",
    ]


def test_a_pass_carries_the_reservation_that_qualifies_it():
    warm = b.sensor(working_temperature="20 degC")
    (statement,) = stated_of(plain(warm)).values()
    assert {row.verdict for row in rows(statement, "as_found")} == {"pass"}
    assert list(statement.decision.summary) == [
        "Humidity, as found: pass at all 3 points, each as approached, "
        "with reservation a (holds at 25.0 degC only; the sensor works at 20 degC)."
    ]


def test_a_reservation_that_withholds_the_verdict_is_not_said_to_qualify_one():
    _, statement, _ = story()
    assert "with reservation" not in str(statement.decision.summary)


def test_the_place_is_said_with_the_note_and_the_temperature_that_may_tell_another():
    noted = b.plateau(50, [50.4, 50.5], b.generated(50), note=["taken to the laboratory", None])
    files = b.records(b.sensor(working_temperature="20 degC"), b.two_pressure(), b.visit(VISIT, noted))
    (statement,) = stated_of(files).values()
    assert statement.words.place == (
        "at the measuring position, unless a note says otherwise; noted: “taken to the laboratory”; "
        "at 25.0 degC, not its working temperature"
    )
    (usual,) = stated_of(plain()).values()
    assert usual.words.place == "at the measuring position, unless a note says otherwise"
    assert "“b”" not in words.place(["a", "b", "c"], None)  # many notes: they stand further down, once


def test_a_reference_is_certified_without_tolerance_and_its_checks_by_their_limit():
    kept = b.transfer_probe(check_limit={"humidity": "1.5 %RH"})
    reading = {"sensor": "PROBE-01", "output_temperature": 25.0}
    calibrated = b.visit("2026-03-16-probe", b.plateau(50, [50.4, 50.5], b.generated(50), **reading))
    checked = b.visit("2026-09-14-probe", b.plateau(50, [50.4, 50.5], b.generated(50), phase="check", **reading))
    both = stated_of(b.records(b.two_pressure(), kept, calibrated, checked))
    assert both["PROBE-01/2026-03-16-probe"].decision is None
    assert both["PROBE-01/2026-03-16-probe"].item.kind == "reference standard"
    check = both["PROBE-01/2026-09-14-probe"]
    assert check.title == "Record of a check between calibrations"
    assert both["PROBE-01/2026-03-16-probe"].title == "Calibration certificate"
    assert check.decision.summary == ("Humidity, check between calibrations: pass at 50 %RH.",)
    assert check.results[0].tolerance.words.startswith("±1.5 %RH")


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ({"absolute": "2 %RH"}, "±2 %RH"),
        ({"absolute": "1 %RH", "of_reading": "2 %"}, "±(1 %RH + 2 % of reading)"),
        (
            {"absolute": "3 %RH", "of_reading": "5 %", "combine": "maximum"},
            "±(the larger of 3 %RH and 5 % of reading)",
        ),
        ({"of_range": "1.5 %"}, "±1.5 % of the range 0 to 100 %RH"),
        (
            {
                "absolute": "4 %RH",
                "bands": [
                    {"lowest": "80 %RH", "highest": "95 %RH", "absolute": "3 %RH"},
                    {"lowest": "0 %RH", "highest": "80 %RH", "absolute": "2 %RH"},
                ],
            },
            "±2 %RH from 0 to 80 %RH; ±3 %RH from 80 to 95 %RH; ±4 %RH elsewhere",
        ),
    ],
)
def test_a_tolerance_in_words(limits: b.Keys, said: str):
    (statement,) = stated_of(plain(b.sensor(tolerance={"from": "2026-01-01", **limits}))).values()
    assert statement.results[0].tolerance == StatedTolerance(words=said, from_=date(2026, 1, 1))


# Traceability (7.8.4.1 c)


def chained() -> b.Files:
    """A sensor calibrated with a probe, which was calibrated here with the humidity generator."""
    probe = b.transfer_probe(quantities={"reference_humidity": b.quantity(b.by_visit("2026-03-16-probe"))})
    points = [
        b.plateau(rh, [rh + 0.3] * 2, b.generated(rh), sensor="PROBE-01", phase="as_left", output_temperature=25)
        for rh in (20, 50, 80)
    ]
    used = b.visit("2026-06-15-store", b.plateau(50, [50.4, 50.5], b.by_probe(50)))
    return b.records(b.sensor(), b.two_pressure(), probe, b.visit("2026-03-16-probe", *points), used)


def test_a_chain_through_these_records_ends_at_laboratories_certificates():
    statement = stated_of(chained())["RH-1/2026-06-15-store"]
    links = {(link.reference, link.quantity): link for link in statement.traceability}
    own = links["PROBE-01", "reference_humidity"]
    assert own.from_visit == "2026-03-16-probe" and own.laboratory is None and own.serves is None
    assert not own.certificate_issued
    assert 0 < own.lowest_U <= own.highest_U
    behind = [link for link in statement.traceability if link.serves == "PROBE-01"]
    assert [link.quantity for link in behind] == [
        "saturation_pressure",
        "saturation_temperature",
        "chamber_pressure",
        "chamber_temperature",
    ]
    for link in [*behind, links["PROBE-01", "reference_temperature"]]:
        assert (link.laboratory, link.certificate) == ("Birch metrology", "C-2026-01-12")
        assert link.certificate_issued
        assert (link.date, link.valid_until) == (date(2026, 1, 12), date(2028, 1, 12))
    pressure = behind[0]
    assert (pressure.lowest_U, pressure.unit, pressure.lowest_k) == (amount("0.4 kPa", "pressure"), "Pa", 2.0)


def test_the_calibrating_visit_of_a_chain_is_among_the_hashed_records():
    statement = stated_of(chained())["RH-1/2026-06-15-store"]
    assert "visits/2026/2026-03-16-probe.csv" in [r.path for r in statement.evidence.records]


def test_the_u_of_a_link_calibrated_here_is_that_of_its_own_certificate():
    both = stated_of(chained())
    own = rows(both["PROBE-01/2026-03-16-probe"], "as_left")
    link = next(k for k in both["RH-1/2026-06-15-store"].traceability if k.from_visit)
    assert (link.lowest_U, link.highest_U) == (min(r.U for r in own), max(r.U for r in own))


def test_a_salts_published_value_is_no_link_and_stands_apart_with_its_stated_uncertainty():
    """Greenspan 1977, J. Res. NBS 81A, table 2: NaCl at 25 °C is 75.29 ± 0.12 %RH (from memory)."""
    cell = b.visit(VISIT, b.plateau(75, [75.4, 75.5], b.over_salt("NaCl")))
    (statement,) = stated_of(b.records(b.sensor(), b.saturated_salt(), cell)).values()
    assert [link.quantity for link in statement.traceability] == ["chamber_temperature"]
    (value,) = statement.published_values
    assert (value.salt, value.source, value.unit) == ("NaCl", words.SALT_SOURCE, "%RH")
    assert value.highest == pytest.approx(0.12, abs=0.005)
    assert "not traceable by calibration" in statement.words.salts
    assert "not checked against the print" in statement.words.salts
    assert statement.words.basis.endswith("except for the humidity over saturated salts: published values.")
    assert statement.method.principles == tuple(words.principles(["saturated_salt (NaCl)"]))


def test_several_salts_are_one_method():
    said = words.principles(["saturated_salt (LiCl)", "saturated_salt (MgCl2)", "saturated_salt (NaCl)"])
    assert len(said) == 1 and "LiCl, MgCl₂ and NaCl" in said[0]


# Wording


def test_in_house_unless_the_facility_states_an_accreditation():
    (statement,) = stated_of(plain()).values()
    assert statement.words.basis.startswith("In-house calibration, traceable through ")
    wording = json.loads(b.facility()["facility.yml"])["certificate"]
    sentence = "Accredited by the invented board of Alderby, number 7."
    (accredited,) = stated_of(plain(certificate={**wording, "accreditation": sentence})).values()
    assert accredited.words.basis == sentence


def test_no_due_date_unless_the_customer_agreed():
    (statement,) = stated_of(plain()).values()
    assert statement.due is None
    wording = json.loads(b.facility()["facility.yml"])["certificate"] | {"due_date_agreed": "true"}
    incomplete = b.visit("2026-09-14-lab", b.plateau(50, [50.4, 50.5], b.generated(50)))
    agreed = stated_of(plain(incomplete, certificate=wording))
    assert agreed[f"RH-1/{VISIT}"].due == date(2027, 3, 16)
    assert agreed["RH-1/2026-09-14-lab"].due is None  # not all points: it is no calibration to count from


def test_the_coverage_statement_says_k_and_the_probability():
    said = words.coverage(())
    assert "standard uncertainty multiplied by the coverage factor k" in said
    assert "coverage probability of approximately 95.45 %" in said


def test_nobody_authorises_a_preview():
    _, statement, _ = story()
    assert document(statement.authorised) == {"id": None, "name": None, "words": "not reviewed: preview"}
    assert statement.replaces is None
    assert statement.evidence.approved is None and statement.evidence.commit is None
    assert statement.technicians == (Technician(id="ann", name="Ann Tansy"),)
    assert statement.revision == "preview"


def test_the_accreditation_of_a_laboratory_goes_with_its_name():
    known = b.flat(80, 110, "kPa", 0.05)
    known["calibrations"][0]["accreditation"] = "accredited, No. 12"
    plateau = b.plateau(50, [50.4, 50.5], b.generated(50, gauge=True))
    files = b.records(
        b.sensor(),
        b.two_pressure(),
        b.barometer(quantities={"ambient_pressure": known}),
        b.visit("2026-03-16-lab", plateau),
    )
    (stated,) = stated_of(files).values()
    of = {link.reference: link.laboratory for link in stated.traceability}
    assert of == {"GEN-01": "Birch metrology", "BAR-01": "Birch metrology (accredited, No. 12)"}
