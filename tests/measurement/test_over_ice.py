"""Below 0 °C relative humidity is over water or over ice: what each instrument shows is declared, for probes too.

At −18 °C and one atmosphere air has 1.192 times the humidity over ice that it has over water: 149.0 Pa (Murphy and Koop
2005, equation 10, from memory) over 124.9 Pa (IAPWS R14-08).
"""

from __future__ import annotations

import pytest

from asfound.measurement.monte_carlo import monte_carlo
from tests import builders as b
from tests.measurement.lab import measured, spread

RATIO = 149.0 / 124.9
COLD = {
    "reference_humidity": b.flat(5, 95, "%RH", 0.6),
    "reference_temperature": b.flat(-40, 60, "degC", 0.1),
    "air_temperature": b.flat(-40, 60, "degC", 0.1),
}


def compared(sensor_over, probe_over, celsius=-18.0, shown=60.0, air_c=None, **keys):
    """A sensor beside a transfer probe that shows 60 %RH, measured."""
    reading = b.by_probe(shown, celsius, air_c)
    probe = b.transfer_probe(quantities=COLD, rh_over=probe_over, **keys)
    rows = b.plateau(60, [60.0, 60.0], reading)
    parts = [b.family(rh_over=sensor_over), b.barometer(), b.visit("2026-03-16-lab", rows)]
    return measured(b.records(b.sensor(), probe, *parts))


@pytest.mark.parametrize(
    ("sensor_over", "probe_over", "factor"),
    [("water", "water", 1.0), ("water", "ice", 1 / RATIO), ("ice", "water", RATIO), ("ice", "ice", 1.0)],
)
@pytest.mark.parametrize("air_c", [None, -18.0])
def test_a_probe_is_compared_in_the_phase_of_the_sensor(sensor_over, probe_over, factor, air_c):
    lab = compared(sensor_over, probe_over, air_c=air_c)
    assert lab.line(60.0).reference_value == pytest.approx(60.0 * factor, rel=0.003)
    calibration = lab.source("reference_humidity/calibration", 60.0)
    assert abs(calibration.contribution) == pytest.approx(0.3 * factor, rel=0.003)


def test_what_a_probe_may_be_off_is_in_the_phase_that_it_shows():
    loop = {"hysteresis": "1 %RH"}
    over_water, over_ice = (
        compared("water", over, **loop).source("/hysteresis", 60.0).contribution for over in ("water", "ice")
    )
    assert over_ice / over_water == pytest.approx(1 / RATIO, rel=0.003)


def test_one_formulation_of_ice_cancels_between_probe_and_sensor():
    alike, apart = (compared("ice", over, air_c=-18.0) for over in ("ice", "water"))
    assert alike.source("saturation_pressure/ice", 60.0) is None
    assert abs(apart.source("saturation_pressure/ice", 60.0).contribution) > 0.03


def test_monte_carlo_draws_a_probe_over_ice_through_its_own_model():
    lab = compared("water", "ice")
    answer = monte_carlo(lab.measurement, lab.number(60.0), 20_000)
    assert spread(answer) == pytest.approx(lab.u(60.0), rel=0.03)


def test_above_freezing_there_is_one_relative_humidity():
    for sensor_over, probe_over in (("ice", "water"), ("water", "ice"), ("ice", "ice")):
        assert compared(sensor_over, probe_over, 23.0).line(60.0).reference_value == pytest.approx(60.0)
    rows = b.plateau(50, [50.0, 50.0], b.mirrored(12.0, 23.0, "dew"))
    over = [
        measured(
            b.records(b.sensor(), b.family(rh_over=phase), b.chilled_mirror(), b.visit("2026-03-16-lab", rows))
        ).line(50.0)
        for phase in ("ice", "water")
    ]
    assert over[0] == over[1]


def test_a_probe_over_ice_that_is_calibrated_here_is_calibrated_over_ice():
    """Its curve is found and used in what it shows: frost at the air's own temperature is 100 %RH over ice."""
    probe = b.transfer_probe(
        rh_over="ice",
        quantities=COLD | {"reference_humidity": b.quantity(b.by_visit("2026-02-02-probe"))},
    )
    frost = b.mirrored(-19.0, -18.0, "frost")
    shown = b.plateau(92, [91.0, 91.0], frost, sensor="PROBE-01", phase="as_left")
    calibrating = b.visit("2026-02-02-probe", shown)
    use = b.visit("2026-03-16-lab", b.plateau(90, [90.0, 90.0], b.by_probe(91.0, -18.0)))
    lab = measured(b.records(b.sensor(), b.family(rh_over="ice"), probe, b.chilled_mirror(), calibrating, use))
    found = lab.line(92.0, sensor="PROBE-01", visit="2026-02-02-probe", phase="as_left").reference_value
    assert found == pytest.approx(113.4 / 124.9 * 100.0, abs=0.5)
    assert lab.line(90.0).reference_value == pytest.approx(found, abs=0.01)
