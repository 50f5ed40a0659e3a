"""Rows a second of each step from bytes to standings, on one core, and the memory it took.

    python -m tests.benchmarks.throughput [SENSORS [VISITS]]

Sensors × visits × 10 rows (three plateaus of three readings and a repeat), each visit a file of its own.
"""

# ruff: noqa: E402
from __future__ import annotations

import random
import resource
import sys
import time
from datetime import date, timedelta
from typing import Any

from asfound.cli import suit_the_work

suit_the_work()  # as the commands do, before numpy is loaded

from asfound.assessment.pipeline import LINEAR, doubted, judged, measured, summarised
from asfound.records.visits.rows import sensor_visits
from asfound.soak.checking_with_logs import check
from tests.builders import records, sensor, two_pressure

FIRST_DAY = date(2016, 1, 4)
PRESSURES = ((20, 515.01), (50, 203.5), (80, 126.7))
HEADER = (
    "sensor,time,phase,target [%RH],output [%RH],reference,technician,soak [min],saturation_pressure [kPa absolute],"
    "saturation_temperature [degC],chamber_pressure [kPa absolute],chamber_temperature [degC]\n"
)


def repository(sensors: int, visits: int) -> dict[str, bytes]:
    noise = random.Random(1)
    files = records(two_pressure())
    files["references/GEN-01.yml"] = files["references/GEN-01.yml"].replace(b"2026-01-12", b"2015-01-12")
    for number in range(sensors):
        files |= sensor(f"RH-{number}")
    for round_number in range(visits):
        day = FIRST_DAY + timedelta(days=180 * round_number)
        for number in range(sensors):
            rows = [HEADER]
            for hour, (target, kpa) in enumerate(PRESSURES):
                for minute in range(4 if target == 80 else 3):
                    shown = f"{target + noise.gauss(0.3, 0.1):.1f}"
                    rows.append(
                        f"RH-{number},{day} {9 + hour:02d}:{minute:02d},as_found,{target},{shown},GEN-01,ann,30,"
                        f"{kpa},25.00,101.325,25.00\n"
                    )
            files[f"visits/{day.year}/{day}-rh-{number}.csv"] = "".join(rows).encode()
    return files


def with_refused_reading(files: dict[str, bytes]) -> dict[str, bytes]:
    """The same, with one saturation pressure that gives no humidity in the middle of them."""
    visits = [path for path in files if path.startswith("visits/")]
    middle = visits[len(visits) // 2]
    return files | {middle: files[middle].replace(b",203.5,", b",20.35,", 1)}


def main(arguments: list[str]) -> None:
    sensors, visits = (
        (int(a) for a in [*arguments, "200", "20"][:2]) if len(arguments) != 1 else (int(arguments[0]), 20)
    )
    rows = sensors * visits * 10
    files = repository(sensors, visits)
    print(f"{sensors} sensors × {visits} visits × 10 rows = {rows:,} rows")
    total = 0.0

    def timed(label: str, step: Any) -> Any:
        nonlocal total
        started = time.process_time()
        outcome = step()
        took = time.process_time() - started
        total += took
        print(f"{label:28s} {took:7.2f} s {rows / took:12,.0f} rows/s")
        return outcome

    found, faults = timed("read and check", lambda: check(files))
    assert found is not None and not [f for f in faults if f.rule.severity == "error"], faults[:3]
    parts = timed("rows to plateaus", lambda: sensor_visits(found))
    lines = timed("errors and budgets", lambda: measured(found, parts))
    assert not lines.measurement.faults, lines.measurement.faults[:3]
    results, day = timed("results and verdicts", lambda: judged(lines, LINEAR)), date(2026, 11, 25)
    timed("standings, drift, due", lambda: summarised(doubted(results, day), day))
    print(f"{'all':28s} {total:7.2f} s {rows / total:12,.0f} rows/s")
    print(
        f"{len(results.results):,} results; {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB at most"
    )
    files = with_refused_reading(files)
    found, faults = timed("read, one reading refused", lambda: check(files))
    assert found is not None
    refused = timed("errors, one reading refused", lambda: measured(found, sensor_visits(found)))
    assert [fault.rule.name for fault in refused.measurement.faults] == ["no-humidity"]


if __name__ == "__main__":
    main(sys.argv[1:])
