"""A probe's own loop, where it is calibrated or checked here and then used as a reference: it counts once.

The world: the probe reads the air's humidity, and 0.2 %RH less where the air had come from below, more from above.
"""

from __future__ import annotations

import math

import pytest

from tests import builders as b
from tests.measurement.lab import Lab, measured

HALF = 0.2
SIDE = {"rising": -HALF, "falling": HALF}
CALIBRATED, USED = "2026-02-16-probe", "2026-09-16-lab"
RISING, FALLING = (20, 35, 50, 65, 80), (80, 65, 50, 35, 20)


def probe(**keys) -> b.Files:
    known = {"hysteresis": f"{2 * HALF} %RH", "check_limit": {"humidity": "0.5 %RH"}} | keys
    humidity = b.quantity(b.by_visit(CALIBRATED), resolution="0.01 %RH")
    return b.transfer_probe(quantities={"reference_humidity": humidity}, **known)


def went_through(targets: tuple[int, ...], phase: str, start: str) -> list[list[b.Row]]:
    """What the probe shows at these humidities, one after another; `start`: from which side it came to the first."""
    rows, before = [], None
    for at in targets:
        side = start if before is None else "rising" if at > before else "falling"
        rows.append(b.plateau(at, [round(at + SIDE[side], 2)] * 2, b.generated(at), sensor="PROBE-01", phase=phase))
        before = at
    return rows


def used_at_50(targets: tuple[int, ...], start: str = "rising", **keys) -> Lab:
    """RH-1, without error, beside the probe that shows 50 %RH, after the probe was calibrated through `targets`."""
    calibrating = b.visit(CALIBRATED, *went_through(targets, "as_left", start))
    return measured(
        b.records(
            b.sensor(),
            b.two_pressure(),
            probe(**keys),
            calibrating,
            b.visit(USED, b.plateau(50, [50.0, 50.0], b.by_probe(50.0))),
        )
    )


@pytest.mark.parametrize("targets", [RISING, FALLING, (*RISING, *FALLING[1:]), (50, 20, 35, 50, 65, 80, 65, 50)])
@pytest.mark.parametrize("start", ["rising", "falling"])
def test_wherever_its_calibration_came_from_a_probe_is_corrected_to_the_middle_of_its_loop(targets, start):
    lab = used_at_50(targets, start)
    assert lab.line(50, visit=f"{USED}").reference_value == pytest.approx(50.0, abs=0.011)


@pytest.mark.parametrize("start", ["rising", "start"])
def test_each_point_of_its_calibration_is_corrected_by_half_of_the_loop_that_is_declared_there(start):
    """World and declaration: a loop of 0.4 %RH in the middle, of none below 30 %RH and above 70 %RH."""
    none = [{"lowest": f"{low} %RH", "highest": f"{low + 30} %RH", "value": "0 %RH"} for low in (0, 70)]
    rows, lab = [], None
    for at in RISING if start == "rising" else (50, 65, 80):
        side = -HALF if 30 < at < 70 else 0.0
        rows.append(b.plateau(at, [round(at + side, 2)] * 2, b.generated(at), sensor="PROBE-01", phase="as_left"))
    used = [b.plateau(at, [at] * 2, b.by_probe(at)) for at in (50, 80)]
    known = probe(hysteresis={"value": f"{2 * HALF} %RH", "bands": none})
    lab = measured(b.records(b.sensor(), b.two_pressure(), known, b.visit(CALIBRATED, *rows), b.visit(USED, *used)))
    came = lab.source("/start", 50, visit=USED)
    if start == "rising":
        assert [lab.line(at, visit=USED).reference_value for at in (50, 80)] == pytest.approx([50, 80], abs=0.011)
        assert came is None
    else:  # to 50 %RH it may have come from either side
        assert abs(came.contribution) == pytest.approx(HALF, rel=0.02)
        assert lab.line(80, visit=USED).reference_value == pytest.approx(80, abs=0.011)
        assert lab.source("/start", 80, visit=USED) is None


@pytest.mark.parametrize("targets", [RISING, FALLING, (*RISING, *FALLING[1:])])
def test_its_loop_is_one_source_of_what_is_measured_with_it(targets):
    loops = {
        identity: abs(line.contribution)
        for identity, line in used_at_50(targets).budget(50, visit=USED).items()
        if "hysteresis" in identity or identity.endswith("/start")
    }
    assert loops == {f"{USED}/RH-1/PROBE-01/hysteresis": pytest.approx(HALF / math.sqrt(3.0), rel=1e-3)}


def test_u_reaches_either_side_of_its_loop():
    """50 shown is 50.2 after rising air and 49.8 after falling air."""
    for targets in (RISING, FALLING):
        assert used_at_50(targets).U(50, visit=USED) > HALF


def test_from_the_start_the_side_is_not_known_and_the_calibration_is_so_much_less_sure():
    """Only 50 %RH was read: its middle lies 0.2 above or below."""
    found = used_at_50((50,)).budget(50, visit=USED)
    start = [line for identity, line in found.items() if identity.endswith("/PROBE-01/start")]
    assert [abs(line.contribution) for line in start] == [pytest.approx(HALF, rel=1e-3)]


def test_without_a_declared_width_what_was_read_stands():
    lab = used_at_50(RISING, hysteresis=None)
    assert lab.line(50, visit=USED).reference_value == pytest.approx(50.0 + HALF, abs=0.011)


def checked(*targets: int, width: str | None, off: float):
    """A check of a probe that is in the middle of its loop by `off`."""
    rows = [
        b.plateau(at, [round(at + off + SIDE["rising"], 2)] * 2, b.generated(at), sensor="PROBE-01", phase="check")
        for at in targets
    ]
    calibrating = went_through((*RISING, *FALLING[1:]), "as_left", "rising")
    files = b.records(
        b.sensor(), b.two_pressure(), probe(hysteresis=width), b.visit(CALIBRATED, *calibrating), b.visit(USED, *rows)
    )
    return [r for r in b.results(files) if r.phase == "check" and r.channel == "humidity"]


def test_a_check_that_came_from_one_side_says_what_the_other_would_show():
    """Off by +0.4, limit 0.5: rising it shows 0.2 and passes, falling it would show 0.6."""
    from asfound.assessment.references.checks import ReferenceCheck

    for width, other in (("0.4 %RH", "fail"), (None, "pass")):
        (_, result) = checked(35, 50, width=width, off=0.4)
        assert result.error == pytest.approx(0.2, abs=0.02)
        assert (str(result.verdict), result.one_way) == ("pass", "rising")
        assert str(result.other_way).endswith(other)
        one = ReferenceCheck(reference="PROBE-01", visit=USED, day=result.day, results=(result,))
        assert (one.failed, one.good) == (False, width is None)
