"""Rows that name a log: its means are the readings, and what was left of the approach is corrected and stands in U."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asfound.assessment.assess import check
from asfound.assessment.results.table import Result
from asfound.faults import Severity
from asfound.measurement.cell_sources import Part
from asfound.measurement.log_errors import scatter_of_mean, slope_of
from asfound.records.models import Channel
from asfound.soak.checking_with_logs import check as check_records
from tests.builders import Files, assessed, facility, flat, records, results, sensor, two_pressure, visit
from tests.logs import MAPPING, Run, log_rows, run_files

EXACT = {
    "saturation_pressure": flat(0, 1500, "kPa", 1e-4),
    "saturation_temperature": flat(-20, 60, "degC", 1e-4),
    "chamber_pressure": flat(0, 150, "kPa", 1e-4),
    "chamber_temperature": flat(-20, 60, "degC", 1e-4),
}
"""A reference that brings hardly any uncertainty of its own: what is left is the log's."""


def measured(run: Run, *more: Files, **policy: object) -> tuple[Result, ...]:
    judged = {"rule": "guard_band", "settling": policy} if policy else {"rule": "guard_band"}
    return results(records(facility(policies=judged), sensor(), two_pressure(quantities=EXACT), run_files(run), *more))


def test_the_readings_of_a_row_are_the_means_of_its_window():
    files = records(sensor(), two_pressure(), run_files(Run()))
    found, faults = check_records(files)
    assert found is not None and not [f for f in faults if f.rule.severity is Severity.ERROR]
    (read,) = found.visits
    lines = files["logs/2026-03-16-lab.csv"].decode().splitlines()[1:]
    begins, ends = "2026-03-16 08:20:00", "2026-03-16 08:25:00"
    window = [line.split(",") for line in lines if begins <= line[:19] <= ends]
    assert len(window) == 31
    assert read.number["output"][0] == pytest.approx(np.mean([float(fields[1]) for fields in window]), abs=1e-12)
    pressures = [1e3 * float(fields[2]) for fields in window]
    assert read.number["saturation_pressure"][0] == pytest.approx(np.mean(pressures), rel=1e-12)
    assert not read.gauge["saturation_pressure"][0] and read.quantity["output"][0] == "humidity"


def test_a_settled_log_says_what_typed_rows_of_its_means_say():
    run = Run(minutes=60, tau_min=1.0, noise=0.005)
    found, _ = check_records(records(sensor(), two_pressure(quantities=EXACT), run_files(run)))
    assert found is not None
    number = found.visits[0].number
    typed = [
        {
            **{key: value for key, value in row.items() if not key.startswith("log")},
            "output [%RH]": float(number["output"][i]),
            "saturation_pressure [kPa absolute]": float(number["saturation_pressure"][i]) / 1e3,
            "saturation_temperature [degC]": 25.0,
            "chamber_pressure [kPa absolute]": 101.325,
            "chamber_temperature [degC]": 25.0,
        }
        for i, row in enumerate(log_rows(run))
    ]
    by_hand = results(records(sensor(), two_pressure(quantities=EXACT), visit("2026-03-16-lab", typed)))
    for logged, read in zip(measured(run), by_hand, strict=True):
        assert logged.error - logged.settling_correction == pytest.approx(read.error, abs=1e-6)
        assert abs(logged.settling_correction) < 0.01
        assert logged.reference_value == pytest.approx(read.reference_value, abs=1e-9)


def test_the_stated_error_covers_the_true_one_however_early_the_window():
    covered, sizes, waiting = [], [], []
    rng = np.random.default_rng(20260316)
    for seed in range(30):
        tau = float(rng.uniform(1.0, 6.0))
        run = Run(
            targets=(20.0, 60.0),
            error=float(rng.uniform(-1, 1)),
            tau_min=tau,
            slow_share=float(rng.choice([0.0, 0.05, 0.15])),
            noise=float(rng.choice([0.01, 0.04])),
            minutes=round(float(rng.uniform(2.5, 6.0)) * tau, 1) + 3.0,
            window_min=3.0,
            seed=seed,
        )
        for result, left in zip(measured(run), left_truly(run), strict=True):
            covered.append(abs(result.error - run.error) <= result.U)
            sizes.append(result.U)
            waiting.append(abs(left))
    assert np.mean(covered) >= 0.93  # 95.45 % stated; soak_coverage counts many more
    assert np.median(sizes) < 2.0 * np.median(waiting) + 0.1  # and U is of use


