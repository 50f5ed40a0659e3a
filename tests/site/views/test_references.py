"""What a reference's page says: in date, checked, calibrated link by link."""

from __future__ import annotations

import re

from asfound.site.lookup.lookup import look_up
from asfound.site.views.references import reference_states, reference_view
from tests import builders as b
from tests.site import store


def test_a_reference_says_whether_it_is_in_date_and_how_its_last_check_went():
    states = {state.link.text: state for state in reference_states(store.lookup())}
    assert states["GEN-01"].sentence == "in date until 2028-01-12"
    probe = states["PROBE-01"]
    assert probe.check_link is not None and probe.check_link.path == "visits/2026-08-03-probe-check.html"
    assert re.fullmatch(r"largest error \+0\.6\d* ± 0\.\d+ %RH", probe.last_check)


def test_calibrations_stand_link_by_link_as_their_certificate_says():
    view = reference_view(store.lookup(), store.lookup().records.references["GEN-01"])
    quantity = next(q for q in view.quantities if q.name == "saturation pressure")
    (calibration,) = quantity.calibrations
    assert (calibration.by, calibration.certificate) == ("Birch metrology", "C-2026-01-12")
    assert (calibration.largest_U, calibration.declared) == ("0.4 kPa", "error"), "as written, not converted"
    assert [(row.at, row.U) for row in calibration.points] == [("0 kPa", "0.4 kPa"), ("1500 kPa", "0.4 kPa")]


def test_what_was_calibrated_here_names_its_visit_and_what_it_leans_on():
    lookup = store.lookup()
    probe = reference_view(lookup, lookup.records.references["PROBE-01"])
    (calibration,) = next(q for q in probe.quantities if q.name == "reference humidity").calibrations
    assert calibration.visit is not None and calibration.visit.text == "2026-02-02-probe"
    assert len(calibration.points) == 3
    generator = reference_view(lookup, lookup.records.references["GEN-01"])
    assert [link.text for link in generator.carries] == ["PROBE-01"]
    assert "2026-02-02-probe" in [row.visit.text for row in generator.leaning]
    measured = [r for r in store.assessment().results if r.line is not None]
    assert generator.leaning_results == len(measured), "there is no other reference in use"


def test_what_is_declared_stands_as_it_is_meant_and_further_sources_with_how_long_they_last():
    gradient = {"value": "0.1 degC", "means": "u", "nu": "9", "from": "2026-01-01"}
    bands = {"value": "0.2 degC", "bands": [{"lowest": "70 %RH", "highest": "100 %RH", "value": "0.4 degC"}]}
    further = [
        {"name": "port", "label": "pressure lost at the port", "of": "saturation_pressure", "limit": "40 Pa"}
        | {"distribution": "u_shaped", "correction": "10 Pa", "lasts": "plateau"},
        {"name": "head", "label": "warm head", "of": "saturation_pressure", "U": "4 Pa", "k": "2.1", "per": "degC"}
        | {"calibration_temperature": "23 degC", "lasts": "longer"},
    ]
    files = b.two_pressure(saturator_gradient=[gradient], chamber_gradient=bands, further=further)
    lookup = look_up(b.assessed(b.records(b.sensor(), files)))
    view = reference_view(lookup, lookup.records.references["GEN-01"])
    said = {fact.name: (fact.value, fact.note) for fact in view.facts}
    assert said["Gradient in the saturator"][0] == "0.1 °C from 2026-01-01, a standard uncertainty, ν = 9"
    assert said["Gradient in the chamber up to the probe, half-width"][0] == "0.2 °C, 0.4 °C from 70 %RH to 100 %RH"
    assert said["Pressure lost at the port"] == (
        "±40 Pa, U-shaped, corrected by 10 Pa; saturation pressure",
        "lasts a plateau",
    )
    assert said["Warm head"] == (
        "U = 4 Pa per °C from 23 °C, k = 2.1; saturation pressure",
        "lasts as long as it is in use",
    )
