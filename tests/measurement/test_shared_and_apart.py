"""What shares a source and what does not: checks of references, pools, salt cells, hysteresis, settling."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asfound.humidity import saturation_vapour_pressure
from tests import builders as b
from tests.measurement.lab import measured

VISIT = "2026-03-16-lab"


def checked(shown: float) -> b.Files:
    """A probe whose certificate says +0.7 %RH, checked against the humidity generator."""
    probe = b.transfer_probe(quantities={"reference_humidity": b.flat(5, 95, "%RH", 0.6, value=0.7)})
    rows = b.plateau(50, [shown] * 3, b.generated(50), sensor="PROBE-01", phase="check")
    return b.records(b.sensor(), b.two_pressure(), probe, b.visit(VISIT, rows))


@pytest.mark.parametrize("shown", [50.7, 50.2])
def test_a_check_judges_what_a_reference_reads_after_its_own_correction(shown):
    lab = measured(checked(shown))
    line = lab.line(50.0, sensor="PROBE-01", phase="check")
    assert line.error == pytest.approx(shown - 0.7 - 50.0, abs=2e-3)
    assert lab.source("PROBE-01/2026-01-12/reference_humidity/calibration", 50.0, sensor="PROBE-01", phase="check")


def test_a_check_against_what_calibrated_it_shares_that_calibrations_sources():
    calibrating = b.visit(
        "2026-02-10-probe",
        *(b.plateau(t, [t + 0.5] * 3, b.generated(t), sensor="PROBE-01", phase="as_left") for t in (20, 50, 80)),
    )
    known = {**b.quantity(b.by_visit("2026-02-10-probe")), "resolution": "0.01 %RH"}
    probe = b.transfer_probe(quantities={"reference_humidity": known})
    check = b.visit(VISIT, b.plateau(50, [50.5] * 3, b.generated(50), sensor="PROBE-01", phase="check"))
    lab = measured(b.records(b.sensor(), b.two_pressure(), probe, calibrating, check))
    which = {"sensor": "PROBE-01", "visit": VISIT, "phase": "check"}
    assert lab.line(50.0, **which).error == pytest.approx(0.0, abs=2e-3)
    name = "GEN-01/2026-01-12/saturation_temperature/calibration"
    whole = lab.source(name, 50.0, sensor="PROBE-01", visit="2026-02-10-probe", phase="as_left")
    shared = lab.source(name, 50.0, **which)
    assert abs(whole.contribution) > 0.04  # half of 0.03 degC, at 3 %RH a kelvin
    assert shared is None or abs(shared.contribution) < 1e-3


def test_readings_in_air_are_not_pooled_with_readings_in_a_chamber():
    air = [b.plateau(50, [50.0, 50.4, 50.8], b.by_probe(50.0, air_c=23.0)) for _ in range(1)]
    early = [b.visit(f"2026-0{m}-16-air", *air) for m in range(2, 9)]
    late = b.visit("2026-11-16-lab", b.plateau(50, [50.1, 50.1], b.generated(50)))
    lab = measured(b.records(b.sensor(), b.two_pressure(), b.transfer_probe(), b.barometer(), *early, late))
    assert lab.line(50.0, visit="2026-11-16-lab").repeatability.basis == "declared"
    assert lab.line(50.0, visit="2026-08-16-air").repeatability.basis == "pooled"


def test_a_probe_that_is_later_calibrated_here_changes_no_older_pool():
    """`from_visit` moves a probe's readings behind what calibrates it, never into another pool."""
    air = [b.visit(f"2026-0{m}-16-air", b.plateau(50, [50.0, 50.2], b.by_probe(50.0, air_c=23.0))) for m in (2, 3, 4)]
    calibrating = b.visit(
        "2026-05-10-probe",
        *(b.plateau(t, [t + 0.1] * 3, b.generated(t), sensor="PROBE-01", phase="as_left") for t in (20, 80)),
    )
    laboratory = b.flat(5, 95, "%RH", 0.6)
    both = {**laboratory, "calibrations": [*laboratory["calibrations"], b.by_visit("2026-05-10-probe")]}
    found = []
    for quantity in (laboratory, both):
        probe = b.transfer_probe(quantities={"reference_humidity": quantity})
        lab = measured(b.records(b.sensor(), b.two_pressure(), probe, b.barometer(), *air, calibrating))
        found.append([lab.u(50.0, visit=f"2026-0{m}-16-air") for m in (2, 3, 4)])
    assert found[0] == pytest.approx(found[1], rel=1e-12)


def test_the_condition_of_a_salt_cell_is_its_own_at_each_visit():
    visits = [
        b.visit(
            f"2026-0{m}-16-salts",
            *(b.plateau(t, [t + 0.1] * 2, b.over_salt(salt)) for t, salt in ((11, "LiCl"), (75, "NaCl"))),
        )
        for m in (2, 3)
    ]
    lab = measured(b.records(b.sensor(), b.saturated_salt(salt_condition="0.4 %RH"), *visits))
    sources = [s.identity for s in lab.measurement.whole().catalogue if s.identity.endswith("/condition")]
    assert len(sources) == 4
    assert all(any(salt in identity for salt in ("LiCl", "NaCl")) for identity in sources)