def left_truly(run: Run) -> list[float]:
    """What the means of the windows lacked, by the constants of the simulation."""
    before, found = run.started_at + run.error, []
    tau = run.tau_min
    t = np.linspace(run.minutes - run.window_min, run.minutes, 200)

    def shape(t: np.ndarray | float) -> np.ndarray:
        return (1 - run.slow_share) * np.exp(-t / tau) + run.slow_share * np.exp(-t / (10 * tau))

    for target in run.targets:
        gap = before - target - run.error
        found.append(float(-gap * shape(t).mean()))
        before = target + run.error + gap * float(shape(run.minutes))
    return found


def test_an_early_window_is_corrected_towards_where_the_sensor_was_going():
    run = Run(minutes=13, window_min=3, tau_min=3)
    falling, *rising = measured(run)
    assert falling.target == 20 and falling.settling_correction < -0.3
    assert all(result.settling_correction > 0.3 for result in rising)
    for result, left in zip((falling, *rising), left_truly(run), strict=True):
        assert abs(result.settling_correction - left) <= result.U
        assert abs(result.error - run.error) <= result.U < 0.8


def test_what_was_left_stands_in_the_budget_with_its_own_freedom():
    run = Run(minutes=13, window_min=3, tau_min=3)
    assessment = assessed(records(sensor(), two_pressure(quantities=EXACT), run_files(run)))
    measurement = assessment.measurement
    for number, line in enumerate(measurement.lines):
        lines = {one.source.identity: one for one in measurement.whole().lines(number)}
        own = measurement.cells[line.cell].name
        left = lines[f"{own}/humidity/sensor/settling"]
        fitted = measurement.logged[line.cell].approaches[Part.SENSOR]
        assert left.source.label == "what was left of the approach, from the log"
        assert (left.source.u, left.source.nu) == (fitted.u_left, fitted.nu)
        scatter = lines[f"{own}/humidity/sensor/repeatability"]
        assert scatter.source.label == "scatter of the log's mean over its window"
        assert line.n == 1 and line.repeatability.basis == "log"


def test_faster_sampling_of_the_same_noise_makes_no_mean_surer():
    run = Run(minutes=40, correlation_s=120.0, noise=0.1)
    slow, fast = (
        [r.U for seed in range(6) for r in measured(replace(run, step_s=step, seed=seed))] for step in (30.0, 5.0)
    )
    assert np.median(fast) > 0.75 * np.median(slow)  # √6 = 2.4 times smaller if samples were independent


def test_without_a_soak_the_approach_begins_where_the_reference_came_to_stand():
    files = run_files(Run(), soak=False)
    judged = {"rule": "guard_band", "settling": {"largest_left": "2 %RH"}}
    first, *others = results(records(facility(policies=judged), sensor(), two_pressure(quantities=EXACT), files))
    (held,) = [f for f in first.reservations if f.rule.name == "unsettled-plateau"]
    assert "no soak is written, and the reference stood when the log began" in held.message
    assert first.settling_correction == 0.0
    for result, read in zip(others, measured(Run())[1:], strict=True):
        assert result.settling_correction == pytest.approx(read.settling_correction, abs=1e-9)
        assert not result.reservations


@pytest.mark.parametrize("minutes", [-1, 1])
def test_a_soak_that_is_written_a_minute_wrong_changes_nothing_where_the_log_shows_the_step(minutes: int):
    """A sample from before the step, thirty %RH away, would spoil every fit."""
    files = run_files(Run())
    log = files["logs/2026-03-16-lab.csv"].decode().splitlines()
    held = next(i for i, line in enumerate(log) if line.startswith("2026-03-16 08:25:00"))
    seconds = range(1510, 1680, 10)
    between = [f"2026-03-16 08:{second // 60:02d}:{second % 60:02d}{log[held][19:]}" for second in seconds]
    rows = [{**row, "soak [min]": row["soak [min]"] + minutes} for row in log_rows(Run())]
    wrong = {
        **visit("2026-03-16-lab", rows),
        "logs/2026-03-16-lab.csv": "\n".join([*log[: held + 1], *between, *log[held + 1 :]]).encode(),
    }
    for result, read in zip(measured(Run(), wrong), measured(Run()), strict=True):
        assert result.error == pytest.approx(read.error, abs=0.02)
        assert pytest.approx(read.U, rel=0.2) == result.U


def test_a_probe_that_came_into_a_standing_chamber_is_believed_its_soak():
    run = Run(targets=(50.0,), minutes=25)
    files = run_files(run)
    log = files["logs/2026-03-16-lab.csv"].decode().splitlines()
    room = [f"2026-03-16 07:{minute:02d}:00,40.40{log[1][25:]}" for minute in range(60)]
    came = {"logs/2026-03-16-lab.csv": "\n".join([log[0], *room, *log[1:]]).encode()}
    (read,), (result,) = measured(run), measured(run, came)
    assert abs(result.error - read.error) <= read.U
    assert result.U < 0.3


