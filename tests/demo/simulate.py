"""Simulate the demo facility's visits: `python -m tests.demo.simulate` writes records/visits/ and records/logs/ anew.

How a number comes about: `rounds` says who went where; `benches` make the true air with CoolProp and show it
through the hidden errors of the references; `sensors` show it through theirs; `sheets` write it down. The YAML
records are written by hand; the simulator reads them for ids, loops and certificates. Every subject has random
numbers of its own from one seed: the same code gives the same bytes.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from tests.demo.benches import BENCHES, Bench
from tests.demo.displays import Cells, written
from tests.demo.hidden import bounded, stream
from tests.demo.logger import Logger
from tests.demo.nameplates import RECORDS, Nameplate, nameplate, record
from tests.demo.rounds import ROUTES, TRIPS, Adjustment, Route, Trip
from tests.demo.sensors import SensorUnderTest
from tests.demo.sheets import as_csv

ROWS = {"in_air": 5}
"""Rows of a plateau, where they are not three."""
MINUTES_BETWEEN_ROWS = 3
USUAL_SOAKS = {"salt": (90, 100, 110, 120), "in_air": (30,)}
"""Minutes at a point before the first reading: salts take their time."""
CHAMBER_SOAKS = (25, 30, 35)
LOG_SECONDS, WINDOW_MINUTES = 10, 5
"""Seconds from sample to sample of a log, and the minutes of it that count at each point."""


@dataclass(frozen=True, kw_only=True)
class TrueError:
    """The hidden error of one channel at one plateau: mean over its rows, without noise and display; of a log without
    what was left of the approach.
    """

    visit: str
    sensor: str
    phase: str
    target: float
    plateau: int
    """counted within the visit, sensor and phase, from 0"""
    channel: str
    error: float


def simulate() -> tuple[dict[str, bytes], tuple[TrueError, ...]]:
    """Every visit file by its path below records/, and the truth behind the readings."""
    files: dict[str, bytes] = {}
    truths: list[TrueError] = []
    for trip in sorted(TRIPS, key=lambda trip: trip.id):
        written, behind = visit_files(trip)
        if written.keys() & files.keys():
            raise ValueError(f"two trips are called {trip.id}")
        files |= written
        truths += behind
    return files, tuple(truths)


def visit_files(trip: Trip) -> tuple[dict[str, bytes], tuple[TrueError, ...]]:
    """The files of one trip, a later revision beside the first, and the truth behind its readings."""
    visit = _Visit(trip)
    visit.run()
    files = {}
    for revision, rows in visit.revisions():
        ending = "" if revision == 1 else f".r{revision}"
        files[f"visits/{trip.date.year}/{trip.id}{ending}.csv"] = as_csv(rows, by_spreadsheet=trip.spreadsheet)
    if trip.log:
        files[f"logs/{trip.log}.csv"] = visit.logger.content()
    return files, tuple(visit.truths)


class _Visit:
    """One trip as it happens, row by row."""

    def __init__(self, trip: Trip) -> None:
        self.trip = trip
        self.route: Route = ROUTES[trip.route]
        self.rows: list[Cells] = []
        self.truths: list[TrueError] = []
        self.logger = Logger()
        self.random = stream(trip.id)
        self.now = datetime.combine(trip.date, datetime.min.time()) + timedelta(
            hours=8, minutes=self.random.randrange(10, 40)
        )

    def run(self) -> None:
        """The whole day."""
        trip, route = self.trip, self.route
        for sensor, note in trip.not_done.items():
            self._write(sensor, "as_found", {"note": note})
            self.now += timedelta(minutes=5)
        for sensor, statements in trip.stated.items():
            for point in statements:
                stated = {
                    "target [%RH]": f"{point.target:g}",
                    "stated_reference [%RH]": f"{point.reference}",
                    "stated_error [%RH]": f"{point.error}",
                    "stated_U [%RH]": f"{point.expanded}",
                    "stated_k": "2.00",
                }
                self._write(sensor, "as_found", stated)
                self.now += timedelta(minutes=1)
        if trip.not_done or trip.stated:
            self._mark_first_rows()
            return
        for session in trip.sessions or route.sessions:
            self._session(session)
            self.now += timedelta(minutes=15)
        self._mark_first_rows()

    def revisions(self) -> Iterator[tuple[int, list[Cells]]]:
        """The file as it was first written, and what replaced or voided it."""
        slip, withdrawal = self.trip.slip, self.trip.withdrawal
        yield 1, self._with_slip() if slip else self.rows
        if slip:
            corrected = [dict(row) for row in self.rows if row["sensor"] == slip.sensor]
            corrected[0]["reason"] = slip.reason
            yield 2, corrected
        if withdrawal:
            yield (
                2,
                [
                    {
                        "sensor": withdrawal.sensor,
                        "time": withdrawal.time,
                        "phase": "withdrawn",
                        "technician": withdrawal.technician,
                        "reason": withdrawal.reason,
                    }
                ],
            )

    def _session(self, sensors: tuple[str, ...]) -> None:
        """Some sensors in one chamber: as found, then those that are adjusted as left."""
        trip, route = self.trip, self.route
        plates = [_plate(sensor, trip.date) for sensor in sensors]
        bench = BENCHES[route.method](route.reference, trip.date, route.temperature_c, plates[0].over, self.random)
        meter = "METER-02" if route.reference == "GEN-02" else "METER-01"
        tested = [SensorUnderTest(plate, trip.date, meter, trip.slow.get(plate.id), self.random) for plate in plates]
        self.now += timedelta(minutes=10)
        self._points(bench, tested, route.phase)
        for sensor in tested:
            adjustment = trip.adjusted.get(sensor.plate.id)
            if adjustment:
                self._adjust(sensor, adjustment)
                self._points(bench, [sensor], "as_left")

    def _points(self, bench: Bench, tested: list[SensorUnderTest], phase: str) -> None:
        for plateau, target in enumerate(self.trip.points or self.route.points):
            bench.go_to(target)
            for sensor in tested:
                sensor.go_to(target)
            step = self._logged_plateau if self.trip.log else self._plateau
            step(bench, tested, phase, target, plateau)

    def _logged_plateau(
        self, bench: Bench, tested: list[SensorUnderTest], phase: str, target: float, plateau: int
    ) -> None:
        """A logger writes down one sensor all the while; the row says which minutes of it count."""
        (sensor,) = tested
        soak, begin = self.trip.soaks[sensor.plate.id, target], self.now
        settled: list[float] = []
        read: Cells = {}
        for second in range(0, 60 * (soak + WINDOW_MINUTES) + 1, LOG_SECONDS):
            air, shown = bench.observe()
            read, errors = sensor.read(air, second / 60.0)
            self.logger.write(begin + timedelta(seconds=second), read | shown)
            if second >= 60 * soak:
                settled.append(errors["humidity"] - sensor.left)
        starts, ends = (begin + timedelta(minutes=minutes) for minutes in (soak, soak + WINDOW_MINUTES))
        self.now = ends
        cells = {"target [%RH]": f"{target:g}", "reference": bench.reference, "soak [min]": str(soak)}
        cells |= {"loop_meter": read["loop_meter"], "log": self.trip.log}
        cells |= {"log_from": f"{starts:%Y-%m-%d %H:%M}", "log_until": f"{ends:%Y-%m-%d %H:%M}"}
        self._write(sensor.plate.id, phase, cells | self._room())
        self.now += timedelta(seconds=LOG_SECONDS)
        self.truths.append(
            TrueError(
                visit=self.trip.id,
                sensor=sensor.plate.id,
                phase=phase,
                target=target,
                plateau=plateau,
                channel="humidity",
                error=sum(settled) / len(settled),
            )
        )

    def _plateau(self, bench: Bench, tested: list[SensorUnderTest], phase: str, target: float, plateau: int) -> None:
        usual = USUAL_SOAKS.get(self.route.method, CHAMBER_SOAKS)
        soak = self.random.choice(usual)
        soak = self.trip.soaks.get((tested[0].plate.id, target), soak)
        self.now += timedelta(minutes=soak)
        count = ROWS.get(self.route.method, 3)
        sums: dict[tuple[str, str], float] = {}
        for number in range(count):
            air, shown = bench.observe()
            for position, sensor in enumerate(tested):
                read, errors = sensor.read(air, soak + number * MINUTES_BETWEEN_ROWS)
                cells = {"target [%RH]": f"{target:g}", "reference": bench.reference} | read
                cells |= shown if position == 0 else _each_row(shown)
                if number == 0:
                    cells |= {"soak [min]": str(soak)} | (self._room() if position == 0 else {})
                self._write(sensor.plate.id, phase, cells)
                for channel, error in errors.items():
                    key = sensor.plate.id, channel
                    sums[key] = sums.get(key, 0.0) + error / count
            self.now += timedelta(minutes=MINUTES_BETWEEN_ROWS)
        self.truths += [
            TrueError(
                visit=self.trip.id,
                sensor=sensor,
                phase=phase,
                target=target,
                plateau=plateau,
                channel=channel,
                error=mean,
            )
            for (sensor, channel), mean in sums.items()
        ]

    def _adjust(self, sensor: SensorUnderTest, adjustment: Adjustment) -> None:
        self.now += timedelta(minutes=10)
        event = {
            "adjustment": adjustment.kind,
            "from": adjustment.before,
            "to": adjustment.after,
            "note": adjustment.note,
        }
        self._write(sensor.plate.id, "adjusted", event)
        sensor.begin(as_left=True)

    def _room(self) -> Cells:
        warmth = self.route.temperature_c + bounded(self.random, 0.2)
        humidity = self.route.room_humidity + self.random.randrange(-1, 2)
        if self.route.reference == "GEN-02":
            room = {"room_temperature [degF]": written(warmth * 1.8 + 32.0, 0)}
        else:
            room = {"room_temperature [degC]": written(warmth, 1)}
        return room | {"room_humidity [%RH]": str(humidity)}

    def _write(self, sensor: str, phase: str, cells: Cells) -> None:
        who = {"sensor": sensor, "time": f"{self.now:%Y-%m-%d %H:%M}", "phase": phase}
        self.rows.append(who | cells | {"technician": self.trip.technician})

    def _mark_first_rows(self) -> None:
        """On the first row of a sensor stand its serial, its condition and what was remarkable."""
        seen: set[str] = set()
        for row in self.rows:
            sensor = row["sensor"]
            if sensor in seen:
                continue
            seen.add(sensor)
            if sensor not in self.trip.not_done:
                row["serial"] = _plate(sensor, self.trip.date).serial
                row["condition"] = self.trip.conditions.get(sensor, "clean")
            if sensor in self.trip.notes:
                row["note"] = self.trip.notes[sensor]

    def _with_slip(self) -> list[Cells]:
        slip = self.trip.slip
        assert slip is not None
        rows = [dict(row) for row in self.rows]
        wrong = next(row for row in rows if row["sensor"] == slip.sensor and row["target [%RH]"] == f"{slip.target:g}")
        wrong[slip.column] = slip.typed
        return rows


def _each_row(shown: Cells) -> Cells:
    """Of what the first sensor's row gives for all, the words that every row keeps."""
    return {name: text for name, text in shown.items() if name == "medium"}


def _plate(sensor: str, day: date) -> Nameplate:
    """A sensor's nameplate, or the transfer probe's when it is under test itself."""
    if sensor != "PROBE-01":
        return nameplate(sensor, day)
    return Nameplate(
        id=sensor,
        serial=record(f"references/{sensor}.yml")["serial"],
        family="",
        signal="direct",
        has_temperature=True,
        wired=False,
        over="water",
        scaling={},
        shows_whole=False,
    )


def main() -> None:
    """Write the visits below --records (default: the committed ones)."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=Path, default=RECORDS)
    folder: Path = parser.parse_args().records
    files, _truths = simulate()
    for path, content in files.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    print(f"{len(files)} files written below {folder}")


if __name__ == "__main__":
    main()