def test_the_first_plateau_settles_from_the_rooms_humidity_and_an_as_left_from_the_plateau_before():
    family = b.family(time_constant={"longest": "10 min"})
    first = b.plateau(80, [80.1] * 2, b.generated(80), **{"room_humidity [%RH]": 30})
    left = b.plateau(50, [50.1] * 2, b.generated(50), phase="as_left")
    files = b.records(family, b.sensor(), b.two_pressure(), b.visit(VISIT, first, b.adjusted(), left))
    lab = measured(files)
    share = (math.exp(-3.0) + math.exp(-3.1)) / 2.0  # read after 30 min, and once more a minute later
    assert lab.line(80.0).settling_correction == pytest.approx((80 - 30) * share / 2.0)
    assert lab.line(50.0, phase="as_left").settling_correction == pytest.approx((50 - 80) * share / 2.0)


def test_self_heating_of_a_sensor_over_ice_takes_the_slope_over_ice():
    family = b.family(self_heating="0.1 degC", rh_over="ice")
    reading = b.mirrored(-25.0, -20.0, "frost")
    lab = measured(
        b.records(family, b.sensor(), b.chilled_mirror(), b.visit(VISIT, b.plateau(60, [60.1] * 2, reading)))
    )
    line = lab.line(60.0)
    ice = [float(saturation_vapour_pressure(t, "ice")) for t in (-20.001, -19.999)]
    slope = (np.log(ice[1]) - np.log(ice[0])) / 0.002
    assert lab.source("/self_heating", 60.0).sensitivity == pytest.approx(line.reference_value * slope, rel=1e-3)


def test_a_mirror_whose_pressure_is_not_read_may_differ_from_the_chambers():
    reading = b.mirrored(10.0, 23.0, "dew")
    mirror = b.chilled_mirror(mirror_pressure_difference="2 kPa")
    lab = measured(b.records(b.sensor(), mirror, b.visit(VISIT, b.plateau(44, [44.1] * 2, reading))))
    found = lab.source("MIR-01/mirror_pressure_difference", 44.0)
    # CHECKS of the trade: 2 kPa between mirror and chamber is 2 % of reading.
    assert abs(found.contribution) * math.sqrt(3.0) == pytest.approx(0.02 * lab.line(44.0).reference_value, rel=0.02)
    own = b.mirrored(10.0, 23.0, "dew", mirror_pa=101_325.0)
    lab = measured(b.records(b.sensor(), mirror, b.visit(VISIT, b.plateau(44, [44.1] * 2, own))))
    assert lab.source("MIR-01/mirror_pressure_difference", 44.0) is None


def test_every_source_has_a_name_of_its_own_and_the_size_that_budgets_compute_with():
    """Two sensors in one chamber, one of them also by a probe, which is measured apart: what is one stays one."""
    family = b.family(
        self_heating="0.1 degC",
        time_constant={"longest": "10 min"},
        channels=["humidity", "temperature"],
        humidity={"repeatability": "0.05 %RH", "hysteresis": "0.6 %RH"},
        temperature={"repeatability": "0.05 degC"},
    )
    generator = {**b.two_pressure(), **b.transfer_probe(), **b.barometer()}
    shown = {"output_temperature [degC]": "23.1"}
    together = [b.plateau(50, [50.1] * 2, b.generated(50), sensor=name, **shown) for name in ("RH-1", "RH-2")]
    by_probe = b.visit("2026-04-16-air", b.plateau(50, [50.0, 50.2], b.by_probe(50.0, air_c=23.0)))
    files = b.records(family, b.sensor(), b.sensor("RH-2"), generator, b.visit(VISIT, *together), by_probe)
    catalogue = measured(files).measurement.whole().catalogue
    sources = list(catalogue)
    names = [source.identity for source in sources]
    assert len(set(names)) == len(names) > 20
    assert names.count("RH-1/RH-1-A/self_heating") == names.count("RH-2/RH-2-A/self_heating") == 1
    assert [catalogue.add(source) for source in sources if "self_heating" in source.identity] == [
        number for number, name in enumerate(names) if "self_heating" in name
    ]
    assert [s.u for s in sources] == catalogue.standard_uncertainties().tolist()
    assert [s.nu for s in sources] == catalogue.degrees_of_freedom().tolist()
    assert [s.distribution == "rectangular" for s in sources] == catalogue.flat().tolist()
    grouped = {number for number, source in enumerate(sources) if source.group}
    assert {n for n, group in enumerate(catalogue.groups().tolist()) if group != n} == grouped