@pytest.mark.parametrize(
    ("run", "policy", "said"),
    [
        (Run(minutes=25), {"least_soak": "20 min", "least_rows": 5, "largest_slope": "0.05 %RH/min"}, ""),
        (Run(minutes=24), {"least_soak": "20 min"}, "soak 19 min"),
        (Run(minutes=25, window_min=2), {"least_rows": 3}, "window is 2 min"),
        (Run(minutes=10, tau_min=3), {"largest_slope": "0.05 %RH/min"}, "still moves"),
        (Run(minutes=12, tau_min=3), {"least_soak": "20 min", "largest_left": "0.05 %RH"}, "of the approach was left"),
        (Run(minutes=14, tau_min=1), {"least_soak": "20 min", "largest_left": "0.2 %RH"}, ""),
    ],
)
def test_a_policy_reads_a_window_by_its_minutes_and_by_what_was_left(run: Run, policy: dict, said: str):
    for result in measured(run, **policy):
        held = [f.message for f in result.reservations if f.rule.name == "unsettled-plateau"]
        assert (said in held[0]) if said else not held


def test_two_sensors_in_one_chamber_share_a_log():
    run = Run()
    rows = [{**row, "sensor": name} for row in log_rows(run) for name in ("RH-1", "RH-2")]
    lines = run_files(run)["logs/2026-03-16-lab.csv"].decode().splitlines()
    further = ["Second", *(f"{float(line.split(',')[1]) + 0.3:.2f}" for line in lines[1:])]
    both = "\n".join(map(",".join, zip(lines, further, strict=True)))
    mapping = MAPPING.replace("  Sensor: output [%RH]\n", "").replace(
        "sensor: RH-1", "sensors: {RH-1: {Sensor: 'output [%RH]'}, RH-2: {Second: 'output [%RH]'}}"
    )
    files = records(
        sensor(), sensor("RH-2"), two_pressure(quantities=EXACT), visit("2026-03-16-lab", rows),
        {"logs/2026-03-16-lab.csv": both.encode(), "logs/2026-03-16-lab.yml": mapping.encode()},
    )  # fmt: skip
    assert not [f for f in check(files) if f.rule.severity is Severity.ERROR]
    found = results(files)
    first, second = ([r for r in found if r.sensor == name] for name in ("RH-1", "RH-2"))
    for one, other in zip(first, second, strict=True):
        assert other.error - one.error == pytest.approx(0.3, abs=0.01)
        assert one.reference_value == pytest.approx(other.reference_value, abs=1e-12)


def test_the_mean_of_correlated_samples_is_told_by_the_means_of_batches():
    rng = np.random.default_rng(3)
    said = [scatter_of_mean(rng.normal(0.0, 1.0, 80)) for _ in range(400)]
    assert np.sqrt(np.mean([u**2 for u, _ in said])) == pytest.approx(1 / np.sqrt(80), rel=0.1)
    assert {nu for _, nu in said} == {7.0}
    assert np.isnan(scatter_of_mean(np.array([1.0]))[0])


def test_a_slope_is_found_with_its_uncertainty():
    minutes = np.linspace(0.0, 10.0, 100)
    noise = np.random.default_rng(1).normal(0.0, 0.1, 100)
    slope, u = slope_of(minutes, 0.3 * minutes + noise)
    assert abs(slope - 0.3) < 3 * u < 0.05


def test_a_temperature_channel_takes_its_scatter_from_the_log_too():
    run = Run()
    mapping = MAPPING.replace("  Sensor:", "  Warmth: output_temperature [degC]\n  Sensor:")
    lines = run_files(run)["logs/2026-03-16-lab.csv"].decode().splitlines()
    log = "\n".join(f"{line},{'Warmth' if i == 0 else f'{25.2 + 0.01 * (i % 3):.2f}'}" for i, line in enumerate(lines))
    combined = {"channels": ["humidity", "temperature"], "temperature_tolerance": {"absolute": "0.5 degC"}}
    files = records(
        sensor(**combined), two_pressure(quantities=EXACT), run_files(run),
        {"logs/2026-03-16-lab.csv": log.encode(), "logs/2026-03-16-lab.yml": mapping.encode()},
    )  # fmt: skip
    warm = [r for r in results(files) if r.channel is Channel.TEMPERATURE]
    assert [r.error for r in warm] == pytest.approx([0.21] * 3, abs=0.002)
    assert {r.repeatability for r in warm} == {"log"}
